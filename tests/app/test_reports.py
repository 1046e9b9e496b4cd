"""What the app reports: alarms with what to look at first, permits before the truck, draws, audit; all invented."""

from __future__ import annotations

import csv
import importlib.util
import io
import json
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app.commands import count_animals, move_animals
from intake.app.commands.count_animals import Count
from intake.app.queries.biosecurity.random_sample import draw_sample
from intake.app.queries.reports import audit_export, journey_forecast, loss_alarms, loss_report
from intake.app.queries.reports.permit_status import permit_rows, read_permits, still_lacking
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.errors import BadInput, UnknownName
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.app.test_claims import Open, received
from tests.conftest import NOON


def shipments(house_at: Open, count: int, *, doa: int = 5) -> None:
    """Shipments S1, S2 … of 100 clams ten days apart, ``doa`` more dead on arrival with each; all to vat Q1."""
    for number in range(1, count + 1):
        when = NOON + timedelta(days=10 * number)
        house = house_at(when)
        batch = Batch(f"S{number}-01", "Tridacna maxima", "clam_small", 40.0, 100, f"S{number}", 1, "one", ("1",),
                      packed_at=when - timedelta(hours=30))  # fmt: skip
        with house.act() as act:
            act.note("shipment", f"S{number}", {"supplier": "one", "lands": when.isoformat()})
            act.note("batch", batch.id, batch_payload(batch))
            act.note("received", f"S{number}", {})
            act.move(batch.id, "supplier", "vat:Q1", 100)
            if doa:
                act.move(batch.id, "vat:Q1", "doa", doa * number)


def announced(house: House, permit: str = "", source: str = "") -> None:
    """A shipment S9 of listed clams still to come."""
    batch = Batch("S9-01", "Tridacna maxima", "clam_small", 40.0, 80, "S9", 1, "one", ("1", "2"), "MH", source, permit)
    with house.act() as act:
        act.note("shipment", "S9", {"supplier": "one", "lands": (NOON + timedelta(days=40)).isoformat()})
        act.note("batch", batch.id, batch_payload(batch))


def test_an_alarm_says_which_vat_to_look_at_first(house_at: Open, tmp_path: Path) -> None:
    """One batch over three vats; in Q2 animals die: the vat is named, and holds among animals of one batch."""
    house = house_at()
    batch = Batch("S1-01", "Tridacna maxima", "clam_small", 40.0, 300, "S1", 1, "one", ("1",))
    with house.act() as act:
        act.note("batch", batch.id, batch_payload(batch))
        for vat in ("Q1", "Q2", "Q3"):
            act.move(batch.id, "supplier", f"vat:{vat}", 100)
    for day, dead in ((9, 6), (10, 9)):
        count_animals.count(house_at(NOON + timedelta(days=day)), "S1-01", "Q2", Count(dead=dead))
    later = house_at(NOON + timedelta(days=11))
    told = loss_alarms.alarms(later, out=tmp_path)
    (alarm,) = told["alarms"]
    assert alarm["batch"] == "S1-01"
    assert alarm["look_first_at"][0].startswith("vat Q2: 9 of 94 dead against 0 of 200 elsewhere")
    assert "also among animals of one batch" in alarm["look_first_at"][0]
    assert alarm["do_first"].startswith("Look at vat Q1, Q2, Q3 now")
    ET.parse(told["files"][0])


def test_one_event_has_one_set_of_figures_however_far_back_it_is_asked(house_at: Open) -> None:
    """Animals died a week ago and a few still do: floor, wall, losses and command say the same deaths against the same usual."""
    house = house_at()
    batch = Batch("S1-01", "Tridacna maxima", "clam_small", 40.0, 300, "S1", 1, "one", ("1",))
    with house.act() as act:
        act.note("batch", batch.id, batch_payload(batch))
        act.move(batch.id, "supplier", "vat:Q1", 300)
    for day, dead in ((20, 9), (21, 14), (23, 1), (25, 3), (26, 4)):
        count_animals.count(house_at(NOON + timedelta(days=day)), "S1-01", "Q1", Count(dead=dead))
    later = house_at(NOON + timedelta(days=26, hours=1))
    told = {days: loss_alarms.alarms(later, days=days)["alarms"] for days in (2, 3, 7, 14, 30)}
    (whole,) = told[30]
    assert all(found == [whole] for found in told.values())
    long_after = house_at(NOON + timedelta(days=60))
    assert loss_alarms.alarms(long_after, days=3)["alarms"] == [], "an event that is over is not told on the floor"
    assert len(loss_alarms.alarms(long_after, days=60)["alarms"]) == 1


