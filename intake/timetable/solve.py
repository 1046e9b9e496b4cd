"""Make a complete timetable cheaper with CP-SAT, a few days at a time, without ever losing the one in hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from intake.timetable.cost import MOVE_COST, WHO_COST, dark_from, job_cost, late_slots, tally
from intake.timetable.hours import Hours, runs
from intake.timetable.problem import PART_COST, Job, Problem
from intake.timetable.recreate import Recreate
from intake.timetable.serial import floors, followers

__all__ = ["Progress", "Solved", "improve"]

_WORK_PER_SECOND = 100_000
"""Person-days the search by lifting and putting down looks at in a second of one core: measured, docs/decisions."""

_DET_PER_SECOND = 0.12
"""Deterministic seconds the solver does in a second of one core: measured, docs/decisions."""

_LIFTING = 0.7
"""Share of the effort given to lifting and putting down; CP-SAT has the rest."""

_SLACK = 0.05
_STEP = 0.1
_WHOLE = 60
_WHOLE_SHARE = 0.4
_FREE = 40
_REACH_DAYS = 8


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
    run.whole()
    run.lift()
    run.windows()
    return Solved(run.best, run.bound, run.cost <= run.bound, run.steps)


class _Run:
    """One improvement with its effort, so that each phase knows what is left."""

    def __init__(
        self, hours: Hours, least: list[int], seconds: float, seed: int, progress: Callable[[Progress], None] | None
    ) -> None:
        self.best, self.least, self.seconds, self.seed, self.progress = hours, least, seconds, seed, progress
        self.cost, self.bound, self.steps, self.used = tally(hours).cost, sum(least), 0, 0.0

    def lift(self) -> None:
        """Lift and put down, in ten pieces so that progress can be told."""
        if self.cost <= self.bound or self.seconds <= 0:
            return
        search = Recreate(self.best, self.least, self.seed)
        share = (self.seconds - self.used) * _LIFTING / 10
        for turn in range(10):
            going = search.run(int(share * _WORK_PER_SECOND), _SLACK * (9 - turn) / 9)
            self.used += share
            self._tell("lifting", min(self.cost, search.best))
            if not going:
                break
        found = search.answer()
        if found.start.count(-1) <= self.best.start.count(-1) and tally(found).cost <= self.cost:
            self.best, self.cost = found, tally(found).cost

    def whole(self) -> None:
        """The whole of a small problem in one model, to prove what can be proved."""
        jobs = self.best.problem.jobs
        free = [index for index, job in enumerate(jobs) if not job.fixed and self.best.start[index] >= 0]
        if self.cost <= self.bound or not 0 < len(free) <= _WHOLE or self.used >= self.seconds:
            return
        answer = _solve(self.best, free, (self.seconds - self.used) * _DET_PER_SECOND * _WHOLE_SHARE, self.seed)
        self._take(answer)
        if answer.proved:
            self.bound = max(self.bound, self.cost)

    def windows(self) -> None:
        """A few days at a time until nothing gets cheaper or the effort is used up."""
        search = _Search(self.best.problem, self.least)
        while self.cost > self.bound and self.used < self.seconds:
            free = search.next(self.best, self.seed)
            if not free:
                return
            self.steps += 1
            before = self.cost
            self._take(_solve(self.best, free, _STEP, self.seed + self.steps))
            search.tell(improved=self.cost < before)
            self._tell("windows", self.cost)

    def _take(self, answer: _Answer) -> None:
        self.used += answer.effort / _DET_PER_SECOND
        self.best, self.cost = _better(self.best, self.cost, answer)

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
        self.size = _FREE

    def tell(self, *, improved: bool) -> None:
        self.idle = 0 if improved else self.idle + 1

    def next(self, hours: Hours, seed: int) -> list[int]:
        dear = self._dear(hours)
        if not dear:
            return []
        if self.idle > 2 * len(dear) + len(self.problem.days):
            if self.size >= 2 * _FREE:
                return []
            self.size, self.idle = 2 * self.size, 0
        self.turn += 1
        if self.turn % 3 == 0:
            day = (self.turn // 3 + seed) % len(self.problem.days)
            return self._around(hours, [], [day, day + 1])
        target = dear[(self.turn - self.turn // 3 - 1) % len(dear)]
        return self._around(hours, self._chain(target), self._days_of(hours, target))

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
    """The answer applied to a copy if it is no dearer, reckoned by our own sums and not by the solver's."""
    if not answer.found:
        return hours, cost
    twin = hours.copy()
    for index in answer.found:
        twin.take(index)
    for index, (start, who) in answer.found.items():
        twin.put(index, start, who)
    now = tally(twin).cost
    return (twin, now) if now <= cost else (hours, cost)


