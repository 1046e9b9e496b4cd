"""Published events as the bytes of one calendar; the only place that knows the writing library.

The library's own time zones, text escaping and calendar names are not used: see `intake.feed.zones` and `_Text`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, MutableMapping
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from intake.errors import BadInput, Finding
from intake.feed.colors import CSS3_NAMES
from intake.feed.event import CANCELLED, CalendarInfo, Published, parse_moment
from intake.feed.text import clean, clean_line, clean_name
from intake.feed.zones import is_utc, known_zone, repeated, vtimezone

if TYPE_CHECKING:
    from icalendar import Alarm, Calendar, Todo
    from icalendar import Event as Component

__all__ = ["FragmentKey", "folded", "render"]

CANCELLED_SHOWN_DAYS = 14
_ZONE_YEARS = (2024, 2040)
FragmentKey = tuple[str, int, str, datetime, str]
"""Uid, sequence, fingerprint and stamp of an event, and the feed's way of showing it."""


def render(
    published: Iterable[Published],
    info: CalendarInfo,
    now: datetime,
    *,
    window_days_back: int = 180,
    fragments: MutableMapping[FragmentKey, bytes] | None = None,
) -> bytes:
    """Write the whole calendar, the same bytes for the same revisions in any process.

    Parameters
    ----------
    published
        Latest revision of each event that belongs in this feed, in any order.
    info
        Name, color, zone and habits of the feed.
    now
        The present, with a time zone; decides only which past events are left out.
    window_days_back
        Events that ended more than this many days ago are left out; canceled ones already after 14 days.
    fragments
        saved by the caller between calls: finished events by uid, sequence and the feed's way of showing them.

    Raises
    ------
    BadInput
        If the calendar's face cannot be written or a uid comes twice.

    References
    ----------
    RFC 5545; RFC 7986 (NAME, COLOR, REFRESH-INTERVAL); RFC 9074 (UID of an alarm); RFC 9253 (FINISHTOSTART, GAP).
    The meaning of X-APPLE-CALENDAR-COLOR, X-WR-CALNAME, X-WR-CALDESC and X-PUBLISHED-TTL is common practice, no source.
    """
    zone = _checked_zone(info)
    kept = {} if fragments is None else fragments
    shown = sorted(_shown(published, info, now.astimezone(zone).date(), window_days_back), key=_order(zone))
    _refuse_doubles(shown)
    bodies = []
    shape = f"{info.time_zone} {info.alarms_minutes} {info.cancelled_word} {info.todos}"
    for row in shown:
        key = (row.uid, row.sequence, row.fingerprint, row.stamp, shape)
        body = kept.get(key)
        if body is None:
            body = kept[key] = _bytes(_todo(row, info, zone) if info.todos else _component(row, info, zone))
        bodies.append(body)
    head, foot = _bytes(_calendar(info)).rsplit(b"END:VCALENDAR", 1)
    uses_zone = any(b";TZID=" in body for body in bodies)
    # RFC 5545, section 3.6: a calendar holds at least one component, so an empty feed still states its zone.
    zones = [vtimezone(info.time_zone, *_years(shown))] if uses_zone or not bodies else []
    return b"".join([head, *zones, *bodies, b"END:VCALENDAR", foot])


