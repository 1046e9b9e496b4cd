"""Calendars: what each person, role, system or the whole farm subscribes to, its revisions, and the secret addresses."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from intake.desk import clock
from intake.desk.calendar_events import wanted_events
from intake.desk.house import House, save
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.feed import CalendarInfo, Published, is_whole, render, revise
from intake.ledger import Entry, latest

__all__ = [
    "Address",
    "Habits",
    "addresses",
    "bytes_for",
    "create",
    "farm_id",
    "known_reader",
    "named",
    "publish",
    "revoke",
    "snapshot",
    "subscriber_of",
    "who_may",
]

ROLES = ("owner", "keeper", "helper")


def farm_id(house: House) -> str:
    """The farm's own name in calendar uids, made once and kept in the books."""
    known = latest(house.entries(), "farm")
    if "id" in known:
        return str(known["id"].payload["id"])
    with house.act() as act:
        # asked again under the lock: a second id would rename every event
        told = latest(act.entries("farm"), "farm").get("id")
        fresh = clock.fresh_key()[:16] if told is None else str(told.payload["id"])
        if told is None:
            act.note("farm", "id", {"id": fresh})
    return fresh


def who_may(house: House) -> list[str]:
    """Words a feed can be made for: the farm, roles, people, systems."""
    return ["farm", *ROLES, *house.site.people, *house.site.systems]


@dataclass(frozen=True, slots=True)
class Habits:
    """How one subscriber wants the same calendar: it belongs to the address and never changes for one in use.

    Attributes
    ----------
    alarms_minutes
        ``None``: alarms as the work has them; empty: silent; else minutes before each start.
    omit_cancelled
        Leave called-off work out at once instead of showing it as cancelled for two weeks.
    """

    alarms_minutes: tuple[int, ...] | None = None
    omit_cancelled: bool = False


_MOST_MINUTES = 10_080


def named(who: str, habits: Habits) -> str:
    """The reader with its habits as one word, which names the file, the last part of the address and the kept bytes."""
    words = [who]
    if habits.alarms_minutes is not None:
        rings = "-".join(str(minutes) for minutes in sorted(set(habits.alarms_minutes), reverse=True))
        words.append(f"alarms-{rings}" if rings else "silent")
    return "~".join([*words, "no-cancelled"] if habits.omit_cancelled else words)


def _reader_of(word: str) -> tuple[str, Habits]:
    """Take a reader with its habits apart; a word this module did not make stands for itself."""
    who, *habits = word.split("~")
    alarms: tuple[int, ...] | None = None
    for habit in habits:
        if habit.startswith("alarms-"):
            alarms = tuple(int(minutes) for minutes in habit.removeprefix("alarms-").split("-"))
        elif habit == "silent":
            alarms = ()
    return who, Habits(alarms, "no-cancelled" in habits)


def known_reader(house: House, who: str, habits: Habits | None = None) -> None:
    """Refuse a word that no feed can be made for, and alarms that no reader would ring.

    Raises
    ------
    UnknownName
        Nobody and nothing of that name.
    BadInput
        An alarm before nought or more than a week ahead.
    """
    if who not in who_may(house):
        raise UnknownName("--for", who, who_may(house), "person, role, system or farm")
    wrong = [minutes for minutes in (habits or Habits()).alarms_minutes or () if not 0 <= minutes <= _MOST_MINUTES]
    if wrong:
        raise BadInput(Finding("--alarms", str(wrong[0]), f"0 to {_MOST_MINUTES} minutes before the start"))


def publish(house: House) -> int:
    """Bring the published revisions up to the timetable; gives the number of events that changed for a reader.

    Running it again without a change in between changes nothing.
    """
    home = farm_id(house)
    events = wanted_events(house, home)
    rows = revise(revisions(house), events, house.now)
    if rows:
        with house.act() as act:
            # under the lock, from the revisions as they are then: a sequence number is given once
            rows = revise(revisions(house, act.entries("published")), events, house.now)
            for row in rows:
                payload = {
                    "sequence": row.sequence,
                    "stamp": row.stamp.isoformat(),
                    "fingerprint": row.fingerprint,
                    "fields": dict(row.fields),
                }
                act.note("published", row.uid, payload)
    return len(rows)


def revisions(house: House, entries: Iterable[Entry] | None = None) -> dict[str, Published]:
    """Latest revision of every event ever published, by uid."""
    return {
        uid: Published(
            uid,
            int(str(record.payload["sequence"])),
            datetime.fromisoformat(str(record.payload["stamp"])),
            str(record.payload["fingerprint"]),
            _fields(record.payload["fields"]),
        )
        for uid, record in latest(house.entries() if entries is None else entries, "published").items()
    }


