"""Runs the receiving day: best simple rule, then a search over orders, then the constraint solver, aim after aim.

The day so far is kept here and replaced only by a better one, so the answer is never worse than the best simple rule
whatever the solver says.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from math import ceil
from typing import TYPE_CHECKING, Any

from intake.errors import BadInput, Finding
from intake.receiving.placed import Placed
from intake.receiving.problem import DayProblem, Underway
from intake.receiving.solution import Aim, DayPlan, Progress, moved, plan_of
from intake.receiving.solving import day_tuning as tuning
from intake.receiving.solving.bounds import alone, kept_bound, lower_bounds
from intake.receiving.solving.box_placing import AIMS, aims
from intake.receiving.solving.day_model import DayModel, canonical
from intake.receiving.solving.day_stock import FAR
from intake.receiving.solving.finish_proof import can_end_by, least_end
from intake.receiving.solving.keeping import kept_plan, pushed_back, worth_moving
from intake.receiving.solving.opening_rules import best_rule
from intake.receiving.solving.order_search import better_order, tries_for

if TYPE_CHECKING:
    from intake.receiving.solving.resource_prices import Prices

__all__ = ["replay", "rerun", "run_day", "started_by"]


Tell = Callable[[Progress], object]
Stop = Callable[[], bool]
Watch = Callable[[Callable[[], Any], Callable[[], None]], Any]


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
    priced: list[int] = field(default_factory=lambda: [-FAR] * len(AIMS))
    """Bounds by prices: reported, and not given to the solver, whose search they led astray on two of twelve days."""

    @property
    def value(self) -> tuple[int, int, int, int, int]:
        return aims(self.problem, self.best)

    def seen(self, placed: Sequence[Placed]) -> None:
        """Report a better day the order search has come to."""
        self.tell(Progress("order", aims(self.problem, placed), "search over orders"))

    def offer(self, found: Sequence[Placed], step: str, source: str) -> None:
        """Keep a day if it is better."""
        if aims(self.problem, found) < self.value:
            self.best = canonical(self.problem, found)
            self.tell(Progress(step, self.value, source))


def run_day(
    problem: DayProblem,
    *,
    seconds: float = 5.0,
    seed: int = 0,
    progress: Tell | None = None,
    stop: Stop | None = None,
    watch: Watch | None = None,
) -> DayPlan:
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
    stop
        Asked now and then; once it says yes, the best day so far is given back and marked not reproducible.
    watch
        Runs the solver for us and may call the second function it is given to halt it; without it the solver is not
        interrupted.

    Returns
    -------
    DayPlan
        Always one: what cannot be done by closing time is planned after it and said so.
    """
    if not 0 <= seconds <= 600:
        raise BadInput(Finding("seconds", f"{seconds:g}", "0 to 600"))
    return _solved(problem, seconds, seed, progress, stop, watch)


