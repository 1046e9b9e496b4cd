"""Calendars of books in which every revision was kept whole go on unchanged, and further revisions cost their changes."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest

from intake.app.calendars import feed_publication
from intake.app.commands import schedule_work
from intake.app.queries.planning import published_timetable
from intake.app.session import House
from intake.ledger.entries import canonical
from intake.ledger.kept_revisions import base_of
from tests.app.deliveries import LANDED, Open, received
from tests.feed import readers


def older(house: House) -> None:
    """The books as the program before left them, and closed."""
    house.books.close()
    raw = sqlite3.connect(house.folder / "farm.db")
    raw.execute("DELETE FROM schema_version WHERE version > 3")
    raw.commit()
    raw.close()


def written(house: House) -> list[int]:
    """Characters of each later revision of an event, and of the same kept whole."""
    now = published_timetable.published_events(house, "")
    return [
        len(canonical(record.payload))
        for record in house.view.of_kind("published")
        if base_of(record) and record.subject in now
    ]


def test_nothing_moves_for_a_subscriber_when_the_program_is_renewed(
    house_at: Open, farm_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """UID, SEQUENCE and LAST-MODIFIED of every event stay; what then changes is one higher, kept as changes."""
    moment = LANDED + timedelta(hours=2)
    with monkeypatch.context() as before:
        before.setattr(published_timetable, "kept", lambda payload, _: dict(payload))
        received(house_at)
        house = house_at(moment)
        schedule_work.reschedule(house, seconds=0.5)
        feed_publication.publish(house)
        was, body = feed_publication.revisions(house), feed_publication.bytes_for(house)
        assert not written(house)
    older(house)
    house = house_at(moment)
    assert list(farm_folder.rglob("*.version-3"))
    assert feed_publication.publish(house) == 0
    assert feed_publication.bytes_for(house) == body
    assert feed_publication.revisions(house) == was
    file = farm_folder / "farm.toml"
    text = file.read_text(encoding="utf-8").replace("[farm]\n", '[farm]\ncount_page = "http://farm.invalid/c"\n', 1)
    file.write_text(text, encoding="utf-8")
    house = house_at(moment)
    assert feed_publication.publish(house) > 0
    now = feed_publication.revisions(house)
    assert set(now) == set(was)
    for uid, row in now.items():
        changed = row.fields != was[uid].fields
        assert row.sequence == was[uid].sequence + changed
        assert (row.stamp > was[uid].stamp) is changed
    seen = readers.read_ical(feed_publication.bytes_for(house))
    assert {uid: event["sequence"] for uid, event in seen.items()} == {uid: now[uid].sequence for uid in seen}
    short = written(house)
    assert short
    whole = [len(canonical(dict(row.fields))) for row in now.values() if row.sequence]
    assert sum(short) / len(short) < sum(whole) / len(whole)
    assert house.books.prove(moment).faults == ()


def test_letting_go_of_what_was_read_loses_no_revision(
    house_at: Open, farm_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A server that has read more events than it keeps reads them again."""
    moment = LANDED + timedelta(hours=2)
    received(house_at)
    feed_publication.publish(house_at(moment))
    file = farm_folder / "farm.toml"
    text = file.read_text(encoding="utf-8").replace("[farm]\n", '[farm]\ncount_page = "http://farm.invalid/c"\n', 1)
    file.write_text(text, encoding="utf-8")
    house = house_at(moment)
    assert feed_publication.publish(house) > 0
    house = house_at(moment)
    assert written(house)
    told = published_timetable.published_events(house, "")
    monkeypatch.setattr(published_timetable, "_MOST_READ", len(told) // 2)
    for _ in range(2):
        assert published_timetable.published_events(house, "") == told
