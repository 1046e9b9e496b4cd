"""Make a complete timetable cheaper with CP-SAT, a few days at a time, without ever losing the one in hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from intake.timetable import timetable_tuning as tuning
from intake.timetable.problem import Problem
from intake.timetable.search.cost import job_cost, lapses, tally
from intake.timetable.search.hours import Hours
from intake.timetable.search.in_time import InTime, standing
from intake.timetable.search.recreate import Recreate
from intake.timetable.search.serial import floors
from intake.timetable.search.task_placing import followers
from intake.timetable.search.timetable_model import Model

__all__ = ["Progress", "Solved", "fewer_lapses", "fewest_moves", "improve", "less_late"]


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the search is: cost in hand, bound below it, share of the effort used."""

    step: str
    cost: int
    bound: int
    share: float


@dataclass(frozen=True, slots=True)
class Solved:
    """The timetable found, its bound and whether it is proved to be the cheapest."""

    hours: Hours
    bound: int
    proved: bool
    steps: int


def improve(
    hours: Hours, *, seconds: float, seed: int = 0, progress: Callable[[Progress], None] | None = None
) -> Solved:
    """Improve a timetable until it is proved the cheapest or the effort is used up.

    The effort is counted in the solver's deterministic time, so the same input gives the same timetable on every
    machine; ``seconds`` is about the time it takes on one core.
    """
    least = floors(hours.problem)
    run = _Run(hours, least, seconds, seed, progress)
    run.whole(tuning.WHOLE, tuning.WHOLE_SHARE)
    run.in_time()
    if tally(run.best).late:
        run.whole(tuning.CROWDED, tuning.CROWDED_SHARE)
    for turn in range(tuning.ROUNDS):
        if turn and not tally(run.best).late:
            break
        run.lift(turn)
        run.windows()
    return Solved(run.best, run.bound, run.cost <= run.bound, run.steps)


def less_late(hours: Hours, late: Sequence[int], least: list[int], seed: int) -> Hours:
    """Spare some late work lateness by moving other work: lifting for a moment, then one model around each.

    The effort is a fixed amount of deterministic work, about half a second of one core at most.
    """
    search = Recreate(hours, least, seed)
    search.aims = list(late)
    search.run(tuning.REPAIR_LOOKS, 0.0)
    found = search.answer()
    best = found if _dearness(found) < _dearness(hours) else hours
    cost, look = tally(best).cost, _Search(best.problem, least)
    for index in late[: tuning.REPAIR_MODELS]:
        if best.start[index] >= 0 and _cost(best, index) > least[index]:
            best, cost = _better(best, cost, _solve(best, look.around(best, index), tuning.REPAIR_STEP, seed))
    return best


def fewer_lapses(hours: Hours, lapsed: Sequence[int], seed: int) -> Hours:
    """Put a repeat back into its series: one model of each day on which it would still count, with all that stands there.

    Where days are so full that lifting found nothing, only all the work of a day laid out anew makes room.
    """
    best, cost = hours, tally(hours).cost
    look = _Search(best.problem, [0] * len(best.problem.jobs))
    for index in lapsed[: tuning.LAPSE_TASKS]:
        for day in _days_that_count(best, index)[: tuning.LAPSE_DAYS]:
            if best.start[index] < 0 or not _lapsed(best, index):
                break
            best, cost = _better(best, cost, _solve(best, look.on(best, index, day), tuning.LAPSE_STEP, seed))
    return best


def _lapsed(hours: Hours, index: int) -> bool:
    job = hours.problem.jobs[index]
    before = hours.start[job.after] if job.after >= 0 and hours.start[job.after] >= 0 else None
    return lapses(job, hours.start[index], before)


def _days_that_count(hours: Hours, index: int) -> list[int]:
    """Days on which a repeat may stand without its series beginning again, the last first: there is most time until then."""
    problem, job = hours.problem, hours.problem.jobs[index]
    before = hours.start[job.after] if job.after >= 0 and hours.start[job.after] >= 0 else None
    first = job.earliest if before is None else max(job.earliest, before + job.lag_min)
    ends = [] if job.lapse is None else [job.lapse]
    if before is not None and job.lapse_lag is not None:
        ends.append(before + job.lapse_lag)
    low, high = problem.day_of(first), problem.day_of(max(0, min(ends, default=job.latest)))
    return [day for day in reversed(job.days) if low <= day <= high]


def fewest_moves(hours: Hours, reach: list[int], seed: int) -> tuple[Hours, bool]:
    """The same with as few moves as can be among the jobs in reach; whether that is proved."""
    answer = _solve(hours, reach, tuning.PROOF, seed)
    best, _ = _better(hours, tally(hours).cost, answer)
    return best, answer.proved and (best is not hours or not answer.found)


