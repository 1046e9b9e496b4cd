"""Titles that change a keeper's day: a task that went to somebody else, and a release that something stands in the way of."""

from __future__ import annotations

from datetime import datetime, timedelta

from intake.app.calendars import feed_publication
from intake.app.commands import hold_batch, record_observation
from intake.app.queries.planning.published_timetable import shown_tasks
from intake.app.session import House
from tests.app.deliveries import LANDED, Open, received
from tests.feed import readers


def titles(house: House, who: str) -> dict[str, dict[str, object]]:
    """Task → the event in the calendar of one reader, each task as an event."""
    body = feed_publication.bytes_for(house, f"{who}~all")
    return {uid.rpartition("@")[0]: event for uid, event in readers.read_ical(body).items()}


def away(house: House, person: str, first: datetime, last: datetime) -> None:
    """Give somebody leave in the farm file."""
    file = house.folder / "farm.toml"
    leave = f"leave = [{{first = {first.date()}, last = {last.date()}}}]\n"
    text = file.read_text(encoding="utf-8").replace(f"[person.{person}]\n", f"[person.{person}]\n{leave}", 1)
    assert leave in text
    file.write_text(text, encoding="utf-8")


def test_a_reassigned_task_says_to_whom_in_the_first_calendar(house_at: Open) -> None:
    """Ben is away next week: his tasks there go to Ada; his calendar names her and does not ring, hers has the task."""
    house = received(house_at)
    house = house_at(LANDED + timedelta(hours=2))
    rows = [
        row for row in shown_tasks(house).values() if row["staff"] == ["ben"] and row.get("state", "open") == "open"
    ]
    ahead = [row for row in rows if datetime.fromisoformat(row["start"]) > house.now + timedelta(days=1)]
    assert ahead
    start = datetime.fromisoformat(ahead[0]["start"])
    away(house, "ben", start - timedelta(days=1), start + timedelta(days=1))
    house = house_at(LANDED + timedelta(hours=3))
    feed_publication.publish(house)
    now = shown_tasks(house)
    given = [uid for uid, row in now.items() if row.get("former") == ["ben"] and row["staff"] == ["ada"]]
    assert ahead[0]["uid"] in given
    first, second = titles(house, "ben"), titles(house, "ada")
    for uid in given:
        assert str(first[uid]["summary"]) == f"→ ada: {second[uid]['summary']}"
        assert first[uid]["alarms"] == []
        assert "→" not in str(second[uid]["summary"])


def all_done(at: Open, batch: str, uid: str) -> datetime:
    """Record every task of a lot at its end, as it comes, until only this one is left; gives its start."""
    moment = LANDED + timedelta(hours=2)
    while True:
        rows = [
            row
            for row in shown_tasks(at(moment)).values()
            if row["batch"] == batch and row.get("state", "open") == "open"
        ]
        row = min(rows, key=lambda row: (row["end"], row["uid"]))
        if row["uid"] == uid:
            return datetime.fromisoformat(row["start"])
        moment = max(moment, datetime.fromisoformat(row["end"]))
        record_observation.done(at(moment), row["uid"])


def test_a_blocked_release_check_says_what_stands_in_the_way(house_at: Open) -> None:
    """On its day, with a hold on the lot: the title says blocked and the text says by what; lifted, it is free again."""
    received(house_at)
    uid = "S1-03/release-check"
    day = all_done(house_at, "S1-03", uid)
    assert not str(titles(house_at(day - timedelta(days=1)), "farm")[uid]["summary"]).startswith("Blocked")
    hold_batch.hold(house_at(day - timedelta(minutes=30)), "S1-03", "snail eggs seen, samples sent")
    event = titles(house_at(day - timedelta(minutes=29)), "farm")[uid]
    assert str(event["summary"]) == "Blocked: Q2 Release S1-03 ×40"
    lines = str(event["description"]).split("\n")
    assert any(line.startswith("In the way: ") and "snail eggs seen" in line for line in lines)
    hold_batch.hold(house_at(day - timedelta(minutes=20)), "S1-03", "nothing found", lift=True)
    event = titles(house_at(day - timedelta(minutes=19)), "farm")[uid]
    assert "snail eggs seen" not in str(event["description"])
