"""How sure a plan is: its placements carried into many futures, and what each way of being careful buys and costs.

A future slips flights, changes counts, kills on arrival, grows animals and stops a system for a week.  Animals go to the vats
planned for them where these can still be had, else to any others by the rules; who finds none is without a place.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from intake.plan.answers.least_change_replan import carried_over
from intake.plan.problem import BatchNeed, Problem, StageNeed, VatOffer
from intake.plan.solution import Placement, Solution
from intake.plan.solve import solve

__all__ = ["CAUSES", "Chances", "Insurance", "Outcome", "Stress", "future", "outcome", "stress"]

CAUSES = ("slip", "counts", "deaths", "growth", "outage")
"""What may go otherwise than planned; each is also looked at by itself."""

Report = Callable[[str], object]
"""Called with what is being tried; a true answer ends it, and what is known by then is given."""


@dataclass(frozen=True, slots=True)
class Chances:
    """Rates of the futures; the defaults are design defaults of the study, to be replaced by the farm's own record.

    Attributes
    ----------
    slips
        Days a flight may be late, with their chances.
    count_sd
        Standard deviation of animals received against announced, as a share.
    dead, dead_rho
        Mean share dead on arrival and how alike the animals of a batch die (beta-binomial).
    growth, growth_sd
        Share by which an animal's bench area grows while it is planned for, and the spread of that (lognormal).
    outage
        Chance that a system is down for a week within the plan.
    capped
        Whether the terms say that no more than ordered is sent.
    slips_of, count_sd_of
        Shipment → its own slips and spread of counts, where they are known.
    dead_of
        Batch → its own mean share dead on arrival, where it is known.
    """

    slips: tuple[tuple[int, float], ...] = ((0, 0.84), (7, 0.12), (14, 0.04))
    count_sd: float = 0.04
    dead: float = 0.03
    dead_rho: float = 0.04
    growth: float = 0.05
    growth_sd: float = 0.2
    outage: float = 0.05
    capped: bool = False
    slips_of: Mapping[str, tuple[tuple[int, float], ...]] = field(default_factory=dict)
    count_sd_of: Mapping[str, float] = field(default_factory=dict)
    dead_of: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What many futures come to.

    Attributes
    ----------
    fits
        Share of futures in which everyone has a place, with the ends of its 95 % interval (Wilson 1927).
    without_p95
        Animals without a place that one future in twenty exceeds, with the ends of its 95 % interval by order statistics.
    placed
        Mean of animals with a place.
    breaks
        Vats whose planned animals lost their place first, with the share of all futures.
    """

    futures: int
    fits: float
    fits_low: float
    fits_high: float
    without_p95: int
    without_low: int
    without_high: int
    placed: float
    breaks: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Insurance:
    """A way of being careful: what comes of it, and what it costs in animals with a place, as a share of the plan's mean."""

    name: str
    outcome: Outcome
    cost: float


@dataclass(frozen=True, slots=True)
class Stress:
    """The plan as it is, one cause at a time, and the insurances measured on futures none of them was chosen by."""

    plan: Outcome
    causes: tuple[tuple[str, int], ...]
    insurances: tuple[Insurance, ...]

    @property
    def halves(self) -> str:
        """The insurance that at least halves what one future in twenty leaves, at 1 % or less; empty if none does."""
        least = self.plan.without_p95
        good = (
            [one for one in self.insurances if 2 * one.outcome.without_p95 <= least and one.cost <= 0.01]
            if least
            else []
        )
        return min(good, key=lambda one: (one.outcome.without_p95, one.cost)).name if good else ""


def future(problem: Problem, chances: Chances, rng: Any, causes: Collection[str] = CAUSES) -> Problem:
    """The problem as it is in one future; ``rng`` is numpy's generator, and every cause draws whether it counts or not."""
    shipments = list(dict.fromkeys(batch.shipment for batch in problem.batches))
    late = {shipment: _late(rng, chances.slips_of.get(shipment, chances.slips)) for shipment in shipments}
    more = rng.normal(1.0, [chances.count_sd_of.get(one.shipment, chances.count_sd) for one in problem.batches])
    rho = max(chances.dead_rho, 1e-9)
    scale = (1 - rho) / rho
    means = [max(chances.dead_of.get(one.id, chances.dead), 1e-9) for one in problem.batches]
    dead = rng.beta([mean * scale for mean in means], [(1 - mean) * scale for mean in means])
    grown = chances.growth * rng.lognormal(0.0, chances.growth_sd, len(problem.batches))
    last = max((stage.end_day for batch in problem.batches for stage in batch.stages), default=1)
    down = rng.random(len(problem.systems)) < chances.outage
    when = rng.integers(0, max(1, last), len(problem.systems))
    batches = []
    for number, batch in enumerate(problem.batches):
        count = batch.count * (float(more[number]) if "counts" in causes else 1.0)
        count = min(count, batch.count) if chances.capped else count
        alive = round(count * (1.0 - (float(dead[number]) if "deaths" in causes else 0.0)))
        mean = 0.0 if batch.grown else chances.growth  # what the plan knows of growth is not counted twice
        bigger = 1.0 + mean + (float(grown[number]) - chances.growth if "growth" in causes else 0.0)
        if alive > 0:
            batches.append(_drawn(batch, alive, bigger, late[batch.shipment] if "slip" in causes else 0))
    stopped = {
        system.id: int(when[number])
        for number, system in enumerate(problem.systems)
        if down[number] and "outage" in causes
    }
    vats = tuple(_closed(vat, stopped) for vat in problem.vats)
    return replace(problem, batches=tuple(batches), vats=vats)


