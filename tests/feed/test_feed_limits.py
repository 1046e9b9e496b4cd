"""Limits of a feed: at each of them an event is published and a calendar written, a step beyond it is refused."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from intake.errors import BadInput
from intake.feed import Event, render, revise
from intake.feed.answer import not_modified
from tests.feed.sample import NOW, face
from tests.feed.test_write import DIP, latest

YEAR = 366 * 24 * 60
OLD = datetime(2000, 1, 1, 8, tzinfo=UTC)
FAR = datetime(2199, 12, 31, 8, tzinfo=UTC)


@pytest.mark.parametrize(
    ("good", "bad"),
    [
        ({"uid": "x" * 255}, {"uid": "x" * 256}),
        ({"uid": "x"}, {"uid": ""}),
        ({"alarms_minutes": (0, YEAR)}, {"alarms_minutes": (YEAR + 1,)}),
        ({"follows": (("other@farm", YEAR),)}, {"follows": (("other@farm", YEAR + 1),)}),
        ({"follows": (("other@farm", 0),)}, {"follows": (("other@farm", -1),)}),
        ({"start": OLD, "end": OLD + timedelta(seconds=1)}, {"start": OLD - timedelta(days=1), "end": OLD}),
        ({"start": FAR, "end": FAR + timedelta(hours=1)}, {"start": FAR, "end": FAR + timedelta(hours=16)}),
        ({"start": date(2026, 9, 3), "end": date(2026, 9, 4)}, {"start": date(2026, 9, 3), "end": date(2026, 9, 3)}),
    ],
)
def test_an_event_at_its_limits_is_published(good: dict[str, Any], bad: dict[str, Any]) -> None:
    """Names of 255 signs, alarms and gaps of a year, years 2000 to 2199, a second's length or a day's."""
    assert len(revise({}, [replace(DIP, **good)], NOW)) == 1
    with pytest.raises(BadInput) as refused:
        revise({}, [replace(DIP, **bad)], NOW)
    assert len(refused.value.findings) == 1


@pytest.mark.parametrize(
    ("good", "bad"),
    [
        ({"refresh_minutes": 1}, {"refresh_minutes": 0}),
        ({"refresh_minutes": 10_080}, {"refresh_minutes": 10_081}),
        ({"alarms_minutes": (0,)}, {"alarms_minutes": (-1,)}),
        ({"hex_color": ""}, {"hex_color": "#00808"}),
        ({"hex_color": "#ABCDEF"}, {"hex_color": "0008080"}),
        ({"hex_color": "#abcdef"}, {"hex_color": "#abcdeg"}),
    ],
)
def test_a_face_at_its_limits_is_written(good: dict[str, Any], bad: dict[str, Any]) -> None:
    """Refreshed each minute to each week, alarms at the start, colors of six digits."""
    rows = latest([DIP]).values()
    assert render(rows, face(**good), NOW)
    with pytest.raises(BadInput) as refused:
        render(rows, face(**bad), NOW)
    assert len(refused.value.findings) == 1


@pytest.mark.parametrize(("after", "status"), [(timedelta(0), None), (timedelta(seconds=-1), "CANCELLED")])
def test_what_ended_this_very_second_is_history(after: timedelta, status: str | None) -> None:
    """A task gone from the timetable is called off while it lasts, and stays as it was once it has ended."""
    rows = {row.uid: row for row in revise({}, [DIP], NOW)}
    assert isinstance(DIP.end, datetime)
    changed = revise(rows, [], DIP.end + after)
    assert [row.fields["status"] for row in changed] == ([status] if status else [])


def test_a_day_is_over_at_the_end_of_it() -> None:
    """A stage of whole days ends with the day before its end: at that day's morning it is history."""
    stage = Event("stage@farm", date(2026, 9, 3), date(2026, 9, 5), "Quarantine")
    rows = {row.uid: row for row in revise({}, [stage], NOW)}
    assert revise(rows, [], datetime(2026, 9, 5, 1, tzinfo=UTC)) == ()
    assert len(revise(rows, [], datetime(2026, 9, 4, 23, tzinfo=UTC))) == 1


def test_alarms_at_the_start_ring_at_it_and_earlier_ones_before() -> None:
    """In the order of ringing; the subscriber's own instead of the event's, each once."""
    body = render(latest([replace(DIP, alarms_minutes=(0, 45))]).values(), face(), NOW)
    assert [line for line in body.split(b"\r\n") if line.startswith(b"TRIGGER")] == [b"TRIGGER:-PT45M", b"TRIGGER:PT0S"]
    own = render(latest([DIP]).values(), face(alarms_minutes=(5, 10, 5)), NOW)
    assert [line for line in own.split(b"\r\n") if line.startswith(b"TRIGGER")] == [b"TRIGGER:-PT10M", b"TRIGGER:-PT5M"]


def test_what_few_events_have_is_kept_with_them_and_with_no_other() -> None:
    """Former readers, a list of the day, no hour of its own, other languages: cleaned, and absent where they say nothing."""
    rare = replace(
        DIP,
        former=(("ann; the first", "→ Ben\n"),),
        timed=False,
        digest=True,
        told=(("es", " Baño\t1 ", "uno\r\ndos"),),
    )
    [row], [plain] = revise({}, [rare], NOW), revise({}, [DIP], NOW)
    assert row.fields["former"] == [["ann the first", "→ Ben"]]
    assert (row.fields["timed"], row.fields["digest"]) == (False, True)
    assert row.fields["told"] == {"es": ["Baño 1", "uno\ndos"]}
    assert not {"former", "timed", "digest", "told", "free", "completed"} & set(plain.fields)
    assert row.fingerprint != plain.fingerprint


def test_who_waits_may_be_given_where_only_touched_events_are() -> None:
    """An act looks at its own events alone: what waits for them is then what the caller knows, not what the few say."""
    rows = {row.uid: row for row in revise({}, [DIP], NOW)}
    later = NOW + timedelta(hours=1)
    [row] = revise(rows, [DIP], later, waiting={DIP.uid: (("next@farm", 5), ("also@farm", 0))})
    assert row.fields["precedes"] == [["also@farm", 0], ["next@farm", 5]]
    kept = {DIP.uid: row}
    assert revise(kept, [DIP], later, waiting={DIP.uid: (("next@farm", 5), ("also@farm", 0))}) == ()
    [alone] = revise(kept, [DIP], later, waiting={})
    assert alone.fields["precedes"] == []
    assert revise(kept, [DIP], later) == (), "without it, what waits and is not among the events is remembered"


@pytest.mark.parametrize(
    ("clock", "read"),
    [("23:59:60", True), ("23:59:59", True), ("24:00:00", False), ("23:60:00", False), ("23:59:61", False)],
)
def test_the_last_second_of_a_day_is_a_time(clock: str, read: bool) -> None:
    """RFC 9110, section 5.6.7: hours to 23, minutes to 59, seconds to 60 (a leap second)."""
    since = f"Thu, 31 Dec 2026 {clock} GMT"
    made = datetime(2026, 12, 31, 12, tzinfo=UTC)
    assert not_modified('"a"', None, since, made) is read
    assert not_modified('"a"', None, since, datetime(2027, 1, 1, 0, 0, 1, tzinfo=UTC)) is False
