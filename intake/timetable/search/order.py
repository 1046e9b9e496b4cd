"""After the search, where it costs nothing: days from clean to dirty, a vat in one pair of hands, weekends in turn."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import pairwise

from intake.timetable.search.cost import job_cost, late_cost
from intake.timetable.search.hours import Hours, bits
from intake.timetable.search.task_placing import followers

__all__ = ["in_order", "in_turn", "ways_back_in"]

SATURDAY = 5
"""First day of a weekend, as Python counts them."""


def ways_back_in(hours: Hours) -> int:
    """Pairs of neighboring tasks in a person's day that go from dirty back to clean."""
    return sum(
        _backwards(hours, [job for job in hours.jobs_on(day) if person in hours.who[job]])
        for day in range(len(hours.problem.days))
        for person in range(len(hours.problem.people))
    )


def in_order(hours: Hours) -> Hours:
    """The same timetable with each person's day put from clean to dirty wherever no job becomes dearer."""
    twin = hours.copy()
    after = followers(hours.problem)
    for day in range(len(hours.problem.days)):
        for person in range(len(hours.problem.people)):
            row = [job for job in twin.jobs_on(day) if person in twin.who[job]]
            if _backwards(twin, row):
                _reorder(twin, row, day, after)
    return twin


def in_turn(hours: Hours) -> Hours:
    """The same times with other names: work in a vat on one day to one person, weekend days to people in turn.

    Only names that nobody has been given yet change, and only work for one person: no start moves, nobody is named who
    may not do it or is not free, and no day goes back from dirty to clean more often than before.
    """
    twin = hours.copy()
    while _weekends(twin) | _vats(twin):  # each evens out, and neither undoes what the other did
        pass
    twin.journal.clear()
    return twin


def _vats(hours: Hours) -> bool:
    """Give the work of a vat's day to one of those who have it; whether anything changed."""
    changed = False
    for day in range(len(hours.problem.days)):
        for row in _vat_days(hours, day):
            people = {person for job in row for person in hours.who[job]}
            for person in sorted(people, key=lambda one: (-sum(one in hours.who[job] for job in row), one)):
                free = _free_to_name(hours, row)
                left = {(person,), *_hands(hours, [job for job in row if job not in free])}
                if len(left) < len(_hands(hours, row)) and _renamed(hours, day, free, person):
                    changed = True
    return changed


def _vat_days(hours: Hours, day: int) -> list[list[int]]:
    """Jobs of one day that one person does, by vat, where a vat has more than one."""
    rows: dict[str, list[int]] = defaultdict(list)
    for job in hours.jobs_on(day):
        if hours.problem.jobs[job].need.vat and hours.problem.jobs[job].people == 1:
            rows[hours.problem.jobs[job].need.vat].append(job)
    return [row for _, row in sorted(rows.items()) if len(row) > 1]


def _hands(hours: Hours, row: Sequence[int]) -> set[tuple[int, ...]]:
    return {hours.who[job] for job in row}


def _free_to_name(hours: Hours, row: Sequence[int]) -> list[int]:
    jobs = hours.problem.jobs
    return [job for job in row if jobs[job].pinned < 0 and jobs[job].people == 1 and not jobs[job].fixed]


def _renamed(hours: Hours, day: int, row: Sequence[int], person: int) -> bool:
    """Give some jobs of a day to one person if nothing is lost by it; undo it otherwise."""
    row = [job for job in row if hours.who[job] != (person,)]
    if not row or any(person not in hours.problem.jobs[job].who for job in row):
        return False
    mark, people = len(hours.journal), {person, *(one for job in row for one in hours.who[job])}
    starts, before = {job: hours.start[job] for job in row}, _turns(hours, day, people)
    for job in row:
        hours.take(job)
    for job in row:
        if person not in hours.available(hours.problem.jobs[job], starts[job]):
            hours.undo(mark)
            return False
        hours.put(job, starts[job], (person,))
    if _turns(hours, day, people) > before:
        hours.undo(mark)
        return False
    return True


def _turns(hours: Hours, day: int, people: set[int]) -> int:
    return sum(_backwards(hours, hours.with_person(day, person)) for person in people)


