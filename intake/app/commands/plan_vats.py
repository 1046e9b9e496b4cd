"""Propose and accept a vat plan, saved with the facts it was made from, and promise to clear vats."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

from intake.app.queries.planning.accepted_plan import accepted, kept_pins, promised
from intake.app.queries.planning.announced_shipments import waiting
from intake.app.queries.planning.plan_question import aims_in_order, framed
from intake.app.queries.planning.plan_remarks import counted_words, water_warnings
from intake.app.queries.planning.present_stock import freedoms
from intake.app.session import House, Reach
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.ledger import latest
from intake.plan.answers.least_change_replan import carried_over, in_heads, least_change, promised_first
from intake.plan.answers.water_forecast import forecast
from intake.plan.framing import Arrival
from intake.plan.model.pins import Pins, pinned
from intake.plan.problem import Problem
from intake.plan.solution import Placement, Progress, Solution
from intake.plan.solve import solve
from intake.plan.solvers.cpsat import run
from intake.plan.worth import Aim, aim_before_search, most_value, pins_cost, value_placed

__all__ = ["Proposal", "accept", "clear_vat", "compared", "propose", "repinned", "still_asked"]


@dataclass(frozen=True, slots=True)
class Proposal:
    """A plan with the question it answers and the day its days are counted from."""

    id: str
    problem: Problem
    solution: Solution
    day_zero: date
    fingerprint: str
    read: Reach | None = None
    """How far the ledger had been read when the plan was made."""
    warnings: tuple[str, ...] = ()
    pins: Pins = field(default_factory=Pins)
    pins_cost: int = 0
    """Animals that would be placed more without the pins."""
    aim: Aim = field(default_factory=lambda: Aim("heads", "nothing was asked of value"))
    """What an animal counts in it, and why."""
    counted_on: tuple[str, ...] = ()
    """Growth, and sales of present stock, that the plan counts on, in words."""

    def as_dict(self) -> dict[str, object]:
        """The plan as the command contract names it, with its id."""
        waters = [one.as_dict(self.day_zero) for one in forecast(self.problem, self.solution)]
        told = {
            "waters": waters,
            "warnings": list(self.warnings),
            "pins": list(self.pins.words()),
            "pins_cost": self.pins_cost,
            "value": value_placed(self.problem, self.solution),
            "currency": self.problem.money or "",
            "aim": self.aim.as_dict(),
            "counted_on": list(self.counted_on),
        }
        return {"plan": self.id, **self.solution.as_dict(self.day_zero), **told}


def propose(
    house: House,
    *,
    extra: Sequence[Arrival] = (),
    seconds: float = 20.0,
    seed: int = 1,
    reliefs: bool = True,
    afresh: bool = False,
    weights: Mapping[str, int] | None = None,
    order: Sequence[str] = (),
    fewer: Mapping[str, int] | None = None,
    hold: Mapping[str, date] | None = None,
    progress: Callable[[Progress], bool | None] | None = None,
    relief_progress: Callable[[str, int, int], object] | None = None,
    pins: Pins | None = None,
    by_value: bool = True,
) -> Proposal:
    """Solve the plan for everything still to come, as near the accepted plan as placing most animals allows.

    Parameters
    ----------
    extra
        Arrivals of a what-if: they are planned with the rest, and the answer is not kept.
    reliefs
        Whether to look for relief when animals are left over.
    afresh
        Take no heed of the plan accepted before.
    weights
        Batch id → worth of one of its animals against the others, at least 1.
    order
        Aims by their short names (``held``, ``moves``, ``vats``, ``room``, ``balance``) in the order to pursue them; those not
        named follow in the usual order.  Animals placed always come first, room and balance after the other two.
    fewer
        Batch id → animals no room is kept for, such as those that will probably be dead on arrival.
    relief_progress
        Called with each relief about to be searched, its number and how many there are; a true answer ends the searching.
    hold
        Quarantine system → the day until which its present lots may be held longer, so that newcomers may join them.
    pins
        What a person has decided of vats; ``None``: what was kept with the plan accepted last.
    by_value
        Where animals are left over and every price is known, place most value instead of most animals.

    Raises
    ------
    UnknownName
        A weight for a batch that is not to come.
    BadInput
        A weight below 1, or an order that cannot be.
    """
    aims = aims_in_order(order)
    free = framed(house, extra, weights, fewer, hold)
    pins = kept_pins(house, free) if pins is None else pins
    asked = problem = pinned(free, pins)
    kept = () if afresh else promised(house, problem)
    start, spared = carried_over(problem, kept) if kept else None, tuple[str, ...]()
    solution = solve(problem, seconds=seconds, seed=seed, progress=progress, start=start, order=aims)
    aim = _aim_asked(problem, solution, weights or {}, by_value=by_value)
    if aim.counts == "value":
        problem, solution, aim = most_value(problem, solution, seconds=seconds / 2, seed=seed, order=aims)
    if kept:
        problem, solution, spared = _near_the_accepted(
            problem, solution, kept, (seconds / 2, seed, aims), weighted=bool(weights)
        )
    if reliefs and solution.status == "short":
        from intake.plan.answers.relief_options import relief

        solution = replace(
            solution, relief=relief(problem, solution, seconds=seconds, seed=seed, report=relief_progress)
        )
    number = 1 + len(house.latest("plan"))
    warnings = (*spared, *water_warnings(house, problem))
    price = pins_cost(free, solution, pins, seconds=seconds / 4, seed=seed)
    made = fingerprint(asked)  # what was asked: worth by price is the answer's own
    counted = counted_words(house, free)
    return Proposal(
        f"P{number}", problem, solution, house.today, made, house.view.reach, warnings, pins, price, aim, counted
    )


def _aim_asked(problem: Problem, solution: Solution, weights: Mapping[str, int], *, by_value: bool) -> Aim:
    """What animals shall count: as a person said, else by price where someone is left over and prices let them be compared."""
    if weights:
        return Aim("hand", ", ".join(f"each of {batch} counts {worth}" for batch, worth in sorted(weights.items())))
    if solution.status != "short":
        return Aim("heads", "all have a place, so no price decides")
    return aim_before_search(problem) if by_value else Aim("heads", "as asked for")


def _near_the_accepted(
    problem: Problem,
    solution: Solution,
    kept: Sequence[Placement],
    effort: tuple[float, int, tuple[str, ...]],
    *,
    weighted: bool,
) -> tuple[Problem, Solution, tuple[str, ...]]:
    """The plan nearest the accepted one; no newcomer takes a place promised in it, unless a person weighs the animals.

    Parameters
    ----------
    effort
        Seconds for each search, its seed, and the order of the aims.
    """
    seconds, seed, order = effort
    most, lost, before = solution.placed_bound, tuple[str, ...](), solution.placed
    if not weighted and solution.status == "short":
        problem, solution, lost = promised_first(problem, solution, kept, seconds=seconds, seed=seed, order=order)
    solution = least_change(problem, solution, kept, run, seconds=seconds, seed=seed, order=order)
    if not lost:
        return problem, solution, ()
    solution = in_heads(solution, most)
    more = before - solution.placed
    words = (
        f"Places accepted for {', '.join(lost)} come first. Without that {more} more would fit (vatside plan --afresh)."
    )
    return problem, solution, (words,) if more > 0 else ()


def compared(proposal: Proposal, *, seconds: float = 20.0, seed: int = 1) -> list[dict[str, object]]:
    """The proposal's question planned three ways: no one stays longer, newcomers wait, lots that stand are held as well."""
    from intake.plan.answers.hold_policies import side_by_side

    rows: list[dict[str, object]] = []
    for one in side_by_side(proposal.problem, seconds=seconds, seed=seed):
        holds = [
            {"system": system, "until": (proposal.day_zero + timedelta(days=day)).isoformat()}
            for system, day in one.holds
        ]
        rows.append(
            {
                "policy": one.words,
                "announced": one.announced,
                "placed": one.placed,
                "placed_bound": one.bound,
                "proved": one.proved,
                "newcomers_wait_animal_days": one.waiting_days,
                "current_held_animal_days": one.held_days,
                "holds": holds,
            }
        )
    return rows


