"""Byte-level lint of a feed: written from the standards and the readers' known faults, sharing no code with intake."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from dateutil.rrule import rrulestr
from reportlab.lib.colors import getAllNamedColors

__all__ = ["findings"]


class Line(NamedTuple):
    """A content line: name, parameters and raw value."""

    name: str
    parameters: dict[str, str]
    value: str


class Component:
    """A component with its lines and children."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.lines: list[Line] = []
        self.children: list[Component] = []

    def all(self, name: str) -> list[Line]:
        """Every line of this name."""
        return [line for line in self.lines if line.name == name]

    def value(self, name: str) -> str:
        """The first value of this name, or nothing."""
        return next((line.value for line in self.lines if line.name == name), "")


CONTENT = re.compile(r'([A-Z0-9-]+)((?:;[A-Z0-9-]+=(?:"[^"]*"|[^";:,]*))*):(.*)', re.DOTALL)
TEXT = re.compile(r"(?:[^\\;,]|\\[\\;,nN])*")
TEXT_LIST = re.compile(r"(?:[^\\;]|\\[\\;,nN])*")
UTC_STAMP, LOCAL, DAY = re.compile(r"\d{8}T\d{6}Z"), re.compile(r"\d{8}T\d{6}"), re.compile(r"\d{8}")
DURATION = re.compile(r"[+-]?P(?:\d+W|(?=\d|T\d)(?:\d+D)?(?:T(?=\d)(?:\d+H)?(?:\d+M)?(?:\d+S)?)?)")
OFFSET = re.compile(r"[+-]\d{4}(\d\d)?")
# The library of page colours holds the CSS3 names and a few of its own; it lacks one spelling.
COLORS = {name for name in getAllNamedColors() if name.islower()} | {"lightgray"}
COLORS -= {"cornflower", "fidblue", "fidlightblue", "fidred", "transparent"}
ONCE = ["UID", "DTSTAMP", "LAST-MODIFIED", "DTSTART", "DTEND", "SUMMARY", "SEQUENCE", "STATUS", "TRANSP"]
AT_MOST_ONCE = ["DESCRIPTION", "LOCATION", "CATEGORIES", "URL"]
NEVER_IN_EVENT = ["DURATION", "RRULE", "RDATE", "EXDATE", "RECURRENCE-ID", "ORGANIZER", "ATTENDEE", "ATTACH", "SOURCE"]
NEVER_IN_CALENDAR = ["METHOD", "UID", "X-WR-TIMEZONE", "SOURCE"]
NESTING = {("", "VCALENDAR"), ("VCALENDAR", "VTIMEZONE"), ("VCALENDAR", "VEVENT"), ("VEVENT", "VALARM")}
NESTING |= {("VTIMEZONE", "STANDARD"), ("VTIMEZONE", "DAYLIGHT")}


def findings(body: bytes) -> list[str]:
    """Every fault of the feed, empty when it may be served."""
    found = list(_of_bytes(body))
    try:
        text = re.sub(b"\r\n[ \t]", b"", body).decode()
    except UnicodeDecodeError:
        return [*found, "not UTF-8"]
    calendar, structure = _parse(text)
    found += structure
    if calendar is not None:
        found += _of_calendar(calendar)
    return found


def _of_bytes(body: bytes) -> Iterator[str]:
    if not body.endswith(b"\r\n"):
        yield "last line is not ended"
    for number, line in enumerate(body.removesuffix(b"\r\n").split(b"\r\n"), 1):
        if len(line) > 75:
            yield f"line {number}: {len(line)} octets"
        if not line.strip():
            yield f"line {number}: empty"
        if re.search(rb"[\x00-\x08\x0a-\x1f\x7f]", line):
            yield f"line {number}: control character"
        if line[:3] == b"\xef\xbb\xbf":
            yield f"line {number}: byte-order mark"
        try:
            if re.search("[\x80-\x9f\ufffe\uffff]", line.decode()):
                yield f"line {number}: control character or non-character"
        except UnicodeDecodeError:
            yield f"line {number}: split or broken character"


def _parse(text: str) -> tuple[Component | None, list[str]]:
    found: list[str] = []
    root = Component("")
    stack = [root]
    for raw in text.removesuffix("\r\n").split("\r\n"):
        met = CONTENT.fullmatch(raw)
        if met is None:
            found.append(f"not a content line: {raw[:60]!r}")
            continue
        name, value = met[1], met[3]
        pairs = re.findall(r';([A-Z0-9-]+)=("[^"]*"|[^";:,]*)', met[2])
        if len({key for key, _ in pairs}) < len(pairs):
            found.append(f"parameter twice: {raw[:60]!r}")
        if name == "BEGIN":
            if (stack[-1].name, value) not in NESTING:
                found.append(f"{value} inside {stack[-1].name or 'nothing'}")
            child = Component(value)
            stack[-1].children.append(child)
            stack.append(child)
        elif name == "END":
            if len(stack) == 1 or stack[-1].name != value:
                return None, [*found, f"END:{value} closes nothing"]
            stack.pop()
        else:
            stack[-1].lines.append(Line(name, dict(pairs), value))
    if len(stack) > 1 or root.lines or [child.name for child in root.children] != ["VCALENDAR"]:
        return None, [*found, "not exactly one closed VCALENDAR"]
    return root.children[0], found