def _checked_zone(info: CalendarInfo) -> ZoneInfo:
    """Give the feed's zone, once its whole face has been found fit to write."""
    zone = known_zone(info.time_zone)
    findings = []
    if zone is None:
        findings.append(Finding("calendar, time zone", info.time_zone, "an IANA name such as Europe/Lisbon"))
    if not clean_name(info.name):
        findings.append(Finding("calendar, name", info.name, "a name of at least one visible character"))
    if info.color not in CSS3_NAMES:
        findings.append(Finding("calendar, color", info.color, "a CSS3 color name in small letters, such as teal"))
    digits = info.hex_color.removeprefix("#").lower()
    if info.hex_color and (len(digits) != 6 or len(info.hex_color) != 7 or set(digits) - set("0123456789abcdef")):
        findings.append(Finding("calendar, hex color", info.hex_color, "#rrggbb"))
    if not 1 <= info.refresh_minutes <= 10_080:
        findings.append(Finding("calendar, refresh", str(info.refresh_minutes), "1 to 10080 minutes"))
    if not clean_line(info.prodid):
        findings.append(Finding("calendar, prodid", info.prodid, "the name of the writing program"))
    findings += [
        Finding("calendar, alarm", str(minutes), "0 or more minutes before the start")
        for minutes in info.alarms_minutes or ()
        if minutes < 0
    ]
    if zone is None or findings:
        raise BadInput(findings)
    return zone


def _shown(published: Iterable[Published], info: CalendarInfo, today: date, days_back: int) -> Iterator[Published]:
    zone = ZoneInfo(info.time_zone)
    # nearer than this in any zone, two days apart at most: shown whatever it is, without a look at the zone
    near = (today - timedelta(days=min(CANCELLED_SHOWN_DAYS, days_back) - 2)).isoformat()
    for row in published:
        if row.fields["end"][:10] >= near:
            if row.fields["status"] != CANCELLED or not info.omit_cancelled:
                yield row
            continue
        end = parse_moment(row.fields["end"])
        last_day = end.astimezone(zone).date() if isinstance(end, datetime) else end
        age_days = (today - last_day).days
        if row.fields["status"] == CANCELLED:
            if not info.omit_cancelled and age_days <= min(CANCELLED_SHOWN_DAYS, days_back):
                yield row
        elif age_days <= days_back:
            yield row


def _order(zone: ZoneInfo) -> Callable[[Published], tuple[datetime, str]]:
    def by_start_then_uid(row: Published) -> tuple[datetime, str]:
        return _instant(row.fields["start"], zone), row.uid

    return by_start_then_uid


@lru_cache(maxsize=65_536)
def _instant(text: str, zone: ZoneInfo) -> datetime:
    start = parse_moment(text)
    if not isinstance(start, datetime):
        start = datetime(start.year, start.month, start.day, tzinfo=zone)
    return start.astimezone(UTC)


def _refuse_doubles(rows: list[Published]) -> None:
    doubles = [uid for uid, count in Counter(row.uid for row in rows).items() if count > 1]
    if doubles:
        raise BadInput([Finding(f"event {uid}", "twice", "only its latest revision") for uid in sorted(doubles)])


def _years(rows: list[Published]) -> tuple[int, int]:
    first, last = _ZONE_YEARS
    if not rows:
        return first, last
    starts, ends = (f(row.fields[side] for row in rows) for f, side in ((min, "start"), (max, "end")))
    return min(first, int(starts[:4]) - 1), max(last, int(ends[:4]) + 1)


class _Text:
    r"""A text value, escaped so that a typed backslash-N stays apart from a newline (RFC 5545, section 3.3.11).

    icalendar 7.3.2 reads ``\N`` in a value as a newline, so that a typed ``C:\New`` would be shown on two lines.
    """

    __slots__ = ("_value", "params")

    def __init__(self, value: str, params: Mapping[str, Any] | None = None) -> None:
        from icalendar import Parameters

        self._value, self.params = value, Parameters(params) if params else None

    def to_ical(self) -> bytes:
        escaped = self._value.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")
        return escaped.encode()


@lru_cache(maxsize=1024)  # thousands of events are published in a few moments
def _stamped(moment: datetime) -> Any:
    from icalendar import vDDDTypes

    return vDDDTypes(moment)


