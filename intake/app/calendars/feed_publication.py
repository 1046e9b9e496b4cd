"""Publication of calendars: what each person, role, system or the whole farm subscribes to, and its revisions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

from intake.app import system_clock
from intake.app.calendars.calendar_events import wanted_events
from intake.app.calendars.feed_addresses import Habits, known_reader, named, reader_of
from intake.app.output_files import save
from intake.app.session import Act, House
from intake.errors import Finding, Refused
from intake.feed import CalendarInfo, Published, is_whole, render, revise

__all__ = ["bytes_for", "farm_id", "publish", "snapshot"]


def farm_id(house: House) -> str:
    """The farm's own name in calendar uids, made once and kept in the books."""
    known = house.latest("farm")
    if "id" in known:
        return str(known["id"].payload["id"])
    with house.act() as act:
        # asked again under the lock: a second id would rename every event
        told = act.last("farm", "id")
        fresh = system_clock.fresh_key()[:16] if told is None else str(told.payload["id"])
        if told is None:
            act.note("farm", "id", {"id": fresh})
    return fresh


_REACH_DAYS: Final = 182
"""Days a calendar reaches back (``feed.render`` shows 180), and a little more for zones."""


def publish(house: House) -> int:
    """Bring the published revisions up to the timetable; gives the number of events that changed for a reader.

    Running it again without a change in between changes nothing.
    """
    home = farm_id(house)
    events = wanted_events(house, home)
    uids = [event.uid for event in events]
    rows = revise(revisions(house, uids=uids), events, house.now)
    if rows:
        with house.act() as act:
            # under the lock, from the revisions as they are then: a sequence number is given once
            rows = revise(revisions(house, act, uids), events, house.now)
            for row in rows:
                payload = {
                    "sequence": row.sequence,
                    "stamp": row.stamp.isoformat(),
                    "fingerprint": row.fingerprint,
                    "fields": dict(row.fields),
                }
                act.note("published", row.uid, payload)
    return len(rows)


def revisions(house: House, told: House | Act | None = None, uids: Iterable[str] = ()) -> dict[str, Published]:
    """Latest revision, by uid, of these events and of every published one that a calendar may still show.

    An event that ended longer ago than any calendar reaches back is history: it is neither shown nor changed.

    Parameters
    ----------
    told
        Where the books are read: the session when ``None``, or an act under its lock.
    """
    since = (house.today - timedelta(days=_REACH_DAYS)).isoformat()
    return {
        uid: Published(
            uid,
            int(str(record.payload["sequence"])),
            datetime.fromisoformat(str(record.payload["stamp"])),
            str(record.payload["fingerprint"]),
            _fields(record.payload["fields"]),
        )
        for uid, record in (told or house).latest_from("published", since, uids).items()
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
    who, habits = reader_of(who)
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
