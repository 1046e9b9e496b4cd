"""The timetable as published, read from the ledger: a row for each task, and the last revision of each calendar event."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from typing import Any, Final

from intake.app.queries.planning.landing_work import landing_tasks
from intake.app.session import House
from intake.errors import Finding, Refused, StoreTrouble, UnknownName
from intake.ledger import Record
from intake.ledger.kept_revisions import PUBLISHED, base_of, kept, whole_of
from intake.timetable import Task, Timetable

__all__ = [
    "Revision",
    "all_tasks",
    "broken_lags",
    "contact_words",
    "disposal_of",
    "find_task",
    "follows_as_before",
    "latest_as_before",
    "published_events",
    "published_tasks",
    "row_history",
    "row_of",
    "shown_tasks",
    "state_at",
    "stored_tasks",
    "task_of",
    "told_of_timetable",
]

_KEPT_DAYS = 182
"""Days a task is remembered after its end: as long as calendars reach back."""

_Row = dict[str, Any]

_NAMES = tuple(field.name for field in fields(Task))
_FIELDS = frozenset(_NAMES)


def contact_words(task: Mapping[str, Any]) -> str:
    """Minutes of contact as printed."""
    low, high = task.get("contact_min"), task.get("contact_max")
    if low is None and high is None:
        return ""
    if low == high or high is None:
        return f"{low:g} min"
    return f"{low:g}–{high:g} min"


def disposal_of(house: House, dip: str) -> str:
    """Where the water of a bath goes when it is done, as the table of treatments has it; empty where it says nothing."""
    treatment = house.library.treatments.by_id.get(dip)
    return treatment.disposal if treatment is not None else ""


def told_of_timetable(house: House) -> Mapping[str, Any]:
    """What the timetable as a whole says: counts it was made for, limits it broke, tasks without a place."""
    record = house.last("timetable", "timetable")
    return record.payload if record is not None else {}


def all_tasks(house: House) -> dict[str, dict[str, Any]]:
    """Uid → row of every task published and not yet forgotten, open or closed."""
    since = (house.today - timedelta(days=_KEPT_DAYS)).isoformat()
    rows = {uid: dict(record.payload) for uid, record in house.latest_from("task", since).items()}
    if rows:
        return rows
    old: Any = told_of_timetable(house).get("tasks") or []  # books of before tasks were kept one by one
    return {str(row["uid"]): dict(row) for row in old}


def broken_lags(house: House) -> dict[str, list[str]]:
    """Batch → lags and limits of its protocol that could not be kept: such a lot may not be released."""
    found: dict[str, list[str]] = {}
    pairs: Any = told_of_timetable(house).get("broken") or []
    for batch, words in pairs:
        found.setdefault(str(batch), []).append(str(words))
    return found


def stored_tasks(house: House) -> list[dict[str, Any]]:
    """Tasks of the timetable that are open or done, by start, without the landing days'."""
    rows = [row for row in all_tasks(house).values() if row.get("state", "open") in {"open", "done"}]
    return sorted(rows, key=lambda row: (datetime.fromisoformat(str(row["start"])), str(row["uid"])))


def published_tasks(house: House) -> list[dict[str, Any]]:
    """Tasks as published: the landing days' as they are kept, and those of the timetable that are open or done."""
    return [*landing_tasks(house), *stored_tasks(house)]


def shown_tasks(house: House) -> dict[str, dict[str, Any]]:
    """Uid → row of every task a calendar shows: all of the timetable, and the landing days' with their state."""
    received = house.floor().received
    rows = all_tasks(house)
    for row in landing_tasks(house):
        shipment = str(row["uid"]).split("/")[1]
        over = shipment in received and datetime.fromisoformat(str(row["end"])) <= house.now
        rows[str(row["uid"])] = row | ({"state": "done", "at": row["end"], "by": ""} if over else {"state": "open"})
    return rows


def find_task(house: House, word: str) -> dict[str, Any]:
    """The task of this uid, or the open one of this short number.

    Raises
    ------
    UnknownName
        No such task.
    Refused
        The task of this short number is no longer open.
    """
    rows = shown_tasks(house)
    if word in rows:
        return rows[word]
    if word.isascii() and word.isdigit():
        found = [row for row in rows.values() if row.get("short") == int(word) and row.get("state", "open") == "open"]
        if found:
            return found[0]
        closed = [row for row in rows.values() if row.get("short") == int(word)]
        if closed:
            last = max(closed, key=lambda row: str(row["start"]))
            met = f"{last.get('state')}: {last['title']}"
            raise Refused(Finding(f"task {word}", met, "a task still open", "See the open ones: `vatside timetable`."))
    raise UnknownName("task", word, difflib.get_close_matches(word, rows, n=3, cutoff=0.3), "task")


def state_at(row: Mapping[str, Any], now: datetime) -> str:
    """``due``, ``running``, ``late``, ``done``, ``missed`` or ``dropped``: the word every table, page and calendar uses.

    ``late`` is past its last start, or past its end where it was planned later than that, and not recorded.
    """
    state = str(row.get("state", "open"))
    if state != "open":
        return state
    start, end = datetime.fromisoformat(str(row["start"])), datetime.fromisoformat(str(row["end"]))
    if start <= now < end:
        return "running"
    last = row.get("latest")
    limit = max(end, datetime.fromisoformat(str(last))) if last else end
    return "late" if now >= limit else "due"


