"""What a timetable costs, in strict order: late work, moves of published work, comfort (day and part of the day wanted).

The order is kept by weights: where something was published, one slot of lateness weighs more than moving everything, and
one move more than any comfort; where nothing was, there is nothing to move and lateness weighs a hundred slots of comfort.
"""

from __future__ import annotations

from dataclasses import dataclass

from intake.timetable import timetable_tuning as tuning
from intake.timetable.problem import PART_COST, Job, Problem
from intake.timetable.search.hours import Hours

__all__ = ["Tally", "in_part", "job_cost", "lapses", "late_cost", "late_slots", "part_spans", "tally"]


@dataclass(frozen=True, slots=True)
class Tally:
    """Sums over a timetable: ``late`` in slots (unweighted), ``away`` in slots, work outside its part of the day."""

    cost: int
    late: int
    away: int
    outside_part: int
    moved: int


def late_slots(job: Job, start: int, before: int | None) -> int:
    """Slots after the latest start, or after the longest lag to the job before (at ``before``), whichever is more."""
    late = max(0, start - job.latest)
    if before is not None and job.lag_max is not None:
        late = max(late, start - before - job.lag_max)
    return late


def lapses(job: Job, start: int, before: int | None) -> bool:
    """Whether a start is so late that the series the job is part of begins again."""
    if job.lapse is not None and start > job.lapse:
        return True
    return before is not None and job.lapse_lag is not None and start - before > job.lapse_lag


def late_cost(job: Job, start: int, before: int | None) -> int:
    """Cost of lateness: by the slot, and once more where a series begins again."""
    return job.weight * late_slots(job, start, before) + (job.stake if lapses(job, start, before) else 0)


def in_part(problem: Problem, job: Job, start: int) -> bool:
    """Whether a start lies in the part of the day wanted."""
    if job.need.part_of_day == "any":
        return True
    day = problem.days[problem.day_of(start)]
    if job.need.part_of_day == "morning":
        return start < day.first + day.slots // 2
    if job.need.part_of_day == "light":
        return day.light is None or (day.light[0] <= start and start + job.slots <= day.light[1])
    return start >= day.dusk


def part_spans(problem: Problem, job: Job, day: int) -> tuple[int, int]:
    """First and last start of a day that lie in the part of the day wanted; the first may be after the last."""
    here = problem.days[day]
    last = here.first + here.slots - 1
    if job.need.part_of_day == "morning":
        return here.first, here.first + here.slots // 2 - 1
    if job.need.part_of_day == "after dark":
        return here.dusk, last
    if job.need.part_of_day == "light" and here.light is not None:
        return here.light[0], here.light[1] - job.slots
    return here.first, last


def job_cost(problem: Problem, job: Job, start: int, before: int | None, who: tuple[int, ...] | None = None) -> int:
    """Cost of one job at a start, given the start of the job it follows and the people named."""
    cost = late_cost(job, start, before)
    cost += max(0, job.low - start, start - job.high)
    if not in_part(problem, job, start):
        cost += PART_COST
    if job.pinned >= 0:
        if start != job.pinned:
            cost += tuning.MOVE_COST + abs(start - job.pinned)
        elif who is not None and who != job.pinned_who:
            cost += tuning.WHO_COST
    return cost


def tally(hours: Hours) -> Tally:
    """Sum the cost of every placed job."""
    problem = hours.problem
    cost = late = away = outside = moved = 0
    for index, job in enumerate(problem.jobs):
        start = hours.start[index]
        if start < 0:
            continue
        before = hours.start[job.after] if job.after >= 0 and hours.start[job.after] >= 0 else None
        cost += job_cost(problem, job, start, before, hours.who[index])
        late += late_slots(job, start, before)
        away += max(0, job.low - start, start - job.high)
        outside += not in_part(problem, job, start)
        moved += job.pinned >= 0 and start != job.pinned
    return Tally(cost, late, away, outside, moved)