def _calendar(info: CalendarInfo) -> Calendar:
    from icalendar import Calendar, vDuration

    refresh = timedelta(minutes=info.refresh_minutes)
    calendar = Calendar()
    calendar["VERSION"] = _Text("2.0")
    calendar["PRODID"] = _Text(clean_line(info.prodid))
    calendar["CALSCALE"] = _Text("GREGORIAN")
    calendar["NAME"] = calendar["X-WR-CALNAME"] = _Text(clean_name(info.name))
    if clean(info.description):
        calendar["DESCRIPTION"] = calendar["X-WR-CALDESC"] = _Text(clean(info.description))
    calendar["COLOR"] = _Text(info.color)
    if info.hex_color:
        calendar["X-APPLE-CALENDAR-COLOR"] = _Text(info.hex_color.upper())
    # RFC 7986, section 5.7: REFRESH-INTERVAL has no default type.
    calendar["REFRESH-INTERVAL"] = vDuration(refresh, params={"VALUE": "DURATION"})
    calendar["X-PUBLISHED-TTL"] = vDuration(refresh)
    return calendar


def _bytes(component: Any) -> bytes:
    """Write a component in the order in which it was filled, which is ours and constant.

    Values and parameters are the library's.  Lines are put together here since the library makes three sets of parameters for
    each, and folds it a character at a time (``docs/decisions/calendar-feed.md`` has what that came to).
    """
    lines = (_line(name, value) for name, value in component.property_items(sorted=False))
    return b"\r\n".join([*map(folded, lines), b""])


def _line(name: str, value: Any) -> str:
    told = value if isinstance(value, bytes) else value.to_ical()  # bytes: the name of a component that begins or ends
    params = getattr(value, "params", None)
    head = f"{name};{params.to_ical(sorted=False).decode()}" if params else name
    return f"{head}:{told.decode()}"


def folded(line: str) -> bytes:
    r"""Fold a content line where the library folds it, but by pieces: at most 75 octets, no character split.

    No line ends in ``\`` or ``^``, which begin an escape (RFC 5545, section 3.1; RFC 6868).
    """
    octets, pieces, at = line.encode(), [], 0
    while len(octets) - at > _FOLD_OCTETS:
        cut = at + _FOLD_OCTETS
        while octets[cut] & 0xC0 == 0x80:  # inside a character of UTF-8
            cut -= 1
        if octets[cut - 1] in b"\\^" and cut - 1 > at:
            cut -= 1
        pieces.append(octets[at:cut])
        at = cut
    return b"\r\n ".join([*pieces, octets[at:]])


_FOLD_OCTETS: Final = 74
"""Octets of a piece; all but the first follow a space."""


def _component(row: Published, info: CalendarInfo, zone: ZoneInfo) -> Component:
    """One VEVENT, complete and without anything that depends on another event."""
    from icalendar import Event as Component

    fields = row.fields
    cancelled = fields["status"] == CANCELLED
    event = Component()
    event["UID"] = _Text(row.uid)
    _add_times(event, row, zone, info, end="DTEND")
    _add_words(event, row, info)
    event["STATUS"] = _Text(fields["status"])
    free = cancelled or bool(fields.get("free")) or "T" not in fields["start"]
    event["TRANSP"] = _Text("TRANSPARENT" if free else "OPAQUE")
    _add_links(event, row, "")
    _add_alarms(event, row, info, row.uid)
    return event


def _todo(row: Published, info: CalendarInfo, zone: ZoneInfo) -> Todo:
    """The same revision as a VTODO: a name of its own, since some servers keep events and to-dos in one place.

    What was missed can no longer be done, so it is canceled there; its title says that it was missed.
    """
    from icalendar import Todo, vDDDTypes, vInt

    fields = row.fields
    todo = Todo()
    todo["UID"] = _Text(f"todo/{row.uid}")
    _add_times(todo, row, zone, info, end="DUE")
    _add_words(todo, row, info)
    done = fields.get("completed")
    over = fields["status"] == CANCELLED or bool(fields.get("free"))
    todo["STATUS"] = _Text("COMPLETED" if done else "CANCELLED" if over else "NEEDS-ACTION")
    if done:
        moment = parse_moment(done)
        todo["COMPLETED"] = vDDDTypes(moment.astimezone(UTC) if isinstance(moment, datetime) else moment)
        todo["PERCENT-COMPLETE"] = vInt(100)
    _add_links(todo, row, "todo/")
    _add_alarms(todo, row, info, f"todo/{row.uid}")
    return todo