def _of_calendar(calendar: Component) -> Iterator[str]:
    names = Counter(line.name for line in calendar.lines)
    for name in ("VERSION", "PRODID", "NAME", "X-WR-CALNAME", "COLOR", "REFRESH-INTERVAL", "X-PUBLISHED-TTL"):
        if names[name] != 1:
            yield f"calendar: {names[name]} {name}"
    yield from (f"calendar: {name}" for name in NEVER_IN_CALENDAR if names[name])
    if calendar.value("VERSION") != "2.0":
        yield "calendar: VERSION is not 2.0"
    if calendar.value("NAME") != calendar.value("X-WR-CALNAME") or re.search(r'[\\;,"]', calendar.value("NAME")):
        yield "calendar: NAME and X-WR-CALNAME differ or need escaping"
    if not all(TEXT.fullmatch(calendar.value(name)) for name in ("PRODID", "DESCRIPTION", "X-WR-CALDESC")):
        yield "calendar: unescaped text"
    if calendar.value("COLOR") not in COLORS:
        yield "calendar: COLOR is no CSS3 name"
    if not re.fullmatch(r"#[0-9A-F]{6}|", calendar.value("X-APPLE-CALENDAR-COLOR")):
        yield "calendar: colour is not #RRGGBB"
    refresh = calendar.all("REFRESH-INTERVAL")
    if any(line.parameters != {"VALUE": "DURATION"} or not DURATION.fullmatch(line.value) for line in refresh):
        yield "calendar: REFRESH-INTERVAL without VALUE=DURATION or length"
    if refresh and calendar.value("X-PUBLISHED-TTL") != refresh[0].value:
        yield "calendar: two refresh intervals"
    yield from _of_components(calendar)


def _of_components(calendar: Component) -> Iterator[str]:
    zones = [child for child in calendar.children if child.name == "VTIMEZONE"]
    events = [child for child in calendar.children if child.name == "VEVENT"]
    if calendar.children != [*zones, *events] or not calendar.children:
        yield "calendar: no component, or zones after events"
    defined = [zone.value("TZID") for zone in zones]
    used = {line.parameters["TZID"] for event in events for line in event.lines if "TZID" in line.parameters}
    if len(set(defined)) < len(defined) or used - set(defined) or (events and set(defined) - used):
        yield "calendar: time zone undefined, unused or twice"
    for zone in zones:
        yield from _of_zone(zone)
    for event in events:
        yield from _of_event(event)
    yield from _of_all(events)


def _of_all(events: list[Component]) -> Iterator[str]:
    """What only shows over all events: doubles and order."""
    uids = [event.value("UID") for event in events]
    alarms = [alarm.value("UID") for event in events for alarm in event.children]
    if len(set(uids + alarms)) < len(uids + alarms):
        yield "UID twice"
    timed = [(event.all("DTSTART"), event.value("UID")) for event in events]
    keys = [(_instant(lines[0]), uid) for lines, uid in timed if lines and lines[0].parameters.get("VALUE") != "DATE"]
    if all(moment for moment, _ in keys) and keys != sorted(keys):
        yield "events not sorted by start and UID"