def fingerprint(problem: Problem) -> str:
    """Name of the facts a plan was made from: equal facts, equal name."""
    return hashlib.sha256(repr(problem).encode()).hexdigest()[:16]


def still_asked(free: Problem, proposal: Proposal) -> bool:
    """Whether a proposal answers the question as it is now: the farm as framed, with the pins of the proposal.

    Parameters
    ----------
    free
        The question of the present without pins, as :func:`intake.app.queries.planning.plan_question.framed` frames it.
    """
    try:
        return fingerprint(pinned(free, proposal.pins)) == proposal.fingerprint
    except BadInput:  # a pinned batch is no longer to come
        return False


def repinned(free: Problem, pins: Pins, batch: str, stage: str, vats: Sequence[str]) -> Pins:
    """The pins with another choice for one stage of a batch; no vats: any that suits. Its other stages stay as they were.

    Raises
    ------
    UnknownName
        No such batch is to come, or it has no such stage.
    BadInput
        A vat that is not there or does not suit the batch.
    """
    need = next((one for one in free.batches if one.id == batch), None)
    if need is None:
        raise UnknownName("batch", batch, [one.id for one in free.batches][:3], "batch")
    its = next((one for one in need.stages if one.stage == stage), None)
    if its is None:
        raise UnknownName("stage", stage, [one.stage for one in need.stages], "stage")
    unfit = [vat for vat in vats if vat not in its.vats]
    if unfit:
        raise BadInput(
            Finding("vat", ", ".join(unfit)[:40], f"a vat that suits {batch} in {stage}: {', '.join(its.vats)}")
        )
    kept = [vat for vat in pins.pin.get(batch, ()) if vat not in its.vats]
    told = {**pins.pin, batch: (*kept, *vats)}
    found = replace(pins, pin={name: some for name, some in told.items() if some})
    pinned(free, found)
    return found


