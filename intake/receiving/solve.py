"""Runs the receiving day: best simple rule, then a search over orders, then the constraint solver, aim after aim.

The day so far is kept here and replaced only by a better one, so the answer is never worse than the best simple rule
whatever the solver says.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from math import ceil

from intake.errors import BadInput, Finding
from intake.receiving.bounds import alone, lower_bounds
from intake.receiving.model import DayModel, canonical
from intake.receiving.placing import AIMS, Placed, aims, place_in_order
from intake.receiving.problem import DayProblem, Underway
from intake.receiving.rules import best_rule
from intake.receiving.search import better_order
from intake.receiving.solution import Aim, DayPlan, Progress, moved, plan_of

__all__ = ["rerun", "run_day", "started_by"]

SHARES = (0.15, 0.25, 0.2, 0.6, 1.0)
"""Part of the effort still left that each aim may use."""
MOST_WORK, WORK_OF_BOXES = 0.3, 1.8
"""Units of the solver's own deterministic measure per second asked for: at most, and over the number of boxes, since a
unit takes the longer the larger the day (measured: 14 s at 60 boxes)."""
PLACED_PER_SECOND = 14_000
"""Boxes placed per second asked for: about half of it."""
TRIES_PER_BOX = 100
"""Orders tried at most, per box of the day: small days are left to the solver, which proves them."""
BRAKE = 8.0
"""Times the seconds asked for after which the wall clock stops the solver and the plan is marked not reproducible."""

Tell = Callable[[Progress], object]


@dataclass(slots=True)
class _Run:
    """The best day so far and what is known about it."""

    problem: DayProblem
    best: tuple[Placed, ...]
    bounds: list[int]
    tell: Tell
    left: float
    wall: float = 0.0
    reproducible: bool = True
    kept: list[int] = field(default_factory=list)

    @property
    def value(self) -> tuple[int, int, int, int, int]:
        return aims(self.problem, self.best)

    def offer(self, found: Sequence[Placed], step: str, source: str) -> None:
        """Keep a day if it is better."""
        if aims(self.problem, found) < self.value:
            self.best = canonical(self.problem, found)
            self.tell(Progress(step, self.value, source))


def run_day(problem: DayProblem, *, seconds: float = 5.0, seed: int = 0, progress: Tell | None = None) -> DayPlan:
    """Plan the order of opening and every step after it.

    Parameters
    ----------
    problem
        The day.
    seconds
        About so long on a common machine, 0 to 600; the work done depends on it, never on the clock, so the same
        question gets the same plan.  At 0 the best simple rule is returned with its bounds.
    seed
        Another seed may find another plan of about the same quality.
    progress
        Called with every better plan.

    Returns
    -------
    DayPlan
        Always one: what cannot be done by closing time is planned after it and said so.
    """
    if not 0 <= seconds <= 600:
        raise BadInput(Finding("seconds", f"{seconds:g}", "0 to 600"))
    return _solved(problem, None, seconds, seed, progress)


def rerun(
    problem: DayProblem,
    previous: DayPlan,
    now: datetime,
    *,
    closed: Collection[str] = (),
    seconds: float = 5.0,
    seed: int = 0,
    progress: Tell | None = None,
) -> DayPlan:
    """Plan the rest of a day that has begun, done and started work staying where it is.

    Parameters
    ----------
    problem
        The day as it is now: a later truck, a station or person fewer, other boxes.  Records it holds in ``underway``
        win over what ``previous`` expected: work that should have begun but would share a table or a person with
        recorded work has not.
    previous
        The plan the crew has followed until ``now``.
    now
        Time-zone aware; what ``previous`` starts before it counts as started.
    closed
        Boxes that ``previous`` would have opened by now and that are still closed.

    Returns
    -------
    DayPlan
        With ``moved``: what changed against ``previous``, in sentences.
    """
    if now.tzinfo is None:
        raise BadInput(Finding("now", str(now), "a time with its time zone"))
    kept = started_by(previous, now)
    recorded = {work.box for work in problem.underway}
    boxes = {box.box for box in problem.boxes}
    underway = [
        work
        for work in kept
        if work.box in boxes - recorded - set(closed) and not any(_collide(work, record) for record in problem.underway)
    ]
    today = replace(problem, now=problem.minute(now), underway=(*problem.underway, *underway))
    after = _solved(today, previous, seconds, seed, progress)
    return replace(after, moved=moved(previous, after))


def _collide(expected: Underway, record: Underway) -> bool:
    """Whether two boxes would be opened at one table or by one person at the same time."""
    shared = expected.table == record.table or expected.opener == record.opener
    return shared and expected.opened_at < record.counted_at and record.opened_at < expected.counted_at


def started_by(plan: DayPlan, now: datetime) -> tuple[Underway, ...]:
    """What of a plan has started before ``now``, taking it that the crew kept to it."""
    minute, at = plan.problem.minute(now), plan.problem.at
    rows = []
    for put in plan.placed:
        if put.open_at < minute:
            work = Underway(put.box, at(put.open_at), at(put.counted_at), put.table, put.opener)
            if put.tub_at < minute:
                work = replace(work, tub_at=at(put.tub_at), tub=put.tub, setter=put.setter)
            if put.finish_at < minute:
                work = replace(work, finish_at=at(put.finish_at), placed_at=at(put.placed_at))
                work = replace(work, dip_place=put.dip_place, finisher=put.finisher)
            rows.append(work)
    return tuple(rows)


def _solved(problem: DayProblem, previous: DayPlan | None, seconds: float, seed: int, progress: Tell | None) -> DayPlan:
    day = problem.completed()
    rule, placed = best_rule(day)
    placed = canonical(day, placed)
    run = _Run(day, placed, list(lower_bounds(day, placed)), progress or (lambda _: None), _effort(day, seconds))
    run.tell(Progress("order", run.value, rule))
    if day.boxes and seconds:
        run.offer(_as_before(day, previous, run.best), "order", "previous order")
        tries = min(ceil(seconds * PLACED_PER_SECOND / len(day.boxes)), TRIES_PER_BOX * len(day.boxes))
        run.offer(better_order(day, run.best, tries=tries, seed=seed), "order", "search over orders")
        run.bounds = [max(pair) for pair in zip(run.bounds, lower_bounds(day, run.best), strict=True)]
        _pursue(run, seconds, seed)
    return plan_of(
        day,
        run.best,
        aims=_aims(run.value, run.bounds, aims(day, placed)),
        rule=rule,
        seconds=run.wall,
        reproducible=run.reproducible,
    )


def _effort(day: DayProblem, seconds: float) -> float:
    return seconds * min(MOST_WORK, WORK_OF_BOXES / max(1, len(day.boxes)))


def _as_before(day: DayProblem, previous: DayPlan | None, best: Sequence[Placed]) -> tuple[Placed, ...]:
    """The order of the plan the crew holds in its hands, as far as it still goes; new boxes at the end."""
    if previous is None:
        return tuple(best)
    turn = {put.box: put.open_at for put in previous.placed}
    dock = {box.box: (not box.urgent, turn.get(box.box, day.horizon)) for box in day.boxes}
    closed = sorted((box.box for box in day.boxes if box.box not in day.begun), key=lambda box: dock[box])
    return place_in_order(day, closed)


def _aims(value: Sequence[int], bound: Sequence[int], rule: Sequence[int]) -> tuple[Aim, ...]:
    rows = []
    for number, name in enumerate(AIMS):
        last = number == len(AIMS) - 1
        scale, unit = (1, "minutes from opening time") if last else (6000, "sensitivity × hours")
        low = min(bound[number], value[number])
        rows.append(
            Aim(name, value[number] / scale, low / scale, value[number] <= bound[number], rule[number] / scale, unit)
        )
    return tuple(rows)


def _pursue(run: _Run, seconds: float, seed: int) -> None:
    """Optimize the objectives in order, keeping earlier ones, until proved or out of time."""
    if all(value <= bound for value, bound in zip(run.value, run.bounds, strict=True)):
        return
    from ortools.sat.python import cp_model

    first = {box: put.open_at for box, put in alone(run.problem).items()}
    model = DayModel(run.problem, cp_model.CpModel(), first)
    for number, name in enumerate(AIMS):
        if run.value[number] > run.bounds[number]:
            effort = run.left * SHARES[number]
            solver = cp_model.CpSolver()
            solver.parameters.num_workers = 1
            solver.parameters.random_seed = seed % 2**31
            solver.parameters.max_deterministic_time = max(effort, 0.01)
            solver.parameters.max_time_in_seconds = max(BRAKE * seconds, 10.0) - run.wall
            model.cp.minimize(model.aims[number])
            model.cp.add(model.aims[number] >= run.bounds[number])
            model.hint(run.best)
            status = solver.solve(model.cp)
            run.wall += solver.wall_time
            run.left = max(0.0, run.left - solver.response_proto.deterministic_time)
            run.reproducible &= run.wall < max(BRAKE * seconds, 10.0) - 0.1
            if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
                found = model.read(solver.value, run.best)
                if found is not None:
                    run.offer(found, name, "constraint solver")
                    run.offer(better_order(run.problem, found, tries=1, seed=seed), name, "constraint solver")
                run.bounds[number] = max(run.bounds[number], ceil(solver.best_objective_bound - 1e-6))
        model.cp.add(model.aims[number] <= run.value[number])