def _weekends(hours: Hours) -> bool:
    """Give whole days of a weekend from whoever works most of them to whoever works fewest; whether anything changed."""
    problem = hours.problem
    days = [day for day, whole in enumerate(problem.days) if whole.date.weekday() >= SATURDAY]
    worked = [{day for day in days if hours.with_person(day, person)} for person in range(len(problem.people))]
    changed, again = False, True
    while again:
        again = False
        for person in sorted(range(len(worked)), key=lambda one: (-len(worked[one]), one)):
            for day in sorted(worked[person]):
                row = hours.with_person(day, person)
                if len(_free_to_name(hours, row)) < len(row):
                    continue
                other = _who_instead(hours, day, row, worked, person)
                if other is not None:
                    worked[person].discard(day)
                    worked[other].add(day)
                    changed = again = True
    return changed


def _who_instead(hours: Hours, day: int, row: Sequence[int], worked: Sequence[set[int]], person: int) -> int | None:
    """Someone who can take the whole day and is at work then anyway, or has two weekend days fewer or more."""
    for other in sorted(range(len(worked)), key=lambda one: (day not in worked[one], len(worked[one]), one)):
        if other == person:
            continue
        evener = day in worked[other] or len(worked[other]) + 1 < len(worked[person])
        if evener and _renamed(hours, day, row, other):
            return other
    return None


def _backwards(hours: Hours, row: list[int]) -> int:
    ranks = [hours.problem.jobs[job].rank for job in row]
    return sum(earlier > later for earlier, later in pairwise(ranks))


def _reorder(hours: Hours, row: list[int], day: int, after: list[list[int]]) -> None:
    """Lift the free jobs of one person's day and put them down cleanest first; undo it if anything gets dearer."""
    jobs = hours.problem.jobs
    movable = [job for job in row if jobs[job].pinned < 0 and jobs[job].people == 1]
    was = {job: (hours.start[job], hours.who[job]) for job in movable}
    before = sum(_cost(hours, job, after) for job in movable)
    turns = _backwards(hours, row)
    for job in movable:
        hours.take(job)
    for job in sorted(movable, key=lambda job: (jobs[job].rank, was[job][0], job)):
        start = _first_fit(hours, job, day=day, person=was[job][1][0], was=was[job][0], after=after)
        if start is None:
            break
        hours.put(job, start, was[job][1])
    placed = all(hours.start[job] >= 0 for job in movable)
    if placed and sum(_cost(hours, job, after) for job in movable) <= before:
        again = sorted(row, key=lambda job: (hours.start[job], job))
        if _backwards(hours, again) < turns:
            return
    for job in movable:
        if hours.start[job] >= 0:
            hours.take(job)
    for job, (start, who) in was.items():
        hours.put(job, start, who)


def _first_fit(hours: Hours, index: int, *, day: int, person: int, was: int, after: list[list[int]]) -> int | None:
    """The first start of the day that is no dearer for the job than where it stood."""
    problem, job = hours.problem, hours.problem.jobs[index]
    at = hours.start[job.after] if job.after >= 0 and hours.start[job.after] >= 0 else None
    floor = job.earliest if at is None else max(job.earliest, at + job.lag_min)
    first = problem.days[day].first
    allowed = job_cost(problem, job, was, at)
    mask = hours.open_starts(day, job, floor) & hours.free_starts(day, person, job)
    for bit in bits(mask):
        start = first + bit
        room = all(
            hours.start[other] < 0 or hours.start[other] - start >= problem.jobs[other].lag_min
            for other in after[index]
        )
        if room and job_cost(problem, job, start, at) <= allowed:
            return start
    return None


def _cost(hours: Hours, index: int, after: list[list[int]]) -> int:
    problem, job = hours.problem, hours.problem.jobs[index]
    at = hours.start[job.after] if job.after >= 0 and hours.start[job.after] >= 0 else None
    own = job_cost(problem, job, hours.start[index], at)
    return own + sum(
        late_cost(problem.jobs[other], hours.start[other], hours.start[index])
        for other in after[index]
        if hours.start[other] >= 0
    )
