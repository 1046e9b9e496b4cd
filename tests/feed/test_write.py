"""The bytes of a feed: what is in them, what is left out, and that nothing but a change changes them."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.errors import BadInput
from intake.feed import Event, Published, etag, http_date, not_modified, render, revise
from intake.feed.write import FragmentKey, folded
from tests.feed import lint, readers, sample
from tests.feed.sample import NOW, face

START = datetime(2026, 9, 3, 8, 0, tzinfo=ZoneInfo("Europe/Berlin"))
DIP = Event("dip@farm", START, START + timedelta(minutes=20), "Dip", alarms_minutes=(45,))
PRINT_DIGEST = """
from hashlib import sha256
from intake.feed import render, revise
from tests.feed import sample
body = render(revise({}, sample.events(), sample.NOW), sample.face(), sample.NOW)
print(sha256(body).hexdigest())
"""


def latest(*timetables: list[Event], every: timedelta = timedelta(hours=1)) -> dict[str, Published]:
    """Published rows after these timetables, an hour apart."""
    rows: dict[str, Published] = {}
    for number, events in enumerate(timetables):
        rows |= {row.uid: row for row in revise(rows, events, NOW + number * every)}
    return rows


def bodies(body: bytes) -> dict[str, bytes]:
    """Each event's own bytes, by uid."""
    pieces = body.split(b"BEGIN:VEVENT\r\nUID:")[1:]
    return {piece.split(b"\r\n")[0].decode(): piece.removesuffix(b"END:VCALENDAR\r\n") for piece in pieces}


def test_bytes_are_the_same_in_every_process() -> None:
    """Another hash seed, machine zone or language must not change the tag: every poll would fetch everything."""
    digests = {sha256(render(revise({}, sample.events(), NOW), face(), NOW)).hexdigest()}
    for seed, zone, language in (
        ("0", "UTC", "C"),
        ("1", "Asia/Tokyo", "C.UTF-8"),
        ("4711", "America/New_York", "POSIX"),
    ):
        environment = os.environ | {"PYTHONHASHSEED": seed, "TZ": zone, "LC_ALL": language}
        environment["PYTHONPATH"] = os.pathsep.join(filter(None, sys.path))
        command = [sys.executable, "-c", PRINT_DIGEST]
        done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
        digests.add(done.stdout.strip())
    assert len(digests) == 1


def test_order_of_rows_does_not_matter() -> None:
    """Sorted by start, then uid; whole days stand at midnight of the feed's zone."""
    rows = list(latest(sample.events()).values())
    assert render(rows, face(), NOW) == render(reversed(rows), face(), NOW)
    found = [value.split(b"\r\n")[0] for value in render(rows, face(), NOW).split(b"BEGIN:VEVENT\r\nUID:")[1:]]
    starts = {row.uid: row.fields["start"] for row in rows}
    timed = [starts[uid.decode()] for uid in found if "T" in starts[uid.decode()]]
    assert timed == sorted(timed)


def test_kept_fragments_give_the_same_bytes() -> None:
    """The cache is shared by feeds of other zones, alarms and words, and must not mix them."""
    rows = latest(sample.events()).values()
    faces = [
        face(), face("America/New_York"), face("UTC"), face(alarms_minutes=(5,)), face(alarms_minutes=()),
        face(cancelled_word="Called off"), face(omit_cancelled=True),
    ]  # fmt: skip
    kept: dict[FragmentKey, bytes] = {}
    for _ in range(2):
        for each in faces:
            assert render(rows, each, NOW, fragments=kept) == render(rows, each, NOW)


def test_one_change_touches_one_events_bytes() -> None:
    """Everything else stays byte for byte."""
    events = sample.events()
    changed = [replace(event, summary="Dip, moved") if event.uid == "chain-2@farm" else event for event in events]
    before, after = (bodies(render(latest(*steps).values(), face(), NOW)) for steps in ([events], [events, changed]))
    assert before.keys() == after.keys()
    assert [uid for uid in before if before[uid] != after[uid]] == ["chain-2@farm"]
    assert b"SEQUENCE:1\r\n" in after["chain-2@farm"]


def test_cancelled_is_shown_and_then_dropped() -> None:
    """Marked in words too, silent, free time; 14 days after its date it goes, since nobody wants the clutter."""
    rows = latest([DIP], []).values()
    [body] = bodies(render(rows, face(), NOW)).values()
    assert b"SUMMARY:Canceled: Dip\r\n" in body
    assert b"STATUS:CANCELLED\r\nTRANSP:TRANSPARENT\r\n" in body
    assert b"VALARM" not in body
    assert b"VALARM" not in render(rows, face(alarms_minutes=(5,)), NOW)
    last = datetime(2026, 9, 17, 23, 59, tzinfo=ZoneInfo("Europe/Berlin")).astimezone(UTC)
    assert bodies(render(rows, face(), last))
    assert not bodies(render(rows, face(), last + timedelta(minutes=1)))
    assert not bodies(render(rows, face(omit_cancelled=True), NOW))


def test_history_stays_half_a_year() -> None:
    """Past work vanishing from calendars is a common complaint; a window keeps the feed small all the same."""
    rows = latest([DIP]).values()
    day = datetime(2027, 3, 2, 12, 0, tzinfo=UTC)
    assert bodies(render(rows, face(), day))
    assert not bodies(render(rows, face(), day + timedelta(days=1)))
    assert not bodies(render(rows, face(), START + timedelta(days=8), window_days_back=7))