class _Run:
    """One improvement with its effort, so that each phase knows what is left."""

    def __init__(
        self, hours: Hours, least: list[int], seconds: float, seed: int, progress: Callable[[Progress], None] | None
    ) -> None:
        self.best, self.least, self.seconds, self.seed, self.progress = hours, least, seconds, seed, progress
        self.cost, self.bound, self.steps, self.used = tally(hours).cost, sum(least), 0, 0.0

    def lift(self, turn: int) -> None:
        """Lift and put down in a few cycles, each from the best with other chances and less leave to be dearer.

        Later turns may besides be some slots of lateness worse for a while.
        """
        seconds = (self.seconds - self.used) * tuning.LIFTING
        least = tuning.CYCLE_WORK * len(self.best.problem.jobs)
        cycles, idle = max(1, min(tuning.CYCLES, int(seconds * tuning.WORK_PER_SECOND / max(1, least)))), 0
        for cycle in range(cycles):
            if self.cost <= self.bound or self.used >= self.seconds or idle >= tuning.IDLE_CYCLES:
                return
            before = _dearness(self.best)
            slack = tuning.SLACK * tuning.COOLER**cycle
            found = self._lifted(self.seed + 1000 * turn + 100 * cycle, seconds / cycles, slack, turn * tuning.WAY_OUT)
            idle = 0 if _dearness(found) < before else idle + 1
            if _dearness(found) <= before:
                self.best, self.cost = found, tally(found).cost

    def _lifted(self, seed: int, seconds: float, slack: float, way_out: int) -> Hours:
        """One search from the best, in pieces so that progress can be reported."""
        search = Recreate(self.best, self.least, seed)
        for piece in range(tuning.PIECES):
            left = 1 - piece / (tuning.PIECES - 1)
            going = search.run(
                int(seconds / tuning.PIECES * tuning.WORK_PER_SECOND), slack * left, int(way_out * left) + 2
            )
            self.used += seconds / tuning.PIECES
            self._tell("lifting", min(self.cost, search.best))
            if not going:
                break
        return search.answer()

    def whole(self, most: int, share: float) -> None:
        """The whole of a problem of so many jobs at most in one model, to prove what can be proved."""
        jobs = self.best.problem.jobs
        free = [index for index, job in enumerate(jobs) if not job.fixed and self.best.start[index] >= 0]
        if self.cost <= self.bound or not 0 < len(free) <= most or self.used >= self.seconds:
            return
        effort = (self.seconds - self.used) * tuning.DET_PER_SECOND * share
        answer = _solve(self.best, free, effort, self.seed)
        if self._take(answer) and answer.proved:
            self.bound = max(self.bound, self.cost)

    def in_time(self) -> None:
        """A timetable in which nothing is late, if there is one and no published time is in the way of looking for it.

        That there are hands and places enough is asked first: where there are not, which is mostly seen at once, no
        more effort is spent.
        """
        jobs = self.best.problem.jobs
        published = any(job.pinned >= 0 and not job.fixed for job in jobs)
        if published or self.used >= self.seconds or not tally(self.best).late:
            return
        base, hint, effort = standing(self.best), self.best.start, self.seconds * tuning.DET_PER_SECOND * tuning.IN_TIME
        found = self.best
        for named in (False, True):
            answer, spent = _in_time(base, hint, effort, self.seed, named=named)
            self.used += spent / tuning.DET_PER_SECOND
            if answer is None:
                return
            if named and answer.breaches(range(len(jobs))):
                return
            found, hint = answer, answer.start
        cost = tally(found).cost
        if cost < self.cost:
            self.best, self.cost = found, cost
        self._tell("in time", self.cost)

    def windows(self) -> None:
        """A few days at a time until nothing gets cheaper or the effort is used up."""
        search = _Search(self.best.problem, self.least)
        while self.cost > self.bound and self.used < self.seconds:
            free = search.next(self.best, self.seed)
            if not free:
                return
            self.steps += 1
            before = self.cost
            step = min(tuning.STEP, max(tuning.STEP / 5, (self.seconds - self.used) * tuning.DET_PER_SECOND))
            self._take(_solve(self.best, free, step, self.seed + self.steps))
            search.tell(improved=self.cost < before)
            self._tell("windows", self.cost)

    def _take(self, answer: _Answer) -> bool:
        """Go on from the answer if it is no dearer; gives whether it was taken."""
        self.used += answer.effort / tuning.DET_PER_SECOND
        before = self.best
        self.best, self.cost = _better(self.best, self.cost, answer)
        return self.best is not before

    def _tell(self, step: str, cost: int) -> None:
        if self.progress is not None:
            self.progress(Progress(step, cost, self.bound, min(1.0, self.used / self.seconds)))


