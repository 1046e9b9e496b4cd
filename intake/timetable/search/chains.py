"""Chains of work that must follow each other within a day: put down as a whole, on the day that is cheapest for all."""

from __future__ import annotations

from collections.abc import Sequence

from intake.timetable import timetable_tuning as tuning
from intake.timetable.problem import DAY_SLOTS, LATE_COST, Job
from intake.timetable.search.cost import job_cost
from intake.timetable.search.hours import Hours
from intake.timetable.search.task_placing import choose_who, last_in_time, place

__all__ = ["chains", "place_chain"]


def chains(jobs: Sequence[Job], after: list[list[int]]) -> list[list[int]]:
    """For each job the chain it is in, whose links are no longer than a day: first the first, then what follows."""
    chain = [[index] for index in range(len(jobs))]
    for head in (index for index, job in enumerate(jobs) if not _short(job)):
        row, new = [head], [head]
        while new:
            new = [other for index in new for other in after[index] if _short(jobs[other])]
            row += new
        for index in row:
            chain[index] = row
    return chain


def _short(job: Job) -> bool:
    return job.after >= 0 and job.lag_max is not None and job.lag_max <= DAY_SLOTS


def place_chain(hours: Hours, chain: Sequence[int], after: list[list[int]]) -> None:
    """Put a lifted chain down, its first job on the day on which the whole of it costs least.

    Put down one by one, the first job would take the last hole of a full day and all that follow would be late.
    """
    problem, head = hours.problem, chain[0]
    whole = [*chain, *(other for index in chain for other in after[index] if other not in chain)]
    mark, no_sooner, tries = len(hours.journal), 0, []
    for _ in range(tuning.CHAIN_DAYS_TRIED):
        _put(hours, chain, after, no_sooner)
        if hours.start[head] < 0:
            break
        tries.append((_cost(hours, whole), no_sooner))
        day = problem.day_of(hours.start[head]) + 1
        if day == len(problem.days):
            break
        no_sooner = problem.days[day].first
        if job_cost(problem, problem.jobs[head], no_sooner, None) >= min(tries)[0]:
            break
        if len(tries) < tuning.CHAIN_DAYS_TRIED:
            hours.undo(mark)
    cost, best = min(tries, default=(0, 0))
    if tries and cost >= LATE_COST and len(chain) > 1:
        hours.undo(mark)
        if _put_waiting(hours, chain, after) and _cost(hours, whole) < cost:
            return
        hours.undo(mark)
        _put(hours, chain, after, best)
    elif not tries or best != tries[-1][1] or hours.start[head] < 0:
        hours.undo(mark)
        _put(hours, chain, after, best)


def _put_waiting(hours: Hours, chain: Sequence[int], after: list[list[int]]) -> bool:
    """Put a chain down with every job but those nothing follows as late as it may be without being late.

    Where the end of a chain must wait for a place, this makes use of all the time the lags before it allow.
    """
    inside = set(chain)
    for index in chain:
        if hours.start[index] >= 0:
            continue
        start = last_in_time(hours, index) if any(other in inside for other in after[index]) else None
        if start is not None:
            hours.put(index, start, choose_who(hours, index, start))
        elif not place(hours, index, after):
            return False
    return True


def _put(hours: Hours, chain: Sequence[int], after: list[list[int]], no_sooner: int) -> None:
    for index in chain:
        if hours.start[index] < 0:
            place(hours, index, after, no_sooner if index == chain[0] else 0)


def _cost(hours: Hours, indices: Sequence[int]) -> int:
    """What some jobs cost; one that stands nowhere costs more than any lateness."""
    total = 0
    for index in indices:
        job, start = hours.problem.jobs[index], hours.start[index]
        if start >= 0:
            before = hours.start[job.after] if job.after >= 0 and hours.start[job.after] >= 0 else None
            total += job_cost(hours.problem, job, start, before)
    return total
