"""Revisions: readers see every change, no false one, and nothing that is no longer true."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from intake.errors import BadInput
from intake.feed import Event, Published, revise

NOW = datetime(2026, 9, 1, 12, 0, 0, 750_000, tzinfo=UTC)
START = datetime(2026, 9, 3, 8, 0, tzinfo=ZoneInfo("Europe/Berlin"))
DIP = Event(
    "dip-1@farm",
    START,
    START + timedelta(minutes=20),
    "Dip vat 4",
    "12 fragments",
    "Vat 4",
    ("dip",),
    alarms_minutes=(45,),
)
LATER = NOW + timedelta(hours=1)


def publish(*steps: tuple[datetime, list[Event]]) -> tuple[dict[str, Published], tuple[Published, ...]]:
    """The published rows after these timetables, and what the last one changed."""
    published: dict[str, Published] = {}
    changed: tuple[Published, ...] = ()
    for now, events in steps:
        changed = revise(published, events, now)
        published |= {row.uid: row for row in changed}
    return published, changed


def test_a_new_event_starts_at_sequence_nought() -> None:
    """Stamp in UTC and whole seconds, since that is all the format can carry."""
    [row] = revise({}, [DIP], NOW)
    assert (row.uid, row.sequence, row.stamp) == ("dip-1@farm", 0, NOW.replace(microsecond=0))
    assert row.stamp.utcoffset() == timedelta(0)


def test_the_same_timetable_changes_nothing() -> None:
    """A stamp that is always now makes every event look changed in every reader."""
    assert publish((NOW, [DIP]), (LATER, [DIP]))[1] == ()


@pytest.mark.parametrize(
    "change",
    [
        {"start": START - timedelta(hours=1)},
        {"end": START + timedelta(minutes=25)},
        {"summary": "Dip vat 5"},
        {"description": "11 fragments"},
        {"location": "Vat 5"},
        {"categories": ("dip", "gloves")},
        {"status": "CANCELLED"},
        {"alarms_minutes": (30,)},
        {"url": "https://farm.invalid/1"},
        {"start": date(2026, 9, 3), "end": date(2026, 9, 4)},
    ],
)
def test_every_shown_field_raises_sequence_and_stamp(change: dict[str, Any]) -> None:
    """Some readers look at the stamp only, some at the sequence, some at both: all move."""
    _, [row] = publish((NOW, [DIP]), (LATER, [replace(DIP, **change)]))
    assert (row.sequence, row.stamp) == (1, LATER.replace(microsecond=0))


@pytest.mark.parametrize(
    "change",
    [
        {"start": START.astimezone(UTC)},
        {"start": START.astimezone(ZoneInfo("Asia/Tokyo"))},
        {"start": START + timedelta(microseconds=5)},
        {"summary": " Dip\tvat 4\x00 "},
        {"alarms_minutes": (45, 45)},
        {"follows": (("unpublished@farm", 5),)},
    ],
)
def test_what_no_reader_sees_changes_nothing(change: dict[str, Any]) -> None:
    """The same moment in another zone, and text that cleans to the same, are the same event."""
    assert publish((NOW, [DIP]), (LATER, [replace(DIP, **change)]))[1] == ()


def test_the_stamp_grows_even_if_the_clock_does_not() -> None:
    """A reader that takes only later stamps would miss a change within a second or after the clock was set back."""
    changed = [replace(DIP, summary=f"Dip {number}") for number in range(3)]
    published, _ = publish(
        (NOW, [DIP]), (NOW, changed[:1]), (NOW - timedelta(days=1), changed[1:2]), (NOW, changed[2:])
    )
    row = published[DIP.uid]
    assert (row.sequence, row.stamp) == (3, NOW.replace(microsecond=0) + timedelta(seconds=3))


def test_a_vanished_task_of_the_future_is_called_off() -> None:
    """Readers that keep what they once saw must be told; it rings no more."""
    _, [row] = publish((NOW, [DIP]), (LATER, []))
    assert (row.sequence, row.fields["status"], row.fields["alarms_minutes"]) == (1, "CANCELLED", [])
    assert publish((NOW, [DIP]), (LATER, []), (LATER, []))[1] == ()


def test_a_vanished_task_of_the_past_stays_as_it_was() -> None:
    """A timetable that only looks forward must not rewrite what was done."""
    assert publish((NOW, [DIP]), (START + timedelta(hours=1), []))[1] == ()
    stage = Event("stage@farm", date(2026, 9, 3), date(2026, 9, 5), "Quarantine")
    assert publish((NOW, [stage]), (datetime(2026, 9, 5, tzinfo=UTC), []))[1] == ()
    assert len(publish((NOW, [stage]), (datetime(2026, 9, 4, 23, tzinfo=UTC), []))[1]) == 1


def test_a_task_that_comes_back_is_confirmed_again() -> None:
    """Same task, same uid for life: it is revised, never doubled."""
    _, [row] = publish((NOW, [DIP]), (LATER, []), (LATER, [DIP]))
    assert (row.sequence, row.fields["status"]) == (2, "CONFIRMED")


def test_the_earlier_task_carries_the_relation() -> None:
    """RFC 9253: FINISHTOSTART stands with the event that has to be finished first."""
    rinse = Event(
        "rinse@farm", START + timedelta(hours=3), START + timedelta(hours=4), "Rinse", follows=((DIP.uid, 120),)
    )
    published, _ = publish((NOW, [DIP, rinse]))
    assert published[DIP.uid].fields["precedes"] == [["rinse@farm", 120]]
    assert published["rinse@farm"].fields["precedes"] == []


def test_calling_off_the_later_task_leaves_the_earlier_one_alone() -> None:
    """The cancelled task is still shown, so the relation still has its target."""
    rinse = Event(
        "rinse@farm", START + timedelta(hours=3), START + timedelta(hours=4), "Rinse", follows=((DIP.uid, 120),)
    )
    _, changed = publish((NOW, [DIP, rinse]), (LATER, [DIP]))
    assert [row.uid for row in changed] == ["rinse@farm"]
    published, changed = publish((NOW, [DIP, rinse]), (LATER, [DIP, replace(rinse, follows=())]))
    assert [row.uid for row in changed] == [DIP.uid]
    assert published[DIP.uid].fields["precedes"] == []


def test_rows_survive_being_stored_as_json() -> None:
    """The caller stores fields as JSON; what comes back must count as the same."""
    published, _ = publish((NOW, [DIP]))
    stored = {uid: replace(row, fields=json.loads(json.dumps(row.fields))) for uid, row in published.items()}
    assert stored == published
    assert revise(stored, [DIP], LATER) == ()


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"uid": ""}, "uid"),
        ({"uid": "a b"}, "uid"),
        ({"uid": "a\r\nX:1"}, "uid"),
        ({"uid": "x" * 256}, "uid"),
        ({"summary": "\x00 \n"}, "summary"),
        ({"status": "CANCELED"}, "status"),
        ({"start": START.replace(tzinfo=None)}, "start"),
        ({"end": date(2026, 9, 4)}, "end"),
        ({"end": START}, "end"),
        ({"end": START + timedelta(milliseconds=400)}, "end"),
        ({"end": START - timedelta(hours=1)}, "end"),
        ({"start": date(2026, 9, 4), "end": date(2026, 9, 4)}, "end"),
        ({"start": START.replace(year=1970)}, "start"),
        ({"end": START.replace(year=9999)}, "end"),
        ({"alarms_minutes": (-5,)}, "alarm"),
        ({"follows": ((DIP.uid, 5),)}, "follows"),
        ({"follows": (("other@farm", -5),)}, "follows"),
    ],
)
def test_an_event_that_cannot_be_published_is_named(change: dict[str, Any], named: str) -> None:
    """Refused before anything is written, so that the last good feed stays."""
    with pytest.raises(BadInput) as refused:
        revise({}, [replace(DIP, **change)], NOW)
    assert [finding.where.endswith(named) for finding in refused.value.findings] == [True]


def test_all_faults_are_told_at_once() -> None:
    """Three faults in two events and a uid given twice: four findings."""
    wrong = replace(DIP, summary="", status="MAYBE")
    with pytest.raises(BadInput) as refused:
        revise({}, [wrong, replace(DIP, end=START)], NOW)
    assert len(refused.value.findings) == 4


def test_now_needs_a_zone() -> None:
    """A bare wall time would stamp revisions hours off."""
    with pytest.raises(BadInput, match="now"):
        revise({}, [DIP], NOW.replace(tzinfo=None))


def test_the_hour_that_does_not_exist_is_read_as_the_standard_says() -> None:
    """RFC 5545, section 3.3.5: a missing wall time has the offset before the gap."""
    gap = datetime(2027, 3, 28, 2, 30, tzinfo=ZoneInfo("Europe/Berlin"))
    [row] = revise({}, [replace(DIP, start=gap, end=gap + timedelta(hours=2))], NOW)
    assert row.fields["start"] == "2027-03-28T01:30:00Z"


def test_the_alarms_of_a_cancelled_task_are_nobodys_business() -> None:
    """They are not written, so a change of them is no revision."""
    gone = replace(DIP, status="CANCELLED")
    assert publish((NOW, [gone]), (LATER, [replace(gone, alarms_minutes=(5,))]))[1] == ()
