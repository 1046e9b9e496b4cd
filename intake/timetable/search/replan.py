"""Published times in the problem: where each task stands, and which may not move."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from intake.timetable import timetable_tuning as tuning
from intake.timetable.problem import LATE_COST, SLOT_MIN, Job, Problem
from intake.timetable.solution import Task

__all__ = ["GRACE_H", "lateness_first", "pin", "stands_still"]

GRACE_H = 12.0
"""Hours after its end in which a task waits to be recorded before it counts as not done: house rule, no source."""


def stands_still(task: Task, now: datetime, frozen_hours: float, grace_h: float = GRACE_H) -> bool:
    """Whether a published task may not move: begun and perhaps not yet recorded, or beginning within the next hours."""
    return (
        task.start < now + timedelta(hours=frozen_hours)
        and task.end > now - timedelta(hours=grace_h)
        and (task.start < now or frozen_hours > 0)
    )


def pin(
    problem: Problem, published: Mapping[str, Task], now: datetime, frozen_hours: float, grace_h: float = GRACE_H
) -> Problem:
    """Jobs with where they were published, and which of them may not move; lateness then outweighs every move."""
    person = {one.id: index for index, one in enumerate(problem.people)}
    fixed = {uid for uid, task in published.items() if stands_still(task, now, frozen_hours, grace_h)}
    jobs = tuple(_pinned(problem, job, published, person, fixed) for job in problem.jobs)
    return lateness_first(replace(problem, jobs=jobs))


def lateness_first(problem: Problem) -> Problem:
    """The problem with one slot of lateness dearer than moving all that was published."""
    count = sum(job.pinned >= 0 for job in problem.jobs)
    if not count:
        return problem
    weight = tuning.MOVE_COST * (count + 1) // LATE_COST
    jobs = tuple(replace(job, weight=job.weight * weight, stake=job.stake * weight) for job in problem.jobs)
    return replace(problem, jobs=jobs)


def _pinned(
    problem: Problem, job: Job, published: Mapping[str, Task], person: Mapping[str, int], fixed: Collection[str]
) -> Job:
    task = published.get(job.uid)
    if task is None:
        return job
    start = round((task.start - problem.origin).total_seconds() / (60 * SLOT_MIN))
    who = tuple(sorted(person[name] for name in task.staff if name in person))
    if job.uid in fixed:
        slots = max(1, round((task.end - task.start).total_seconds() / (60 * SLOT_MIN)))
        return replace(job, pinned=start, pinned_who=who, fixed=True, slots=slots)
    if start < problem.now:
        return job
    return replace(job, pinned=start, pinned_who=who, was_late=task.late_minutes // SLOT_MIN)
