"""Each person's day from clean to dirty: work is put in order again where that costs nothing."""

from __future__ import annotations

from itertools import pairwise

from intake.timetable.search.cost import job_cost, late_cost
from intake.timetable.search.hours import Hours, bits
from intake.timetable.search.task_placing import followers

__all__ = ["in_order", "ways_back_in"]


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
