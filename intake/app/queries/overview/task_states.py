"""The state of a task in words, said alike by tables, board, paper and calendars."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from intake.app.queries.planning.published_timetable import state_at
from intake.app.session import House

__all__ = ["mark_of", "state_words"]

_MARKS = {"done": "✓ ", "missed": "Missed: ", "dropped": "Dropped: ", "late": "Late: ", "running": "Now: "}


def mark_of(state: str) -> str:
    """What stands before a title for a state; nothing for work that is due."""
    return _MARKS.get(state, "")


def state_words(house: House, row: Mapping[str, Any]) -> str:
    """What became of a task, in a sentence without a full stop; empty while it is simply due.

    ``running`` and ``late`` are told only by what is looked at now: a calendar lies on a phone for hours.
    """
    state = state_at(row, house.now)
    if state == "done":
        return _done(house, row)
    if state in {"missed", "dropped"}:
        return f"{state.capitalize()}: {row.get('reason') or 'no reason kept'}"
    return {"running": "Running now", "late": "Late: not recorded"}.get(state, "")


def _done(house: House, row: Mapping[str, Any]) -> str:
    by, at, people = str(row.get("by") or ""), row.get("at"), house.site.people
    when = f" {datetime.fromisoformat(str(at)).astimezone(house.site.farm.zone):%a %d %b %H:%M}" if at else ""
    who = f" by {people[by].name or by}" if by in people else f" by {by}" if by else ""
    note = f": {row['note']}" if row.get("note") else ""
    return f"Done{when}{who}{note}"