def _late(rng: Any, slips: Sequence[tuple[int, float]]) -> int:
    """Days one flight is late."""
    days, weights = zip(*slips, strict=True)
    return int(rng.choice(days, p=weights))


def _drawn(batch: BatchNeed, count: int, bigger: float, late: int) -> BatchNeed:
    """The batch as it comes: so many animals, each on so much more bench area, so many days late."""
    stages = tuple(_later(stage, late) for stage in batch.stages) if late else batch.stages
    grown = tuple(replace(one.shifted(late), footprint_mm2=round(one.footprint_mm2 * bigger)) for one in batch.grown)
    area = round(batch.footprint_mm2 * bigger)
    return replace(
        batch, count=count, footprint_mm2=area, min_portion=min(batch.min_portion, count), stages=stages, grown=grown
    )


def _later(stage: StageNeed, days: int) -> StageNeed:
    return replace(stage, start_day=stage.start_day + days, end_day=stage.end_day + days)


def _closed(vat: VatOffer, stopped: Mapping[str, int]) -> VatOffer:
    if vat.system not in stopped:
        return vat
    first = stopped[vat.system]
    return replace(vat, closed=(*vat.closed, (first, first + 7)))


def outcome(
    problem: Problem, placements: Sequence[Placement], chances: Chances, *, futures: int, seed: tuple[int, ...],
    causes: Collection[str] = CAUSES,
) -> Outcome:  # fmt: skip
    """What a plan comes to in so many futures, drawn from a seed: the same seed gives the same futures to every plan."""
    import numpy as np  # heavy, and only needed to draw

    problem = _as_planned(problem, placements)
    rng = np.random.default_rng(list(seed))
    without: list[int] = []
    placed = 0
    first: dict[str, int] = {}
    for _ in range(futures):
        then = future(problem, chances, rng, causes)
        after = carried_over(then, placements)
        count = {batch.id: batch.count for batch in then.batches}
        found: dict[str, int] = dict.fromkeys(count, 0)
        first_stage = {batch.id: batch.stages[0].stage for batch in then.batches}
        for one in after.placements:
            if one.batch in found and one.stage == first_stage[one.batch]:
                found[one.batch] += one.count
        lost = [batch for batch in count if found[batch] < count[batch]]
        without.append(sum(count[batch] - found[batch] for batch in lost))
        placed += sum(found.values())
        if lost:
            vat = _first_vat(then, placements, lost)
            first[vat] = first.get(vat, 0) + 1
    return _told(without, placed, first, futures)


def _as_planned(problem: Problem, placements: Sequence[Placement]) -> Problem:
    """The problem with the animals the plan takes and no others: those it leaves out are not bought."""
    first = {batch.id: batch.stages[0].stage for batch in problem.batches}
    taken: dict[str, int] = {}
    for one in placements:
        if first.get(one.batch) == one.stage:
            taken[one.batch] = taken.get(one.batch, 0) + one.count
    batches = tuple(
        replace(batch, count=taken[batch.id], min_portion=min(batch.min_portion, taken[batch.id]))
        for batch in problem.batches
        if taken.get(batch.id)
    )
    return replace(problem, batches=batches)


def _first_vat(problem: Problem, placements: Sequence[Placement], lost: Collection[str]) -> str:
    """The vat that was meant for the first of the animals that lost their place."""
    start = {batch.id: batch.stages[0].start_day for batch in problem.batches}
    mine = [one for one in placements if one.batch in lost]
    return min(mine, key=lambda one: (start[one.batch], one.from_day, one.vat)).vat


