"""Calendars of people who left and of systems that are gone: one notice, then nothing; small answers for slow networks."""

from __future__ import annotations

import gzip
import shutil
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.testclient import TestClient

from intake.app.board_links import remember_board
from intake.app.calendars import feed_addresses, feed_publication
from intake.app.commands import record_observation
from intake.app.queries.planning.published_timetable import stored_tasks
from intake.app.session import open_house
from tests.board.conftest import Clock
from tests.board.test_feed_door import address
from tests.feed import lint, readers


@pytest.fixture
def reader(app: Starlette) -> TestClient:
    """A calendar program that takes nothing packed unless it says so."""
    return TestClient(app, headers={"accept-encoding": "identity"})


def leave(folder: Path, person: str, day: str) -> None:
    """Give somebody a last working day in the farm file."""
    file = folder / "farm.toml"
    text = file.read_text(encoding="utf-8").replace(f"[person.{person}]\n", f'[person.{person}]\nuntil = "{day}"\n', 1)
    assert "until" in text
    file.write_text(text, encoding="utf-8")


def test_the_calendar_of_somebody_who_left_says_so_and_is_then_gone(
    app: Starlette, reader: TestClient, folder: Path, clock: Clock
) -> None:
    """No keeper's old calendar goes on showing work that others have: one notice for two weeks, then 410."""
    where, other = address(app, "ben"), address(app, "ada")
    assert reader.get(where).content.count(b"BEGIN:VEVENT") > 1
    leave(folder, "ben", clock().date().isoformat())
    clock.turn(days=1)
    told = reader.get(where)
    assert told.status_code == 200
    assert lint.findings(told.content) == []
    (event,) = readers.read_ical(told.content).values()
    assert event["summary"] == "This calendar is closed: ben"
    again = reader.get(where, headers={"if-none-match": told.headers["etag"]})
    assert again.status_code == 304
    clock.turn(days=feed_addresses.NOTICE_DAYS + 1)
    assert reader.get(where).status_code == 410
    assert reader.get(other).status_code == 200


def test_a_reader_that_asks_gets_it_packed(app: Starlette, reader: TestClient) -> None:
    """The same calendar, a fraction of the bytes, under a tag of its own; nobody who does not ask gets it."""
    where = address(app)
    plain = reader.get(where, headers={"accept-encoding": "identity"})
    with reader.stream("GET", where, headers={"accept-encoding": "gzip"}) as answer:
        raw = b"".join(answer.iter_raw())
        assert answer.headers["content-encoding"] == "gzip"
        assert answer.headers["vary"] == "Accept-Encoding"
        tag = answer.headers["etag"]
    assert gzip.decompress(raw) == plain.content
    assert len(raw) < len(plain.content) / 4
    assert tag != plain.headers["etag"]
    held = reader.get(where, headers={"accept-encoding": "gzip", "if-none-match": tag})
    assert (held.status_code, held.content) == (304, b"")
    assert "content-encoding" not in reader.get(where, headers={"accept-encoding": "gzip;q=0"}).headers


def test_events_lead_to_the_board_once_it_was_served(app: Starlette, reader: TestClient) -> None:
    """No setting is needed: the address at which the board runs is kept, and every event links to it."""
    where = address(app)
    with app.state.farm.writing() as house:
        assert remember_board(house, "https://farm.test:8642")
        assert not remember_board(house, "https://farm.test:8642")
        feed_publication.publish(house)
    body = reader.get(where).content.replace(b"\r\n ", b"").decode()
    assert body.count("URL:https://farm.test:8642/") == body.count("BEGIN:VEVENT")


def test_after_a_restore_no_revision_goes_back(
    app: Starlette, reader: TestClient, clock: Clock, folder: Path, tmp_path: Path
) -> None:
    """Books of yesterday are put back: what subscribers saw since is not overtaken from behind."""
    where = address(app)
    reader.get(where)
    with app.state.farm.writing() as house:
        house.books.backup(tmp_path / "yesterday.db")
    clock.turn(minutes=20)
    with app.state.farm.writing() as house:
        uid = next(str(row["uid"]) for row in stored_tasks(house) if row["state"] == "open")
        record_observation.done(house, uid)
    seen = readers.read_ical(reader.get(where).content)
    app.state.farm.close()
    for left in folder.glob("farm.db*"):
        left.unlink()
    shutil.copy(tmp_path / "yesterday.db", folder / "farm.db")
    clock.turn(minutes=20)
    again = open_house(folder, who="ada", now=clock())
    try:
        feed_publication.publish(again)
        now = readers.read_ical(feed_publication.bytes_for(again))
    finally:
        again.books.close()
    (name,) = (one for one in seen if one.startswith(f"{uid}@"))
    assert seen[name]["summary"].startswith("✓")
    assert not now[name]["summary"].startswith("✓"), "the restored books do not know it"
    assert all(now[one]["sequence"] >= seen[one]["sequence"] for one in seen if one in now)
    assert now[name]["sequence"] > seen[name]["sequence"]


def test_the_calendar_of_a_system_that_was_renamed_says_so_and_is_then_gone(
    app: Starlette, reader: TestClient, folder: Path, clock: Clock
) -> None:
    """Its tasks stand under the new name: the old address shows one notice for two weeks, then 410; others go on."""
    where, other = address(app, "growout"), address(app, "quarantine")
    assert reader.get(where).status_code == 200
    file = folder / "farm.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("[system.growout]", "[system.hall]").replace('"growout"', '"hall"'), encoding="utf-8")
    clock.turn(days=1)
    told = reader.get(where)
    assert told.status_code == 200
    assert lint.findings(told.content) == []
    assert [event["summary"] for event in readers.read_ical(told.content).values()] == [
        "This calendar is closed: growout"
    ]
    clock.turn(days=feed_addresses.NOTICE_DAYS + 1)
    assert reader.get(where).status_code == 410
    assert reader.get(other).status_code == 200
    assert reader.get(address(app, "hall")).status_code == 200
