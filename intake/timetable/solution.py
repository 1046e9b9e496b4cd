"""The timetable as people read it: who does what, where and when, what could not be placed, what moved and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from intake.library import Evidence
from intake.timetable.problem import Unplaced

__all__ = ["Change", "Task", "Timetable", "as_dict"]


@dataclass(frozen=True, slots=True)
class Task:
    """One task with its time, people and place.

    Attributes
    ----------
    start, end
        In the farm's time zone.
    staff
        Ids of the people named.
    station
        Station id, or empty.
    sequence
        Rises by one when time, people, station, vat or title of a published task change.
    late_minutes
        Minutes after the latest start allowed; 0 when in time.
    why
        Reason, arithmetic, and what could not be kept.
    vats
        Vats of a round in the order of the walk, clean to dirty.
    strict
        Lateness breaks the cycle it is meant to break.
    latest
        Last start in time.
    part
        Part of the day wanted.
    gap_min, same_day
        Least minutes between the end of the task it follows and its start, and whether it goes on from a bath or landing
        of the same session.
    short
        Number by which people name it while it is open; 0: none given yet.
    state, reason
        ``open``, ``done``, ``missed`` or ``dropped``, and why it was dropped or missed.
    """

    uid: str
    kind: str
    batch: str
    vat: str
    system: str
    start: datetime
    end: datetime
    staff: tuple[str, ...]
    station: str
    title: str
    why: str
    sequence: int = 0
    dip: str = ""
    number: int = 1
    of: int = 1
    agent: str = ""
    strength: str = ""
    contact_min: float | None = None
    contact_max: float | None = None
    protection: tuple[str, ...] = ()
    headcount: int = 0
    evidence: Evidence = "practice"
    source: str = ""
    unsourced: bool = False
    after_dark: bool = False
    follows: str = ""
    late_minutes: int = 0
    vats: tuple[str, ...] = ()
    strict: bool = False
    latest: datetime | None = None
    part: str = "any"
    gap_min: int = 0
    same_day: bool = False
    short: int = 0
    state: str = "open"
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """What became of a published task: ``was`` is empty for new work, ``now`` for work no longer needed.

    ``forced``: facts forbid the published time whatever else is done; a further move makes room for other work.
    """

    uid: str
    was: Task | None
    now: Task | None
    why: str
    forced: bool = True


@dataclass(frozen=True, slots=True)
class Timetable:
    """The answer.

    Attributes
    ----------
    tasks
        By start, then uid; what is recorded as done is not among them.
    status
        ``proved``: no timetable is cheaper; ``feasible``: complete, perhaps not the cheapest.
    late
        Uids of late tasks; ``late_minutes`` their sum.
    cost, bound
        Weighted cost (lateness, days away from the day wanted, moves) and the bound below it.
    ways_back
        How often someone goes from dirtier to cleaner animals within a day.
    broken
        (batch, words) for each lag or limit that could not be kept and forbids release.
    changes
        Against the published timetable.
    fewest
        Whether no fewer further moves are possible with so little lateness.
    evening
        What one evening shift a week would do after dark that is now done in daylight; empty when nothing is.
    """

    tasks: tuple[Task, ...]
    unplaced: tuple[Unplaced, ...]
    status: Literal["proved", "feasible"]
    cost: int
    bound: int
    late: tuple[str, ...]
    late_minutes: int
    away_minutes: int
    ways_back: int
    broken: tuple[tuple[str, str], ...]
    changes: tuple[Change, ...]
    seed: int
    steps: int
    fewest: bool = False
    evening: str = ""

    @property
    def moved(self) -> tuple[Change, ...]:
        """Tasks that stand at another time than published."""
        return tuple(one for one in self.changes if one.was and one.now and one.was.start != one.now.start)

    def by_uid(self) -> dict[str, Task]:
        """The tasks by uid, as ``published`` of the next scheduling."""
        return {task.uid: task for task in self.tasks}


def as_dict(timetable: Timetable) -> dict[str, Any]:
    """The timetable as plain data for ``timetable --json``; the keys of the contract first, further ones after."""
    return {
        "tasks": [_task_dict(task) for task in timetable.tasks],
        "unplaced": [_unplaced_dict(one) for one in timetable.unplaced],
        "status": timetable.status,
        "late_minutes": timetable.late_minutes,
        "broken": [{"batch": batch, "why": why} for batch, why in timetable.broken],
        "changes": [
            {
                "uid": change.uid,
                "was": None if change.was is None else change.was.start.isoformat(),
                "now": None if change.now is None else change.now.start.isoformat(),
                "why": change.why,
                "forced": change.forced,
            }
            for change in timetable.changes
        ],
        "fewest_moves": timetable.fewest,
        "evening": timetable.evening,
    }


def _task_dict(task: Task) -> dict[str, Any]:
    return {
        "uid": task.uid,
        "kind": task.kind,
        "batch": task.batch,
        "vat": task.vat,
        "start": task.start.isoformat(),
        "end": task.end.isoformat(),
        "staff": list(task.staff),
        "station": task.station,
        "sequence": task.sequence,
        "why": task.why,
        "system": task.system,
        "title": task.title,
        "headcount": task.headcount,
        "late_minutes": task.late_minutes,
        "unsourced": task.unsourced,
        "state": task.state,
        "number": task.short,
        "vats": list(task.vats),
    }


def _unplaced_dict(one: Unplaced) -> dict[str, Any]:
    plain = {"kind": one.kind, "batch": one.batch, "why": one.why}
    return {**plain, "uid": one.uid, "vat": one.vat, "cheapest": one.cheapest}
