"""Whatever the timetable goes through, a subscriber's calendar ends up equal to it: no doubles, no ghosts."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from intake.feed import Event, Published, render, revise
from tests.feed import lint, readers
from tests.feed.sample import face

BEGIN = datetime(2026, 10, 20, 6, 0, tzinfo=UTC)
ZONE = ZoneInfo("Europe/Berlin")


@st.composite
def timetables(draw: st.DrawFn) -> list[Event]:
    """Up to five tasks around the autumn change, some of whole days, some waiting for another."""
    made = []
    for number in sorted(draw(st.sets(st.integers(0, 4)))):
        half_hours, length = draw(st.integers(0, 480)), draw(st.integers(1, 4))
        start: date = (BEGIN + timedelta(minutes=30 * half_hours)).astimezone(ZONE)
        end: date = (BEGIN + timedelta(minutes=30 * (half_hours + length))).astimezone(ZONE)
        if draw(st.booleans()):
            start, end = (
                date(2026, 10, 20) + timedelta(half_hours // 48),
                date(2026, 10, 20) + timedelta(half_hours // 48 + length),
            )
        follows = tuple((f"task-{first}@farm", 30) for first in draw(st.sets(st.integers(0, number))) if first < number)
        title = draw(st.sampled_from(["Dip", "Dip, again", "Count", "\u00dcberpr\u00fcfen"]))
        alarms = tuple(draw(st.sets(st.sampled_from([5, 60]))))
        made.append(Event(f"task-{number}@farm", start, end, title, alarms_minutes=alarms, follows=follows))
    return made


HISTORIES = st.lists(st.tuples(st.integers(0, 150), timetables()), min_size=1, max_size=7)


def ended(event: Event, now: datetime) -> bool:
    """Whether the event lies behind us."""
    return event.end <= now if isinstance(event.end, datetime) else event.end <= now.date()


def kept(event: Event, cancelled: bool, now: datetime) -> bool:
    """Whether a feed still shows it: cancelled ones for 14 days."""
    last = event.end.astimezone(ZONE).date() if isinstance(event.end, datetime) else event.end
    return not cancelled or (now.astimezone(ZONE).date() - last).days <= 14


def moment(value: date) -> str | int:
    """As the readers give it."""
    return int(value.timestamp()) if isinstance(value, datetime) else value.isoformat()


def changed_only(held: dict[str, dict[str, Any]], served: dict[str, dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """What a thrifty reader holds: it takes an event anew only if stamp, modification and sequence all grew."""
    marks = ("stamp", "modified", "sequence")
    return {
        uid: new if uid not in held or all(new[mark] > held[uid][mark] for mark in marks) else held[uid]
        for uid, new in served.items()
    }


@given(HISTORIES)
@settings(max_examples=60, deadline=None)
def test_every_subscriber_ends_up_with_the_timetable(history: list[tuple[int, list[Event]]]) -> None:
    """One subscriber reads everything anew each time, one only what says it changed; both agree with the timetable."""
    published: dict[str, Published] = {}
    fragments: dict[tuple[str, int, str], bytes] = {}
    truth: dict[str, tuple[Event, bool]] = {}
    thrifty: dict[str, dict[str, Any]] = {}
    now = BEGIN
    for hours, events in history:
        now += timedelta(hours=hours)
        published |= {row.uid: row for row in revise(published, events, now)}
        truth |= {uid: (event, True) for uid, (event, _) in truth.items() if not ended(event, now)}
        truth |= {event.uid: (event, False) for event in events}
        body = render(published.values(), face(), now, fragments=fragments)
        assert lint.findings(body) == []
        served = readers.read_ical(body)
        thrifty = changed_only(thrifty, served)
        assert thrifty == served
        expected = {
            uid: (moment(event.start), moment(event.end), "Cancelled: " * gone + event.summary, gone)
            for uid, (event, gone) in truth.items()
            if kept(event, gone, now)
        }
        assert expected == {
            uid: (read["start"], read["end"], read["summary"], read["status"] == "CANCELLED")
            for uid, read in served.items()
        }


@given(HISTORIES)
@settings(max_examples=30, deadline=None)
def test_nothing_changed_means_the_same_bytes(history: list[tuple[int, list[Event]]]) -> None:
    """Asking again, in another order, with or without kept fragments: not one octet differs."""
    published: dict[str, Published] = {}
    now = BEGIN
    for hours, events in history:
        now += timedelta(hours=hours)
        published |= {row.uid: row for row in revise(published, events, now)}
        body = render(published.values(), face(), now)
        assert revise(published, events, now) == ()
        assert render(list(published.values())[::-1], face(), now, fragments={}) == body


@given(timetables(), st.data())
@settings(max_examples=40, deadline=None)
def test_a_change_of_one_event_changes_its_bytes_alone(events: list[Event], data: st.DataObject) -> None:
    """A subscriber must not be told that untouched work was revised."""
    if not events:
        return
    chosen = data.draw(st.sampled_from(events))
    published = {row.uid: row for row in revise({}, events, BEGIN)}
    changed = [replace(event, description="wear gloves") if event is chosen else event for event in events]
    after = published | {row.uid: row for row in revise(published, changed, BEGIN + timedelta(hours=1))}
    old, new = (render(rows.values(), face(), BEGIN).split(b"BEGIN:VEVENT\r\n") for rows in (published, after))
    different = [(one, two) for one, two in zip(old, new, strict=True) if one != two]
    assert [two.split(b"\r\n")[0] for _, two in different] == [f"UID:{chosen.uid}".encode()]
