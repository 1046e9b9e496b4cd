"""A complete timetable at once: jobs are put down one after another, each where it costs least (serial generation)."""

from __future__ import annotations

from collections.abc import Callable
from heapq import heappop, heappush

from intake.timetable.cost import dark_from, job_cost, late_slots, tally
from intake.timetable.hours import Hours
from intake.timetable.problem import Job, Problem

__all__ = ["best_start", "choose_who", "floors", "followers", "place", "serial"]


def serial(problem: Problem) -> Hours:
    """The cheaper of two serial timetables: by the day wanted, and by the latest start."""
    days = _one(problem, lambda job: (job.low, -job.weight, job.rank, job.latest))
    limits = _one(problem, lambda job: (job.latest, -job.weight, job.rank, job.low))
    return min((days, limits), key=lambda hours: (hours.start.count(-1), tally(hours).cost))


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


def followers(problem: Problem) -> list[list[int]]:
    """For each job the jobs that follow it."""
    rows: list[list[int]] = [[] for _ in problem.jobs]
    for index, job in enumerate(problem.jobs):
        if job.after >= 0:
            rows[job.after].append(index)
    return rows


def _one(problem: Problem, key: Callable[[Job], tuple[int, ...]]) -> Hours:
    hours = Hours(problem)
    after = followers(problem)
    for index, job in enumerate(problem.jobs):
        if job.fixed:
            hours.put(index, job.pinned, job.pinned_who)
    pinned = [index for index, job in enumerate(problem.jobs) if job.pinned >= 0 and not job.fixed]
    for index in sorted(pinned, key=lambda index: (problem.jobs[index].pinned, index)):
        place(hours, index, after)
    ready: list[tuple[tuple[int, ...], int]] = []
    waiting = [index for index, job in enumerate(problem.jobs) if job.pinned < 0]
    for index in waiting:
        if problem.jobs[index].after < 0 or hours.start[problem.jobs[index].after] >= 0:
            heappush(ready, (key(problem.jobs[index]), index))
    while ready:
        _, index = heappop(ready)
        place(hours, index, after)
        for follower in after[index]:
            if hours.start[follower] < 0:
                heappush(ready, (key(problem.jobs[follower]), follower))
    return hours


def place(hours: Hours, index: int, after: list[list[int]]) -> bool:
    """Put one job where it costs least; jobs that follow it are lifted and put down again if they are in the way."""
    best = best_start(hours, index, after[index])
    if best is None or (best[0] > 0 and any(_squeezed(hours, best[1], other) for other in after[index])):
        lifted = [other for other in after[index] if hours.start[other] >= 0 and not hours.problem.jobs[other].fixed]
        for other in lifted:
            hours.take(other)
        best = best_start(hours, index, after[index])
        _put_best(hours, index, best)
        for other in sorted(lifted, key=lambda other: (hours.problem.jobs[other].low, other)):
            place(hours, other, after)
        return best is not None
    _put_best(hours, index, best)
    return True


def _put_best(hours: Hours, index: int, best: tuple[int, int] | None) -> None:
    if best is not None:
        hours.put(index, best[1], choose_who(hours, index, best[1]))


def _squeezed(hours: Hours, start: int, other: int) -> bool:
    """Whether the job that follows stands closer or farther than its lags allow."""
    follower = hours.problem.jobs[other]
    at = hours.start[other]
    if at < 0:
        return False
    return at - start < follower.lag_min or late_slots(follower, at, start) > late_slots(follower, at, None)


def best_start(hours: Hours, index: int, after: list[int] | None = None) -> tuple[int, int] | None:
    """Least cost and start of a job in what is free, or ``None`` if no start is free before the horizon."""
    problem, job = hours.problem, hours.problem.jobs[index]
    before = hours.start[job.after] if job.after >= 0 and hours.start[job.after] >= 0 else None
    floor = job.earliest if before is None else max(job.earliest, before + job.lag_min)
    placed = [other for other in after or () if hours.start[other] >= 0]
    ceiling = min((hours.start[other] - problem.jobs[other].lag_min for other in placed), default=None)
    best: tuple[int, int] | None = None
    for day in sorted(job.days, key=lambda day: (_least(problem, job, day, floor, before), day)):
        if best is not None and _least(problem, job, day, floor, before) >= best[0]:
            break
        for start in _candidates(hours, job, day, floor, ceiling):
            cost = job_cost(problem, job, start, before) + sum(
                problem.jobs[other].weight * late_slots(problem.jobs[other], hours.start[other], start)
                for other in placed
            )
            if best is None or cost < best[0]:
                best = (cost, start)
    return best


def _least(problem: Problem, job: Job, day: int, floor: int, before: int | None) -> int:
    """A bound below the cost of the job on a day."""
    first = max(problem.days[day].first, floor)
    last = problem.days[day].first + problem.days[day].slots - 1
    if first > last:
        return 1 << 60
    away = max(0, job.low - last, first - job.high)
    moved = 0 if job.pinned < 0 or first <= job.pinned <= last else 500
    return job.weight * late_slots(job, first, before) + away + moved


def _candidates(hours: Hours, job: Job, day: int, floor: int, ceiling: int | None) -> list[int]:
    """Starts worth trying on a day: the published one, the first, the first in its part of the day, the last."""
    first = hours.problem.days[day].first
    mask = hours.open_starts(day, job, floor)
    if ceiling is not None:
        keep = ceiling - first + 1
        mask = mask & ((1 << keep) - 1) if keep > 0 else 0
    if not mask:
        return []
    found = []
    if job.pinned >= first and mask >> (job.pinned - first) & 1:
        found.append(job.pinned)
    found.append(first + (mask & -mask).bit_length() - 1)
    if job.need.part_of_day == "after dark":
        dark = max(0, dark_from(hours.problem, job, day) - first)
        late = mask >> dark << dark
        if late:
            found.append(first + (late & -late).bit_length() - 1)
        else:
            found.insert(0, first + mask.bit_length() - 1)
    if job.lag_max is not None or ceiling is not None:
        found.append(first + mask.bit_length() - 1)
    if job.low > first:
        later = mask >> (job.low - first) << (job.low - first)
        if later:
            found.append(first + (later & -later).bit_length() - 1)
    if job.high >= first:
        sooner = mask & ((1 << (job.high - first + 1)) - 1)
        if sooner:
            found.append(first + sooner.bit_length() - 1)
    return found


def choose_who(hours: Hours, index: int, start: int) -> tuple[int, ...]:
    """Whom to name: the published people if free, else those whose day stays clean to dirty, then the least loaded."""
    job = hours.problem.jobs[index]
    free = hours.available(job, start)
    if start == job.pinned and job.pinned_who and set(job.pinned_who) <= set(free):
        return job.pinned_who
    day = hours.problem.day_of(start)
    named = sorted(
        free, key=lambda person: (ways_back(hours, day, person, job, start), hours.load(day, person), person)
    )
    return tuple(sorted(named[: job.people]))


def ways_back(hours: Hours, day: int, person: int, job: Job, start: int) -> int:
    """How often the person would go from dirty to clean on that day because of this job."""
    return sum(
        (hours.start[other] < start and hours.problem.jobs[other].rank > job.rank)
        or (hours.start[other] > start and hours.problem.jobs[other].rank < job.rank)
        for other in hours.jobs_on(day)
        if person in hours.who[other]
    )
