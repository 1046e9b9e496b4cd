"""A farm with more work than hands: an act that changes nothing about it moves nothing and reports the same left over."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from intake.app.commands import count_animals, schedule_work
from intake.app.commands.count_animals import Count
from intake.app.queries.planning.published_timetable import all_tasks
from intake.app.queries.planning.timetable_warnings import unplaced_now
from intake.app.session import House, open_house
from intake.timetable import repair, schedule
from intake.timetable.settled import given_back, settled, try_record
from tests.board.conftest import write_farm
from tests.conftest import NOON
from tests.timetable.farms import MONDAY, PEOPLE, need, site_of

HEADS = 20_000
"""Animals in one vat: far more brushing than the farm's people have hours."""


class Repairs:
    """Opens the farm at a moment, and counts how often the timetable is laid out anew."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder, self.number, self.asked = folder, 0, frozenset[str]()
        real = repair

        def counted(*args: Any, **kwargs: Any) -> Any:
            self.number += 1
            self.asked = kwargs["conditions"].settled
            return real(*args, **kwargs)

        monkeypatch.setattr(schedule_work, "repair", counted)

    def at(self, hours: float) -> House:
        """The farm so many hours after noon of its day."""
        return open_house(self.folder, who="ada", now=NOON + timedelta(hours=hours))


@pytest.fixture(scope="module")
def crowded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The farm with too many animals in Q1, its timetable repaired once after they came."""
    folder = write_farm(tmp_path_factory.mktemp("crowded") / "farm")
    house = open_house(folder, who="ada", now=NOON + timedelta(hours=4))
    with house.act() as act:
        for batch in ("S1-01", "S1-02"):
            act.move(batch, "supplier", "vat:Q1", HEADS)
    house.books.close()
    return folder


@pytest.fixture
def repairs(crowded: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Repairs:
    """A copy of it for one test."""
    return Repairs(Path(shutil.copytree(crowded, tmp_path / "farm")), monkeypatch)


def count_one(house: House) -> None:
    """Record one dead of the crowded lot."""
    count_animals.count(house, "S1-01", "Q1", Count(dead=1))
    house.books.close()


def state(house: House) -> tuple[dict[str, Any], list[str]]:
    """Every task and the uids without a place."""
    found = {uid: (row["start"], row["staff"]) for uid, row in all_tasks(house).items()}
    left = sorted(str(row["uid"]) for row in unplaced_now(house))
    house.books.close()
    return found, left


def test_a_count_moves_nothing_where_no_more_can_be_placed(repairs: Repairs) -> None:
    """Work stays without a place and is reported as before; times people have stay theirs, count after count."""
    before = state(repairs.at(4.1))
    assert before[1], "the farm of this test must have more work than hands"
    for step in range(3):
        count_one(repairs.at(4.2 + step / 10))
    assert state(repairs.at(4.6)) == before
    assert repairs.number == 0


def test_other_hands_or_another_day_try_it_again(repairs: Repairs) -> None:
    """People who work longer, and the next day with its hours: what had no place is tried in full, once each."""
    file = repairs.folder / "farm.toml"
    text = file.read_text(encoding="utf-8")
    longer = text.replace("[person.cleo]", '[person.cleo]\nends = "19:00"')
    assert longer != text
    file.write_text(longer, encoding="utf-8")
    count_one(repairs.at(4.3))
    assert (repairs.number, repairs.asked) == (1, frozenset())
    count_one(repairs.at(4.4))
    assert repairs.number == 1
    count_one(repairs.at(28))
    assert (repairs.number, repairs.asked) == (2, frozenset())


def test_new_work_is_placed_beside_what_is_known_to_have_no_place(repairs: Repairs) -> None:
    """Another lot comes into another vat: its work is placed, and nothing is moved for the work that had no place."""
    before, left = state(repairs.at(4.1))
    house = repairs.at(4.2)
    with house.act() as act:
        act.move("S1-02", "supplier", "vat:Q2", 40)
    house.books.close()
    assert repairs.number == 1
    assert repairs.asked
    after, _ = state(repairs.at(4.3))
    moved = {uid for uid in before.keys() & after.keys() if before[uid] != after[uid]}
    assert {uid for uid in moved if uid.startswith("S1-01/") and uid in left} == set()


def test_trouble_is_the_same_until_what_is_asked_or_its_room_changes() -> None:
    """Work closed before it had begun frees its hours; minutes, limits by hours, other hands and another day count too."""
    asked, nobody = need("late"), dict[str, Any]()
    site = site_of()
    tasks = schedule([asked, need("early", day=3), need("begun", hour=10)], site, now=MONDAY, seconds=0).by_uid()
    back = given_back(tasks, {"early", "begun"}, MONDAY.replace(hour=12))
    assert back == {"early"}
    kept = try_record(site, MONDAY.date(), taken=nobody, back=(), trouble=["late"], wanted=[asked])
    for other in (
        try_record(site, MONDAY.date(), taken=nobody, back=back),
        try_record(site_of(PEOPLE + "[person.eve]\n"), MONDAY.date(), taken=nobody, back=()),
        try_record(site, MONDAY.date(), taken={"ann": [(MONDAY, MONDAY + timedelta(hours=1))]}, back=()),
        try_record(site, MONDAY.date() + timedelta(days=1), taken=nobody, back=()),
    ):
        assert settled(kept, ["late"], [asked], other) == frozenset()
    same = try_record(site, MONDAY.date(), taken=nobody, back=())
    assert settled(kept, ["late", "new"], [asked, need("new")], same) == {"late"}
    assert settled(kept, ["late"], [replace(asked, latest=asked.latest + timedelta(minutes=1))], same) == {"late"}
    for news in (replace(asked, minutes=75), replace(asked, latest=asked.latest + timedelta(hours=2))):
        assert settled(kept, ["late"], [news], same) == frozenset()
    assert settled(
        replace(kept, given_back=sorted(back)),
        ["late"],
        [asked],
        try_record(site, MONDAY.date(), taken=nobody, back=back),
    )