def test_quiet_books_have_no_alarm(house_at: Open) -> None:
    """And say so without a picture."""
    told = loss_alarms.alarms(received(house_at))
    assert told["alarms"] == []
    assert told["files"] == []


def test_the_worst_arrival_is_beyond_the_limit_of_its_size(house_at: Open) -> None:
    """2, 2, 2 … and then 40 of 100."""
    shipments(house_at, 6, doa=0)
    house = house_at(NOON + timedelta(days=60, hours=1))
    with house.act() as act:
        act.move("S6-01", "vat:Q1", "doa", 40)
        act.move("S5-01", "vat:Q1", "doa", 2)
    told = loss_alarms.alarms(house)["arrivals"]
    assert [one["shipment"] for one in told["shipments"] if one["out"]] == ["S6"]
    assert 0 <= told["false_alarm_rate"] < 0.02


def test_two_batches_are_tested_for_dying_alike(house_at: Open) -> None:
    """Ten of 89 dead against none of 55; a batch that never came is refused, and a test needs a death."""
    house = received(house_at)
    with pytest.raises(BadInput, match="no death"):
        loss_report.compared(house, "S1-01", "S1-02")
    later = house_at(NOON + timedelta(days=2))
    count_animals.count(later, "S1-01", "Q1", Count(dead=10))
    told = loss_report.compared(house_at(NOON + timedelta(days=3)), "S1-01", "S1-02")
    assert (told["deaths"], told["batches"]) == ([10, 0], ["S1-01", "S1-02"])
    assert sum(told["expected"]) == pytest.approx(10)
    assert told["chance"] < 0.02
    with pytest.raises(UnknownName):
        loss_report.compared(later, "S1-01", "S9-09")


def test_losses_are_told_apart_with_a_picture(house_at: Open, tmp_path: Path) -> None:
    """Every way of grouping counts the nine dead on arrival once."""
    house = received(house_at)
    for by in ("batch", "vat", "system", "box", "supplier", "group"):
        told = loss_report.losses_told_apart(house, by, out=tmp_path)
        assert sum(row["doa"] for row in told["rows"]) == 9
        ET.parse(told["files"][0])
    with pytest.raises(BadInput):
        loss_report.losses_told_apart(house, "vat", batch="S7-01")


def test_expected_losses_are_silent_until_two_shipments_are_known(house_at: Open) -> None:
    """One shipment is an anecdote; after four the next is given a range that holds what they had."""
    shipments(house_at, 1)
    house = house_at(NOON + timedelta(days=11))
    announced(house)
    told = journey_forecast.expect_losses(house, "S9")
    assert told["heads"]["doa"]["expected"] is None
    assert told["heads"]["doa"]["lines"][0]["basis"] == "nothing is known"
    with pytest.raises(UnknownName):
        journey_forecast.expect_losses(house, "S8")


def test_expected_losses_come_from_shipments_of_the_kind(house_at: Open) -> None:
    """5, 10, 15, 20 of 100: about an eighth of 80, and not certain."""
    shipments(house_at, 4)
    house = house_at(NOON + timedelta(days=41))
    announced(house)
    doa = journey_forecast.expect_losses(house, "S9")["heads"]["doa"]
    assert doa["low"] <= 4 < doa["expected"] < 16 <= doa["high"] < 80
    assert doa["lines"][0]["basis"] == "this supplier and group, 4 shipments"
    told = journey_forecast.journey_report(house)
    assert told["shared_fate_known"]
    assert [row["shipments"] for row in told["heads"]["doa"]] == [4]


