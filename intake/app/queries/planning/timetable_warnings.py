"""What a person must hear of the timetable after any command: a repair that failed, and work that has no place."""

from __future__ import annotations

import logging
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any

from intake.app.queries.planning.published_timetable import all_tasks, task_of, told_of_timetable
from intake.app.queries.planning.timetable_needs import needs
from intake.app.session import DatabaseFault, House
from intake.quarantine import Need
from intake.timetable import Task
from intake.timetable.answers.lapses import lapses_told
from intake.timetable.settled import Tried

__all__ = [
    "broken_rows",
    "lapse_rows",
    "lapse_words",
    "lapses_now",
    "left_out",
    "timetable_warnings",
    "tried_before",
    "unplaced_now",
]

_Row = dict[str, Any]

log = logging.getLogger("vatside.timetable")


def unplaced_now(house: House) -> list[dict[str, Any]]:
    """Tasks that stand in no timetable, as last reported: ``uid``, ``kind``, ``batch``, ``vat``, ``why``, ``cheapest``."""
    rows: Any = told_of_timetable(house).get("unplaced") or []
    return [dict(row) for row in rows]


def lapses_now(house: House) -> list[dict[str, Any]]:
    """Repeats planned too late for their series, as last reported: as unplaced work, with ``title``; past deadlines left out."""
    rows: Any = told_of_timetable(house).get("lapses") or []
    ahead = {uid for uid, row in all_tasks(house).items() if row.get("state", "open") == "open"} if rows else set()
    return [dict(row) for row in rows if row["uid"] in ahead]


def lapse_words(row: Mapping[str, Any]) -> str:
    """One of them in a sentence, with what would help."""
    return f"Too late to count: {row['title']} in {row['vat']}, {row['why']}. To be in time: {row['cheapest']}."


def timetable_warnings(house: House, known: Collection[str] = (), *, named: int = 5) -> list[str]:
    """Sentences on a repair that failed and on tasks without a place; none when all is well.

    Parameters
    ----------
    known
        Uids of tasks without a place, or too late for their series, that need no second report.
    named
        So many of those tasks are named, the others counted.
    """
    trouble = str(told_of_timetable(house).get("trouble") or "")
    words = []
    if trouble:
        words.append(
            f"The record is saved, but the timetable could not be updated: {trouble}. Published times may be out of date. "
            "The next record tries again, and so does `vatside timetable`."
        )
    words += [lapse_words(row) for row in lapses_now(house) if row["uid"] not in known]
    left = [row for row in unplaced_now(house) if row["uid"] not in known]
    for row in left[:named]:
        where = " in ".join(part for part in (str(row["batch"]), str(row["vat"])) if part)
        words.append(f"No place in the timetable: {' '.join(filter(None, (row['kind'], where)))}: {row['why']}")
    if len(left) > named:
        words.append(f"{len(left) - named} more tasks have no place: `vatside timetable` lists them.")
    return words


def left_out(house: House, trouble: str) -> list[dict[str, Any]]:
    """What must be done and stands in no timetable because it could not be repaired, as unplaced.

    Empty where what must be done cannot be said either: then the trouble is reported alone.
    """
    try:
        wanted = needs(house)
    except DatabaseFault:
        raise
    except Exception:  # the fault the repair met may lie here
        log.exception("what must be done could not be listed")
        return []
    rows = all_tasks(house)
    why = f"the timetable could not be repaired ({trouble})"
    return [
        {"uid": need.uid, "kind": need.kind, "batch": need.batch, "vat": need.vat, "why": why, "cheapest": ""}
        for need in wanted
        if need.uid not in rows
    ]


def lapse_rows(house: House, wanted: Sequence[Need], rows: Mapping[str, _Row], read: Mapping[str, Task]) -> list[_Row]:
    """Repeats whose series begins again as they are planned, with deadline, price and a way out.

    Parameters
    ----------
    read
        Tasks of those rows that were read before: most of them, and reading them twice takes long.
    """
    now = {
        uid: read.get(uid) or task_of(row) for uid, row in rows.items()
        if row.get("state", "open") == "open" and datetime.fromisoformat(str(row["end"])) > house.now
    }  # fmt: skip
    names = ("uid", "kind", "batch", "vat", "title", "why", "cheapest")
    return [{name: getattr(one, name) for name in names} for one in lapses_told(wanted, now, house.site)]


def broken_rows(house: House, rows: Mapping[str, _Row]) -> list[list[str]]:
    """(batch, words) for each limit that breaks a pest's cycle by work still open."""
    found: list[list[str]] = []
    for row in rows.values():
        if row.get("state", "open") == "open" and row.get("strict") and row.get("late_minutes"):
            start = datetime.fromisoformat(str(row["start"])).astimezone(house.site.farm.zone)
            hours, minutes = divmod(int(row["late_minutes"]), 60)
            words = f"{row['title']} on {start:%d %b %H:%M} is {hours} h {minutes:02d} late"
            found.append([str(row["batch"]), words])
    return sorted(found)


def tried_before(house: House) -> Tried:
    """What the last repair could not mend, as it was kept; nothing where it came to no end."""
    told = told_of_timetable(house)
    kept: Any = {} if told.get("trouble") else told.get("tried") or {}
    return Tried(**kept)
