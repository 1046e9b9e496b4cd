"""Publication of calendars: what each person, role, system or the whole farm subscribes to, and its revisions."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from intake.app.calendars.calendar_events import task_events, waiting_for
from intake.app.calendars.day_digests import days_of, digest_events
from intake.app.calendars.feed_addresses import Habits, known_reader, named, reader_of
from intake.app.calendars.feed_choice import shown_to
from intake.app.calendars.landing_events import shipment_events
from intake.app.output_files import save
from intake.app.queries.planning.published_timetable import Revision, published_events, shown_tasks
from intake.app.session import Act, House
from intake.errors import Finding, Refused
from intake.feed import CalendarInfo, Event, Published, is_whole, render, revise
from intake.feed.event import CONFIRMED
from intake.feed.write import FragmentKey
from intake.language import language_of

__all__ = [
    "EVERYTHING",
    "bytes_for",
    "publish",
    "publish_all",
    "publish_changes",
    "snapshot",
    "wanted_events",
]


def _home(act: Act) -> str:
    """The farm's own name in calendar uids, made once, under the lock, and kept in the ledger: another would rename all."""
    told = act.last("farm", "id")
    if told is not None:
        return str(told.payload["id"])
    house = act.inside()
    fresh = sha256(f"{act.key}/{house.site.farm.name}/{house.now.isoformat()}".encode()).hexdigest()[:16]
    act.derive("farm", "id", {"id": fresh})
    return fresh


def publish(house: House) -> int:
    """Bring timetable and calendars up to the ledger and the clock; gives the number of events changed for a reader.

    Every act does so for what it touched; this looks at everything, after a night, a change of the farm file or books of
    an earlier version.  Running it again without a change in between changes nothing.
    """
    with house.act() as act:
        act.written.add(EVERYTHING)
    return act.derived.get("published", 0)


EVERYTHING: Final = "everything"
"""The kind under which an act asks to be followed as a whole; no entry has it."""


def wanted_events(house: House, home: str) -> list[Event]:
    """Every event of every calendar, as the timetable, the shipments and the claims stand now."""
    rows = shown_tasks(house)
    events = [
        *task_events(house, rows.values(), home),
        *digest_events(house, rows, home),
        *shipment_events(house, rows, home),
    ]
    return house.site.farm.measures.content(events)


def publish_all(act: Act) -> None:
    """Publish all that differs, inside an act."""
    home, house = _home(act), act.inside()
    events = wanted_events(house, home)
    waiting = waiting_for(shown_tasks(house), home)
    last = published_events(house, _since(house), [event.uid for event in events])
    known = never_back(_rows(last), served_revisions(house))
    _write(act, revise(known, events, house.now, waiting=waiting), last)


