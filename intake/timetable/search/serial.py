"""A complete timetable at once: jobs are put down one after another, each where it costs least (serial generation)."""

from __future__ import annotations

from collections.abc import Callable
from heapq import heappop, heappush

from intake.timetable.problem import Job, Problem
from intake.timetable.search.chains import chains, place_chain
from intake.timetable.search.cost import job_cost, tally
from intake.timetable.search.hours import Hours
from intake.timetable.search.task_placing import best_start, followers, place

__all__ = ["floors", "serial"]

_Key = Callable[[int, Job], tuple[int, ...]]


def serial(problem: Problem) -> Hours:
    """The cheapest of a few serial timetables.

    By the day wanted and by the latest start, job by job; and where nothing was published and work comes in chains, by
    the day wanted and the least work first, chain by chain (on a full day that makes the fewest wait).
    """
    after = followers(problem)
    found = [
        _one(problem, after, lambda _, job: (job.low, -job.weight, job.rank, job.latest)),
        _one(problem, after, lambda _, job: (job.latest, -job.weight, job.rank, job.low)),
    ]
    tied = chains(problem.jobs, after)
    if any(len(row) > 1 for row in tied) and all(job.pinned < 0 for job in problem.jobs):
        slots = [sum(problem.jobs[other].slots for other in row) for row in tied]
        days = [problem.day_of(max(0, job.low)) for job in problem.jobs]
        found.append(_one(problem, after, lambda _, job: (job.low, -job.weight, job.rank, job.latest), tied))
        found.append(_one(problem, after, lambda index, job: (days[index], -job.weight, slots[index], job.low), tied))
    return min(found, key=lambda hours: (hours.start.count(-1), tally(hours).cost))


def floors(problem: Problem) -> list[int]:
    """For each job the least it can cost on an empty farm: their sum is a bound below every timetable."""
    empty = Hours(problem)
    costs = []
    for index, job in enumerate(problem.jobs):
        if job.fixed:
            costs.append(job_cost(problem, job, job.pinned, None))
            continue
        best = best_start(empty, index)
        costs.append(0 if best is None else best[0])
    return costs


def _one(problem: Problem, after: list[list[int]], key: _Key, tied: list[list[int]] | None = None) -> Hours:
    """One timetable in one order; with ``tied``, chains are put down whole."""
    hours = _published(problem, after)
    ready: list[tuple[tuple[int, ...], int]] = []
    for index, job in enumerate(problem.jobs):
        if job.pinned < 0 and (job.after < 0 or hours.start[job.after] >= 0):
            heappush(ready, (key(index, job), index))
    while ready:
        _, index = heappop(ready)
        if hours.start[index] >= 0:
            continue
        placed = [index]
        if tied is not None and tied[index][0] == index:
            placed = tied[index]
            place_chain(hours, placed, after)
        else:
            place(hours, index, after)
        for follower in (other for one in placed for other in after[one]):
            if hours.start[follower] < 0:
                heappush(ready, (key(follower, problem.jobs[follower]), follower))
    return hours


def _published(problem: Problem, after: list[list[int]]) -> Hours:
    """What may not move, then what was published, each as near to its published time as can be."""
    hours = Hours(problem)
    for index, job in enumerate(problem.jobs):
        if job.fixed:
            hours.put(index, job.pinned, job.pinned_who)
    pinned = [index for index, job in enumerate(problem.jobs) if job.pinned >= 0 and not job.fixed]
    for index in sorted(pinned, key=lambda index: (problem.jobs[index].pinned, index)):
        place(hours, index, after)
    return hours