def _instant(line: Line) -> datetime | None:
    """The moment of a timed DTSTART or DTEND, None if it is not written as one."""
    try:
        if UTC_STAMP.fullmatch(line.value) and not line.parameters:
            return datetime.strptime(line.value, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
        if LOCAL.fullmatch(line.value) and list(line.parameters) == ["TZID"]:
            wall = datetime.strptime(line.value, "%Y%m%dT%H%M%S").replace(tzinfo=ZoneInfo(line.parameters["TZID"]))
            return wall.astimezone(UTC) if wall.utcoffset() == wall.replace(fold=1).utcoffset() else None
    except (ValueError, KeyError, OSError):
        return None
    return None


def _of_event(event: Component) -> Iterator[str]:
    where = f"event {event.value('UID')[:40]}"
    names = Counter(line.name for line in event.lines)
    yield from (f"{where}: {names[name]} {name}" for name in ONCE if names[name] != 1)
    yield from (f"{where}: {name} twice" for name in AT_MOST_ONCE if names[name] > 1)
    yield from (f"{where}: {name}" for name in NEVER_IN_EVENT if names[name])
    if any(line.parameters for line in event.lines if line.name not in {"DTSTART", "DTEND", "RELATED-TO"}):
        yield f"{where}: unexpected parameter"
    stamp = event.value("DTSTAMP")
    if not UTC_STAMP.fullmatch(stamp) or event.value("LAST-MODIFIED") != stamp:
        yield f"{where}: DTSTAMP and LAST-MODIFIED are not one UTC moment"
    if not re.fullmatch(r"0|[1-9]\d*", event.value("SEQUENCE")):
        yield f"{where}: SEQUENCE is no number"
    if not all(TEXT.fullmatch(event.value(name)) for name in ("UID", "SUMMARY", "DESCRIPTION", "LOCATION")):
        yield f"{where}: unescaped text"
    if not event.value("SUMMARY").strip() or not event.value("UID").strip():
        yield f"{where}: empty SUMMARY or UID"
    if not TEXT_LIST.fullmatch(event.value("CATEGORIES")):
        yield f"{where}: unescaped category"
    if not re.fullmatch(r"(?:[a-z]+:[!-~]+)?", event.value("URL")):
        yield f"{where}: URL"
    yield from _of_status(event, where)
    yield from _of_times(event, where)
    yield from _of_relations(event, where)
    for alarm in event.children:
        yield from _of_alarm(alarm, where)


def _of_relations(event: Component, where: str) -> Iterator[str]:
    for line in event.all("RELATED-TO"):
        gap = line.parameters.get("GAP", "PT1S")
        bad_type = line.parameters.get("RELTYPE") != "FINISHTOSTART" or set(line.parameters) - {"RELTYPE", "GAP"}
        if bad_type or not DURATION.fullmatch(gap) or line.value == event.value("UID") or not line.value:
            yield f"{where}: RELATED-TO"


def _of_status(event: Component, where: str) -> Iterator[str]:
    status, transparency = event.value("STATUS"), event.value("TRANSP")
    if status not in {"CONFIRMED", "CANCELLED"} or transparency not in {"OPAQUE", "TRANSPARENT"}:
        yield f"{where}: STATUS or TRANSP"
    if status == "CANCELLED" and (event.children or transparency != "TRANSPARENT"):
        yield f"{where}: cancelled, yet it rings or blocks time"


def _of_times(event: Component, where: str) -> Iterator[str]:
    start, end = event.all("DTSTART"), event.all("DTEND")
    if not start or not end:
        return
    if start[0].parameters != end[0].parameters:
        yield f"{where}: DTSTART and DTEND in two forms"
    if start[0].parameters == {"VALUE": "DATE"}:
        if not (DAY.fullmatch(start[0].value) and DAY.fullmatch(end[0].value) and start[0].value < end[0].value):
            yield f"{where}: days"
        return
    first, last = _instant(start[0]), _instant(end[0])
    if first is None or last is None:
        yield f"{where}: a time that is missing, repeated, without zone or badly written"
    elif first >= last:
        yield f"{where}: ends before it starts"


def _of_alarm(alarm: Component, where: str) -> Iterator[str]:
    names = Counter(line.name for line in alarm.lines)
    if any(names[name] != 1 for name in ("ACTION", "TRIGGER", "DESCRIPTION", "UID")) or len(names) != 4:
        yield f"{where}: alarm lacks or doubles a property"
    trigger = alarm.all("TRIGGER")
    if trigger and (trigger[0].parameters or not DURATION.fullmatch(trigger[0].value)):
        yield f"{where}: TRIGGER"
    if alarm.value("ACTION") != "DISPLAY" or not TEXT.fullmatch(alarm.value("DESCRIPTION")):
        yield f"{where}: alarm ACTION or DESCRIPTION"


def _of_zone(zone: Component) -> Iterator[str]:
    name = zone.value("TZID")
    if [line.name for line in zone.lines] != ["TZID"] or not zone.children:
        yield f"zone {name}: TZID or observances"
    for part in zone.children:
        names = Counter(line.name for line in part.lines)
        if any(names[each] != 1 for each in ("DTSTART", "TZOFFSETFROM", "TZOFFSETTO")) or names["RRULE"] > 1:
            yield f"zone {name}: observance lacks or doubles a property"
            continue
        values = [line.value for line in part.lines if line.name in {"DTSTART", "RDATE"}]
        offsets = part.value("TZOFFSETFROM"), part.value("TZOFFSETTO")
        if not all(map(LOCAL.fullmatch, values)) or not all(map(OFFSET.fullmatch, offsets)):
            yield f"zone {name}: onset or offset badly written"
        elif not all(_changes_there(name, onset, *offsets) for onset in _onsets(part)):
            yield f"zone {name}: onset at the wrong hour"


def _onsets(part: Component) -> list[datetime]:
    """Wall times of the onsets from 2026 to 2030, the years in which a feed is read."""
    start = datetime.fromisoformat(part.value("DTSTART"))
    if part.value("RRULE"):
        years = datetime.fromisoformat("2026-01-01"), datetime.fromisoformat("2030-01-01")
        return list(rrulestr(part.value("RRULE"), dtstart=start).between(*years))
    walls = [datetime.fromisoformat(line.value) for line in part.all("RDATE")]
    return [wall for wall in walls if 2026 <= wall.year < 2030]


def _changes_there(name: str, wall: datetime, before: str, after: str) -> bool:
    offsets = [datetime.strptime(text, "%z").utcoffset() for text in (before, after)]
    moment = (wall - (offsets[0] or timedelta())).replace(tzinfo=UTC)
    around = [(moment + timedelta(seconds=step)).astimezone(ZoneInfo(name)).utcoffset() for step in (-1, 0)]
    return around == offsets
