"""What follows every act inside its transaction: the timetable repaired, the calendars published."""

from __future__ import annotations

import logging
from typing import Any, Final

from intake.app.calendars.feed_publication import EVERYTHING, publish_all, publish_changes
from intake.app.commands.schedule_work import bring_up, write_outcome
from intake.app.queries.planning.published_timetable import shown_tasks, told_of_timetable
from intake.app.queries.planning.timetable_warnings import left_out
from intake.app.session import Act, DatabaseFault, House

__all__ = ["QUIET", "follow"]

log = logging.getLogger("vatside.timetable")

DERIVED: Final = frozenset({"task", "published"})
QUIET: Final = frozenset({"feed", "person", "device", "photo", "columns", "names", "farm", "published"})
"""Kinds of entries that change nothing that must be done."""


def follow(act: Act) -> None:
    """Bring timetable and calendars up to what the act wrote.

    A fault in the repair never blocks the record: it is logged, saved with the timetable and reported by every command that
    shows it, and the next act tries again.  A fault of the database is the act's own: nothing of it can be kept.
    """
    kinds = act.written - QUIET
    if act.subjects["timetable"] <= {"timetable"}:
        kinds -= {"timetable"}  # the timetable's own words; a landing day has a subject of its own
    if not kinds:
        return
    house = act.inside()
    before = shown_tasks(house)
    whole = EVERYTHING in kinds or bool(told_of_timetable(house).get("trouble"))  # what failed before is made good
    changed: set[str] = set(act.subjects["task"])
    if act.written & {"timetable", "received"}:  # a landing day kept again, or over
        changed |= {uid for uid in shown_tasks(house) if uid.startswith("land/")}
    if kinds - DERIVED:
        changed |= _repaired(act, house, overdue=EVERYTHING in kinds)
    try:
        if whole:
            publish_all(act)
        else:
            publish_changes(act, changed | _release_checks(act, before), before, _shipments(act, house))
    except DatabaseFault:
        raise
    except Exception as trouble:
        log.exception("calendars could not be published with this act")
        _tell(act, f"calendars: {trouble}")


def _repaired(act: Act, house: House, *, overdue: bool) -> set[str]:
    try:
        outcome = bring_up(house, overdue=overdue)
    except DatabaseFault:
        raise
    except Exception as trouble:
        log.exception("the timetable could not follow this act")
        _tell(act, str(trouble))
        return set()
    write_outcome(act, outcome)
    return set(outcome.rows)


def _tell(act: Act, trouble: str) -> None:
    """Keep the fault with the timetable, and what it left without a place as unplaced."""
    house = act.inside()
    told = dict(told_of_timetable(house))
    told.pop("tasks", None)
    lacking = left_out(house, trouble)
    names = {str(row["uid"]) for row in lacking}
    before: Any = told.get("unplaced") or []
    unplaced = [*(row for row in before if row["uid"] not in names), *lacking]
    if (told.get("trouble"), before) != (trouble, unplaced):
        act.derive("timetable", "timetable", {**told, "trouble": trouble, "unplaced": unplaced})


def _shipments(act: Act, house: House) -> set[str]:
    """Shipments named by the act or by one of its batches."""
    floor = house.floor()
    named = set(act.subjects["shipment"]) | set(act.subjects["received"]) | set(act.subjects["claim"])
    for kind in ("movement", "batch", "finding", "hold", "lift"):
        for batch in act.subjects[kind]:
            if batch in floor.batches and floor.batches[batch].shipment:
                named.add(floor.batches[batch].shipment)
    return named


def _release_checks(act: Act, rows: dict[str, dict[str, object]]) -> set[str]:
    """Open release checks: what is in their way may have changed with any finding, hold, death or cleaning."""
    if not act.written & {"movement", "finding", "hold", "lift", "reading", "done", "cleaned", "timetable"}:
        return set()
    return {uid for uid, row in rows.items() if row["kind"] == "release check" and row.get("state", "open") == "open"}
