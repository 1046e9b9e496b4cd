"""What a timetable changes against the one published, and why."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from intake.timetable.answers.reasons import why_moved, why_others
from intake.timetable.problem import SLOT_MIN
from intake.timetable.search.hours import Hours
from intake.timetable.solution import Change, Task

__all__ = ["changes"]


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
            why = "no free time was found" if uid in index else "no longer needed"
            rows.append(Change(uid, was, None, why))
        elif here.start != was.start:
            found = why_moved(hours, index[uid], published, now)
            rows.append(Change(uid, was, here, found.words, found.forced))
        elif here.end != was.end:
            rows.append(Change(uid, was, here, f"takes {hours.problem.jobs[index[uid]].slots * SLOT_MIN} min now"))
        elif here.staff != was.staff:
            found = why_others(hours, index[uid], was, published, now)
            rows.append(Change(uid, was, here, found.words, found.forced))
    if published:
        rows += [Change(uid, None, task, "new task") for uid, task in tasks.items() if uid not in published]
    return tuple(sorted(rows, key=lambda row: ((row.now or row.was or _never()).start, row.uid)))


def _never() -> Task:
    msg = "a change has a task before or after"
    raise AssertionError(msg)
