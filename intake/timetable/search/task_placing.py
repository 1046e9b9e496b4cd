"""Where one task costs least in what is free, and whom to name for it."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator

from intake.timetable import timetable_tuning as tuning
from intake.timetable.problem import Job, Problem
from intake.timetable.search.cost import job_cost, late_cost, part_spans
from intake.timetable.search.hours import Hours

__all__ = ["best_start", "choose_who", "followers", "in_hand", "last_in_time", "place"]


def followers(problem: Problem) -> list[list[int]]:
    """For each job the jobs that follow it."""
    rows: list[list[int]] = [[] for _ in problem.jobs]
    for index, job in enumerate(problem.jobs):
        if job.after >= 0:
            rows[job.after].append(index)
    return rows


def place(hours: Hours, index: int, after: list[list[int]], no_sooner: int = 0) -> bool:
    """Put one job where it costs least, from a slot on; jobs that follow it are put down again if they are in the way."""
    best = best_start(hours, index, after[index], no_sooner)
    if best is None or (best[0] > 0 and any(_squeezed(hours, best[1], other) for other in after[index])):
        lifted = [other for other in after[index] if hours.start[other] >= 0 and not hours.problem.jobs[other].fixed]
        for other in lifted:
            hours.take(other)
        best = best_start(hours, index, after[index], no_sooner)
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
    return at - start < follower.lag_min or late_cost(follower, at, start) > late_cost(follower, at, None)


def best_start(hours: Hours, index: int, after: list[int] | None = None, no_sooner: int = 0) -> tuple[int, int] | None:
    """Least cost and start of a job in what is free, or ``None`` if no start is free before the horizon."""
    problem, job = hours.problem, hours.problem.jobs[index]
    before = hours.start[job.after] if job.after >= 0 and hours.start[job.after] >= 0 else None
    floor = max(job.earliest, no_sooner) if before is None else max(job.earliest, no_sooner, before + job.lag_min)
    placed = [other for other in after or () if hours.start[other] >= 0]
    ceiling = min((hours.start[other] - problem.jobs[other].lag_min for other in placed), default=None)
    turns = _turns(problem, hours, job, before, placed)
    best: tuple[int, int] | None = None
    for least, day in _days(problem, job, floor, ceiling, before):
        if best is not None and least >= best[0]:
            break
        for start in _candidates(hours, job, day, floor, ceiling, turns):
            cost = job_cost(problem, job, start, before) + sum(
                late_cost(problem.jobs[other], hours.start[other], start) for other in placed
            )
            if best is None or cost < best[0]:
                best = (cost, start)
    return best


def last_in_time(hours: Hours, index: int) -> int | None:
    """The last start in what is free at which a job is not late, or ``None``."""
    problem, job = hours.problem, hours.problem.jobs[index]
    before = hours.start[job.after] if job.after >= 0 and hours.start[job.after] >= 0 else None
    floor = job.earliest if before is None else max(job.earliest, before + job.lag_min)
    limit = _turns(problem, hours, job, before, [])[0][0]
    days = job.days
    for at in range(bisect_left(days, problem.day_of(max(0, limit)) + 1) - 1, -1, -1):
        first = problem.days[days[at]].first
        if first + problem.days[days[at]].slots <= floor:
            return None
        if limit >= first:
            mask = hours.open_starts(days[at], job, floor) & ((2 << (limit - first)) - 1)
            if mask:
                return first + mask.bit_length() - 1
    return None


def _turns(
    problem: Problem, hours: Hours, job: Job, before: int | None, placed: list[int]
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """The last start that is not late, then the last at which no series begins again; and the first of each kind.

    The first starts are those from which on no job that follows becomes late, or begins its series again, because of it.
    """
    lasts = [job.latest if before is None or job.lag_max is None else min(job.latest, before + job.lag_max)]
    counts = [job.lapse] if job.lapse is not None else []
    if before is not None and job.lapse_lag is not None:
        counts.append(before + job.lapse_lag)
    jobs, start = problem.jobs, hours.start
    lags = [start[other] - lag for other in placed if (lag := jobs[other].lag_max) is not None]
    lapse = [start[other] - lag for other in placed if (lag := jobs[other].lapse_lag) is not None]
    return (*lasts, *([min(counts)] if counts else [])), tuple(max(row) for row in (lags, lapse) if row)


def _days(problem: Problem, job: Job, floor: int, ceiling: int | None, before: int | None) -> Iterator[tuple[int, int]]:
    """Days on which the job may stand, the cheapest first, with a bound below its cost there.

    Lateness and distance both grow with every day farther from the best one, so two fingers walk outwards from it.
    """
    days = job.days
    first = bisect_left(days, problem.day_of(max(0, floor)))
    after = len(days) if ceiling is None else bisect_left(days, problem.day_of(max(0, ceiling)) + 1)
    pinned = -1
    if job.pinned >= floor:
        pinned = problem.day_of(job.pinned)
        yield _least(problem, job, pinned, floor, before), pinned
    limit = job.latest if before is None or job.lag_max is None else min(job.latest, before + job.lag_max)
    wanted = problem.day_of(max(0, floor, min(job.low, limit)))
    right = min(max(bisect_left(days, wanted), first), after)
    left = right - 1
    low = _least(problem, job, days[left], floor, before) if left >= first else tuning.BEYOND
    high = _least(problem, job, days[right], floor, before) if right < after else tuning.BEYOND
    while low < tuning.BEYOND or high < tuning.BEYOND:
        if low <= high:
            day, least = days[left], low
            left -= 1
            low = _least(problem, job, days[left], floor, before) if left >= first else tuning.BEYOND
        else:
            day, least = days[right], high
            right += 1
            high = _least(problem, job, days[right], floor, before) if right < after else tuning.BEYOND
        if day != pinned:
            yield least, day


def _least(problem: Problem, job: Job, day: int, floor: int, before: int | None) -> int:
    """A bound below the cost of the job on a day."""
    first = max(problem.days[day].first, floor)
    last = problem.days[day].first + problem.days[day].slots - 1
    if first > last:
        return tuning.BEYOND
    away = max(0, job.low - last, first - job.high)
    moved = 0 if job.pinned < 0 or first <= job.pinned <= last else tuning.MOVE_COST
    return late_cost(job, first, before) + away + moved


def _candidates(
    hours: Hours,
    job: Job,
    day: int,
    floor: int,
    ceiling: int | None,
    turns: tuple[tuple[int, ...], tuple[int, ...]],
) -> list[int]:
    """Starts worth trying on a day: the published one, the first, the first in its part of the day, the last.

    And where ``turns`` fall on the day: the last starts in time, the first that leave what follows in time.
    """
    first = hours.problem.days[day].first
    mask = hours.open_starts(day, job, floor)
    if ceiling is not None:
        keep = ceiling - first + 1
        mask = mask & ((1 << keep) - 1) if keep > 0 else 0
    if not mask:
        return []
    found = []
    if job.pinned >= first and mask >> (job.pinned - first) & 1:
        found.append(job.pinned - first)
    found += _from(mask, 0)
    if job.need.part_of_day == "after dark":
        late = _from(mask, max(0, hours.problem.days[day].dusk - first))
        found = [*found, *late] if late else [*_until(mask, mask.bit_length()), *found]
    elif job.need.part_of_day == "light":
        found += _from(mask, max(0, part_spans(hours.problem, job, day)[0] - first))
    if job.lag_max is not None or ceiling is not None:
        found += _until(mask, mask.bit_length())
    found += _at_turns(mask, first, turns)
    if job.low > first:
        found += _from(mask, job.low - first)
    found += _until(mask, job.high - first)
    return [first + bit for bit in dict.fromkeys(found)]


def _at_turns(mask: int, first: int, turns: tuple[tuple[int, ...], tuple[int, ...]]) -> list[int]:
    """Starts next to where lateness begins: before the last ones in time, after the soonest that others allow."""
    before = [bit for last in turns[0] for bit in _until(mask, last - first)]
    return before + [bit for soonest in turns[1] if soonest > first for bit in _from(mask, soonest - first)]


def _from(mask: int, bit: int) -> list[int]:
    """The first set bit from this one on, if there is one."""
    later = mask >> bit << bit
    return [(later & -later).bit_length() - 1] if later else []


def _until(mask: int, bit: int) -> list[int]:
    """The last set bit up to this one, if there is one."""
    sooner = mask & ((2 << min(bit, tuning.LONGEST_DAY_SLOTS)) - 1) if bit >= 0 else 0
    return [sooner.bit_length() - 1] if sooner else []


def choose_who(hours: Hours, index: int, start: int) -> tuple[int, ...]:
    """Whom to name: the published people if free; else by clean-to-dirty, the vat already in hand, and least work."""
    job = hours.problem.jobs[index]
    free = hours.available(job, start)
    if start == job.pinned and job.pinned_who and set(job.pinned_who) <= set(free):
        return job.pinned_who
    if len(free) == job.people:
        return tuple(free)
    day = hours.problem.day_of(start)
    back, mine = ways_back(hours, day, job, start), in_hand(hours, day, job)
    if hours.problem.changeover:
        ease = {one: (_other_waters(hours, day, job, one), *hours.share(one, day)) for one in free}
    else:
        ease = {one: (0, 0, hours.load(day, one)) for one in free}
    named = sorted(free, key=lambda one: (back.get(one, 0), one not in mine, ease[one], one))
    return tuple(sorted(named[: job.people]))


def _other_waters(hours: Hours, day: int, job: Job, person: int) -> int:
    """0 where someone has only this water in hand that day, 1 with a day still empty, 2 with other waters."""
    waters = {hours.problem.jobs[other].water for other in hours.with_person(day, person)}
    return 1 if not waters else 0 if waters == {job.water} else 2


def in_hand(hours: Hours, day: int, job: Job) -> set[int]:
    """People who work in the job's vat on that day already."""
    if not job.need.vat:
        return set()
    vat, jobs = job.need.vat, hours.problem.jobs
    return {person for other in hours.on_day(day) if jobs[other].need.vat == vat for person in hours.who[other]}


def ways_back(hours: Hours, day: int, job: Job, start: int) -> dict[int, int]:
    """For each person how often they would go from dirty to clean on that day because of this job."""
    rows: dict[int, int] = {}
    for other in hours.on_day(day):
        rank = hours.problem.jobs[other].rank
        at = hours.start[other]
        if (at < start and rank > job.rank) or (at > start and rank < job.rank):
            for person in hours.who[other]:
                rows[person] = rows.get(person, 0) + 1
    return rows
