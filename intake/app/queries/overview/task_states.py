"""The state of a task in words, said alike by tables, board, paper and calendars."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from intake.app.queries.planning.published_timetable import state_at
from intake.app.session import House
from intake.language import ENGLISH, Language, phrase

__all__ = ["mark_of", "state_words"]

_MARKS = {
    "done": "✓", "missed": phrase("Missed:"), "dropped": phrase("Dropped:"), "late": phrase("Late:"),
    "running": phrase("Now:"),
}  # fmt: skip


def mark_of(state: str, language: Language = ENGLISH) -> str:
    """What stands before a title for a state; nothing for work that is due."""
    return f"{language.say(_MARKS[state])} " if state in _MARKS else ""


def state_words(house: House, row: Mapping[str, Any]) -> str:
    """What became of a task, in a sentence without a full stop; empty while it is simply due.

    ``running`` and ``late`` are shown only by what is looked at now: a calendar lies on a phone for hours.
    """
    state = state_at(row, house.now)
    if state == "done":
        return _done(house, row)
    say = house.language.say
    if state in {"missed", "dropped"}:
        why = house.language.retell(str(row.get("reason") or "")) or say("no reason kept")
        return say("Missed: {why}", why=why) if state == "missed" else say("Dropped: {why}", why=why)
    told = {"running": phrase("Running now"), "late": phrase("Late: not recorded")}.get(state)
    return say(told) if told else ""


def _done(house: House, row: Mapping[str, Any]) -> str:
    by, at, people = str(row.get("by") or ""), row.get("at"), house.site.people
    moment = datetime.fromisoformat(str(at)).astimezone(house.site.farm.zone) if at else None
    when = house.language.day(moment, "%a %d %b %H:%M") if moment else ""
    who = (people[by].name or by) if by in people else by
    shape = _DONE[bool(when), bool(who)]
    note = f": {row['note']}" if row.get("note") else ""
    return f"{house.language.say(shape, when=when, who=who)}{note}"


_DONE = {
    (True, True): phrase("Done {when} by {who}"),
    (True, False): phrase("Done {when}"),
    (False, True): phrase("Done by {who}"),
    (False, False): phrase("Done"),
}
"""Whether it is known when and by whom → the words."""