def task_of(row: Mapping[str, Any]) -> Task:
    """A published task as the timetable knows it."""
    plain = {name: value for name, value in row.items() if name in _FIELDS}
    for name in ("start", "end"):
        plain[name] = datetime.fromisoformat(plain[name])
    if plain.get("latest"):
        plain["latest"] = datetime.fromisoformat(plain["latest"])
    for name in ("staff", "protection", "vats"):
        plain[name] = tuple(plain.get(name) or ())
    return Task(**plain)


def row_of(task: Task) -> dict[str, Any]:
    """A task as it is stored."""
    plain = {name: getattr(task, name) for name in _NAMES}
    for name in ("start", "end"):
        plain[name] = plain[name].isoformat()
    plain["latest"] = task.latest.isoformat() if task.latest else ""
    for name in ("staff", "protection", "vats"):
        plain[name] = list(plain[name])
    return plain


@dataclass(frozen=True, slots=True)
class Revision:
    """The last revision of one event.

    Attributes
    ----------
    payload
        ``sequence``, ``stamp``, ``fingerprint`` and ``fields``.
    whole
        The record it was read from that is kept whole: its own, or the one it is kept against.
    """

    payload: Mapping[str, Any]
    whole: Record

    def followed_by(self, payload: Mapping[str, Any]) -> dict[str, Any]:
        """The next revision as it is written down: as changes against the whole one where that is shorter."""
        return kept(payload, self.whole)


def published_events(house: House, since: str, uids: Iterable[str] = ()) -> dict[str, Revision]:
    """Uid → last revision, of these events and of every one that ends on a date or later.

    Raises
    ------
    StoreTrouble
        A revision is kept against one that is not there: the ledger was damaged.
    """
    last = house.latest_from(PUBLISHED, since, uids)
    found = {
        uid: _read_before(one) for uid, one in last.items()
    }  # at hand now, whatever another thread lets go meanwhile
    bases = {base for uid, one in last.items() if found[uid] is None and (base := base_of(one))}
    whole = {one.key: one for one in house.view.noted(bases)} if bases else {}
    if len(_READ) + len(found) > _MOST_READ:
        _READ.clear()
    return {uid: found[uid] or _read(one, whole.get(base_of(one))) for uid, one in last.items()}


_MOST_READ: Final = 50_000
_READ: dict[str, tuple[Record, Revision]] = {}
"""Revisions put together, by event, each beside the very record it was read from: of thousands, an act writes few again."""


def _read_before(record: Record) -> Revision | None:
    kept = _READ.get(record.subject)
    return kept[1] if kept is not None and kept[0] is record else None


def _read(record: Record, base: Record | None) -> Revision:
    try:
        found = Revision(whole_of(record, base), base or record)
    except ValueError as error:
        do = "Restore the last backup: vatside restore --last --replace."
        raise StoreTrouble(Finding(f"books, record {record.key}", str(error), "a revision kept whole", do)) from error
    _READ[record.subject] = record, found
    return found


_LATEST_STANDS: Final = timedelta(hours=12)
"""By how much a last start may move later and the published one stands (house rule, no source): a series that is counted
from now, since a bath of it was not recorded, would otherwise be written again with every act, and never be late."""


def latest_as_before(row: _Row, was: _Row | None) -> _Row:
    """The row with the last start it was published with, where only the clock moved it on."""
    if was is None or was["start"] != row["start"] or not (was.get("latest") and row["latest"]):
        return row
    moved = datetime.fromisoformat(row["latest"]) - datetime.fromisoformat(str(was["latest"]))
    return {**row, "latest": was["latest"]} if timedelta() < moved <= _LATEST_STANDS else row


def row_history(was: _Row | None, row: _Row, why: str) -> _Row:
    """Where a moved task stood before and why it moved; who had it before it was given to others."""
    kept: _Row = {name: was[name] for name in ("moved_from", "moved_why", "former") if was and name in was}
    if was is None:
        return kept
    if was["start"] != row["start"]:
        kept |= {"moved_from": was["start"], "moved_why": why}
    gone = [name for name in was["staff"] if name not in row["staff"]]
    if gone:
        kept["former"] = [name for name in dict.fromkeys([*was.get("former", ()), *gone]) if name not in row["staff"]]
    return kept


def follows_as_before(row: _Row, was: Task | None, table: Timetable) -> _Row:
    """Keep naming the work it follows: a reader should see no change where nothing changed.

    That is so once the work before it is done, and for a release check, which follows every bath and names one of them.
    """
    if was is None or not was.follows or row["follows"] == was.follows:
        return row
    still = any(task.uid == was.follows for task in table.tasks) and row["kind"] == "release check"
    kept = {"follows": was.follows, "gap_min": was.gap_min, "same_day": was.same_day}
    return {**row, **kept} if still or not row["follows"] else row
