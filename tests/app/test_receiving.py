"""The receiving day at the desk: what is recorded stays, what slips is said, and paper carries the same plan."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app.commands import count_animals, receive_shipment
from intake.app.documents import landing_papers
from intake.app.documents.run_sheet import runsheet_pdf
from intake.app.landing.day_rerun import going_on
from intake.app.landing.kept_day import DayRun, keep_day, kept_day
from intake.app.landing.receiving_day import Slip, day_of, prepared, prepared_by_system
from intake.app.queries.planning import published_timetable
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.errors import BadInput, UnknownName
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.conftest import NOON
from tests.forms.reading import pages, text_of

Open = Callable[..., House]
LANDS = NOON - timedelta(hours=3)
QUICK = 0.05


def announced(house: House, lines: int = 3, boxes: int = 3) -> list[Batch]:
    """A shipment of a few lines in boxes of their own, landed at nine, planned into Q1."""
    made, rows, number = [], [], 0
    with house.act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": LANDS.isoformat()}, at=LANDS - timedelta(days=9))
        for line in range(1, lines + 1):
            mine = tuple(str(number + n) for n in range(1, boxes + 1))
            number += boxes
            packed = LANDS - timedelta(hours=18 + line)
            batch = Batch(
                f"S1-{line:02d}", f"Invented {line}", "clam_small", 40.0, 60, "S1", line, "one", mine, packed_at=packed
            )
            act.note("batch", batch.id, batch_payload(batch), at=LANDS - timedelta(days=9))
            vat = {"vat": "Q1", "stage": "quarantine", "from": "2027-03-04", "until": "2027-04-15"}
            rows.append({"batch": batch.id, "count": 60, **vat})
            made.append(batch)
        act.note("plan", "P1", {"state": "accepted", "plan": {"placements": rows}}, at=LANDS - timedelta(days=8))
    return made


def read_box(house: House, box: str, minutes: int) -> None:
    """Note a temperature on a box so many minutes after landing."""
    with house.act() as act:
        told = {"quantity": "temperature_c", "value": 24.0, "scale": ""}
        act.note("reading", box, told, at=LANDS + timedelta(minutes=minutes))


def opens_at(run: DayRun) -> dict[str, int]:
    """Box → minutes after landing at which it opens."""
    return {row.box: round((row.opens - LANDS) / timedelta(minutes=1)) for row in run.plan.order()}


def test_a_recorded_box_stays_at_its_minute_and_the_rest_moves(house_at: Open) -> None:
    """The reading says when the box was opened, whatever the plan had for it."""
    house = house_at()
    batches = announced(house)
    first = day_of(house, batches, seconds=QUICK).order()[0].box
    read_box(house, first, 7)
    run = going_on(house, batches, Slip(), LANDS + timedelta(minutes=20), seconds=QUICK)
    assert run.opened == (first,)
    assert opens_at(run)[first] == 7
    assert any(first in line for line in run.plan.moved)


def test_boxes_nobody_wrote_down_are_taken_as_opened_and_named(house_at: Open) -> None:
    """Silence is taken for keeping to the plan, and the sheet says for which boxes; --closed takes it back."""
    house = house_at()
    batches = announced(house)
    plan = day_of(house, batches, seconds=QUICK)
    due = [row.box for row in plan.order() if row.opens < LANDS + timedelta(minutes=20)]
    run = going_on(house, batches, Slip(), LANDS + timedelta(minutes=20), seconds=QUICK)
    assert set(run.taken_as_opened) == set(due)
    short = due[0].rsplit("/", 1)[-1]
    again = going_on(house, batches, Slip(), LANDS + timedelta(minutes=20), closed=[short], seconds=QUICK)
    assert due[0] not in again.taken_as_opened
    assert due[0] in again.taken_as_closed
    assert opens_at(again)[due[0]] >= 20
    with pytest.raises(BadInput, match="--closed"):
        going_on(house, batches, Slip(), LANDS, closed=["77"], seconds=QUICK)


def test_a_count_alive_places_every_box_of_the_batch(house_at: Open) -> None:
    """After the count at the vat nothing of the batch is planned any more; receipt alone places nothing."""
    house = house_at()
    batches = announced(house)
    receive_shipment.receive(house, "S1", at=LANDS)
    before = going_on(house, batches, Slip(), LANDS + timedelta(minutes=1), seconds=QUICK)
    assert before.placed == ()
    at = LANDS + timedelta(minutes=170)
    count_animals.count(house, "S1-01", "Q1", count_animals.Count(alive=60), at=at - timedelta(minutes=5))
    run = going_on(house, batches, Slip(), at, seconds=QUICK)
    assert run.placed == ("S1/1", "S1/2", "S1/3")
    ends = {step.box: step.end for step in run.plan.steps if step.step == "place"}
    assert all(ends[box] <= at for box in run.placed)
    assert all(ends[box.box] > at - timedelta(minutes=170) for box in run.plan.problem.boxes)


def test_missing_station_missing_person_and_more_boxes_are_planned_around(house_at: Open) -> None:
    """Two tubs fewer, Ben gone, two boxes more of line 2: nothing is put where nobody and nothing is."""
    house = house_at()
    batches = announced(house)
    at = LANDS + timedelta(minutes=30)
    slip = Slip(without=("tubs:2", "ben"), extra={"S1-02": 2})
    run = going_on(house, batches, slip, at, seconds=QUICK)
    later = [step for step in run.plan.steps if step.start >= at]
    assert not any("ben" in step.people for step in later)
    assert {step.lane for step in later if step.step == "acclimate"} <= {"tubs 1", "tubs 2"}
    assert {"S1/02+1", "S1/02+2"} <= set(opens_at(run))
    assert any("is new and opens" in line for line in run.plan.moved)
    with pytest.raises(UnknownName, match="bnech"):
        day_of(house, batches, slip=Slip(without=("bnech",)), seconds=0.0)
    with pytest.raises(UnknownName, match="S9-01"):
        day_of(house, batches, slip=Slip(extra={"S9-01": 1}), seconds=0.0)


def test_a_kept_day_comes_back_and_what_slipped_adds_up(house_at: Open) -> None:
    """The second slip of the day is reported against the plan after the first, and the first is not forgotten."""
    house = house_at()
    batches = announced(house)
    assert kept_day(house, batches) is None
    first = DayRun(day_of(house, batches, slip=Slip(without=("ben",)), seconds=QUICK), Slip(without=("ben",)))
    keep_day(house, batches, first)
    back = kept_day(house, batches)
    assert back is not None
    assert back.plan.placed == first.plan.placed
    assert back.slip == first.slip
    run = going_on(house, batches, Slip(lands=LANDS + timedelta(hours=2)), LANDS, seconds=QUICK)
    assert run.slip.without == ("ben",)
    assert min(opens_at(run).values()) >= 120
    stored = {str(task["uid"]) for task in published_timetable.stored_tasks(house)}
    assert not [uid for uid in stored if uid.startswith("land/")], "the day is kept once, in the landing's own record"
    landing = {str(task["uid"]) for task in published_timetable.published_tasks(house)} - stored
    assert landing == {f"land/S1/{number}/{part}" for number in range(1, 10) for part in ("open", "tub", "place")}


def test_two_records_at_one_moment_take_two_tables(house_at: Open) -> None:
    """Readings on two boxes in the same minute are two openings; a third has no table but is not lost."""
    house = house_at()
    batches = announced(house)
    for box in ("S1/1", "S1/4", "S1/7"):
        read_box(house, box, 3)
    run = going_on(house, batches, Slip(), LANDS + timedelta(minutes=5), seconds=QUICK)
    rows = {row.box: row.table for row in run.plan.order()}
    assert {rows["S1/1"], rows["S1/4"], rows["S1/7"]} == {"tables 1", "tables 2", ""}
    assert len(rows) == 9


def test_water_of_each_system_adds_up_to_the_day(house_at: Open) -> None:
    """What is mixed for the whole day is what each system's boxes draw, with its reserve."""
    house = house_at()
    batches = announced(house)
    plan = day_of(house, batches, seconds=0.0)
    parts, whole = prepared_by_system(house, plan), prepared(house, batches, plan)
    assert sum(part.ready_before_l for part in parts.values()) == pytest.approx(whole.ready_before_l)
    assert sum(hour.mixed_water_l for hour in whole.hours) == pytest.approx(whole.acclimation_l + whole.dip_l)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_run_sheet_says_finish_modes_and_what_moved_in_words(house_at: Open, paper: str) -> None:
    """No identifier of the code on paper; the finish stands against closing time; cautions and local rules are there."""
    house = house_at()
    batches = announced(house)
    slip = Slip(without=("ben",))
    run = going_on(house, batches, slip, LANDS + timedelta(minutes=30), seconds=QUICK)
    text = text_of(runsheet_pdf(house, batches, paper, run))
    assert "CLOSING" in text or "before closing at 18:00" in text
    assert "_" not in text
    assert "match temperature, transfer" in " ".join(text.split()) or "drip, the tub" in " ".join(text.split())
    assert "What moved" in text
    assert "Follow local rules and your veterinarian." in text
    assert "Cover cuts. Wear long gloves." in " ".join(text.split())


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_paper_of_the_day_prints(house_at: Open, tmp_path: Path, paper: str) -> None:
    """Checklist with places to read, water list with its sum, a label for each box in its turn."""
    house = house_at()
    batches = announced(house)
    keep_day(house, batches, DayRun(day_of(house, batches, seconds=QUICK), Slip()))
    (checklists,) = landing_papers.print_checklists(house, tmp_path, batches, paper)
    text = text_of(checklists.read_bytes())
    for words in ("Read PSU", "Read pH", "pH is NBS", "never into a system", "Follow local rules"):
        assert words in " ".join(text.split()), words
    (water,) = landing_papers.print_water(house, tmp_path, batches, paper)
    text = " ".join(text_of(water.read_bytes()).split())
    assert "Salt" in text
    assert "Read PSU" in text
    (labels,) = landing_papers.print_box_labels(house, tmp_path, batches, paper)
    text = "".join(pages(labels.read_bytes()))
    assert all(f"No. {number}" in text for number in range(1, 10))
    assert text.index("No. 1") < text.index("No. 9")


