"""What a timetable costs: lateness first, then work away from the day or the part of the day wanted, then moves."""

from __future__ import annotations

from dataclasses import dataclass

from intake.timetable.hours import Hours
from intake.timetable.problem import PART_COST, Job, Problem

__all__ = ["MOVE_COST", "WHO_COST", "Tally", "in_part", "job_cost", "late_slots", "tally"]

MOVE_COST = 500
"""Cost of moving a published time: five slots of lateness, as in the study behind docs/decisions/timetable-model.md."""

WHO_COST = 50
"""Cost of naming somebody else at the published time."""


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


def in_part(problem: Problem, job: Job, start: int) -> bool:
    """Whether a start lies in the part of the day wanted."""
    if job.need.part_of_day == "any":
        return True
    day = problem.days[problem.day_of(start)]
    if job.need.part_of_day == "morning":
        return start < day.first + day.slots // 2
    return start >= dark_from(problem, job, problem.day_of(start))


def dark_from(problem: Problem, job: Job, day: int) -> int:
    """First start that counts as after dark: dusk, or the last moment at which the shifts still leave time."""
    ends = [shift[1] for person in job.who if (shift := problem.days[day].shifts[person]) is not None]
    return min(problem.days[day].dusk, max(ends, default=problem.days[day].dusk) - job.slots)


def job_cost(problem: Problem, job: Job, start: int, before: int | None, who: tuple[int, ...] | None = None) -> int:
    """Cost of one job at a start, given the start of the job it follows and the people named."""
    cost = job.weight * late_slots(job, start, before)
    cost += max(0, job.low - start, start - job.high)
    if not in_part(problem, job, start):
        cost += PART_COST
    if job.pinned >= 0:
        if start != job.pinned:
            cost += MOVE_COST
        elif who is not None and who != job.pinned_who:
            cost += WHO_COST
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
