"""The journal: what was recorded since a moment, act by act, in words, and what of it can be undone and by whom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from intake.app.access.entry_rights import follows, right_to, undoable
from intake.app.access.roles import may, role_of
from intake.app.queries.overview.entry_words import entry_words
from intake.app.session import House
from intake.ledger import Entry, Movement

__all__ = ["JournalAct", "act_key_of", "journal"]

_SILENT = frozenset({"feed", "timetable", "published", "device", "person", "columns", "names", "batch", "box"})
"""Kinds of record that follow from others or are no one's work at the vats."""


@dataclass(frozen=True, slots=True)
class JournalAct:
    """One act: everything one person recorded at once.

    Attributes
    ----------
    at, recorded
        When it happened, and when it was recorded.
    who
        Id of the person.
    words
        What it says, a line for each entry that says something.
    key
        By which it is undone as a whole.
    batch
        The batch it is about, the first where it is about several; empty for none.
    rights
        Rights its undoing asks, all of them.
    undone
        Whether a later act undid it, in whole.
    undo
        Whether the person asking may undo it now.
    """

    at: datetime
    recorded: datetime
    who: str
    words: tuple[str, ...]
    key: str
    batch: str
    rights: tuple[str, ...]
    undone: bool
    undo: bool

    def as_dict(self) -> dict[str, object]:
        """For ``--json``."""
        return {
            "at": self.at.isoformat(),
            "recorded": self.recorded.isoformat(),
            "who": self.who,
            "words": list(self.words),
            "key": self.key,
            "batch": self.batch or None,
            "undone": self.undone,
            "undo": self.undo,
        }


def journal(house: House, since: datetime, who: str = "") -> tuple[JournalAct, ...]:
    """What was recorded since a moment, newest first; reads no older entries.

    Parameters
    ----------
    since
        Time-zone aware.
    who
        Only what this person recorded.
    """
    acts: dict[str, list[Entry]] = {}
    for entry in house.view.recorded_after(since):
        if follows(entry):
            continue  # no one did it, and it is no last act to undo
        acts.setdefault(act_key_of(entry), []).append(entry)
    keys = [entry.key for entries in acts.values() for entry in entries]
    gone = {str(one.corrects) for one in house.corrections(keys)}
    role = role_of(house, house.who)
    told = [_act(key, entries, gone, role) for key, entries in acts.items() if not who or entries[0].who == who]
    return tuple(one for one in reversed(told) if one.words)


def act_key_of(entry: Entry) -> str:
    """The key under which all entries of its act are undone together."""
    first, _, number = entry.key.rpartition(".")
    return first if first and number.isdecimal() else entry.key


def _act(key: str, entries: Sequence[Entry], gone: set[str], role: str) -> JournalAct:
    first = entries[0]
    back = [entry for entry in entries if undoable(entry)]
    rights = tuple(dict.fromkeys(right_to(entry) for entry in back))
    undone = bool(back) and all(entry.key in gone for entry in back)
    return JournalAct(
        at=first.happened_at,
        recorded=first.recorded_at,
        who=first.who,
        words=tuple(dict.fromkeys(words for entry in entries if (words := _line(entry)))),
        key=key,
        batch=next((batch for entry in entries if (batch := _batch(entry))), ""),
        rights=rights,
        undone=undone,
        undo=bool(back) and not undone and all(may(role, right) for right in ("undo", *rights)),
    )


def _line(entry: Entry) -> str:
    if isinstance(entry, Movement):
        return f"{entry.batch}: {entry_words(entry)}"
    if entry.kind in _SILENT:
        return ""
    words = entry_words(entry)
    where = _batch(entry) or (entry.subject.removeprefix("vat:") if entry.kind == "reading" else "")
    return f"{where}: {words}" if where and words and where not in words else words


def _batch(entry: Entry) -> str:
    if isinstance(entry, Movement):
        return entry.batch
    told = str(entry.payload.get("batch") or "")
    return told or (entry.subject if entry.kind in ("hold", "lift", "stage", "standing") else "")