def test_papers_are_asked_for_before_the_truck_comes(house_at: Open) -> None:
    """A listed line without a permit number is lacking while it can still be asked for; unlisted ones never are."""
    house = received(house_at)
    announced(house)
    (row,) = still_lacking(house)
    assert (row["shipment"], row["batches"]) == ("S9", ["S9-01"])
    assert row["lacks"][0] == "no permit number on the packing list"
    zoanthids = next(one for one in permit_rows(house, "S1") if one["name"] == "Zoanthus sp.")
    assert (zoanthids["listed"], zoanthids["lacks"]) == (False, [])


def test_permits_on_file_are_held_against_the_lines(house_at: Open, farm_folder: Path) -> None:
    """100 received and 80 announced are more than 150; the balance and the dead are reported."""
    (farm_folder / "permits.toml").write_text(
        'keep_years = 2\n[permit.X-1]\nkind = "export"\nvalid_until = 2027-04-01\nquantity = 150\n'
    )
    house = received(house_at)
    announced(house, "X-1", "F")
    came, coming = (one for one in permit_rows(house) if one["listed"])
    assert (came["permitted"], came["dead"], came["on_hand"], came["keep_until"]) == (150, 9, 89, "2029-03-04")
    assert came["left_on_permit"] == coming["left_on_permit"] == -30
    assert coming["lacks"] == [
        "export X-1 is valid until 2027-04-01, the landing is on 2027-04-13",
        "180 against 150 permitted by X-1",
    ]


@pytest.mark.parametrize(
    "text",
    [
        '[permit.X]\nvalid_until = "soon"\n',
        "[permit.X]\nvalid_from = 2027-05-01\nvalid_until = 2027-04-01\n",
        "[permit.X]\nquantity = -1\n",
        '[permit.X]\nunit = "dozen"\n',
        "[permit.X]\nvalidity = 3\n",
        "[permit.X\n",
    ],
)
def test_a_faulty_file_of_permits_names_its_fault(text: str) -> None:
    """A misspelt date must not read as no date."""
    with pytest.raises(BadInput, match=r"permits\.toml"):
        read_permits(text.encode())


def test_a_draw_covers_vats_by_lot_and_says_what_clean_proves(house_at: Open) -> None:
    """The same words give the same animals; boxes stand in for vats before the landing."""
    house = received(house_at)
    told = draw_sample(house, "S1-01", 30, seed="x")
    assert told == draw_sample(house, "S1-01", 30, seed="x")
    assert told["lot"] == 89
    assert [one["place"] for one in told["take"]] == ["vat Q1"]
    assert told["clean_proves"]["at_most_carriers"] < 89 * 0.1
    announced(house)
    boxes = draw_sample(house, "S9-01", 80)
    assert [(one["place"], one["standing"]) for one in boxes["take"]] == [("box 1", 40), ("box 2", 40)]
    with pytest.raises(BadInput, match="1 to 89"):
        draw_sample(house, "S1-01", 90)


def test_the_audit_holds_every_entry_and_its_own_hashes(house_at: Open, tmp_path: Path) -> None:
    """Movements and records as many as the books; a note that is a formula is text; balances sum to zero."""
    house = received(house_at)
    move_animals.move(house, "S1-01", "Q1", "Q2", 3, note="=1+1")
    told = audit_export.export(house, tmp_path)
    assert told["findings"] == []
    rows = list(csv.DictReader(io.StringIO((tmp_path / "movements.csv").read_text("utf-8-sig"))))
    assert len(rows) + told["rows"]["records"] == len(house.entries())
    assert rows[-1]["note"] == "'=1+1"
    balances = list(csv.DictReader(io.StringIO((tmp_path / "balances.csv").read_text("utf-8-sig"))))
    assert sum(int(row["animals"]) for row in balances) == 0
    assert json.loads((tmp_path / "audit.json").read_text())["sha256"].keys() >= {"movements.csv", "records.csv"}
    there = importlib.util.find_spec("pyarrow") is not None
    assert ((tmp_path / "movements.parquet").exists(), told["parquet"] == "written") == (there, there)