def _told(without: Sequence[int], placed: int, first: Mapping[str, int], futures: int) -> Outcome:
    fits = sum(one == 0 for one in without) / futures
    z = 1.959964  # two-sided 95 % of the normal distribution
    middle = (fits + z * z / (2 * futures)) / (1 + z * z / futures)
    half = z * (fits * (1 - fits) / futures + z * z / (4 * futures * futures)) ** 0.5 / (1 + z * z / futures)
    ordered = sorted(without)
    spread = z * (futures * 0.95 * 0.05) ** 0.5
    ranks = [min(futures - 1, max(0, round(0.95 * futures + shift))) for shift in (-1, -spread - 1, spread - 1)]
    point, low, high = (ordered[rank] for rank in ranks)
    breaks = sorted(((vat, count / futures) for vat, count in first.items()), key=lambda one: (-one[1], one[0]))
    return Outcome(
        futures, fits, max(0.0, middle - half), min(1.0, middle + half), point, low, high, placed / futures,
        tuple(breaks),
    )  # fmt: skip


def stress(
    problem: Problem, solution: Solution, chances: Chances, *, futures: int = 1000, seed: int = 1, seconds: float = 5.0,
    report: Report | None = None,
) -> Stress:  # fmt: skip
    """Measure a plan on many futures, cause by cause, and each insurance on futures that none of them was chosen by.

    Parameters
    ----------
    futures
        Futures for the plan and for each insurance; a tenth of them, 100 at least, for each cause.
    seconds
        Time to plan with an insurance.
    """
    told = report or _nobody
    measured = (seed, 202)
    told("the plan")
    base = outcome(problem, solution.placements, chances, futures=futures, seed=measured)
    causes, insured = [], []
    for cause in CAUSES:
        if told(f"only {cause}"):
            break
        few = max(100, futures // 10)
        alone = outcome(problem, solution.placements, chances, futures=few, seed=(seed, 404), causes=(cause,))
        causes.append((cause, alone.without_p95))
    for name, placements, terms in _insurances(problem, solution, chances, seed, seconds):
        if told(name):
            break
        found = outcome(problem, placements, terms, futures=futures, seed=measured)
        insured.append(Insurance(name, found, 1 - found.placed / base.placed if base.placed else 0.0))
    return Stress(base, tuple(causes), tuple(insured))


def _nobody(_: str) -> object:
    return None


def _insurances(problem: Problem, solution: Solution, chances: Chances, seed: int, seconds: float) -> Any:
    """Name, placements and chances of each: planned with less room than there is, then carried into the true room."""
    role = {system.id: system.role for system in problem.systems}

    def planned(vats: tuple[VatOffer, ...]) -> Sequence[Placement]:
        return solve(replace(problem, vats=vats), seconds=seconds, seed=seed, aims=1).placements

    def quarantine(change: Callable[[VatOffer], VatOffer]) -> tuple[VatOffer, ...]:
        return tuple(change(vat) if role[vat.system] == "quarantine" else vat for vat in problem.vats)

    capped = replace(chances, capped=True)
    headroom = planned(quarantine(lambda vat: replace(vat, area_mm2=vat.area_mm2 * 9 // 10)))
    yield "no more than ordered, in the terms", solution.placements, capped
    yield "10 % of quarantine kept free", headroom, chances
    yield "10 % kept free and no more than ordered", headroom, capped
    yield (
        "a spare week between lots",
        planned(quarantine(lambda vat: replace(vat, fallow_days=vat.fallow_days + 7))),
        chances,
    )
    areas: dict[str, int] = {}
    for vat in problem.vats:
        if role[vat.system] == "quarantine":
            areas[vat.system] = areas.get(vat.system, 0) + vat.area_mm2
    if len(areas) > 1:
        smallest = min(areas, key=lambda one: (areas[one], one))
        kept = quarantine(lambda vat: replace(vat, closed=((0, 10_000),)) if vat.system == smallest else vat)
        yield f"water {smallest} kept free", planned(kept), chances
    yield (
        "the best of several plans on other futures",
        _searched(problem, solution, headroom, chances, seed, seconds),
        chances,
    )


def _searched(
    problem: Problem, solution: Solution, headroom: Sequence[Placement], chances: Chances, seed: int, seconds: float
) -> Sequence[Placement]:
    """Of plans by other seeds and with headroom the one that places most on 100 futures used for nothing else."""
    others = [solve(problem, seconds=seconds / 2, seed=seed + more, aims=1).placements for more in (1, 2)]
    plans = [solution.placements, headroom, *others]
    return max(plans, key=lambda one: outcome(problem, one, chances, futures=100, seed=(seed, 101)).placed)
