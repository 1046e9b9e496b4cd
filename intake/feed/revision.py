"""Which events changed for a reader since they were last published, and the revision each of them gets.

DTSTAMP, LAST-MODIFIED and SEQUENCE move together and only when something shown changed: readers that compare any one of
them (Evolution all three, the Android subscriber LAST-MODIFIED) then see every change and no false one.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

from intake.errors import BadInput, Finding
from intake.feed.event import CANCELLED, CONFIRMED, Event, Published, parse_moment
from intake.feed.text import clean, clean_line, clean_name, clean_url
from intake.ledger.kept_revisions import fingerprint_of

__all__ = ["revise"]

# Years a feed may speak of; the VTIMEZONE writer is checked inside them.
_FIRST_YEAR, _LAST_YEAR = 2000, 2199
_UID = re.compile(r"[!#-+\--:<-\[\]-~]{1,255}")
_LONGEST_MINUTES = 366 * 24 * 60


def revise(
    published: Mapping[str, Published],
    events: Sequence[Event],
    now: datetime,
    *,
    waiting: Mapping[str, Sequence[tuple[str, int]]] | None = None,
) -> tuple[Published, ...]:
    """Find the revisions that bring subscribers from what was published to what the timetable says.

    Parameters
    ----------
    published
        Latest revision of every event ever published, by uid.
    events
        All events of the timetable, of every feed: an event has one revision whoever reads it.
    now
        The present, with a time zone.
    waiting
        For each uid the (uid, gap in minutes) of the events that wait for it, where ``published`` and ``events`` are only
        those an act has touched; read from ``events`` when not given.

    Returns
    -------
    tuple of Published
        Only the rows that changed, by uid: new ones with sequence 0, changed ones one higher, and events that vanished
        before their end as canceled.  Vanished events that had ended stay as they were; that is history.

    Raises
    ------
    BadInput
        If an event cannot be published; all of them are named.

    References
    ----------
    RFC 5545, sections 3.8.7.2 to 3.8.7.4; RFC 5546, section 2.1.4 (SEQUENCE); RFC 9253, section 5 (FINISHTOSTART is
    carried by the event that comes first).
    """
    findings = [*_findings_of_now(now), *(finding for event in events for finding in _findings(event))]
    findings += [
        Finding(f"event {uid}", f"{count} times", "each uid once", "Give every task its own uid.")
        for uid, count in Counter(event.uid for event in events).items()
        if count > 1
    ]
    if findings:
        raise BadInput(findings)
    moment = now.astimezone(UTC).replace(microsecond=0)
    wanted = {event.uid: _fields(event) for event in events}
    for uid, row in published.items():
        if uid not in wanted:
            wanted[uid] = _after_vanishing(row.fields, now)
    followers = _followers(events)
    present = {event.uid for event in events}
    rows = []
    for uid in sorted(wanted):
        old = published.get(uid)
        if waiting is not None:
            followers[uid], remembered = [list(pair) for pair in waiting.get(uid, ())], []
        else:
            remembered = [] if old is None else [pair for pair in old.fields["precedes"] if pair[0] not in present]
        fields = wanted[uid] | {"precedes": sorted(followers[uid] + remembered)}
        fingerprint = fingerprint_of(fields)
        if old is None:
            rows.append(Published(uid, 0, moment, fingerprint, fields))
        elif old.fingerprint != fingerprint:
            stamp = max(moment, old.stamp.astimezone(UTC) + timedelta(seconds=1))
            rows.append(Published(uid, old.sequence + 1, stamp, fingerprint, fields))
    return tuple(rows)


def _fields(event: Event) -> dict[str, Any]:
    """Collect what a reader sees of the event, as JSON data."""
    cancelled = event.status == CANCELLED
    return {
        "start": _moment_text(event.start),
        "end": _moment_text(event.end),
        "summary": clean_line(event.summary),
        "description": clean(event.description),
        "location": clean_line(event.location),
        "categories": [word for word in map(clean_name, event.categories) if word],
        "status": event.status,
        "alarms_minutes": [] if cancelled else sorted(set(event.alarms_minutes), reverse=True),
        "url": clean_url(event.url),
    } | _further(event)


def _further(event: Event) -> dict[str, Any]:
    """What few events have: left out elsewhere, so that no event is reported again for it."""
    told: dict[str, Any] = {}
    if event.free:
        told |= {"free": True, "alarms_minutes": []}
    if event.former:
        told["former"] = [[clean_name(who), clean_line(mark)] for who, mark in event.former]
    if not event.timed:
        told["timed"] = False
    if event.digest:
        told["digest"] = True
    if event.completed is not None:
        told["completed"] = _moment_text(event.completed)
    if event.told:
        told["told"] = {code: [clean_line(title), clean(words)] for code, title, words in event.told}
    return told


def _followers(events: Sequence[Event]) -> defaultdict[str, list[list[Any]]]:
    """For each uid the [uid, gap in minutes] of the events that wait for it."""
    followers: defaultdict[str, list[list[Any]]] = defaultdict(list)
    for event in events:
        for first, gap in dict(event.follows).items():
            followers[first].append([event.uid, gap])
    return followers


def _after_vanishing(fields: Mapping[str, Any], now: datetime) -> dict[str, Any]:
    """Give the fields of an event that the timetable no longer names."""
    end = parse_moment(fields["end"])
    ended = end <= now if isinstance(end, datetime) else end <= now.date()
    return dict(fields) if ended else dict(fields) | {"status": CANCELLED, "alarms_minutes": []}


def _moment_text(moment: datetime | date) -> str:
    if isinstance(moment, datetime):
        return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    return moment.isoformat()


def _findings_of_now(now: datetime) -> Iterator[Finding]:
    if now.tzinfo is None:
        yield Finding("now", now.isoformat(), "a moment with a time zone", "Pass an aware datetime.")


def _findings(event: Event) -> Iterator[Finding]:
    """Why this event cannot be published."""
    where = f"event {event.uid!r}"
    if not _UID.fullmatch(event.uid):
        yield Finding(f"{where}, uid", event.uid, '1 to 255 printable ASCII characters but \\ ; , " and space')
    if not clean_line(event.summary):
        yield Finding(f"{where}, summary", "", "a title of at least one visible character", "Say what is to be done.")
    if event.status not in (CONFIRMED, CANCELLED):
        yield Finding(f"{where}, status", event.status, f"{CONFIRMED} or {CANCELLED}")
    for minutes in event.alarms_minutes:
        if not 0 <= minutes <= _LONGEST_MINUTES:
            yield Finding(f"{where}, alarm", str(minutes), f"0 to {_LONGEST_MINUTES} minutes before the start")
    for first, gap in event.follows:
        if first == event.uid:
            yield Finding(f"{where}, follows", first, "another event", "An event cannot wait for itself.")
        if not 0 <= gap <= _LONGEST_MINUTES:
            yield Finding(f"{where}, follows", str(gap), f"a gap of 0 to {_LONGEST_MINUTES} minutes")
    yield from _findings_of_times(event.start, event.end, where)


def _findings_of_times(start: datetime | date, end: datetime | date, where: str) -> Iterator[Finding]:
    if isinstance(start, datetime) != isinstance(end, datetime):
        yield Finding(f"{where}, end", str(end), "a date with a date, or a time with a time")
        return
    for side, moment in (("start", start), ("end", end)):
        if isinstance(moment, datetime) and moment.utcoffset() is None:
            yield Finding(f"{where}, {side}", str(moment), "a moment with a time zone")
            return
        if not _FIRST_YEAR <= moment.year <= _LAST_YEAR:
            yield Finding(f"{where}, {side}", str(moment), f"a year from {_FIRST_YEAR} to {_LAST_YEAR}")
            return
    if _moment_text(end) <= _moment_text(start):
        yield Finding(f"{where}, end", str(end), f"later than its start, {start}", "Give the event a length.")