class _Search:
    """Chooses which jobs to free next: around one that costs more than it must, then sliding windows of two days."""

    def __init__(self, problem: Problem, least: list[int]) -> None:
        self.problem, self.least = problem, least
        self.after = followers(problem)
        self.turn = 0
        self.idle = 0
        self.size = tuning.FREE

    def tell(self, *, improved: bool) -> None:
        self.idle = 0 if improved else self.idle + 1

    def next(self, hours: Hours, seed: int) -> list[int]:
        dear = self._dear(hours)
        if not dear:
            return []
        if self.idle > min(tuning.IDLE, 2 * len(dear)):
            if self.size >= 2 * tuning.FREE:
                return []
            self.size, self.idle = 2 * self.size, 0
        self.turn += 1
        if self.turn % 3 == 0:
            day = (self.turn // 3 + seed) % len(self.problem.days)
            return self._around(hours, [], [day, day + 1])
        target = dear[(self.turn - self.turn // 3 - 1) % len(dear)]
        return self._around(hours, self._chain(target), self._days_of(hours, target))

    def around(self, hours: Hours, target: int) -> list[int]:
        """Jobs to free around one: its chain, and the days it stands on and is wanted on."""
        return self._around(hours, self._chain(target), self._days_of(hours, target))

    def on(self, hours: Hours, target: int, day: int) -> list[int]:
        """Jobs to free so that one comes to a day: its chain, and twice as many as else of what stands there and beside it."""
        self.size = 2 * tuning.FREE
        return self._around(hours, self._chain(target), [day])

    def _dear(self, hours: Hours) -> list[int]:
        costs = [(_cost(hours, index) - self.least[index], index) for index in range(len(self.problem.jobs))]
        return [index for extra, index in sorted(costs, key=lambda row: (-row[0], row[1])) if extra > 0]

    def _chain(self, index: int) -> list[int]:
        job = self.problem.jobs[index]
        return [index, *([job.after] if job.after >= 0 else []), *self.after[index]]

    def _days_of(self, hours: Hours, index: int) -> list[int]:
        job = self.problem.jobs[index]
        return sorted({self.problem.day_of(max(0, job.low)), self.problem.day_of(hours.start[index])})

    def _around(self, hours: Hours, first: list[int], days: Sequence[int]) -> list[int]:
        chosen = [index for index in first if self._may(hours, index)]
        for reach in (0, 1, -1):
            for day in days:
                if 0 <= day + reach < len(self.problem.days):
                    chosen += [index for index in hours.jobs_on(day + reach) if self._may(hours, index)]
        return sorted(list(dict.fromkeys(chosen))[: self.size])

    def _may(self, hours: Hours, index: int) -> bool:
        return hours.start[index] >= 0 and not self.problem.jobs[index].fixed


def _dearness(hours: Hours) -> tuple[int, int]:
    """Jobs that stand nowhere, then the cost."""
    return hours.start.count(-1), tally(hours).cost


def _cost(hours: Hours, index: int) -> int:
    job, start = hours.problem.jobs[index], hours.start[index]
    if start < 0:
        return 0
    before = hours.start[job.after] if job.after >= 0 and hours.start[job.after] >= 0 else None
    return job_cost(hours.problem, job, start, before, hours.who[index])


@dataclass(frozen=True, slots=True)
class _Answer:
    found: dict[int, tuple[int, tuple[int, ...]]]
    effort: float
    proved: bool


def _better(hours: Hours, cost: int, answer: _Answer) -> tuple[Hours, int]:
    """The answer applied to a copy if it is no dearer, calculated by our own sums and not by the solver's."""
    if not answer.found:
        return hours, cost
    twin = hours.copy()
    for index in answer.found:
        twin.take(index)
    for index, (start, who) in answer.found.items():
        twin.put(index, start, who)
    now = tally(twin).cost
    # the model knows neither changes of water nor recovery between two jobs it moves both: such an answer is left
    sound = twin.breaches(answer.found) <= hours.breaches(answer.found)
    return (twin, now) if now <= cost and sound else (hours, cost)


def _solve(hours: Hours, free: list[int], effort: float, seed: int) -> _Answer:
    """One CP-SAT model over the freed jobs; all others stand and are in the way."""
    from ortools.sat.python import cp_model

    base = hours.copy()
    for index in free:
        base.take(index)
    model = Model(cp_model, base, hours, free)
    solver = _solver(effort, seed)
    status = solver.solve(model.model)
    spent = max(float(solver.response_proto.deterministic_time), 1e-3)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return _Answer({}, spent, proved=False)
    found = {
        index: (
            solver.value(model.start[index]),
            tuple(person for person, literal in model.named[index] if solver.boolean_value(literal)),
        )
        for index in free
    }
    return _Answer(found, spent, status == cp_model.OPTIMAL)


def _in_time(base: Hours, hint: list[int], effort: float, seed: int, *, named: bool) -> tuple[Hours | None, float]:
    """The first timetable found in which nothing is late, and the effort spent."""
    from ortools.sat.python import cp_model

    model = InTime(cp_model, base, hint, named=named)
    if not model.possible:
        return None, 0.0
    solver = _solver(effort, seed)
    found = solver.solve(model.model) in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    spent = max(float(solver.response_proto.deterministic_time), 1e-3)
    return (model.answer(solver) if found else None), spent


def _solver(effort: float, seed: int) -> Any:
    """A solver that does the same on every machine: one worker, effort counted."""
    from ortools.sat.python import cp_model

    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed
    solver.parameters.max_deterministic_time = effort
    solver.parameters.max_time_in_seconds = 60.0 + 20.0 * effort  # a brake only; never reached in a sound run
    return solver
