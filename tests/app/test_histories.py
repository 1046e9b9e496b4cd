"""What a subscriber reads after an act is the truth of the ledger: events and tasks compared in random histories."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from random import Random

import pytest

from intake.app.calendars import feed_publication
from intake.app.commands import count_animals, hold_batch, move_animals, record_observation
from intake.app.commands.count_animals import Count
from intake.app.queries.planning import published_timetable
from intake.app.queries.planning.published_timetable import shown_tasks, state_at, told_of_timetable
from intake.app.session import House
from intake.errors import IntakeError
from tests.app.deliveries import LANDED, Open, received

SHARDS = 10
HISTORIES = 50
"""Histories of each shard, 500 in all; each goes on from where a fresh copy of the landed farm stands."""

STEPS = 3


def differences(house: House) -> list[str]:
    """Where events and tasks say different things, read without the code that makes one from the other."""
    rows = shown_tasks(house)
    published = {uid.rpartition("@")[0]: row.fields for uid, row in feed_publication.revisions(house).items()}
    found = [f"{uid} has no event" for uid in rows if uid not in published]
    for uid, row in rows.items():
        fields = published.get(uid)
        if fields is None:
            continue
        state = row.get("state", "open")
        said = {
            "start": datetime.fromisoformat(fields["start"]) == datetime.fromisoformat(row["start"]),
            "end": datetime.fromisoformat(fields["end"]) == datetime.fromisoformat(row["end"]),
            "cancelled": (fields["status"] == "CANCELLED") == (state == "dropped"),
            "done": fields["summary"].startswith("✓ ") == (state == "done"),
            "missed": fields["summary"].startswith("Missed: ") == (state == "missed"),
            "silent": not (state != "open" and fields["alarms_minutes"]),
            "people": set(row["staff"]) <= set(fields["categories"]),
            "vat": not row["vat"] or row["vat"] in fields["summary"],
        }
        found += [f"{uid}: {what} ({state})" for what, right in said.items() if not right]
    gone = [
        uid
        for uid, fields in published.items()
        if not uid.startswith(("day/", "lands-", "claim-")) and uid not in rows and fields["status"] != "CANCELLED"
    ]
    return found + [f"{uid} is in the calendar and nobody's task" for uid in gone]


def lists_differ(house: House) -> list[str]:
    """Days whose list names other tasks than that person has."""
    zone = house.site.farm.zone
    wanted: dict[str, int] = {}
    for row in shown_tasks(house).values():
        if row.get("state", "open") in {"open", "done"}:
            day = datetime.fromisoformat(row["start"]).astimezone(zone).date()
            for name in row["staff"]:
                uid = f"day/{name}/{day.isoformat()}"
                wanted[uid] = wanted.get(uid, 0) + 1
    published = {uid.rpartition("@")[0]: row.fields for uid, row in feed_publication.revisions(house).items()}
    return [
        f"{uid}: {number} tasks"
        for uid, number in wanted.items()
        if uid not in published or len(published[uid]["description"].split("\n")) != number
    ]


def act(house: House, dice: Random) -> str:
    """One thing a crew records, at random; what the rules refuse leaves everything as it was."""
    rows = [row for row in shown_tasks(house).values() if row.get("state", "open") == "open"]
    stays = [stay for stay in house.floor().stays if stay.batch.startswith("S1")]
    what = dice.choice(["done", "done", "done early", "dead", "clean", "pest", "hold", "lift", "move", "warm", "wait"])
    try:
        if what == "done" and rows:
            past = [row for row in rows if datetime.fromisoformat(row["start"]) <= house.now]
            if past:
                record_observation.done(house, dice.choice(past)["uid"])
        elif what == "done early" and rows:
            soon = sorted(rows, key=lambda row: (row["start"], row["uid"]))[:6]
            record_observation.done(house, str(dice.choice(soon)["short"] or soon[0]["uid"]))
        elif stays:
            _to_animals(house, dice, what)
    except IntakeError:
        what = f"{what} (refused)"
    return what


def _to_animals(house: House, dice: Random, what: str) -> None:
    stay = dice.choice([stay for stay in house.floor().stays if stay.batch.startswith("S1")])
    if what == "dead":
        count_animals.count(house, stay.batch, stay.vat, Count(dead=dice.randint(1, 4)))
    elif what == "clean":
        record_observation.finding(house, stay.batch, "clean", vat=stay.vat)
    elif what == "pest":
        record_observation.finding(house, stay.batch, "cryptocaryon", vat=stay.vat)
    elif what == "hold":
        hold_batch.hold(house, stay.batch, "samples sent")
    elif what == "lift":
        hold_batch.hold(house, stay.batch, "nothing found", lift=True)
    elif what == "move":
        move_animals.move(house, stay.batch, stay.vat, dice.choice(["Q1", "Q2", "Q3"]), stay.count)
    elif what == "warm":
        record_observation.reading(house, "quarantine", "temperature_c", dice.choice([24.0, 26.4, 28.5]))


@pytest.mark.parametrize("shard", range(SHARDS))
def test_events_are_tasks_at_every_step(farm_folder: Path, house_at: Open, shard: int) -> None:
    """After each act, at the same moment: nothing is left to publish, and events say what the tasks say."""
    received(house_at)
    moment = LANDED + timedelta(hours=1)
    for history in range(HISTORIES):
        dice = Random(1000 * shard + history)  # a test, not a lock
        told = []
        for _ in range(STEPS):
            moment += timedelta(minutes=dice.choice([1, 20, 90, 400]))
            house = house_at(moment)
            told.append(act(house, dice))
            assert told_of_timetable(house).get("trouble", "") == "", (shard, history, told)
            assert differences(house) == [], (shard, history, told)
            assert lists_differ(house) == [], (shard, history, told)
    house = house_at(moment)
    feed_publication.publish(house)
    assert differences(house) == []
    assert feed_publication.publish(house) == 0
    assert {state_at(row, house.now) for row in shown_tasks(house).values()} <= {
        "due",
        "running",
        "late",
        "done",
        "missed",
        "dropped",
    }


@pytest.mark.parametrize("seed", range(3))
def test_kept_bytes_are_those_of_a_full_build(
    farm_folder: Path, house_at: Open, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After each act, a calendar joined from what was kept equals the one that a program just started writes from the books."""
    received(house_at)
    moment, dice = LANDED + timedelta(hours=1), Random(77 + seed)
    running = house_at(moment)
    for _ in range(10):
        moment += timedelta(minutes=dice.choice([1, 20, 90, 400]))
        what = act(running.at(moment), dice)
        kept = {who: feed_publication.bytes_for(running.at(moment), who) for who in ("farm", *running.site.people)}
        with monkeypatch.context() as started:
            for room, name in (
                (feed_publication, "_FRAGMENTS"),
                (feed_publication, "_ROWS"),
                (published_timetable, "_READ"),
            ):
                started.setattr(room, name, {})
            fresh = house_at(moment)
            assert kept == {who: feed_publication.bytes_for(fresh, who) for who in kept}, (seed, what)
