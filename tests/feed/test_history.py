"""Whatever the timetable goes through, a subscriber's calendar ends up equal to it: no doubles, no ghosts."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.feed import Event, Published, etag, not_modified, render, revise
from intake.feed.write import FragmentKey
from tests.feed import lint, readers
from tests.feed.sample import face

BEGIN = datetime(2026, 10, 20, 6, 0, tzinfo=UTC)
SPRING_DAYS = 154
"""Days from the beginning to the same week of the spring change."""
ZONE = ZoneInfo("Europe/Berlin")
PEOPLE = ("ada", "ben")


@st.composite
def timetables(draw: st.DrawFn) -> list[Event]:
    """Up to five tasks around both changes of the clocks, some of days, called off, or waiting for another."""
    made = []
    for number in sorted(draw(st.sets(st.integers(0, 4)))):
        half_hours, length = draw(st.integers(0, 480)), draw(st.integers(1, 4))
        day = timedelta(SPRING_DAYS if draw(st.integers(0, 3)) == 0 else 0)
        start: date = (BEGIN + day + timedelta(minutes=30 * half_hours)).astimezone(ZONE)
        end: date = (BEGIN + day + timedelta(minutes=30 * (half_hours + length))).astimezone(ZONE)
        if draw(st.booleans()):
            first = date(2026, 10, 20) + day + timedelta(half_hours // 48)
            start, end = first, first + timedelta(length)
        follows = tuple((f"task-{first}@farm", 30) for first in draw(st.sets(st.integers(0, number))) if first < number)
        title = draw(st.sampled_from(["Dip", "Dip, again", "Count", "\u00dcberpr\u00fcfen"]))
        made.append(
            Event(
                f"task-{number}@farm", start, end, title,
                categories=("farm", *sorted(draw(st.sets(st.sampled_from(PEOPLE), min_size=1)))),
                status="CANCELLED" if draw(st.integers(0, 5)) == 0 else "CONFIRMED",
                alarms_minutes=tuple(draw(st.sets(st.sampled_from([5, 60])))), follows=follows,
            )
        )  # fmt: skip
    return made


Step = tuple[int, list[Event]]
"""Hours until the next timetable, and what it says."""

HISTORIES = st.lists(st.tuples(st.integers(0, 150) | st.just(24 * SPRING_DAYS), timetables()), min_size=1, max_size=7)


def ended(event: Event, now: datetime) -> bool:
    """Whether the event lies behind us."""
    return event.end <= now if isinstance(event.end, datetime) else event.end <= now.date()


def kept(event: Event, cancelled: bool, now: datetime) -> bool:
    """Whether a feed still shows it: cancelled ones for 14 days, others for half a year."""
    last = event.end.astimezone(ZONE).date() if isinstance(event.end, datetime) else event.end
    return (now.astimezone(ZONE).date() - last).days <= (14 if cancelled else 180)


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


class Subscriber:
    """A program that asks now and then, with the tag it holds, and takes an event anew only where all marks grew."""

    def __init__(self, who: str) -> None:
        self.who, self.tag = who, ""
        self.holds: dict[str, dict[str, Any]] = {}

    def fetch(self, body: bytes) -> None:
        """Ask once: nothing new, or the events of the answer; what is no longer in it goes."""
        if not not_modified(etag(body), self.tag or None):
            self.holds, self.tag = changed_only(self.holds, readers.read_ical(body)), etag(body)


def shown(rows: Iterable[Published], who: str) -> list[Published]:
    """The revisions that stand in one person's calendar."""
    return [row for row in rows if who in row.fields["categories"]]


def expected_for(who: str, truth: dict[str, tuple[Event, bool]], now: datetime) -> dict[str, tuple[Any, ...]]:
    """What a calendar must hold, from the timetable alone: start, end, title, whether it is called off."""
    return {
        uid: (moment(event.start), moment(event.end), "Canceled: " * gone + event.summary, gone)
        for uid, (event, gone) in truth.items()
        if who in event.categories and kept(event, gone, now)
    }


def seen(holds: dict[str, dict[str, Any]]) -> dict[str, tuple[Any, ...]]:
    """The same of what a subscriber holds."""
    return {
        uid: (read["start"], read["end"], read["summary"], read["status"] == "CANCELLED") for uid, read in holds.items()
    }


def next_truth(
    truth: dict[str, tuple[Event, bool]], events: list[Event], now: datetime
) -> dict[str, tuple[Event, bool]]:
    """Every task ever published and whether it is called off: by name, or by being left out before it had ended."""
    left_out = {uid: (event, gone or not ended(event, now)) for uid, (event, gone) in truth.items()}
    return left_out | {event.uid: (event, event.status == "CANCELLED") for event in events}


@given(HISTORIES, st.data())
@settings(max_examples=60, deadline=None)
def test_every_subscriber_ends_up_with_the_timetable(
    libical: Path | None, tmp_path_factory: pytest.TempPathFactory, history: list[Step], data: st.DataObject
) -> None:
    """Whatever is moved, called off, dropped or given to another, and whichever fetches are missed: no double, no ghost.

    A reader in C finds the same at the end.
    """
    published: dict[str, Published] = {}
    fragments: dict[FragmentKey, bytes] = {}
    truth: dict[str, tuple[Event, bool]] = {}
    subscribers = [Subscriber(who) for who in ("farm", *PEOPLE)]
    now = BEGIN
    for number, (hours, events) in enumerate(history, 1):
        now += timedelta(hours=hours)
        published |= {row.uid: row for row in revise(published, events, now)}
        truth = next_truth(truth, events, now)
        for one in subscribers:
            if number < len(history) and not data.draw(st.booleans()):
                continue
            body = render(shown(published.values(), one.who), face(), now, fragments=fragments)
            assert lint.findings(body) == []
            one.fetch(body)
            assert one.holds == readers.read_ical(body)
            assert seen(one.holds) == expected_for(one.who, truth, now)
    if libical is not None:
        file = tmp_path_factory.mktemp("history") / "feed.ics"
        file.write_bytes(render(published.values(), face(), now))
        read = json.loads(readers.run_libical(libical, file).stdout)
        assert len(read["events"]) == len({event["uid"] for event in read["events"]})
        assert seen({event["uid"]: event for event in read["events"]}) == expected_for("farm", truth, now)


@given(HISTORIES)
@settings(max_examples=30, deadline=None)
def test_nothing_changed_means_the_same_bytes(history: list[Step]) -> None:
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