def keep(house: House, proposal: Proposal, state: str) -> None:
    """Write the plan into the ledger."""
    plan = proposal.as_dict()
    payload = {
        "state": state,
        "plan": plan,
        "facts": {
            "made_at": house.now.isoformat(),
            "day_zero": proposal.day_zero.isoformat(),
            "fingerprint": proposal.fingerprint,
            "shipments": waiting(house),
            "seed": proposal.solution.seed,
            "pins": proposal.pins.as_dict(),
        },
    }
    with house.act() as act:
        act.unchanged("plan", what="the accepted plan", since=proposal.read)
        act.unchanged("shipment", what="the shipments it was made for", since=proposal.read)
        act.note("plan", proposal.id, json.loads(json.dumps(payload, default=str)))


def _numbered(house: House, proposal: Proposal) -> Proposal:
    """The proposal with an id no one has used since it was made."""
    taken = latest(house.books.records("plan"), "plan")
    return replace(proposal, id=f"P{1 + len(taken)}") if proposal.id in taken else proposal


def accept(house: House, proposal: Proposal, *, short: bool = False) -> str:
    """Accept a plan: it is stored with its facts and the one before it is superseded for the batches in both.

    A plan that says what the last accepted one says already is not written again.

    Parameters
    ----------
    short
        Accept although animals are left over.

    Raises
    ------
    Refused
        Animals are left over and ``short`` is not set, or nothing is to come.
    """
    if not proposal.problem.batches:
        raise Refused(Finding("plan", "nothing to come", "a shipment", "Read a packing list with `vatside expect`."))
    left = proposal.solution.announced - proposal.solution.placed
    if left and not short:
        raise Refused(
            Finding(
                "plan",
                f"{left} animals not placed",
                "a plan in which all fit",
                "Make room in one of the listed ways and plan again, or accept anyway with --short.",
            )
        )
    before = accepted(house)
    same = {"placements", "moves"}
    told: Any = json.loads(json.dumps(proposal.as_dict(), default=str))
    if before is not None and all(before["plan"][name] == told[name] for name in same):
        return f"Plan {before['plan']['plan']} stays accepted: no change. Nothing was saved"
    proposal = _numbered(house, proposal)
    keep(house, proposal, "accepted")
    return f"Plan {proposal.id} accepted" + (f"; it supersedes {before['plan']['plan']}" if before else "")


def clear_vat(house: House, vat: str, by: date, *, key: str = "") -> list[str]:
    """Promise that what is in a vat will be gone by a day, so that the plan may use it.

    Raises
    ------
    UnknownName
        No such vat.
    Refused
        Nothing is in it, or what is there is in quarantine and not released (quarantine is never shortened).
    """
    house.site.vat(vat)
    inside = house.floor().in_vat(vat)
    if not inside:
        raise Refused(Finding(f"vat {vat}", "empty", "a vat with animals in it"))
    if by < house.today:
        raise BadInput(Finding("--by", by.isoformat(), f"{house.today} or later"))
    _not_from_quarantine(house, vat, by)
    known = house.latest("standing")
    with house.act(key) as act:
        for stay in inside:
            act.unchanged("standing", stay.batch, what=f"what was promised of {stay.batch}")
            before = dict(known[stay.batch].payload) if stay.batch in known else {"movable": False}
            vats: Any = before.get("vats") or {}
            promise = {"leaves": by.isoformat(), "vats": {**vats, vat: by.isoformat()}}
            act.note("standing", stay.batch, {**before, **promise})
    return [f"{vat} to be empty by {by}: {stay.count} of {stay.batch} must leave" for stay in inside]


def _not_from_quarantine(house: House, vat: str, by: date) -> None:
    """Refuse to promise a vat whose animals are in quarantine on that day: quarantine is never shortened."""
    free = freedoms(house)
    faults = []
    for stay in house.floor().in_vat(vat):
        if stay.stage != "quarantine":
            continue
        told = free[stay.batch, stay.stage]
        ends = told.day(house.site.farm.zone, house.today)
        if ends is None or by < ends:
            until = f"until {ends} at least" if ends else f"with no day yet ({'; '.join(told.unknown)})"
            faults.append(
                Finding(
                    f"vat {vat}",
                    f"{stay.count} of {stay.batch} in quarantine {until}",
                    "a vat whose animals are free by then",
                    "Quarantine is never shortened: clear another vat, or choose a later day.",
                )
            )
    if faults:
        raise Refused(faults)


def last_day(proposal: Proposal) -> date:
    """Last day the plan speaks of."""
    return proposal.day_zero + timedelta(days=max((p.until_day for p in proposal.solution.placements), default=0))