@pytest.fixture
def run(farm_folder: Path, house_at: Open, monkeypatch: pytest.MonkeyPatch) -> Callable[..., tuple[int, str]]:
    """A farm with one received and one announced shipment, and the command line on it, two hours after the landing."""
    monkeypatch.setattr("intake.app.system_clock.now", lambda: NOON + timedelta(hours=2))
    house = received(house_at)
    announced(house)

    def call(*words: str) -> tuple[int, str]:
        told = CliRunner().invoke(vatside, ["--farm", str(farm_folder), "report", *words])
        return told.exit_code, told.output

    return call


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("permits",), 1, "BEFORE ARRIVAL"),
        (("permits", "--shipment", "S1"), 0, "not legal advice"),
        (("losses", "--by", "vat"), 0, "Q1"),
        (("alarms", "--days", "9"), 0, "fewer than 3 deaths never"),
        (("money",), 0, "net"),
        (("journeys",), 0, "too narrow"),
        (("expect-losses", "--shipment", "S9"), 1, "two received shipments"),
        (("draw", "--batch", "S1-01", "--n", "20", "--seed", "x"), 0, "at most"),
        (("audit",), 0, "movements.csv"),
    ],
)
def test_the_command_line_tells_it_with_its_exit_code(
    run: Callable[..., tuple[int, str]], words: tuple[str, ...], code: int, says: str
) -> None:
    """1 where the honest answer is no; lines of at most 80 columns."""
    exit_code, output = run(*words)
    assert exit_code == code, output
    assert says in output
    lines = [line for line in output.splitlines() if not re.search(r"\bfarm/", line)]  # a path is not broken
    assert max(map(len, lines)) <= 80
    exit_code, output = run(*words, "--json")
    assert exit_code == code
    json.loads(output)


def test_a_mix_is_weighed_before_it_is_bought(
    house_at: Open, farm_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same prediction for a list nobody ordered yet; two ways of asking at once, or none, are refused."""
    shipments(house_at, 4)
    house = house_at(NOON + timedelta(days=41))
    file = farm_folder / "wanted.csv"
    file.write_text("Scientific name,Quantity,Size cm\nTridacna maxima,80,4-5\n", "utf-8")
    told = journey_forecast.expect_losses_of_mix(house, file, "one", hours=30)
    doa = told["heads"]["doa"]
    assert doa["lines"][0]["animals"] == doa["animals"] == 80
    assert doa["low"] <= 4 < doa["expected"] < 16 <= doa["high"] < 80
    assert doa["lines"][0]["hours_in_bag"] == "24–36 h"
    with pytest.raises(BadInput, match="--hours"):
        journey_forecast.expect_losses_of_mix(house, file, "one", hours=-3)
    monkeypatch.setattr("intake.app.system_clock.now", lambda: house.now)
    command = ["--farm", str(farm_folder), "report", "expect-losses"]
    asked = CliRunner().invoke(vatside, [*command, "--mix", str(file), "--supplier", "one"])
    assert asked.exit_code == 0, asked.output
    assert "Together" in asked.output
    for words in ([], ["--mix", str(file)], ["--mix", str(file), "--supplier", "one", "--shipment", "S1"]):
        assert CliRunner().invoke(vatside, [*command, *words]).exit_code == 2


def test_pictures_come_as_the_file_asked_for(house_at: Open, tmp_path: Path) -> None:
    """SVG for a page, PNG for a mail, PDF for a folder: losses, hazard and survival each."""
    house = received(house_at)
    for kind, start in (("svg", b"<svg"), ("png", b"\x89PNG"), ("pdf", b"%PDF")):
        files = [Path(file) for file in loss_report.losses(house, out=tmp_path, kind=kind)["files"]]
        assert {file.name.split("-")[0] for file in files} >= {"losses", "hazard"}
        assert all(file.suffix == f".{kind}" and file.read_bytes().startswith(start) for file in files)
