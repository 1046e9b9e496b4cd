"""Readers written by others must find in the feed exactly what the timetable says."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from intake.feed import is_whole, render
from tests.feed import lint, readers, sample


def compare(found: list[dict[str, Any]], zone_name: str, leave_out: tuple[str, ...] = ()) -> None:
    """Every field of every event equal to the oracle, nothing missing, nothing twice."""
    expected = sample.oracle(sample.events(zone_name))
    assert sorted(event["uid"] for event in found) == sorted(expected)
    for event in found:
        for field, value in expected[event["uid"]].items():
            if field not in leave_out:
                assert event[field] == value, (event["uid"], field)
        assert event["sequence"] == 0
        assert event["stamp"] == int(sample.NOW.timestamp())


def test_sample_meets_the_repeated_hour_in_both_folds(zone_name: str) -> None:
    """The sample would prove nothing if it missed the hour that occurs twice."""
    uids = [event.uid for event in sample.half_hours(zone_name)]
    assert any(uid.endswith("-1@farm") for uid in uids)
    shift = 30 if zone_name == "Australia/Lord_Howe" else 60
    assert len(uids) == 96
    assert sum(uid.endswith("-1@farm") for uid in uids) == shift // 30


def test_lint_finds_nothing(feed: bytes) -> None:
    """The byte lint, which knows the standards and the readers' faults, is silent; so is the product's own look."""
    assert lint.findings(feed) == []
    assert is_whole(feed)


def test_strict_python_reader_agrees(feed: bytes, zone_name: str) -> None:
    """`ical` parses strictly and refuses what others forgive."""
    found = [{"uid": uid} | event for uid, event in readers.read_ical(feed).items()]
    expected = sample.oracle(sample.events(zone_name))
    for event in found:
        assert event["related"] == sorted(uid for _, _, uid in expected[event["uid"]]["related"])
        assert event["modified"] == event["stamp"]
    compare(found, zone_name, leave_out=("related",))


@pytest.mark.parametrize("host_zone", ["UTC", "Asia/Tokyo", "America/New_York"])
def test_ical_js_agrees_whatever_the_machine_zone(feed_file: Path, zone_name: str, host_zone: str) -> None:
    """ical.js is the reader inside a widespread desktop client; it knows only the feed's own VTIMEZONE."""
    read = readers.run_icaljs(feed_file, host_zone=host_zone)
    compare(read["events"], zone_name)
    assert read["refresh"] == 3600


def test_libical_agrees_and_finds_no_error(libical: Path | None, feed_file: Path, zone_name: str) -> None:
    """Libical also checks the standard's restrictions; its parameter call does not give RELTYPE and GAP back."""
    done = readers.run_libical(libical, feed_file)
    assert done.returncode == 0, done.stdout + done.stderr
    read = json.loads(done.stdout)
    assert (read["errors"], read["restriction_check"]) == (0, True)
    expected = sample.oracle(sample.events(zone_name))
    for event in read["events"]:
        event["alarms"].sort()
        assert sorted(event["related"]) == sorted(uid for _, _, uid in expected[event["uid"]]["related"])
    compare(read["events"], zone_name, leave_out=("related", "categories"))


@pytest.mark.parametrize("zone", ["Europe/Berlin", "UTC"])
def test_an_empty_feed_is_still_a_calendar(zone: str, libical: Path | None, tmp_path: Path) -> None:
    """A subscriber without tasks gets a whole calendar: readers empty or disable themselves on anything less."""
    body = render((), sample.face(zone), sample.NOW)
    assert is_whole(body)
    assert lint.findings(body) == []
    assert readers.read_ical(body) == {}
    file = tmp_path / "empty.ics"
    file.write_bytes(body)
    read = json.loads(readers.run_libical(libical, file).stdout)
    assert read == {"events": [], "errors": 0, "restriction_check": True}