def _fields(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def bytes_for(house: House, who: str = "farm") -> bytes:
    """The calendar of one subscriber, from the published revisions.

    Parameters
    ----------
    who
        Person, role, system or ``farm``, with its habits if it has any, as :class:`Address` names it.

    Raises
    ------
    UnknownName
        Nobody and nothing of that name.
    """
    who, habits = _reader_of(who)
    known_reader(house, who, habits)
    chosen = [row for row in revisions(house).values() if who in row.fields.get("categories", ())]
    info = CalendarInfo(
        name=f"{house.site.farm.name} {_title(house, who)}".strip(),
        time_zone=house.site.farm.time_zone,
        description="Dips, inspections and checks; record what is done.",
        omit_cancelled=habits.omit_cancelled,
        alarms_minutes=habits.alarms_minutes,
    )
    if len(_FRAGMENTS) > _MOST_FRAGMENTS:
        _FRAGMENTS.clear()
    return render(chosen, info, now=house.now, fragments=_FRAGMENTS)


_MOST_FRAGMENTS = 50_000
_FRAGMENTS: dict[tuple[str, int, str], bytes] = {}
"""Finished events, kept as long as the program runs: a fragment's key names everything its bytes depend on, so that none
can be out of date, and a calendar of which one event changed is joined rather than written anew."""


def _title(house: House, who: str) -> str:
    if who in house.site.people:
        return house.site.people[who].name
    if who in house.site.systems:
        return house.site.systems[who].name
    return "" if who == "farm" else who


def write(house: House, who: str, out: Path, habits: Habits | None = None) -> Path:
    """Publish, render and write one calendar file; a calendar that is not whole is never written.

    Raises
    ------
    Refused
        What was rendered does not hold together; the file before it stays.
    """
    known_reader(house, who, habits)
    publish(house)
    data = bytes_for(house, named(who, habits or Habits()))
    if not is_whole(data):
        raise Refused(Finding(str(out), "an incomplete calendar", "a whole one", "The last good file was kept."))
    return save(out, data)


def snapshot(house: House, who: str) -> bytes:
    """The last good bytes for a subscriber, made anew when they can be and served as they were when not."""
    file = house.folder / "out" / "feeds" / f"{who}.ics"
    data = bytes_for(house, who)
    if is_whole(data):
        if not file.is_file() or file.read_bytes() != data:
            save(file, data)
        return data
    return file.read_bytes()


@dataclass(frozen=True, slots=True)
class Address:
    """One subscriber's secret address; only its hash is kept.  ``file`` is the last part of it, without ``.ics``."""

    id: str
    who: str
    created: datetime
    revoked: datetime | None
    file: str = ""
    habits: Habits = Habits()


def create(house: House, who: str, *, habits: Habits | None = None, key: str = "") -> tuple[str, str]:
    """Make an address: gives its id and the secret token, which is shown once and never stored.

    Raises
    ------
    UnknownName
        Nobody and nothing of that name.
    """
    known_reader(house, who, habits)
    word = named(who, habits or Habits())
    token = secrets.token_urlsafe(32)
    with house.act(key) as act:
        identity = f"F{1 + len(latest(act.entries('feed'), 'feed'))}"
        act.note("feed", identity, {"who": word, "hash": _hash(token), "revoked": False})
    return identity, token


def revoke(house: House, identity: str, *, key: str = "") -> str:
    """Revoke an address for good.

    Raises
    ------
    UnknownName
        No such address.
    """
    known = latest(house.entries(), "feed")
    if identity not in known:
        raise UnknownName("address", identity, sorted(known), "address")
    with house.act(key) as act:
        act.note("feed", identity, {**known[identity].payload, "revoked": True})
    return f"{identity} ({_reader_of(str(known[identity].payload['who']))[0]}) revoked"


def addresses(house: House) -> list[Address]:
    """Every address ever made."""
    made: dict[str, datetime] = {}
    for entry in house.books.records("feed"):
        made.setdefault(entry.subject, entry.happened_at)
    found = []
    for identity, record in latest(house.entries(), "feed").items():
        word = str(record.payload["who"])
        who, habits = _reader_of(word)
        revoked = record.happened_at if record.payload.get("revoked") else None
        found.append(Address(identity, who, made[identity], revoked, word, habits))
    return found


def subscriber_of(house: House, token: str) -> Address | None:
    """Whose address a token is, revoked or not; ``None`` for a token never made."""
    hashed = _hash(token)
    for address in addresses(house):
        stored = str(latest(house.entries(), "feed")[address.id].payload["hash"])
        if secrets.compare_digest(stored, hashed):
            return address
    return None


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
