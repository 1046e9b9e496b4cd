"""One CP-SAT model over some jobs of a timetable, all others standing: a method a constraint.

The solver's library is handed in, so that importing this costs nothing.
"""

from __future__ import annotations

from typing import Any

from intake.timetable import timetable_tuning as tuning
from intake.timetable.problem import PART_COST, Job
from intake.timetable.search.core import Core
from intake.timetable.search.cost import lapses, late_slots, part_spans
from intake.timetable.search.hours import Hours, runs
from intake.timetable.search.rooms import share
from intake.timetable.search.task_placing import followers

__all__ = ["Model"]


class Model:
    """The model of one step: a method a constraint."""

    def __init__(self, library: Any, base: Hours, hint: Hours, free: list[int]) -> None:
        self.cp, self.base, self.hint, self.free = library, base, hint, free
        self.problem = base.problem
        self.core = Core(library)
        self.model, self.start = self.core.model, self.core.start
        self.named: dict[int, list[tuple[int, Any]]] = {}
        self.costs: list[Any] = []
        self.inside = set(free)
        self.after = followers(self.problem)
        for index in free:
            self._job(index)
        self._one_place_at_a_time()
        share(self.core, base, free, self._days)
        for index in free:
            self._lags(index)
            self._late(index)
            self._lapse(index)
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
        start = self.core.job(index, job.slots, whole, now)
        for literal, domain in doors:
            self.model.add_linear_expression_in_domain(start, domain).only_enforce_if(literal)
        self.model.add(sum(literal for _, literal in literals) == job.people)
        self.named[index] = literals

    def _spans(self, job: Job, person: int, days: list[int]) -> list[list[int]]:
        spans = []
        for day in days:
            first = self.problem.days[day].first
            for low, high in runs(self.base.free_starts(day, person, job)):
                if first + high >= job.earliest:
                    spans.append([max(first + low, job.earliest), first + high])
        return spans

    def _days(self, index: int) -> list[int]:
        job = self.problem.jobs[index]
        wanted, now = self.problem.day_of(max(0, job.low)), self.problem.day_of(self.hint.start[index])
        low, high = min(wanted, now) - tuning.REACH_DAYS, max(wanted, now) + tuning.REACH_DAYS
        return [day for day in job.days if low <= day <= high or day == now]

    def _one_place_at_a_time(self) -> None:
        """No one is at two jobs at once."""
        rows: dict[int, list[Any]] = {}
        for index in self.free:
            size = self.problem.jobs[index].slots
            for person, literal in self.named[index]:
                row = rows.setdefault(person, [])
                row.append(self.model.new_optional_fixed_size_interval_var(self.start[index], size, literal, ""))
        for person in sorted(rows):
            self.model.add_no_overlap(rows[person])

    def _lags(self, index: int) -> None:
        """It starts no sooner after the job before it than the shortest lag."""
        job = self.problem.jobs[index]
        before = self._before(job)
        if before is not None:
            self.core.lag(before, job.lag_min, self.start[index])
        for other in self.after[index]:
            if other not in self.inside and self.base.start[other] >= 0:
                self.core.lag(self.start[index], self.problem.jobs[other].lag_min, self.base.start[other])

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

    def _lapse(self, index: int) -> None:
        """A series that begins again costs once, whoever of two links stands too far from the other."""
        job, before = self.problem.jobs[index], self._before(self.problem.jobs[index])
        at = None if job.after < 0 or self.hint.start[job.after] < 0 else self.hint.start[job.after]
        limits = [] if job.lapse is None else [self.start[index] - job.lapse]
        if before is not None and job.lapse_lag is not None:
            limits.append(self.start[index] - before - job.lapse_lag)
        self._once(limits, job, lapses(job, self.hint.start[index], at))
        for other in self.after[index]:
            follower, there = self.problem.jobs[other], self.base.start[other]
            if other in self.inside or there < 0 or follower.lapse_lag is None:
                continue
            limit = [there - self.start[index] - follower.lapse_lag]
            self._once(limit, follower, lapses(follower, there, self.hint.start[index]))

    def _once(self, limits: list[Any], job: Job, now: bool) -> None:
        if limits and job.stake:
            over = self.model.new_bool_var("")
            for limit in limits:
                self.model.add(limit <= 0).only_enforce_if(~over)
            self.model.add_hint(over, now)
            self.costs.append(job.stake * over)

    def _away(self, index: int) -> None:
        """A start off the day wanted costs its distance."""
        job, now = self.problem.jobs[index], self.hint.start[index]
        limits = [job.low - self.start[index], self.start[index] - job.high]
        self._excess(limits, 1, max(0, job.low - now, now - job.high))

    def _excess(self, limits: list[Any], weight: int, now: int) -> None:
        over = self.model.new_int_var(0, max(1, 2 * tuning.MOST_AWAY_SLOTS), "")
        for limit in limits:
            self.model.add(over >= limit)
        self.model.add_hint(over, now)
        self.costs.append(weight * over)

    def _part(self, index: int) -> None:
        """A start outside the part of the day wanted costs a fixed amount."""
        job = self.problem.jobs[index]
        if job.need.part_of_day == "any":
            return
        found = (part_spans(self.problem, job, day) for day in self._days(index))
        spans = [[first, last] for first, last in found if first <= last]
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
        self.costs += [tuning.MOVE_COST * moved, tuning.WHO_COST * other]
        far = [self.start[index] - job.pinned, job.pinned - self.start[index]]
        self._excess(far, 1, abs(self.hint.start[index] - job.pinned))

    def _before(self, job: Job) -> Any:
        if job.after < 0:
            return None
        if job.after in self.inside:
            return self.start[job.after]
        return self.base.start[job.after] if self.base.start[job.after] >= 0 else None