def _add_words(event: Component | Todo, row: Published, info: CalendarInfo) -> None:
    """What people read, and the number of the revision."""
    from icalendar import vCategory, vInt

    fields = row.fields
    cancelled = fields["status"] == CANCELLED
    event["SEQUENCE"] = vInt(row.sequence)
    event["SUMMARY"] = _Text(_summary(row, info))
    description = fields["description"]
    if cancelled:  # the words below were written for someone who was to do it
        description = (
            f"{clean_line(info.cancelled_word)}: {clean_line(info.cancelled_order)}.\n\n{description}".rstrip()
        )
    if description:
        event["DESCRIPTION"] = _Text(description)
    if fields["location"]:
        event["LOCATION"] = _Text(fields["location"])
    if fields["categories"]:
        categories = vCategory([])
        words: list[Any] = [_Text(word) for word in fields["categories"]]
        categories.cats = words
        event["CATEGORIES"] = categories


def _summary(row: Published, info: CalendarInfo) -> str:
    summary = str(row.fields["summary"])
    return f"{clean_line(info.cancelled_word)}: {summary}" if row.fields["status"] == CANCELLED else summary


def _add_links(event: Component | Todo, row: Published, prefix: str) -> None:
    """Where it is recorded, and what waits for it."""
    from icalendar import vDuration, vUri

    fields = row.fields
    if fields["url"]:
        event["URL"] = vUri(fields["url"])
    for uid, gap in fields["precedes"]:
        lag = {"GAP": vDuration(timedelta(minutes=gap))} if gap else {}
        event.add("RELATED-TO", _Text(f"{prefix}{uid}", params={"RELTYPE": "FINISHTOSTART", **lag}), encode=False)


def _add_alarms(event: Component | Todo, row: Published, info: CalendarInfo, uid: str) -> None:
    fields = row.fields
    alarms = fields["alarms_minutes"] if info.alarms_minutes is None else sorted(set(info.alarms_minutes), reverse=True)
    for minutes in [] if fields["status"] == CANCELLED or fields.get("free") else alarms:
        event.add_component(_alarm(uid, _summary(row, info), minutes))


def _add_times(event: Component | Todo, row: Published, zone: ZoneInfo, info: CalendarInfo, *, end: str) -> None:
    from icalendar import vDDDTypes

    start, after = (parse_moment(row.fields[side]) for side in ("start", "end"))
    if isinstance(start, datetime) and isinstance(after, datetime):
        # Most readers take the second occurrence of a repeated wall time, RFC 5545 the first: UTC leaves no choice.
        in_utc = is_utc(info.time_zone) or repeated(start, zone) or repeated(after, zone)
        start, after = (moment.astimezone(UTC if in_utc else zone) for moment in (start, after))
    event["DTSTAMP"] = event["LAST-MODIFIED"] = _stamped(row.stamp.astimezone(UTC))
    event["DTSTART"], event[end] = vDDDTypes(start), vDDDTypes(after)


def _alarm(uid: str, summary: str, minutes: int) -> Alarm:
    from icalendar import Alarm, vDuration

    alarm = Alarm()
    alarm["ACTION"] = _Text("DISPLAY")
    # Zero is written PT0S: a length of no days is read as a date by some.
    alarm["TRIGGER"] = vDuration(timedelta(minutes=-minutes)) if minutes else _Text("PT0S")
    alarm["DESCRIPTION"] = _Text(summary)
    alarm["UID"] = _Text(f"{uid}-alarm-{minutes}")
    return alarm
