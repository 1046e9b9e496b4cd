"""The VTIMEZONE of every zone a farm may choose says what the zone's clocks do."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

import pytest

from intake.feed.zones import _offset_text, known_zone, repeated, vtimezone
from tests.feed import readers

ZONES = sorted(available_timezones() - {"localtime", "Factory"})
FIRST, LAST = datetime(2025, 1, 1, tzinfo=UTC), datetime(2033, 1, 1, tzinfo=UTC)


@cache
def changes(name: str) -> tuple[datetime, ...]:
    """The moments from 2025 to 2032 at which the offset changes, by a search of our own to the quarter hour."""
    zone, found, moment = ZoneInfo(name), [], FIRST
    while moment < LAST:
        after = moment + timedelta(hours=24)
        if moment.astimezone(zone).utcoffset() != after.astimezone(zone).utcoffset():
            quarters = [moment + timedelta(minutes=15 * step) for step in range(97)]
            pairs = itertools.pairwise(quarters)
            found += [b for a, b in pairs if a.astimezone(zone).utcoffset() != b.astimezone(zone).utcoffset()]
        moment = after
    return tuple(found)


def points(name: str) -> Iterator[str]:
    """Probe lines: around every change two hours each way by quarters of an hour, and each quarter year."""
    zone = ZoneInfo(name)
    moments = [FIRST + timedelta(days=91 * step) for step in range(32)]
    moments += [change + timedelta(minutes=15 * step) for change in changes(name) for step in range(-8, 9)]
    for moment in moments:
        wall = moment.astimezone(zone)
        unique = not repeated(moment, zone)
        yield f"{name} {int(moment.timestamp())} {wall:%Y%m%dT%H%M%S} {int(unique)}"


def write_probe(folder: Path, zones: list[str], *, only_unique: bool) -> tuple[Path, Path, int]:
    """The zones as one calendar and the points as one file."""
    calendar, asked = folder / "zones.ics", folder / "points"
    frame = b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//probe//EN\r\n%sEND:VCALENDAR\r\n"
    calendar.write_bytes(frame % b"".join(vtimezone(name) for name in zones))
    lines = [line for name in zones for line in points(name) if not only_unique or line.endswith(" 1")]
    asked.write_text("\n".join(line.removesuffix(" 1") if only_unique else line for line in lines) + "\n")
    return calendar, asked, len(lines)


def test_every_zone_in_libical_both_ways(libical: Path | None, tmp_path: Path) -> None:
    """Each instant around each change from 2025 to 2032: shown as the right wall time, and read back from it."""
    calendar, asked, count = write_probe(tmp_path, ZONES, only_unique=False)
    done = readers.run_libical(libical, calendar, asked)
    assert done.stdout.splitlines()[-1] == f"asked {count} wrong 0", done.stdout[:2000]
    assert count > 30_000


def test_a_tenth_of_the_zones_in_ical_js(tmp_path: Path) -> None:
    """Every tenth zone, and those with negative summer time, half-hour shifts, or changes by the moon."""
    odd = {"Europe/Dublin", "Australia/Lord_Howe", "Africa/Casablanca", "Africa/El_Aaiun", "America/Nuuk", "Asia/Gaza"}
    odd |= {"Asia/Jerusalem", "America/Santiago", "Pacific/Chatham", "Africa/Cairo", "America/Coyhaique"}
    zones = sorted({*ZONES[::12], *odd & set(ZONES)})
    calendar, asked, count = write_probe(tmp_path, zones, only_unique=True)
    assert readers.run_icaljs(calendar, asked) == []
    assert count > 2_000


def test_a_late_spring_onset_would_be_noticed(libical: Path | None, tmp_path: Path) -> None:
    """The fault of the writing library's own zones, planted: the probe must see it, or it proves nothing."""
    calendar, asked, _ = write_probe(tmp_path, ["Europe/Berlin"], only_unique=False)
    calendar.write_bytes(calendar.read_bytes().replace(b"DTSTART:19700329T020000", b"DTSTART:19700329T030000"))
    done = readers.run_libical(libical, calendar, asked)
    assert done.returncode == 1
    assert not done.stdout.splitlines()[-1].endswith(" wrong 0")


@pytest.mark.parametrize("name", ["", "Nowhere/Land", "../etc/passwd", "/etc/passwd", "Europe", "UTC+2", "a\x00b"])
def test_no_zone_but_an_iana_one(name: str) -> None:
    """A zone that is only a guess would put every task at a wrong hour."""
    assert known_zone(name) is None


def test_a_zone_far_ahead_is_written_as_far_as_the_events_go() -> None:
    """Zones without a yearly rule list their onsets, so the list has to reach the last event."""
    assert b"RDATE:2051" not in vtimezone("Africa/Casablanca")
    assert b"RDATE:2051" in vtimezone("Africa/Casablanca", 2024, 2052)


@pytest.mark.parametrize(
    ("offset", "text"),
    [
        (timedelta(0), "+0000"),
        (timedelta(hours=5, minutes=45), "+0545"),
        (-timedelta(hours=3, minutes=30), "-0330"),
        (-timedelta(minutes=36, seconds=45), "-003645"),
        (timedelta(hours=12, minutes=13, seconds=7), "+121307"),
        (-timedelta(seconds=1), "-000001"),
    ],
)
def test_offsets_are_written_with_seconds_only_where_they_have_some(offset: timedelta, text: str) -> None:
    """RFC 5545 3.3.14: hours, minutes and, for old local times such as Lisbon's before 1912, seconds."""
    assert _offset_text(offset) == text


@pytest.mark.parametrize(
    ("zone", "rules"),
    [
        ("America/New_York", ["BYMONTH=3;BYDAY=2SU", "BYMONTH=11;BYDAY=1SU"]),
        ("Europe/Lisbon", ["BYMONTH=3;BYDAY=-1SU", "BYMONTH=10;BYDAY=-1SU"]),
        ("Australia/Sydney", ["BYMONTH=4;BYDAY=1SU", "BYMONTH=10;BYDAY=1SU"]),
        ("Asia/Tokyo", []),
    ],
)
def test_a_zone_with_a_yearly_rule_is_written_with_it(zone: str, rules: list[str]) -> None:
    """Second Sunday of March and first of November (Energy Policy Act of 2005), last Sundays (Directive 2000/84/EC)."""
    lines = vtimezone(zone).decode().split("\r\n")
    assert sorted(line for line in lines if line.startswith("RRULE")) == sorted(
        f"RRULE:FREQ=YEARLY;{rule}" for rule in rules
    )
    assert not any(line.startswith("RDATE") for line in lines)


@pytest.mark.parametrize(
    ("zone", "names"), [("Asia/Tokyo", {"JST"}), ("Europe/Lisbon", {"WET", "WEST"}), ("Asia/Dubai", {"+04"})]
)
def test_a_zone_says_its_clocks_by_their_names(zone: str, names: set[str]) -> None:
    """Programs show the TZNAME beside a time, also of a zone whose clocks never change."""
    lines = vtimezone(zone).decode().split("\r\n")
    assert {line.removeprefix("TZNAME:") for line in lines if line.startswith("TZNAME:")} == names