def test_the_tag_moves_when_an_event_only_leaves_the_window() -> None:
    """Nothing was revised, yet a subscriber that is told 304 would show it for ever."""
    rows = latest(
        [DIP, replace(DIP, uid="later@farm", start=START + timedelta(days=9), end=START + timedelta(days=10))]
    )
    day = datetime(2027, 3, 2, 12, 0, tzinfo=UTC)
    shown, fewer = (render(rows.values(), face(), moment) for moment in (day, day + timedelta(days=1)))
    assert bodies(shown).keys() - bodies(fewer).keys() == {"dip@farm"}
    assert etag(shown) != etag(fewer)
    assert not not_modified(etag(fewer), etag(shown), http_date(day), day - timedelta(days=99))


def test_alarms_are_the_subscribers_choice() -> None:
    """None: as the event has them; empty: silent; own minutes: those."""
    rows = latest([DIP]).values()
    found = [
        [line for line in render(rows, face(alarms_minutes=choice), NOW).split(b"\r\n") if line.startswith(b"TRIGGER")]
        for choice in (None, (), (10, 90, 10))
    ]
    assert found == [[b"TRIGGER:-PT45M"], [], [b"TRIGGER:-PT1H30M", b"TRIGGER:-PT10M"]]


def test_whole_days_have_no_zone_and_an_exclusive_end() -> None:
    """A stage of n days is n days in any reader's zone, and blocks nobody's time."""
    stage = Event("stage@farm", date(2026, 10, 24), date(2026, 10, 27), "Quarantine")
    body = render(latest([stage]).values(), face(), NOW)
    assert b"DTSTART;VALUE=DATE:20261024\r\nDTEND;VALUE=DATE:20261027\r\n" in body
    assert b"TRANSP:TRANSPARENT\r\n" in body
    assert b"VTIMEZONE" not in body


def test_the_repeated_hour_is_written_in_utc() -> None:
    """An event touching the hour at either end: most readers take the other one of the two."""
    for start, minutes in (
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), 45),
        (datetime(2026, 10, 24, 23, 30, tzinfo=UTC), 60),
    ):
        event = replace(DIP, start=start, end=start + timedelta(minutes=minutes))
        body = render(latest([event]).values(), face(), NOW)
        assert f"DTSTART:{start:%Y%m%dT%H%M%SZ}\r\nDTEND:".encode() in body


def test_a_feed_in_utc_needs_no_zone() -> None:
    """Times end in Z and no VTIMEZONE is defined for nothing."""
    body = render(latest([DIP]).values(), face("UTC"), NOW)
    assert b"DTSTART:20260903T060000Z\r\n" in body
    assert b"VTIMEZONE" not in body
    assert lint.findings(body) == []


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"time_zone": "Nowhere/Land"}, "time zone"), ({"name": " ;,"}, "name"), ({"color": "#008080"}, "color"),
        ({"color": "Teal"}, "color"), ({"hex_color": "teal"}, "hex color"), ({"hex_color": "#12345g"}, "hex color"),
        ({"refresh_minutes": 0}, "refresh"), ({"prodid": "\r\n"}, "prodid"), ({"alarms_minutes": (-1,)}, "alarm"),
    ],
)  # fmt: skip
def test_a_face_that_cannot_be_written_is_refused(change: dict[str, Any], named: str) -> None:
    """Better no new feed than one that readers drop."""
    with pytest.raises(BadInput) as refused:
        render((), replace(face(), **change), NOW)
    assert [finding.where.endswith(named) for finding in refused.value.findings] == [True]


def test_two_revisions_of_one_event_are_refused() -> None:
    """The rows are kept for ever; handing over the old ones too would show events twice."""
    old, new = latest([DIP])["dip@farm"], latest([DIP], [replace(DIP, summary="Moved")])["dip@farm"]
    with pytest.raises(BadInput, match="twice"):
        render([old, new], face(), NOW)


def test_events_far_ahead_and_behind_keep_their_hour() -> None:
    """A zone that lists its changes one by one has to list enough of them."""
    zone = "Africa/Casablanca"
    moments = [datetime(2026, 9, 3, 8, 0, tzinfo=ZoneInfo(zone)), datetime(2050, 6, 1, 8, 0, tzinfo=ZoneInfo(zone))]
    events = [Event(f"{at.year}@farm", at, at + timedelta(hours=1), "Dip") for at in moments]
    body = render(latest(events).values(), face(zone), NOW)
    assert lint.findings(body) == []
    assert b"RDATE:2050" in body
    assert {read["start"] for read in readers.read_ical(body).values()} == {int(at.timestamp()) for at in moments}


def test_the_writing_library_is_the_one_that_was_examined() -> None:
    """Its faults were found in version 7; an older one, slipped in by another package, has others."""
    import icalendar

    assert icalendar.__version__.split(".")[0] == "7"


@pytest.mark.skipif(os.environ.get("VATSIDE_REQUIRE_READERS") != "1", reason="only where the environment is our own")
def test_no_package_pulled_another_down() -> None:
    """The recurrence reader of the study drags the writing library two versions back without a word."""
    done = subprocess.run([sys.executable, "-m", "pip", "check"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout


@given(st.text(alphabet=st.sampled_from("ab\\\\^^;:, ×·漢🐚é"), max_size=400))
def test_lines_are_folded_where_the_library_folds_them(line: str) -> None:
    """Ours is quicker; the octets are those that subscribers had before, whatever characters and escapes meet an edge."""
    from icalendar.parser import Contentline

    assert folded(line) == Contentline(line).to_ical()  # type: ignore[no-untyped-call]
    assert max(map(len, folded(line).split(b"\r\n"))) <= 75
