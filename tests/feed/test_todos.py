"""The second feed, of to-dos: readers written by others find the same tasks, their due times and what is done."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from intake.feed import is_whole, render, revise
from tests.feed import readers, sample

ZONE = "Europe/Berlin"
DONE_AT = sample.NOW - timedelta(hours=3)


def tasks() -> list[Any]:
    """The sample of hard events, one of them done and one missed."""
    first, second, *others = sample.events(ZONE)
    return [replace(first, free=True, completed=DONE_AT), replace(second, free=True), *others]


@pytest.fixture(scope="module")
def body() -> bytes:
    """A feed of to-dos of them."""
    return render(revise({}, tasks(), sample.NOW), replace(sample.face(ZONE), todos=True), sample.NOW)


def state_of(event: Any) -> str:
    """What a list of to-dos should make of it."""
    if event.completed is not None:
        return "COMPLETED"
    return "CANCELLED" if event.status == "CANCELLED" or event.free else "NEEDS-ACTION"


def test_the_feed_is_whole_and_holds_no_event(body: bytes) -> None:
    """A program that took both feeds must not show each task twice: other names, other components."""
    assert is_whole(body)
    assert b"\r\nBEGIN:VEVENT\r\n" not in body
    assert body.count(b"\r\nBEGIN:VTODO\r\n") == len(tasks())
    assert body.replace(b"\r\n ", b"").count(b"\r\nUID:todo/") == len(tasks()) + body.count(b"\r\nBEGIN:VALARM\r\n")


def test_strict_reader_finds_each_with_its_state_and_due_time(body: bytes) -> None:
    """`ical` refuses a DUE that is not after its DTSTART, and a status a to-do may not have."""
    from ical.calendar_stream import IcsCalendarStream

    todos: list[Any] = list(IcsCalendarStream.calendar_from_ics(body.decode()).todos)
    found = {todo.uid.removeprefix("todo/"): todo for todo in todos}
    expected = sample.oracle(sample.events(ZONE))
    for event in tasks():
        todo = found.pop(event.uid)
        timed = hasattr(todo.due, "hour")
        due = int(todo.due.timestamp()) if timed else todo.due.isoformat()
        assert (due, todo.summary) == (expected[event.uid]["end"], expected[event.uid]["summary"])
        assert todo.status.value == state_of(event)
    assert not found


@pytest.mark.parametrize("host_zone", ["UTC", "America/New_York"])
def test_ical_js_agrees(body: bytes, tmp_path: Path, host_zone: str) -> None:
    """By the feed's own time zones, the repeated hour of autumn among them; relations lead to to-dos of the feed."""
    file = tmp_path / "todos.ics"
    file.write_bytes(body)
    found = {todo["uid"].removeprefix("todo/"): todo for todo in readers.run_icaljs(file, host_zone=host_zone)["todos"]}
    expected = sample.oracle(sample.events(ZONE))
    assert found.keys() == expected.keys()
    for event in tasks():
        todo, right = found[event.uid], expected[event.uid]
        assert (todo["start"], todo["due"], todo["status"]) == (right["start"], right["end"], state_of(event))
        assert todo["completed"] == (int(DONE_AT.timestamp()) if event.completed else None)
        assert sorted(todo["related"]) == sorted(f"todo/{uid}" for _, _, uid in right["related"])


def test_libical_finds_no_error(libical: Path | None, body: bytes, tmp_path: Path) -> None:
    """The standard's own restrictions on a to-do are kept."""
    file = tmp_path / "todos.ics"
    file.write_bytes(body)
    read = json.loads(readers.run_libical(libical, file).stdout)
    assert (read["errors"], read["restriction_check"]) == (0, True)