def _solve(hours: Hours, free: list[int], effort: float, seed: int) -> _Answer:
    """One CP-SAT model over the freed jobs; all others stand and are in the way."""
    from ortools.sat.python import cp_model

    base = hours.copy()
    for index in free:
        base.take(index)
    model = _Model(cp_model, base, hours, free)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed
    solver.parameters.max_deterministic_time = effort
    solver.parameters.max_time_in_seconds = 60.0 + 20.0 * effort  # a brake only; never reached in a sound run
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


class _Model:
    """The model of one step: a method a constraint."""

    def __init__(self, library: Any, base: Hours, hint: Hours, free: list[int]) -> None:
        self.cp, self.base, self.hint, self.free = library, base, hint, free
        self.problem = base.problem
        self.model = library.CpModel()
        self.start: dict[int, Any] = {}
        self.named: dict[int, list[tuple[int, Any]]] = {}
        self.intervals: dict[int, Any] = {}
        self.costs: list[Any] = []
        self.inside = set(free)
        self.after = followers(self.problem)
        for index in free:
            self._job(index)
        self._one_place_at_a_time()
        self._hands()
        self._stations()
        for index in free:
            self._lags(index)
            self._late(index)
            self._away(index)
            self._part(index)
            self._moved(index)
        self.model.minimize(sum(self.costs))

    def _job(self, index: int) -> None:
        """It starts where enough of the people who may do it are free, and that many are named."""
        job = self.problem.jobs[index]
        days = self._days(index)
        now = self.hint.start[index]
        whole = [[now, now]]
        literals: list[tuple[int, Any]] = []
        doors: list[tuple[Any, Any]] = []
        for person in job.who:
            spans = self._spans(job, person, days)
            if not spans:
                continue
            literal = self.model.new_bool_var("")
            self.model.add_hint(literal, person in self.hint.who[index])
            literals.append((person, literal))
            doors.append((literal, self.cp.Domain.from_intervals(spans)))
            whole += spans
        start = self.model.new_int_var_from_domain(self.cp.Domain.from_intervals(whole), "")
        self.model.add_hint(start, now)
        for literal, domain in doors:
            self.model.add_linear_expression_in_domain(start, domain).only_enforce_if(literal)
        self.model.add(sum(literal for _, literal in literals) == job.people)
        self.start[index], self.named[index] = start, literals

    def _spans(self, job: Job, person: int, days: list[int]) -> list[list[int]]:
        spans = []
        for day in days:
            first = self.problem.days[day].first
            for low, high in runs(self.base.free_starts(day, person, job.slots)):
                if first + high >= job.earliest:
                    spans.append([max(first + low, job.earliest), first + high])
        return spans

    def _days(self, index: int) -> list[int]:
        job = self.problem.jobs[index]
        wanted, now = self.problem.day_of(max(0, job.low)), self.problem.day_of(self.hint.start[index])
        low, high = min(wanted, now) - _REACH_DAYS, max(wanted, now) + _REACH_DAYS
        return [day for day in job.days if low <= day <= high or day == now]

    def _one_place_at_a_time(self) -> None:
        """Nobody is at two jobs at once."""
        rows: dict[int, list[Any]] = {}
        for index in self.free:
            size = self.problem.jobs[index].slots
            for person, literal in self.named[index]:
                row = rows.setdefault(person, [])
                row.append(self.model.new_optional_fixed_size_interval_var(self.start[index], size, literal, ""))
        for person in sorted(rows):
            self.model.add_no_overlap(rows[person])

    def _hands(self) -> None:
        """No more jobs at once than people who may do them: follows from the above, but is seen much sooner."""
        pools: dict[tuple[int, ...], list[int]] = {}
        for index in self.free:
            pools.setdefault(self.problem.jobs[index].who, []).append(index)
        wide = tuple(sorted({person for pool in pools for person in pool}))
        pools.setdefault(wide, [])
        for pool in sorted(pools):
            inside = set(pool)
            users = [index for index in self.free if set(self.problem.jobs[index].who) <= inside]
            if len(users) < 2 or len(pool) < 2:
                continue
            rows = [self._interval(index) for index in users]
            demands = [self.problem.jobs[index].people for index in users]
            for first, after, away in self.base.away_runs(pool, sorted({day for i in users for day in self._days(i)})):
                rows.append(self.model.new_fixed_size_interval_var(first, after - first, ""))
                demands.append(away)
            self.model.add_cumulative(rows, demands, len(pool))

    def _interval(self, index: int) -> Any:
        if index not in self.intervals:
            size = self.problem.jobs[index].slots
            self.intervals[index] = self.model.new_fixed_size_interval_var(self.start[index], size, "")
        return self.intervals[index]

    def _stations(self) -> None:
        """No more jobs at a kind of station than it has places, and no animal in two hands at once."""
        users: dict[str, list[int]] = {}
        for index in self.free:
            for kind in self.problem.jobs[index].uses:
                users.setdefault(kind, []).append(index)
        for kind, jobs in users.items():
            places = self.problem.places.get(kind, 1)
            taken = self.base.used_runs(kind)
            if len(jobs) + len(taken) < 2:
                continue
            rows = [self._interval(index) for index in jobs]
            rows += [self.model.new_fixed_size_interval_var(first, after - first, "") for first, after, _ in taken]
            if places == 1:
                self.model.add_no_overlap(rows)
            else:
                demands = [1] * len(jobs) + [min(used, places) for _, _, used in taken]
                self.model.add_cumulative(rows, demands, places)

    def _lags(self, index: int) -> None:
        """It starts no sooner after the job before it than the shortest lag."""
        job = self.problem.jobs[index]
        before = self._before(job)
        if before is not None:
            self.model.add(self.start[index] >= before + job.lag_min)
        for other in self.after[index]:
            if other not in self.inside and self.base.start[other] >= 0:
                self.model.add(self.start[index] <= self.base.start[other] - self.problem.jobs[other].lag_min)

    def _late(self, index: int) -> None:
        """Lateness counts from the latest start and from the longest lag, whichever is more."""
        job = self.problem.jobs[index]
        before = self._before(job)
        limits = [self.start[index] - job.latest]
        if before is not None and job.lag_max is not None:
            limits.append(self.start[index] - before - job.lag_max)
        at = None if job.after < 0 or self.hint.start[job.after] < 0 else self.hint.start[job.after]
        self._excess(limits, job.weight, late_slots(job, self.hint.start[index], at))
        for other in self.after[index]:
            follower = self.problem.jobs[other]
            there = self.base.start[other]
            if other in self.inside or there < 0 or follower.lag_max is None:
                continue
            limit = [there - self.start[index] - follower.lag_max, there - follower.latest]
            self._excess(limit, follower.weight, late_slots(follower, there, self.hint.start[index]))

    def _away(self, index: int) -> None:
        """A start off the day wanted costs its distance."""
        job, now = self.problem.jobs[index], self.hint.start[index]
        limits = [job.low - self.start[index], self.start[index] - job.high]
        self._excess(limits, 1, max(0, job.low - now, now - job.high))

    def _excess(self, limits: list[Any], weight: int, now: int) -> None:
        over = self.model.new_int_var(0, max(1, 2 * DAY_LIMIT), "")
        for limit in limits:
            self.model.add(over >= limit)
        self.model.add_hint(over, now)
        self.costs.append(weight * over)

    def _part(self, index: int) -> None:
        """A start outside the part of the day wanted costs a fixed amount."""
        job = self.problem.jobs[index]
        if job.need.part_of_day == "any":
            return
        spans = []
        for day in self._days(index):
            first, last = self.problem.days[day].first, self.problem.days[day].first + self.problem.days[day].slots - 1
            if job.need.part_of_day == "morning":
                spans.append([first, first + self.problem.days[day].slots // 2 - 1])
            else:
                spans.append([max(first, dark_from(self.problem, job, day)), last])
        outside = self.model.new_bool_var("")
        domain = self.cp.Domain.from_intervals(spans)
        self.model.add_linear_expression_in_domain(self.start[index], domain).only_enforce_if(~outside)
        self.model.add_hint(outside, not domain.contains(self.hint.start[index]))
        self.costs.append(PART_COST * outside)

    def _moved(self, index: int) -> None:
        """A published time that moves costs; so does another name at the same time."""
        job = self.problem.jobs[index]
        if job.pinned < 0:
            return
        moved, other = self.model.new_bool_var(""), self.model.new_bool_var("")
        self.model.add(self.start[index] == job.pinned).only_enforce_if(~moved)
        for person, literal in self.named[index]:
            if person in job.pinned_who:
                self.model.add_bool_or([literal, moved, other])
        if not set(job.pinned_who) <= {person for person, _ in self.named[index]}:
            self.model.add_bool_or([moved, other])
        shifted = self.hint.start[index] != job.pinned
        self.model.add_hint(moved, shifted)
        self.model.add_hint(other, not shifted and self.hint.who[index] != job.pinned_who)
        self.costs += [MOVE_COST * moved, WHO_COST * other]

    def _before(self, job: Job) -> Any:
        if job.after < 0:
            return None
        if job.after in self.inside:
            return self.start[job.after]
        return self.base.start[job.after] if self.base.start[job.after] >= 0 else None


DAY_LIMIT = 96 * 400
