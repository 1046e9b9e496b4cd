"""Keep published times unless they cannot hold, and say in plain words what moved and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from intake.timetable.hours import Hours
from intake.timetable.problem import SLOT_MIN, Job, Problem
from intake.timetable.solution import Change, Task

__all__ = ["GRACE_H", "changes", "pin", "stands_still"]

GRACE_H = 12.0
"""Hours after its end in which a task waits to be recorded before it counts as not done: house rule, no source."""


def stands_still(task: Task, now: datetime, frozen_hours: float) -> bool:
    """Whether a published task may not move: begun and perhaps not yet recorded, or beginning within the next hours."""
    return (
        task.start < now + timedelta(hours=frozen_hours)
        and task.end > now - timedelta(hours=GRACE_H)
        and (task.start < now or frozen_hours > 0)
    )


def pin(problem: Problem, published: Mapping[str, Task], now: datetime, frozen_hours: float) -> Problem:
    """Jobs told where they were published, and which of them may not move."""
    person = {one.id: index for index, one in enumerate(problem.people)}
    return replace(
        problem,
        jobs=tuple(
            _pinned(problem, job, published, person, now=now, frozen_hours=frozen_hours) for job in problem.jobs
        ),
    )


def _pinned(
    problem: Problem,
    job: Job,
    published: Mapping[str, Task],
    person: Mapping[str, int],
    *,
    now: datetime,
    frozen_hours: float,
) -> Job:
    task = published.get(job.uid)
    if task is None:
        return job
    start = round((task.start - problem.origin).total_seconds() / (60 * SLOT_MIN))
    who = tuple(sorted(person[name] for name in task.staff if name in person))
    if stands_still(task, now, frozen_hours):
        slots = max(1, round((task.end - task.start).total_seconds() / (60 * SLOT_MIN)))
        return replace(job, pinned=start, pinned_who=who, fixed=True, slots=slots)
    if start < problem.now:
        return job
    return replace(job, pinned=start, pinned_who=who)


def changes(
    hours: Hours, tasks: Mapping[str, Task], published: Mapping[str, Task], done: frozenset[str], now: datetime
) -> tuple[Change, ...]:
    """Everything that differs from what was published, in the order of the new start."""
    index = {job.uid: number for number, job in enumerate(hours.problem.jobs)}
    rows: list[Change] = []
    for uid, was in published.items():
        here = tasks.get(uid)
        if uid in done or (here is None and was.end <= now):
            continue
        if here is None:
            why = "no free time was found" if uid in index else "it is no longer needed"
            rows.append(Change(uid, was, None, why))
        elif (here.start, here.end) != (was.start, was.end):
            rows.append(Change(uid, was, here, _why_moved(hours, index[uid], was, now)))
        elif here.staff != was.staff:
            rows.append(Change(uid, was, here, _why_others(hours, index[uid], was)))
    if published:
        rows += [Change(uid, None, task, "new work") for uid, task in tasks.items() if uid not in published]
    return tuple(sorted(rows, key=lambda row: ((row.now or row.was or _never()).start, row.uid)))


def _never() -> Task:
    msg = "a change has a task before or after"
    raise AssertionError(msg)


def _why_moved(hours: Hours, index: int, was: Task, now: datetime) -> str:
    """The first rule the published time breaks, in plain words."""
    problem, job = hours.problem, hours.problem.jobs[index]
    old = round((was.start - problem.origin).total_seconds() / (60 * SLOT_MIN))
    zone = was.start.tzinfo
    if was.end <= now:
        return f"it was not recorded as done by {now.astimezone(zone):%d %b %H:%M}"
    if was.start < now:
        return "its start time has passed"
    if old < job.earliest:
        return f"it may not begin before {problem.moment(job.earliest).astimezone(zone):%d %b %H:%M}"
    if round((was.end - was.start).total_seconds() / (60 * SLOT_MIN)) != job.slots and hours.start[index] == old:
        return f"it now takes {job.slots * SLOT_MIN} minutes"
    if job.after >= 0 and hours.start[job.after] >= 0 and old < hours.start[job.after] + job.lag_min:
        before = problem.jobs[job.after].need.title
        return f"the work before it ({before}) moved, and {_span(job.lag_min)} must lie between"
    off = [name for name in was.staff if not _on_shift(problem, name, old, job.slots)]
    if off:
        return f"{_names(problem, off)} off at that time"
    if old > job.latest:
        return f"it must begin by {problem.moment(job.latest).astimezone(zone):%d %b %H:%M}"
    if job.after >= 0 and job.lag_max is not None and old > hours.start[job.after] + job.lag_max:
        return f"no more than {_span(job.lag_max)} may lie after the work before it"
    return _taken(hours, index, was, old)


def _why_others(hours: Hours, index: int, was: Task) -> str:
    problem, job = hours.problem, hours.problem.jobs[index]
    off = [name for name in was.staff if not _on_shift(problem, name, hours.start[index], job.slots)]
    if off:
        return f"{_names(problem, off)} off at that time"
    skill = job.need.skill
    able = {problem.people[person].id for person in job.who}
    if not set(was.staff) <= able:
        return f"{', '.join(sorted(set(was.staff) - able))} no longer has the skill '{skill}'"
    return _taken(hours, index, was, hours.start[index])


def _taken(hours: Hours, index: int, was: Task, old: int) -> str:
    problem, job = hours.problem, hours.problem.jobs[index]
    day = problem.day_of(old)
    for other in hours.jobs_on(day):
        at = hours.start[other]
        if other == index or not (at < old + job.slots and old < at + problem.jobs[other].slots):
            continue
        named = [problem.people[person].id for person in hours.who[other] if problem.people[person].id in was.staff]
        title = problem.jobs[other].need.title
        if named:
            return f"{_names(problem, named)} needed then for {title}"
        shared = [kind for kind in job.uses if kind in problem.jobs[other].uses and kind in problem.places]
        if shared:
            return f"the {shared[0]} station is needed then for {title}"
        if job.water_l and problem.jobs[other].water_l and job.water_l + problem.jobs[other].water_l > problem.tank_l:
            return f"the mixed water is needed then for {title}"
        if job.need.batch and job.need.batch == problem.jobs[other].need.batch:
            return f"the animals are being handled then for {title}"
    return "to keep another task from being late"


def _on_shift(problem: Problem, name: str, start: int, slots: int) -> bool:
    for index, person in enumerate(problem.people):
        if person.id == name:
            shift = problem.days[problem.day_of(start)].shifts[index]
            return shift is not None and shift[0] <= start and start + slots <= shift[1]
    return False


def _names(problem: Problem, ids: list[str]) -> str:
    known = {person.id: person.name or person.id for person in problem.people}
    words = " and ".join(known.get(one, one) for one in ids)
    return f"{words} is" if len(ids) == 1 else f"{words} are"


def _span(slots: int) -> str:
    hours = slots * SLOT_MIN / 60
    return f"{hours / 24:.3g} days" if hours >= 24 else f"{hours:.3g} hours"
