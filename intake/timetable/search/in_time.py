"""A timetable in which nothing is late, if there is one: every window hard, no costs, people alike counted together.

The solver's library is handed in, so that importing this costs nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from intake.timetable.problem import Job
from intake.timetable.search.core import Core
from intake.timetable.search.hours import Hours, runs
from intake.timetable.search.rooms import share

__all__ = ["InTime", "standing"]


def standing(hours: Hours) -> Hours:
    """Only the jobs that may not move."""
    base = Hours(hours.problem)
    for index, job in enumerate(hours.problem.jobs):
        if job.fixed:
            base.put(index, job.pinned, job.pinned_who)
    return base


class InTime:
    """The model over all jobs that may move.

    People with the same shifts, the same skills asked for and the same standing work are one class: as long as no more
    of a class are busy at once than it has, names can always be given, one after another (intervals on a line).

    Parameters
    ----------
    library
        The module ``ortools.sat.python.cp_model``.
    hint
        For each job a start to begin from, or -1.
    named
        Whether the classes are modelled; without them only as many hands as there are, which is solved in a moment and
        is necessary, but not enough.

    Attributes
    ----------
    possible
        False if a job has no start in time at all; the model is then of no use.
    """

    def __init__(self, library: Any, base: Hours, hint: Sequence[int], *, named: bool) -> None:
        self.cp, self.base = library, base
        self.problem = base.problem
        self.free = [index for index, job in enumerate(self.problem.jobs) if not job.fixed]
        self.core = Core(library)
        self.model, self.start = self.core.model, self.core.start
        self.classes = _alike(base)
        self.parts: dict[int, list[tuple[int, Any]]] = {index: [] for index in self.free}
        spans = {index: self._spans(self.problem.jobs[index]) for index in self.free}
        self.possible = all(spans.values())
        if not self.possible:
            return
        for index in self.free:
            self.core.job(
                index, self.problem.jobs[index].slots, spans[index], hint[index] if hint[index] >= 0 else None
            )
        days = {index: sorted({self.problem.day_of(span[0]) for span in spans[index]}) for index in self.free}
        share(self.core, base, self.free, lambda index: days[index])
        for index in self.free:
            self._lags(self.problem.jobs[index], self.start[index])
        if named:
            for number, people in enumerate(self.classes):
                self._class(number, people, days)
            for index, parts in self.parts.items():
                self.model.add(sum(literal for _, literal in parts) == self.problem.jobs[index].people)

    def _spans(self, job: Job) -> list[list[int]]:
        """Starts in time at which what stands leaves enough people and a place."""
        found = []
        for day in job.days:
            first = self.problem.days[day].first
            if first > job.latest:
                break
            for low, high in runs(self.base.open_starts(day, job, job.earliest)):
                if first + low <= job.latest:
                    found.append([first + low, min(first + high, job.latest)])
        return found

    def _lags(self, job: Job, start: Any) -> None:
        """Neither sooner than the least lag after the job before it nor later than the greatest."""
        if job.after < 0:
            return
        before = self.start.get(job.after, self.base.start[job.after])
        self.core.lag(before, job.lag_min, start)
        if job.lag_max is not None:
            self.core.lag(start, -job.lag_max, before)

    def _class(self, number: int, people: Sequence[int], days: Mapping[int, list[int]]) -> None:
        """No more of a class busy at once than it has, and only when they are there."""
        rows = []
        for index in self.free:
            job = self.problem.jobs[index]
            if people[0] not in job.who:
                continue
            spans = self._there(people[0], job, days[index])
            for unit in range(min(job.people, len(people)) if spans else 0):
                literal = self.model.new_bool_var("")
                if unit:
                    self.model.add_implication(literal, self.parts[index][-1][1])
                self.parts[index].append((number, literal))
                domain = self.cp.Domain.from_intervals(spans)
                self.model.add_linear_expression_in_domain(self.start[index], domain).only_enforce_if(literal)
                rows.append(self.model.new_optional_fixed_size_interval_var(self.start[index], job.slots, literal, ""))
        if len(people) == 1:
            self.model.add_no_overlap(rows)
        elif rows:
            self.model.add_cumulative(rows, [1] * len(rows), len(people))

    def _there(self, person: int, job: Job, days: list[int]) -> list[list[int]]:
        found = []
        for day in days:
            first = self.problem.days[day].first
            found += [[first + low, first + high] for low, high in runs(self.base.free_starts(day, person, job))]
        return found

    def answer(self, solver: Any) -> Hours:
        """The timetable solved, with names: of each class whoever is free, in the order of starts."""
        hours = self.base.copy()
        starts = {index: int(solver.value(self.start[index])) for index in self.free}
        for index in sorted(self.free, key=lambda index: (starts[index], index)):
            free, who = hours.available(self.problem.jobs[index], starts[index]), list[int]()
            for number, literal in self.parts[index]:
                if solver.boolean_value(literal):
                    who.append(next(one for one in self.classes[number] if one in free and one not in who))
            hours.put(index, starts[index], tuple(sorted(who)))
        hours.journal.clear()
        return hours


def _alike(base: Hours) -> list[list[int]]:
    """People who can be in for each other everywhere."""
    problem = base.problem
    asked = sorted({job.who for job in problem.jobs})
    kinds: dict[object, list[int]] = {}
    for person in range(len(problem.people)):
        may = tuple(person in who for who in asked)
        stands = tuple(index for index, who in enumerate(base.who) if person in who)
        kinds.setdefault((tuple(day.shifts[person] for day in problem.days), may, stands), []).append(person)
    return list(kinds.values())
