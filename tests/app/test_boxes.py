"""Losses by box in the app: counted, reported, claimed and taken back together."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app.commands import count_animals, move_animals, receive_shipment
from intake.app.commands.count_animals import Count
from intake.app.documents.claim_paper import claim_pdf
from intake.app.farm_folder import check_house
from intake.app.queries.reports import loss_report
from intake.app.queries.reports.claim_status import current
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.errors import BadInput, Refused, UnknownName
from intake.farm.floor import Batch
from intake.ledger import balances, batch_payload, box_losses
from tests.conftest import NOON
from tests.forms.reading import text_of

Open = Callable[..., House]
LANDED = NOON + timedelta(hours=2)
BATCH = Batch("S1-01", "Tridacna maxima", "clam_small", 40.0, 120, "S1", 1, "one", ("7", "8", "9"))
OTHER = Batch("S1-02", "Tridacna maxima", "clam_small", 40.0, 40, "S1", 2, "one", ("9",))


def landed(house_at: Open, **boxes: int) -> House:
    """Shipment S1 received: a line in boxes 7, 8 and 9, and one in box 9."""
    with house_at().act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": LANDED.isoformat()})
        for batch in (BATCH, OTHER):
            act.note("batch", batch.id, batch_payload(batch))
    house = house_at(LANDED)
    receive_shipment.receive(house, "S1", boxes={name.removeprefix("box"): number for name, number in boxes.items()})
    return house_at(LANDED + timedelta(hours=1))


def test_the_dead_of_a_box_are_reported_and_named_as_common(house_at: Open) -> None:
    """Box 8 held 40 by its slip, 12 of them dead; boxes 7 and 9 share the rest, with one dead between them."""
    house = landed(house_at, box8=40)
    count_animals.count(house, "S1-01", "dock", Count(doa=12, box="8"))
    count_animals.count(house, "S1-01", "dock", Count(doa=1, box="S1/7", in_box=41))
    opening = loss_report.losses_told_apart(house, "box")["opening"]
    rows = {row["box"]: row for row in opening["boxes"]}
    assert (rows["S1 8"]["doa"], rows["S1 8"]["came"], rows["S1 8"]["came_told"]) == (12, 40, True)
    assert (rows["S1 7"]["doa"], rows["S1 7"]["came"]) == (1, 41)
    assert rows["S1 9"]["came"] == 39 + 40
    assert opening["in_common"][0]["what"] == ["box S1 8"]
    assert opening["in_common"][0]["corrected"] < 0.001
    assert check_house(house) == []


def told_of(house: House) -> int:
    """Entries of the acts themselves, without what timetable and calendars derived from them."""
    return sum("~" not in one.key for one in house.entries())


def test_a_count_by_box_is_one_act_and_is_taken_back_whole(house_at: Open) -> None:
    """The same key counts once; undone, the box has lost nothing and the originals stay."""
    house = landed(house_at)
    for _ in range(2):
        told = count_animals.count(house, "S1-01", "dock", Count(doa=5, missing=2, box="8"), key="tap")
    assert {(one.head, one.count) for one in box_losses(house.entries())} == {("doa", 5), ("missing", 2)}
    before = told_of(house)
    count_animals.undo(house, told.keys[0], whole=True)
    assert box_losses(house.entries()) == ()
    assert balances(house.entries())["S1-01", "dock"] == 120
    assert told_of(house) == before + 4


@pytest.mark.parametrize(
    "tally", [Count(doa=1, box="4"), Count(doa=5, box="8", in_box=4), Count(in_box=9), Count(found=1, box="8")]
)
def test_what_cannot_be_of_a_box_is_refused_and_nothing_written(house_at: Open, tally: Count) -> None:
    """A box of another shipment, more dead than lay in it, a number without a box, and animals found again."""
    house = landed(house_at)
    before = house.entries()
    with pytest.raises((BadInput, UnknownName)):
        count_animals.count(house, "S1-01", "dock", tally)
    assert house.entries() == before


def test_a_shared_box_asks_whose_animals_they_are(house_at: Open) -> None:
    """Box 9 holds two lines: 9=40 could be either's."""
    with pytest.raises(BadInput, match="S1-01/9 or S1-02/9"):
        landed(house_at, box9=40)


def test_the_claim_says_which_box_the_dead_lay_in(house_at: Open) -> None:
    """A supplier looks for the packer of a box, not of a line."""
    house = landed(house_at)
    count_animals.count(house, "S1-01", "dock", Count(doa=12, box="8"))
    text = text_of(claim_pdf(house, current(house, "S1"), "a4"))
    assert "Counts by box" in text
    assert "8 Tridacna maxima 12 0 0" in text
    assert "1 Tridacna maxima 7–9" in text


def test_too_many_dead_are_refused_in_farm_time(house_at: Open, farm_folder: Path) -> None:
    """The books keep UTC; a person at the vat reads the clock on the wall."""
    file = farm_folder / "farm.toml"
    file.write_text(file.read_text("utf-8").replace("Europe/Lisbon", "Pacific/Auckland"), "utf-8")
    house = landed(house_at)
    local = house.now.astimezone(house.site.farm.zone)
    assert local.utcoffset()
    with pytest.raises(Refused) as refused:
        count_animals.count(house, "S1-01", "dock", Count(doa=500))
    assert f"500 to leave at {local:%Y-%m-%d %H:%M}" in str(refused.value.findings[0])
    with pytest.raises(Refused) as refused:
        move_animals.move(house, "S1-01", "dock", "Q1", 500)
    assert f"{local:%Y-%m-%d %H:%M}" in str(refused.value.findings[0])


def test_the_commands_take_boxes(house_at: Open, farm_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Receive and count with --box, then the report by box; a slip of the pen is told what is wanted."""
    landed(house_at)
    monkeypatch.setattr("intake.app.system_clock.now", lambda: LANDED + timedelta(hours=1))

    def run(*words: str) -> tuple[int, str]:
        told = CliRunner().invoke(vatside, ["--farm", str(farm_folder), *words])
        return told.exit_code, told.output

    assert run("count", "S1-01", "--vat", "dock", "--box", "8", "--doa", "12", "--in-box", "40")[0] == 0
    code, output = run("report", "losses", "--by", "box", "--out", str(farm_folder / "out"))
    assert code == 0
    assert "S1 8" in output
    assert max(map(len, (line for line in output.splitlines() if "/" not in line))) <= 80
    code, output = run("report", "losses", "--by", "box", "--json")
    assert {row["box"]: row["doa"] for row in json.loads(output)["opening"]["boxes"]}["S1 8"] == 12
    code, output = run("receive", "S1", "--box", "8")
    assert code == 2
    assert "7=80" in output
