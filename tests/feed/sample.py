"""Invented events that meet every trap of calendar readers, and what a right reader must make of them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from intake.feed import CalendarInfo, Event

NOW = datetime(2026, 9, 1, 12, 0, 0, tzinfo=UTC)
# Both days on which clocks change, in a zone of whole hours on each hemisphere's calendar and one of half hours.
CHANGE_DAYS = {
    "Europe/Berlin": (date(2026, 10, 25), date(2027, 3, 28)),
    "America/New_York": (date(2026, 11, 1), date(2027, 3, 14)),
    "Australia/Lord_Howe": (date(2026, 10, 4), date(2027, 4, 4)),
}
# Raw text as someone may type it, and the text after the documented cleaning, both for several lines and for one line.
HOSTILE = [
    ("back\\slash, comma; semi:colon \"quoted\" 'single'",) * 3,
    ("C:\\New \\n \\N \\; \\\\", *["C:\\New \\n \\N \\; \\\\"] * 2),
    ("two\nlines", "two\nlines", "two lines"),
    ("windows\r\nlines", "windows\nlines", "windows lines"),
    ("lone\rreturn", "lone\nreturn", "lone return"),
    ("tab\there", "tab\there", "tab here"),
    ("\U0001f469\u200d\U0001f52c scientist with joiner", *["\U0001f469\u200d\U0001f52c scientist with joiner"] * 2),
    ("combining e\u0301 mark", *["combining e\u0301 mark"] * 2),
    ("\u0645\u0631\u062d\u0628\u0627 right to left \u05e9\u05dc\u05d5\u05dd",) * 3,
    ("long " + "\u00e4\u20ac\U0001f420x" * 750, *["long " + "\u00e4\u20ac\U0001f420x" * 750] * 2),
    ("nul\x00 and bell\x07 and escape\x1b and delete\x7f", *["nul and bell and escape and delete"] * 2),
    ("next\x85line", "next\nline", "next line"),
    ("separator\u2028line", "separator\nline", "separator line"),
    ("half \ud83d pair", "half \ufffd pair", "half \ufffd pair"),
    (
        "title\r\nATTENDEE:mailto:nobody@farm.invalid",
        *[f"title{gap}ATTENDEE:mailto:nobody@farm.invalid" for gap in "\n "],
    ),
    ("title\nEND:VEVENT\nBEGIN:VEVENT", "title\nEND:VEVENT\nBEGIN:VEVENT", "title END:VEVENT BEGIN:VEVENT"),
    ("  spaces at both ends \t", "spaces at both ends", "spaces at both ends"),
    ("\ufeffmark \uffff gone", "mark  gone", "mark  gone"),
    ("caret ^n ^^ ^' and %41 &amp; <b>",) * 3,
]


def face(zone: str = "Europe/Berlin", **changes: Any) -> CalendarInfo:
    """The face of an invented hall's feed."""
    return CalendarInfo(**{"name": "Hall 1 dips", "time_zone": zone, "description": "Due, in hall 1"} | changes)


def half_hours(zone_name: str) -> Iterator[Event]:
    """A task at every half hour of both change days, the repeated ones twice."""
    zone = ZoneInfo(zone_name)
    for day in CHANGE_DAYS[zone_name]:
        for minutes in range(0, 24 * 60, 30):
            for fold in (0, 1):
                wall = datetime(day.year, day.month, day.day, minutes // 60, minutes % 60, tzinfo=zone, fold=fold)
                exists = wall.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == wall.replace(tzinfo=None)
                if not exists or (fold and wall.utcoffset() == wall.replace(fold=0).utcoffset()):
                    continue
                end = wall.astimezone(UTC) + timedelta(minutes=45)
                yield Event(f"half-{day}-{minutes}-{fold}@farm", wall, end, f"Dip at {wall:%H:%M} ({fold})")


def events(zone_name: str = "Europe/Berlin") -> list[Event]:
    """Everything at once: change days, hostile text, whole days, relations, alarms, cancellations."""
    zone = ZoneInfo(zone_name)
    noon = datetime(2026, 9, 20, 12, 0, tzinfo=zone)
    made = list(half_hours(zone_name))
    for number, (raw, _, _) in enumerate(HOSTILE):
        start = noon + timedelta(hours=number)
        text: dict[str, Any] = dict.fromkeys(("summary", "description", "location"), raw)
        made.append(Event(f"hostile-{number}@farm", start, start + timedelta(hours=1), **text, categories=(raw, "dip")))
    for days in (1, 3, 40):
        made.append(Event(f"stage-{days}@farm", date(2026, 10, 10), date(2026, 10, 10) + timedelta(days), "Quarantine"))
    day_long = datetime(2026, 10, 24, 20, 0, tzinfo=UTC)
    made.append(Event("over-the-change@farm", day_long, day_long + timedelta(hours=24), "Drying, 24 h"))
    for number in range(4):
        start = noon + timedelta(days=number)
        made.append(
            Event(
                f"chain-{number}@farm",
                start,
                start + timedelta(minutes=20),
                f"Dip {number}",
                alarms_minutes=((), (0,), (45, 10), (1500,))[number],
                follows=((f"chain-{number - 1}@farm", (0, 120, 1500, 90)[number]),) if number else (),
                url="https://farm.invalid/done/1?task=a;b,c&d=\u00e4",
            )
        )
    made.append(Event("called-off@farm", noon, noon + timedelta(hours=2), "Inspect, all", status="CANCELLED"))
    return made


def plain(text: str) -> str:
    """A category without the four characters that some readers take for separators."""
    return " ".join(re.sub(r'[\\;,"]', " ", text).split())


def oracle(wanted: list[Event]) -> dict[str, dict[str, Any]]:
    """What a reader must find, from the events themselves with the standard library's clocks."""
    hostile = {f"hostile-{number}@farm": texts for number, (_, *texts) in enumerate(HOSTILE)}
    expected: dict[str, dict[str, Any]] = {}
    for event in wanted:
        long, short = hostile.get(event.uid, (event.description, event.summary))
        cancelled = event.status == "CANCELLED"
        followers = [(gap, other.uid) for other in wanted for first, gap in other.follows if first == event.uid]
        expected[event.uid] = {
            "start": _moment(event.start),
            "end": _moment(event.end),
            "summary": f"Canceled: {short}" if cancelled else short,
            "description": f"Canceled: do not do this.\n\n{long}".rstrip() if cancelled else long,
            "location": short if event.uid in hostile else event.location,
            "categories": [plain(short), "dip"] if event.uid in hostile else list(event.categories),
            "status": event.status,
            "alarms": [] if cancelled else sorted(-60 * minutes for minutes in event.alarms_minutes),
            "related": sorted(["FINISHTOSTART", 60 * gap, uid] for gap, uid in followers),
        }
    return expected


def _moment(moment: date) -> str | int:
    return int(moment.timestamp()) if isinstance(moment, datetime) else moment.isoformat()
