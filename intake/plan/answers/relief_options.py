"""What would make room for animals not placed: each way tested by planning again, with what it costs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta

from intake.plan.answers.longer_holds import days_to_hold, held_until, lots_held
from intake.plan.model.exact_model import build
from intake.plan.model.objectives import NAMES, objective_terms
from intake.plan.model.occupancy import Occupancy
from intake.plan.problem import AWAY, BatchNeed, Problem, StageNeed, Standing, SystemOffer, VatOffer
from intake.plan.search.first_fit import first_plan
from intake.plan.solution import Relief, Solution
from intake.plan.solve import solve
from intake.plan.solvers.cpsat import run
from intake.plan.solvers.interface import Limits
from intake.plan.tuning import DAY_MINUTES, OFFICE_MINUTES, RELIEFS_MOST_TRIED

__all__ = ["apply", "cheapest_clearing", "relief"]


_NO_LIMIT = 10**12


def cheapest_clearing(problem: Problem, days: Mapping[int, int], *, seconds: float, seed: int) -> tuple[int, ...]:
    """Which stays to clear: fewest animals left over, then least handling.

    Parameters
    ----------
    days
        Stays that may go, by their place in the problem, with the day each would be gone.

    Returns
    -------
    tuple of int
        The stays to clear; empty when clearing gains nothing or the time was too short.
    """
    open_ended = _with_ways_out(problem, days)
    occupancy = Occupancy(open_ended, loose=True)
    model = build(occupancy, range(len(problem.batches)))
    left = objective_terms(model, NAMES[0]).terms
    answer = run(model.rows, left, Limits(seconds * 0.6, seed), hint=model.write(first_plan(Occupancy(open_ended))))
    if not answer.values:
        return ()
    model.rows.row(left, None, sum(coef * answer.values[var] for var, coef in left))
    exits = {
        index: choices[away]
        for index, choices in sorted(model.homes.items())
        if index in days and (away := occupancy.vat_index[_way(index)]) in choices
    }
    handling = [(exits[index], max(1, _seconds(problem.standing[index]))) for index in exits]
    cheaper = run(model.rows, handling, Limits(seconds * 0.4, seed), hint=list(answer.values))
    chosen = cheaper.values or answer.values
    return tuple(index for index, literal in exits.items() if chosen[literal])


def _seconds(standing: Standing) -> int:
    return standing.count * standing.handling_seconds


def _way(index: int) -> str:
    return f"(way out {index})"


def _with_ways_out(problem: Problem, days: Mapping[int, int]) -> Problem:
    """The problem with a vat outside the farm for every stay that may go, where it meets no one."""
    standing = tuple(
        replace(one, movable=True, move_to=(_way(index),), move_day=days[index])
        if index in days
        else replace(one, movable=False)
        for index, one in enumerate(problem.standing)
    )
    ways = [_way(index) for index in sorted(days)]
    return replace(
        problem,
        systems=(*problem.systems, *(SystemOffer(way, AWAY, _NO_LIMIT) for way in ways)),
        vats=(*problem.vats, *(VatOffer(way, way, _NO_LIMIT, _NO_LIMIT) for way in ways)),
        standing=standing,
    )


@dataclass(frozen=True, slots=True)
class _Idea:
    """A relief not yet checked, with the problem as it would then be."""

    relief: Relief
    problem: Problem


def relief(problem: Problem, solution: Solution, *, seconds: float = 20.0, seed: int = 1) -> tuple[Relief, ...]:
    """Find what would let more animals in, each checked by solving again, best value for work first.

    Parameters
    ----------
    seconds
        Time for all the solving together.

    Returns
    -------
    tuple of Relief
        Only such as leave fewer animals over.  Those that place animals come first, by places gained per minute of
        work; taking fewer of a line comes last, for it places no one.  Empty when nothing is left over.
    """
    left = solution.announced - solution.placed
    if not left:
        return ()
    short = {one.batch: one.count for one in solution.short}
    ideas = list(_ideas(problem, short))[:RELIEFS_MOST_TRIED]
    each = max(0.3, seconds / (len(ideas) + 3))
    found = [checked for idea in ideas if (checked := _checked(idea, solution, each, seed)) is not None]
    if not any(one.left_over == 0 and one.kind == "clear" for one in found):
        days = _clearable(problem, short)
        together = cheapest_clearing(problem, days, seconds=3 * each, seed=seed) if days else ()
        if together:
            idea = _set_of(problem, {index: days[index] for index in together})
            found += [checked for checked in (_checked(idea, solution, each, seed),) if checked is not None]
    return tuple(sorted(_unique(found), key=_rank))


def _unique(found: Iterable[Relief]) -> list[Relief]:
    return list({one.do: one for one in found}.values())


def _rank(one: Relief) -> tuple[bool, float, int, str]:
    return (one.kind == "fewer", -one.places / max(one.cost, 0.1), one.left_over, one.do)


def _checked(idea: _Idea, before: Solution, seconds: float, seed: int) -> Relief | None:
    """Plan again with the relief done; nothing when it leaves no fewer animals over."""
    left = before.announced - before.placed
    again = solve(idea.problem, seconds=seconds, seed=seed, aims=1, start=before) if idea.problem.batches else None
    now = again.announced - again.placed if again else 0
    if now >= left:
        return None
    return replace(idea.relief, places=left - now, left_over=now, proved=again is None or again.objectives[0].proved)


def _ideas(problem: Problem, short: dict[str, int]) -> Iterator[_Idea]:
    yield from _fewer(problem, short)
    yield from _clear(problem, short)
    yield from _hold(problem, short)
    yield from _delay(problem, short)
    yield from _move(problem)


def _iso(problem: Problem, day: int) -> str:
    return (problem.day_zero + timedelta(days=day)).isoformat()


def _area_m2(count: int, footprint_mm2: int) -> float:
    return count * footprint_mm2 / 1e6


# ── take fewer ──────────────────────────────────────────────────────────────────────────────────────────────────────


def _fewer(problem: Problem, short: dict[str, int]) -> Iterator[_Idea]:
    """Each line less what it leaves over; with several lines short also all of them at once."""
    named = [batch for batch in problem.batches if batch.id in short]
    steps = [_fewer_of(batch, short[batch.id]) for batch in named]
    if len(steps) > 1:
        every = Relief(
            "; ".join(step.do for step in steps), "fewer", sum(step.frees for step in steps), OFFICE_MINUTES, 0, 0,
            proved=False, count=sum(step.count for step in steps), steps=tuple(steps),
        )  # fmt: skip
        yield _Idea(every, apply(problem, every))
    for step in steps:
        yield _Idea(step, apply(problem, step))


def _fewer_of(batch: BatchNeed, count: int) -> Relief:
    whole = f"do without line {batch.id}" if count == batch.count else f"take {count} fewer of line {batch.id}"
    name = f" ({batch.name})" if batch.name else ""
    return Relief(
        f"{whole}{name}", "fewer", _area_m2(count, batch.footprint_mm2), OFFICE_MINUTES, 0, 0, proved=False,
        batch=batch.id, shipment=batch.shipment, count=count,
    )  # fmt: skip


# ── clear a vat ─────────────────────────────────────────────────────────────────────────────────────────────────────


def _clear(problem: Problem, short: dict[str, int]) -> Iterator[_Idea]:
    """Each vat whose stock stands where short batches could, fullest first."""
    by_vat: dict[str, dict[int, int]] = {}
    for index, day in _clearable(problem, short).items():
        by_vat.setdefault(problem.standing[index].vat, {})[index] = day
    for days in sorted(by_vat.values(), key=lambda days: -sum(_bulk(problem.standing[index]) for index in days)):
        yield _set_of(problem, days)


def _bulk(standing: Standing) -> int:
    return standing.count * standing.footprint_mm2


def _clearable(problem: Problem, short: dict[str, int]) -> dict[int, int]:
    """Stays that may be cleared and the day they must be gone; never stock in quarantine, never what is promised."""
    needed = _needed(problem, short)
    role = {system.id: system.role for system in problem.systems}
    gap = {vat.id: vat.fallow_days if role[vat.system] == "quarantine" else 0 for vat in problem.vats}
    days = {}
    for index, one in enumerate(problem.standing):
        day = needed.get(one.vat, -1) - gap[one.vat]
        if one.served_day <= day and one.from_day <= 0 <= day < one.until_day:
            days[index] = day
    return days


def _needed(problem: Problem, short: dict[str, int]) -> dict[str, int]:
    """The first day on which a batch that is short could use each vat."""
    days: dict[str, int] = {}
    for batch in problem.batches:
        for stage in batch.stages if batch.id in short else ():
            for vat in stage.vats:
                days[vat] = min(days.get(vat, stage.start_day), stage.start_day)
    return days


def _set_of(problem: Problem, days: dict[int, int]) -> _Idea:
    """Clearing every vat of these stays."""
    by_vat: dict[str, list[tuple[Standing, int]]] = {}
    for index, day in days.items():
        by_vat.setdefault(problem.standing[index].vat, []).append((problem.standing[index], day))
    steps = [_clearing(problem, vat, stock) for vat, stock in sorted(by_vat.items())]
    if len(steps) == 1:
        return _Idea(steps[0], apply(problem, steps[0]))
    every = Relief(
        "; ".join(step.do for step in steps), "clear", sum(step.frees for step in steps),
        sum(step.cost for step in steps), 0, 0, proved=False, steps=tuple(steps),
    )  # fmt: skip
    return _Idea(every, apply(problem, every))


def _clearing(problem: Problem, vat: str, leaving: list[tuple[Standing, int]]) -> Relief:
    stock, day = [one for one, _ in leaving], min(day for _, day in leaving)
    who = ", ".join(f"{one.count} of {one.batch}" for one in stock)
    return Relief(
        f"clear vat {vat} by {_iso(problem, day)} ({who})", "clear", sum(map(_bulk, stock)) / 1e6,
        sum(one.count * one.handling_seconds for one in stock) / 60.0, 0, 0, proved=False, vat=vat, day=day,
        count=sum(one.count for one in stock),
    )  # fmt: skip


# ── land later, or in two parts ─────────────────────────────────────────────────────────────────────────────────────


def _delay(problem: Problem, short: dict[str, int]) -> Iterator[_Idea]:
    for shipment in dict.fromkeys(batch.shipment for batch in problem.batches if batch.id in short):
        if not shipment:
            continue
        start = min(batch.stages[0].start_day for batch in problem.batches if batch.shipment == shipment)
        for days in _waits(problem, shipment):
            when = _iso(problem, start + days)
            late = Relief(
                f"let shipment {shipment} land on {when}, {days} days later", "delay", 0.0,
                OFFICE_MINUTES + DAY_MINUTES * days, 0, 0,
                proved=False, shipment=shipment, day=days,
            )  # fmt: skip
            yield _Idea(late, apply(problem, late))
            parts = replace(late, do=f"let half of shipment {shipment} land on {when}, {days} days later", kind="split")
            yield _Idea(parts, apply(problem, parts))


def _waits(problem: Problem, shipment: str) -> list[int]:
    """Waits worth trying: a week, two, and until those who are in its vats have left."""
    waits = {7, 14}
    gap = {vat.id: vat.fallow_days for vat in problem.vats}
    others = [batch for batch in problem.batches if batch.shipment != shipment]
    for batch in problem.batches:
        for stage in batch.stages if batch.shipment == shipment else ():
            leaving = [one.until_day + gap[one.vat] for one in problem.standing if one.vat in stage.vats]
            leaving += [last.end_day for one in others for last in one.stages if last.stage == stage.stage]
            waits.update(day - stage.start_day for day in leaving if 0 < day - stage.start_day <= 90)
    ordered = sorted(waits)
    return sorted({*ordered[:2], *ordered[-2:]})


# ── move what the farm would rather leave ───────────────────────────────────────────────────────────────────────────


def _move(problem: Problem) -> Iterator[_Idea]:
    """Each stay that is not to be moved, moved after all, most bulky first."""
    fixed = [
        one
        for one in problem.standing
        if not one.movable
        and one.served_day <= one.move_day
        and one.move_to
        and one.from_day <= 0
        and one.until_day > one.move_day
    ]
    for one in sorted(fixed, key=lambda one: (-_bulk(one), one.batch, one.vat))[:6]:
        idea = Relief(
            f"move the {one.count} of {one.batch} out of vat {one.vat} by {_iso(problem, one.move_day)} to another vat",
            "move", _bulk(one) / 1e6, 2 * one.count * one.handling_seconds / 60.0, 0, 0, proved=False,
            vat=one.vat, day=one.move_day, batch=one.batch, count=one.count,
        )  # fmt: skip
        yield _Idea(idea, apply(problem, idea))


# ── let lots in quarantine stay longer ──────────────────────────────────────────────────────────────────────────────


def _hold(problem: Problem, short: dict[str, int]) -> Iterator[_Idea]:
    """Each water in which a batch would place animals if it were let in and the lots there waited for it."""
    for system in problem.systems:
        for day in days_to_hold(problem, system.id, short):
            held = lots_held(problem, system.id, day)
            animals = sum(one.count for one in held)
            longer = max(day - one.until_day for one in held)
            who = ", ".join(dict.fromkeys(one.batch for one in held))
            days = "1 day" if longer == 1 else f"{longer} days"
            idea = Relief(
                f"hold {who} in {system.id} until {_iso(problem, day)}, {days} longer, so that newcomers may join",
                "hold", 0.0, OFFICE_MINUTES + DAY_MINUTES * longer, 0, 0,
                proved=False, vat=system.id, day=day, batch=held[0].batch, count=animals,
            )  # fmt: skip
            yield _Idea(idea, apply(problem, idea))


# ── carrying a relief out ───────────────────────────────────────────────────────────────────────────────────────────


def apply(problem: Problem, act: Relief) -> Problem:
    """The problem as it is once the owner has done what a relief says."""
    for step in act.steps:
        problem = apply(problem, step)
    if act.steps:
        return problem
    if act.kind == "fewer":
        batches = [_less(one, act.count) if one.id == act.batch else one for one in problem.batches]
        return replace(problem, batches=tuple(one for one in batches if one is not None))
    if act.kind == "hold":
        return held_until(problem, act.vat, act.day)
    if act.kind == "clear":
        return replace(problem, standing=tuple(_gone(one, act) for one in problem.standing))
    if act.kind == "move":
        standing = tuple(
            replace(one, movable=True) if (one.batch, one.vat) == (act.batch, act.vat) and one.move_to else one
            for one in problem.standing
        )
        return replace(problem, standing=standing)
    moved = [part for one in problem.batches for part in _parts(one, act)]
    return replace(problem, batches=tuple(moved))


def _less(batch: BatchNeed, count: int) -> BatchNeed | None:
    rest = batch.count - count
    return replace(batch, count=rest, min_portion=min(batch.min_portion, rest)) if rest > 0 else None


def _gone(standing: Standing, act: Relief) -> Standing:
    if (
        standing.vat != act.vat
        or standing.served_day > act.day
        or standing.from_day > 0
        or standing.until_day <= act.day
    ):
        return standing
    return replace(standing, until_day=act.day, movable=False)


def _parts(batch: BatchNeed, act: Relief) -> list[BatchNeed]:
    if batch.shipment != act.shipment:
        return [batch]
    late = tuple(_shifted(stage, act.day) for stage in batch.stages)
    if act.kind == "delay":
        return [replace(batch, stages=late)]
    second = batch.count // 2
    first = replace(batch, count=batch.count - second, min_portion=min(batch.min_portion, batch.count - second))
    if not second:
        return [first]
    rest = replace(
        batch, id=f"{batch.id}/2", shipment=f"{batch.shipment}/2", count=second, stages=late,
        min_portion=min(batch.min_portion, second),
    )  # fmt: skip
    return [first, rest]


def _shifted(stage: StageNeed, days: int) -> StageNeed:
    return replace(stage, start_day=stage.start_day + days, end_day=stage.end_day + days)