def rerun(
    problem: DayProblem,
    previous: DayPlan,
    now: datetime,
    *,
    closed: Collection[str] = (),
    seconds: float = tuning.RERUN_SECONDS,
    seed: int = 0,
    progress: Tell | None = None,
    stop: Stop | None = None,
) -> DayPlan:
    """Plan the rest of a day that has begun, done and started work staying where it is.

    The plan before is the start: without news it is given back as it is, at once.  An unopened box moves only where its
    time no longer holds, or gains more than :data:`~intake.receiving.solving.day_tuning.MOVE_PRICE` for each box moved.

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
    seconds
        As for :func:`run_day`, for the search over orders alone.

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
    today = replace(problem, now=problem.minute(now), underway=(*problem.underway, *underway)).completed()
    return replay(today, previous, seconds=seconds, seed=seed, progress=progress, stop=stop)


def replay(
    day: DayProblem,
    previous: DayPlan,
    *,
    seconds: float = tuning.RERUN_SECONDS,
    seed: int = 0,
    progress: Tell | None = None,
    stop: Stop | None = None,
) -> DayPlan:
    """A plan kept from before, brought to the day as it is now with as little moved as can be.

    Parameters
    ----------
    day
        A completed day.
    """
    held = kept_plan(day, previous)
    best = held.placed
    if held.as_it_was:
        value = aims(day, best)
        rows = _aims(value, lower_bounds(day, best), value)
        after = plan_of(day, best, aims=rows, rule=previous.rule, seconds=0.0, reproducible=True)
        return replace(after, moved=moved(previous, after))
    rule, simple = best_rule(day)
    others = [pushed_back(day, held), canonical(day, simple)]
    others.append(better_order(day, others[-1], tries=tries_for(day, seconds), seed=seed, stop=stop))
    for found in others:
        if worth_moving(day, best, found, held.before):
            best = found
            if progress is not None:
                progress(Progress("order", aims(day, best), "kept plan"))
    value = aims(day, best)
    rows = _aims(value, lower_bounds(day, best), aims(day, simple))
    after = plan_of(day, best, aims=rows, rule=rule, seconds=0.0, reproducible=stop is None or not stop())
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


def _solved(
    problem: DayProblem, seconds: float, seed: int, progress: Tell | None, stop: Stop | None, watch: Watch | None
) -> DayPlan:
    day = problem.completed()
    rule, placed = best_rule(day)
    placed = canonical(day, placed)
    run = _Run(day, placed, list(lower_bounds(day, placed)), progress or (lambda _: None), _effort(day, seconds))
    run.tell(Progress("order", run.value, rule))
    if day.boxes and seconds:
        found = better_order(day, run.best, tries=tries_for(day, seconds), seed=seed, stop=stop, tell=run.seen)
        run.offer(found, "order", "search over orders")
        run.bounds = [max(pair) for pair in zip(run.bounds, lower_bounds(day, run.best), strict=True)]
        _pursue(run, seconds, seed, stop, watch)
    stopped = stop is not None and stop()
    return plan_of(
        day,
        run.best,
        aims=_aims(run.value, [max(pair) for pair in zip(run.bounds, run.priced, strict=True)], aims(day, placed)),
        rule=rule,
        seconds=run.wall,
        reproducible=run.reproducible and not stopped,
    )


def _effort(day: DayProblem, seconds: float) -> float:
    return seconds * min(tuning.MOST_WORK, tuning.WORK_OF_BOXES / max(1, len(day.boxes)))


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


def _solve(solver: Any, cp: Any) -> Any:
    return solver.solve(cp)


def _asked_to_stop(stop: Stop | None) -> bool:
    return stop is not None and stop()


def _price(run: _Run, prices: Prices, number: int, seconds: float) -> None:
    """Bound an aim in hours, the aims before it kept, by prices of all resources."""
    if number < len(AIMS) - 1 and run.value[number] > run.bounds[number]:
        rounds = min(tuning.PRICE_ROUNDS, ceil(seconds * tuning.PRICE_ROUNDS_PER_SECOND))
        run.priced[number] = kept_bound(prices, number, run.value, rounds)


def _pursue(run: _Run, seconds: float, seed: int, stop: Stop | None, watch: Watch | None) -> None:
    """Optimize the objectives in order, keeping earlier ones, until proved or out of time."""
    if all(value <= bound for value, bound in zip(run.value, run.bounds, strict=True)):
        return
    from ortools.sat.python import cp_model

    first = {box: put.open_at for box, put in alone(run.problem).items()}
    model = DayModel(run.problem, cp_model.CpModel(), first, cp_model.Domain.from_intervals)
    from intake.receiving.solving.resource_prices import Prices  # brings numpy, which no count needs

    prices = Prices(run.problem, first, max(put.placed_at for put in run.best))
    work = _Work(run, cp_model, seconds, seed, stop, watch)
    proving = len(run.problem.boxes) < tuning.LARGE_DAY
    for number, name in enumerate(AIMS):
        last = number == len(AIMS) - 1
        if not _asked_to_stop(stop):
            _price(run, prices, number, seconds)
        if run.value[number] > max(run.bounds[number], run.priced[number]) and not _asked_to_stop(stop):
            effort = run.left * tuning.SHARES[number] * (1 - tuning.PROOF_SHARE if last and proving else 1)
            solver = cp_model.CpSolver()
            model.cp.minimize(model.aims[number])
            model.cp.add(model.aims[number] >= run.bounds[number])
            model.hint(run.best)
            if work.solved(solver, max(effort, 0.01), model.cp) in (cp_model.OPTIMAL, cp_model.FEASIBLE):
                found = model.read(solver.value, run.best)
                if found is not None:
                    run.offer(found, name, "constraint solver")
                    run.offer(better_order(run.problem, found, tries=1, seed=seed), name, "constraint solver")
                run.bounds[number] = max(run.bounds[number], ceil(solver.best_objective_bound - 1e-6))
        if not last:
            model.cp.add(model.aims[number] <= run.value[number])
    if proving:
        ends_by = partial(work.ends_by, model)
        run.bounds[-1] = least_end(run.bounds[-1], run.value[-1], ends_by, step=tuning.PROOF_STEP)


@dataclass(frozen=True, slots=True)
class _Work:
    """Runs the constraint solver for a day, and counts what it takes."""

    run: _Run
    words: Any
    seconds: float
    seed: int
    stop: Stop | None
    watch: Watch | None

    def solved(self, solver: Any, effort: float, cp: Any) -> Any:
        """The solver's status after at most so much effort, or at the brake."""
        run, brake = self.run, max(tuning.BRAKE * self.seconds, 10.0)
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = self.seed % 2**31
        solver.parameters.max_deterministic_time = effort
        solver.parameters.max_time_in_seconds = max(0.0, brake - run.wall)
        solve = partial(_solve, solver, cp)
        status = solve() if self.watch is None else self.watch(solve, solver.stop_search)
        run.wall += solver.wall_time
        run.left = max(0.0, run.left - solver.response_proto.deterministic_time)
        run.reproducible &= run.wall < brake - 0.1
        return status

    def ends_by(self, model: DayModel, minute: int) -> bool | None:
        """Whether the day can end by a minute, the aims before kept; a day that does is offered."""
        effort = min(self.run.left, tuning.PROOF_EFFORT)
        if effort < tuning.PROOF_EFFORT / 5 or _asked_to_stop(self.stop):
            return None
        solver, words = self.words.CpSolver(), (self.words.OPTIMAL, self.words.FEASIBLE, self.words.INFEASIBLE)
        ends = can_end_by(model, minute, partial(self.solved, solver, effort), words)
        if ends and (found := model.read(solver.value, self.run.best)) is not None:
            self.run.offer(found, AIMS[-1], "constraint solver")
        return ends
