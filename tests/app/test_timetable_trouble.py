"""A timetable that cannot follow a record: the record is saved, its work is listed without a place, and everybody is told."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest

from intake.app.calendars import feed_addresses
from intake.app.commands import receive_shipment, schedule_work
from intake.app.queries.planning.published_timetable import stored_tasks
from intake.app.queries.planning.timetable_warnings import timetable_warnings, unplaced_now
from tests.app.deliveries import LANDED, Open, announced, received
from tests.cli.conftest import Run, run

__all__ = ["run"]

FAULT = "no such slot"


def broken(*_: Any, **__: Any) -> None:
    """A repair with a fault of the program in it."""
    raise ValueError(FAULT)


@pytest.fixture
def after(house_at: Open, monkeypatch: pytest.MonkeyPatch) -> Open:
    """The farm whose shipment was received while the repair of the timetable failed."""
    with monkeypatch.context() as patch:
        patch.setattr(schedule_work, "repair", broken)
        announced(house_at())
        receive_shipment.receive(house_at(LANDED + timedelta(hours=1)), "S1")
    return house_at


def test_the_record_is_kept_and_its_work_is_without_a_place(after: Open) -> None:
    """The animals are in their vats; every piece of work they need is named as standing nowhere, and why."""
    house = after(LANDED + timedelta(hours=2))
    assert sum(stay.count for stay in house.floor().stays) == 120
    placed = {row["uid"] for row in stored_tasks(house)}
    left = {row["uid"]: row for row in unplaced_now(house)}
    assert "S1-01/release-check" in left
    assert not placed & left.keys()
    assert all(FAULT in row["why"] for row in left.values())


def test_every_command_says_so_until_it_is_made_good(after: Open, run: Run) -> None:
    """Aloud on the error stream of a reading command, in ``check`` line by line; the next record places the work."""
    told = run("report", "vats")
    assert told.exit_code == 0
    assert f"could not be updated: {FAULT}" in " ".join(told.stderr.split())
    checked = json.loads(run("check", "--json").stdout)
    assert any(FAULT in words for words in checked["timetable"])
    assert any("No place in the timetable: release check S1-01" in words for words in checked["timetable"])
    counted = run("count", "S1-01", "--vat", "Q1", "--dead", "1")
    assert counted.exit_code == 0, counted.output
    assert "timetable" not in counted.stderr
    house = after(LANDED + timedelta(hours=4))
    assert timetable_warnings(house) == []
    assert {row["batch"] for row in stored_tasks(house) if row["kind"] == "release check"} == {
        "S1-01",
        "S1-02",
        "S1-03",
    }


def test_a_record_that_leaves_work_without_a_place_says_which(house_at: Open, run: Run) -> None:
    """No fault: nobody may do it any more. The next record names it; later commands do not repeat it, ``check`` does."""
    house = received(house_at)
    file = house.folder / "farm.toml"
    file.write_text(file.read_text(encoding="utf-8").replace('"inspect", ', ""), encoding="utf-8")
    told = run("count", "S1-01", "--vat", "Q1", "--dead", "1")
    assert told.exit_code == 0, told.output
    assert "No place in the timetable: inspection S1-0" in " ".join(told.stderr.split())
    assert "No place" not in run("report", "vats").stderr
    assert any("inspection S1-0" in words for words in json.loads(run("check", "--json").stdout)["timetable"])


def test_check_says_that_events_cannot_lead_to_the_board(house_at: Open, run: Run) -> None:
    """Only where somebody subscribes, and until an address of the board is known."""
    house = received(house_at)
    assert json.loads(run("check", "--json").stdout)["timetable"] == []
    feed_addresses.create(house, "ada")
    (words,) = json.loads(run("check", "--json").stdout)["timetable"]
    assert words.startswith("Calendar events have no links")
    file = house.folder / "farm.toml"
    text = file.read_text(encoding="utf-8").replace(
        "[farm]\n", '[farm]\ncount_page = "http://farm.invalid:8642/c"\n', 1
    )
    file.write_text(text, encoding="utf-8")
    assert json.loads(run("check", "--json").stdout)["timetable"] == []
