"""Secret calendar addresses: create, list, revoke, and whose they are."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import date, datetime

from intake.app.session import House
from intake.errors import BadInput, Finding, UnknownName

__all__ = [
    "NOTICE_DAYS",
    "Address",
    "Habits",
    "addresses",
    "close",
    "create",
    "gone",
    "known_reader",
    "named",
    "reader_of",
    "revoke",
    "subscriber_of",
    "who_may",
]


ROLES = ("owner", "keeper", "helper")


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
        Leave canceled work out at once instead of showing it as canceled for two weeks.
    digest
        A list of the day's tasks each morning and single events only for what has a moment of its own; ``False``: an event
        for each task.  ``None``: the list for a person's calendar, each task for all others.
    todos
        Tasks as to-dos, for a second subscription in programs that show them; no landings, claims or lists.
    """

    alarms_minutes: tuple[int, ...] | None = None
    omit_cancelled: bool = False
    digest: bool | None = None
    todos: bool = False


_MOST_MINUTES = 10_080


def named(who: str, habits: Habits) -> str:
    """The reader with its habits as one word, which names the file, the last part of the address and the kept bytes."""
    words = [who]
    if habits.alarms_minutes is not None:
        rings = "-".join(str(minutes) for minutes in sorted(set(habits.alarms_minutes), reverse=True))
        words.append(f"alarms-{rings}" if rings else "silent")
    if habits.digest is not None:
        words.append("digest" if habits.digest else "all")
    if habits.todos:
        words.append("todos")
    return "~".join([*words, "no-cancelled"] if habits.omit_cancelled else words)


def reader_of(word: str) -> tuple[str, Habits]:
    """Take a reader with its habits apart; a word this module did not make stands for itself."""
    who, *habits = word.split("~")
    alarms: tuple[int, ...] | None = None
    digest = True if "digest" in habits else False if "all" in habits else None
    for habit in habits:
        if habit.startswith("alarms-"):
            alarms = tuple(int(minutes) for minutes in habit.removeprefix("alarms-").split("-"))
        elif habit == "silent":
            alarms = ()
    return who, Habits(alarms, "no-cancelled" in habits, digest, "todos" in habits)


def known_reader(house: House, who: str, habits: Habits | None = None) -> None:
    """Refuse a word that no feed can be made for, and alarms that no reader would ring.

    Raises
    ------
    UnknownName
        No one and nothing of that name.
    BadInput
        An alarm before nought or more than a week ahead.
    """
    if who not in who_may(house):
        raise UnknownName("--for", who, who_may(house), "person, role, system or farm")
    wrong = [minutes for minutes in (habits or Habits()).alarms_minutes or () if not 0 <= minutes <= _MOST_MINUTES]
    if wrong:
        raise BadInput(Finding("--alarms", str(wrong[0]), f"0 to {_MOST_MINUTES} minutes before the start"))


@dataclass(frozen=True, slots=True)
class Address:
    """One subscriber's secret address; only its hash is kept.  ``file`` is the last part of it, without ``.ics``."""

    id: str
    who: str
    created: datetime
    revoked: datetime | None
    file: str = ""
    habits: Habits = Habits()
    closed: date | None = None


NOTICE_DAYS = 14
"""Days in which the calendar of somebody who left, or of a system that is gone, holds a single notice; then it is gone."""


def gone(house: House, who: str) -> bool:
    """Whether no one reads this calendar any more: the person left, or the farm file no longer names the reader."""
    person = house.site.people.get(who)
    if person is not None:
        return person.until is not None and house.today > person.until
    return who not in who_may(house)


def close(house: House, identity: str) -> None:
    """Record the day from which an address shows that its reader is gone."""
    record = house.last("feed", identity)
    if record is None or record.payload.get("closed") or record.payload.get("revoked"):
        return
    with house.act() as act:
        act.note("feed", identity, {**record.payload, "closed": house.today.isoformat()})


def create(house: House, who: str, *, habits: Habits | None = None, key: str = "") -> tuple[str, str]:
    """Make an address: gives its id and the secret token, which is shown once and never stored.

    Raises
    ------
    UnknownName
        No one and nothing of that name.
    """
    known_reader(house, who, habits)
    word = named(who, habits or Habits())
    token = secrets.token_urlsafe(32)
    with house.act(key) as act:
        identity = f"F{1 + len(act.latest('feed'))}"
        act.note("feed", identity, {"who": word, "hash": _hash(token), "revoked": False})
    return identity, token


def revoke(house: House, identity: str, *, key: str = "") -> str:
    """Revoke an address permanently.

    Raises
    ------
    UnknownName
        No such address.
    """
    known = house.latest("feed")
    if identity not in known:
        raise UnknownName("address", identity, sorted(known), "address")
    with house.act(key) as act:
        act.note("feed", identity, {**known[identity].payload, "revoked": True})
    return f"{identity} ({reader_of(str(known[identity].payload['who']))[0]}) revoked"


def addresses(house: House) -> list[Address]:
    """Every address ever made."""
    made: dict[str, datetime] = {}
    for entry in house.books.records("feed"):
        made.setdefault(entry.subject, entry.happened_at)
    found = []
    for identity, record in house.latest("feed").items():
        word = str(record.payload["who"])
        who, habits = reader_of(word)
        revoked = record.happened_at if record.payload.get("revoked") else None
        closed = date.fromisoformat(str(record.payload["closed"])) if record.payload.get("closed") else None
        found.append(Address(identity, who, made[identity], revoked, word, habits, closed))
    return found


def subscriber_of(house: House, token: str) -> Address | None:
    """Whose address a token is, revoked or not; ``None`` for a token never made."""
    hashed = _hash(token)
    for address in addresses(house):
        stored = str(house.latest("feed")[address.id].payload["hash"])
        if secrets.compare_digest(stored, hashed):
            return address
    return None


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