def test_the_command_fits_80_columns_and_prints_and_keeps(
    house_at: Open, farm_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the owner types at a quarter past nine; the run sheet is written and the day kept."""
    monkeypatch.setattr("intake.app.system_clock.now", lambda: NOON)
    house = house_at()
    batches = announced(house)
    base = ["--farm", str(farm_folder), "--who", "ada", "day", "S1", "--seconds", "0.3"]
    result = CliRunner().invoke(vatside, [*base, "--out", str(tmp_path / "paper")])
    assert result.exit_code == 0, result.output
    assert all(len(line) <= 80 for line in result.output.splitlines() if not line.startswith("Saved"))
    assert (tmp_path / "paper" / "runsheet-S1.pdf").is_file()
    assert kept_day(house_at(), batches) is not None
    again = CliRunner().invoke(
        vatside, [*base, "--at", "09:15", "--without", "ben", "--more-boxes", "S1-01=1", "--json"]
    )
    answer = json.loads(again.output)
    assert answer["moved"]
    assert set(answer) >= {"opened", "placed", "taken_as_opened", "taken_as_closed", "preparation", "order"}
    for wrong in (["--more-boxes", "S1-01"], ["--closed", "1"], ["--at", "25:99"], ["--without", "tubs:x"]):
        assert CliRunner().invoke(vatside, [*base, *wrong]).exit_code == 2, wrong