def served_revisions(house: House) -> dict[str, tuple[int, datetime]]:
    """UID → highest sequence and latest stamp in the calendars last served: what subscribers may have seen."""
    found: dict[str, tuple[int, datetime]] = {}
    for file in sorted((house.folder / "out" / "feeds").glob("*.ics")):
        for part in file.read_bytes().replace(b"\r\n ", b"").split(b"BEGIN:VEVENT")[1:]:
            uid, number, stamp = (_SEEN[name].search(part) for name in ("uid", "sequence", "stamp"))
            if uid and number and stamp:
                seen = int(number[1]), datetime.strptime(stamp[1].decode(), "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
                name = uid[1].decode()
                found[name] = max(seen, found.get(name, seen))
    return found


_SEEN: Final = {
    "uid": re.compile(rb"\r\nUID:([^\r]+)\r"),
    "sequence": re.compile(rb"\r\nSEQUENCE:(\d+)\r"),
    "stamp": re.compile(rb"\r\nLAST-MODIFIED:(\d{8}T\d{6}Z)\r"),
}


def never_back(known: Mapping[str, Published], served: Mapping[str, tuple[int, datetime]]) -> dict[str, Published]:
    """Revisions from which the next ones go on: after books were restored, no lower than what was served."""
    found = dict(known)
    for uid, row in known.items():
        seen = served.get(uid)
        if seen is not None and seen[0] > row.sequence:
            found[uid] = replace(row, sequence=seen[0], stamp=max(seen[1], row.stamp), fingerprint="")
    return found


def publish_changes(
    act: Act, changed: Collection[str], before: Mapping[str, Mapping[str, Any]], shipments: Collection[str]
) -> None:
    """Publish what an act touched, inside it.

    Parameters
    ----------
    changed
        Uids of tasks whose row or words changed; ``before`` their rows until then.
    shipments
        Shipments whose landing or claim the act may have changed.
    """
    home, house = _home(act), act.inside()
    rows = shown_tasks(house)
    waiting = waiting_for(rows, home)
    touched = [rows[uid] for uid in changed if uid in rows]
    old = [before[uid] for uid in changed if uid in before]
    firsts = {str(row.get("follows") or "") for row in [*touched, *old]}
    touched += [rows[uid] for uid in firsts - set(changed) if uid in rows]
    events = [
        *task_events(house, touched, home),
        *digest_events(house, rows, home, days_of(house, [*touched, *old])),
        *shipment_events(house, rows, home, shipments),
    ]
    uids = {event.uid for event in events}
    uids |= {f"{what}-{shipment}@{home}" for what in ("lands", "claim") for shipment in shipments}
    last = published_events(house, _NO_TOPIC, uids)
    _write(act, revise(_rows(last), events, house.now, waiting=waiting), last)


def _write(act: Act, rows: Iterable[Published], last: Mapping[str, Revision]) -> None:
    for row in rows:
        payload = {
            "sequence": row.sequence,
            "stamp": row.stamp.isoformat(),
            "fingerprint": row.fingerprint,
            "fields": dict(row.fields),
        }
        before = last.get(row.uid)
        act.derive("published", row.uid, payload if before is None else before.followed_by(payload))


def revisions(house: House, uids: Iterable[str] = ()) -> dict[str, Published]:
    """Latest revision, by uid, of these events and of every published one that a calendar may still show.

    An event that ended longer ago than any calendar reaches back is history: it is neither shown nor changed.
    """
    return _rows(published_events(house, _since(house), uids))


def _since(house: House) -> str:
    return (house.today - timedelta(days=_REACH_DAYS)).isoformat()


_REACH_DAYS: Final = 182
"""Days a calendar reaches back (``feed.render`` shows 180), and a little more for zones."""


_NO_TOPIC: Final = "~"
"""Later than any date: only the events named are read."""


def _rows(last: Mapping[str, Revision]) -> dict[str, Published]:
    if len(_ROWS) + len(last) > _MOST_FRAGMENTS:
        _ROWS.clear()
    return {uid: _row(uid, one) for uid, one in last.items()}


_ROWS: dict[str, tuple[Revision, Published]] = {}
"""Rows as they were read, by event, each beside the very revision it was read from."""


def _row(uid: str, revision: Revision) -> Published:
    kept = _ROWS.get(uid)
    if kept is None or kept[0] is not revision:
        kept = _ROWS[uid] = revision, _published(uid, revision.payload)
    return kept[1]


def _published(uid: str, payload: Mapping[str, Any]) -> Published:
    stamp, fields = datetime.fromisoformat(str(payload["stamp"])), payload["fields"]
    told = fields if isinstance(fields, Mapping) else {}
    return Published(uid, int(str(payload["sequence"])), stamp, str(payload["fingerprint"]), told)


def closing_bytes(house: House, who: str, closed: date) -> bytes:
    """The last state of a calendar whose reader is gone: one all-day notice, and nothing else."""
    say = house.speaking(house.site.language_of(who)).language.say
    fields = {
        "start": closed.isoformat(),
        "end": (closed + timedelta(days=1)).isoformat(),
        "summary": say("This calendar is closed: {who}", who=who),
        "description": say("Its tasks are in the calendars of others. Remove the subscription."),
        "location": "",
        "categories": [],
        "status": CONFIRMED,
        "alarms_minutes": [],
        "url": "",
        "precedes": [],
    }
    stamp = datetime.combine(closed, time(0), UTC)
    known = house.last("farm", "id")
    home = str(known.payload["id"]) if known is not None else "farm"
    return render(
        [Published(f"closed/{who}@{home}", 0, stamp, "closed", fields)], _info(house, who, Habits()), house.now
    )


def bytes_for(house: House, who: str = "farm", rows: Mapping[str, Published] | None = None) -> bytes:
    """The calendar of one subscriber, from the published revisions.

    Parameters
    ----------
    who
        Person, role, system or ``farm``, with its habits if it has any, as :class:`Address` names it.
    rows
        The published revisions, where they are at hand (:func:`revisions`).

    Raises
    ------
    UnknownName
        No one and nothing of that name.
    """
    who, habits = reader_of(who)
    known_reader(house, who, habits)
    digest = who in house.site.people if habits.digest is None else habits.digest
    language = language_of(house.site.language_of(who))
    known = revisions(house) if rows is None else rows
    chosen = shown_to(known.values(), who, digest=digest, todos=habits.todos, language=language)
    info = _info(house, who, habits)
    if len(_FRAGMENTS) > _MOST_FRAGMENTS:
        _FRAGMENTS.clear()
    return render(chosen, info, now=house.now, fragments=_FRAGMENTS)


def _info(house: House, who: str, habits: Habits) -> CalendarInfo:
    """The face of a subscriber's calendar, in the person's own time zone where the farm file names one."""
    person = house.site.people.get(who)
    language = language_of(house.site.language_of(who))
    say, name = language.say, f"{house.site.farm.name} {_title(house, who)}".strip()
    return CalendarInfo(
        name=say("{name} tasks", name=name) if habits.todos else name,
        time_zone=(person.time_zone if person else "") or house.site.farm.time_zone,
        description=say("Dips, inspections and checks; record what is done."),
        omit_cancelled=habits.omit_cancelled,
        alarms_minutes=habits.alarms_minutes,
        todos=habits.todos,
        cancelled_word=say("Canceled"),
        cancelled_order=say("do not do this"),
        prodid=f"-//Vatside//Timetable//{language.code.partition('-')[0].upper()}",
    )


_MOST_FRAGMENTS = 50_000
_FRAGMENTS: dict[FragmentKey, bytes] = {}
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


def snapshot(house: House, who: str, rows: Mapping[str, Published] | None = None) -> bytes:
    """The last good bytes for a subscriber, made again when they can be and served as they were when not."""
    file = house.folder / "out" / "feeds" / f"{who}.ics"
    data = bytes_for(house, who, rows)
    if is_whole(data):
        if not file.is_file() or file.read_bytes() != data:
            save(file, data)
        return data
    return file.read_bytes()
