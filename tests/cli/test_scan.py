"""A returned intake sheet read back: proposed, booked once through the usual commands, or refused by field."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import Result
from pypdf import PdfReader, PdfWriter
from pypdf.generic import NameObject

from intake.app.commands import receive_shipment
from intake.app.session import House
from intake.farm.floor import Batch
from intake.ledger import balances, batch_payload, box_losses
from tests.app.deliveries import LANDED, Open, announced
from tests.cli.conftest import AT, Run, bare

scan = import_module("intake.cli.recording.scan")

Filled = Callable[..., Path]

RIGHT = {
    "open/7/opened": "15:20", "open/7/doa": "3", "open/7/missing": "1", "open/7/temperature": "25.8",
    "open/7/salinity": "34,5", "open/7/ph": "7.2", "open/7/scale": "/NBS", "place/Q1/counted": "36",
    "balance/placed": "36", "open/7/by": "A",
}  # fmt: skip
"""Sheet of S1-01: 40 animals announced, in box 7, planned for Q1."""


def fill(blank: Path, target: Path, values: dict[str, str], batch: str = "S1-01") -> Path:
    """The sheet with these values typed in, as a viewer saves it."""
    writer = PdfWriter(clone_from=PdfReader(blank))
    named = {f"{batch}/{name}": value for name, value in values.items()}
    for page in writer.pages:
        writer.update_page_form_field_values(page, named, auto_regenerate=False)
    for one in writer.root_object["/AcroForm"]["/Fields"]:  # type: ignore[index]
        field = one.get_object()
        if str(field.get("/T")) in named and str(field.get("/FT")) == "/Btn":
            field[NameObject("/V")] = NameObject(named[str(field.get("/T"))])
    writer.write(target)
    return target


@pytest.fixture
def filled(stocked: Path, run: Run, tmp_path: Path) -> Filled:
    """Print the sheet of S1-01 with fields, and type values into it."""
    told = run("print", "sheets", "--shipment", "S1", "--fillable", "--out", str(tmp_path / "out"))
    assert told.exit_code == 0, told.output

    def give(values: dict[str, str], name: str = "back.pdf") -> Path:
        return fill(tmp_path / "out" / "sheet-S1-01.pdf", tmp_path / name, values)

    return give


def refused(told: Result, *words: str) -> None:
    """Exit 2 with each of these words, and no traceback."""
    assert told.exit_code == 2, told.output
    assert told.exception is None or isinstance(told.exception, SystemExit)
    for one in words:
        assert one in told.stderr


def test_typed_values_are_proposed_and_only_recorded_when_told(run: Run, filled: Filled, farm_folder: Path) -> None:
    """Without a terminal and without --yes nothing is written; what is not recorded is listed."""
    file = filled(RIGHT)
    before = bare(farm_folder)
    told = run("scan", str(file))
    assert told.exit_code == 0, told.output
    for words in ("3 doa, 1 missing", "temperature_c 25.8", "salinity_psu 34.5", "ph 7.2 nbs", "36 alive", "15:20"):
        assert words in told.stdout
    assert "S1-01/open/7/by: A" in told.stdout
    assert "Nothing was saved" in told.stdout
    assert bare(farm_folder) == before


def test_yes_records_and_the_same_sheet_again_records_nothing(run: Run, filled: Filled, house_at: Open) -> None:
    """The ledger has what a person would have recorded by count and reading, at the moment the box was opened."""
    file = filled(RIGHT)
    told = json.loads(run("scan", str(file), "--yes", "--json").stdout)
    assert {one["recorded_before"] for one in told["proposed"]} == {False}
    house = house_at(AT)
    lost = {(one.box, one.head, one.count) for one in box_losses(house.entries())}
    assert lost == {("7", "doa", 3), ("7", "missing", 1)}
    assert balances(house.entries())["S1-01", "vat:Q1"] == 36
    read = {(one.quantity, one.value) for one in house.measured("S1/7")}
    assert read == {("temperature_c", 25.8), ("salinity_psu", 34.5), ("ph", 7.2)}
    assert {one.happened_at for one in house.readings_of("S1/7")} == {LANDED + timedelta(minutes=80)}
    before = house.entries()
    again = run("scan", str(file), "--yes", at=AT + timedelta(hours=1))
    assert again.exit_code == 0, again.output
    assert "Nothing new" in again.stdout
    assert house_at(AT + timedelta(hours=1)).entries() == before


def test_more_typed_into_the_sheet_later_adds_only_that(run: Run, filled: Filled, house_at: Open) -> None:
    """A second scan with one more value records that one; a changed value is a clash until the first is undone."""
    first = {"open/7/doa": "3"}
    assert run("scan", str(filled(first)), "--yes").exit_code == 0
    more = run("scan", str(filled({**first, "place/Q1/counted": "37"})), "--yes", "--json")
    assert [one["recorded_before"] for one in json.loads(more.stdout)["proposed"]] == [True, False]
    changed = run("scan", str(filled({"open/7/doa": "4"})), "--yes")
    refused(changed, "S1-01/open/7/doa", "3 doa", "vatside undo scan-")
    key = next(word for word in changed.stderr.replace(",", " ").split() if word.startswith("scan-"))
    assert run("undo", key).exit_code == 0
    right = run("scan", str(filled({"open/7/doa": "4"})), "--yes")
    assert right.exit_code == 0, right.output
    assert balances(house_at(AT).entries())["S1-01", "vat:Q1"] == 36


@pytest.mark.parametrize(
    ("values", "named"),
    [
        ({"open/7/doa": "three"}, ["S1-01/open/7/doa", "three"]),
        ({"open/7/temperature": "warm", "open/7/missing": "-1"}, ["open/7/temperature", "open/7/missing"]),
        ({"open/7/ph": "7.2"}, ["open/7/ph", "scale"]),
        ({"open/7/opened": "25:00"}, ["open/7/opened"]),
        ({"open/7/opened": "09:00", "open/7/doa": "1"}, ["open/7/opened", "received"]),
        ({"open/7/doa": "3", "total/doa": "4"}, ["total/doa", "3"]),
        ({"open/7/doa": "3", "place/Q1/counted": "36"}, ["place/Q1/counted", "37"]),
        ({"place/Q1/counted": "40", "place/Q1/second": "39"}, ["place/Q1/second", "40"]),
        ({"open/7/doa": "41"}, ["41"]),
        ({"open/7/doa": "1", "open/7/temperature": "78"}, ["78"]),
    ],
)
def test_a_value_that_cannot_be_is_refused_and_nothing_is_saved(
    run: Run, filled: Filled, farm_folder: Path, values: dict[str, str], named: list[str]
) -> None:
    """By the field's name where the sheet is at fault, by the rule where the farm refuses; never half of a sheet."""
    file = filled(values)
    before = bare(farm_folder)
    refused(run("scan", str(file), "--yes"), *named)
    assert bare(farm_folder) == before


def test_files_that_are_not_ours_are_refused(run: Run, filled: Filled, farm_folder: Path, tmp_path: Path) -> None:
    """No PDF, another form, a sheet without fields, another farm's sheet."""
    letter = tmp_path / "letter.pdf"
    letter.write_bytes(b"Dear crew")
    refused(run("scan", str(letter)), "letter.pdf")
    blank = PdfWriter()
    blank.add_blank_page(200, 200)
    blank.write(tmp_path / "blank.pdf")
    refused(run("scan", str(tmp_path / "blank.pdf")), "no form of ours")
    refused(run("scan", str(tmp_path / "none.pdf")), "no such file")
    run("print", "sheets", "--shipment", "S1", "--out", str(tmp_path / "paper"))
    refused(run("scan", str(tmp_path / "paper" / "sheet-S1-01.pdf")), "without fields")
    file = filled({"open/7/doa": "1"})
    other = farm_folder / "farm.toml"
    other.write_text(other.read_text("utf-8").replace("Invented test farm", "Another invented farm"), "utf-8")
    refused(run("scan", str(file), "--yes"), "Invented test farm", "Another invented farm")


def test_a_sheet_of_an_older_revision_is_refused(run: Run, filled: Filled, house_at: Open) -> None:
    """Once another plan is accepted for the batch, the vats on the paper are not to be trusted."""
    file = filled({"open/7/doa": "1"})
    announced_again(house_at(AT))
    refused(run("scan", str(file), "--yes"), "revision", "Print the sheet again")


def announced_again(house: House) -> None:
    """Accept the plan of S1 once more, in other vats."""
    announced(house, (("clam_small", "Q2", 40),))


def test_a_batch_in_two_vats_loses_where_the_cards_say(
    run: Run, house_at: Open, tmp_path: Path, farm_folder: Path
) -> None:
    """Without the cards no one knows which vat the dead left; with them each vat agrees to the animal."""
    announced(house_at())
    with house_at().act() as act:
        stay = {"batch": "S1-01", "stage": "quarantine", "from": "2027-03-04", "until": "2027-04-18"}
        rows = [{**stay, "vat": "Q1", "count": 25}, {**stay, "vat": "Q3", "count": 15}]
        act.note("plan", "P2", {"state": "accepted", "plan": {"plan": "P2", "placements": rows, "moves": []}})
    receive_shipment.receive(house_at(LANDED), "S1")
    told = run("print", "sheets", "--batch", "S1-01", "--fillable", "--out", str(tmp_path))
    assert told.exit_code == 0, told.output
    blank = tmp_path / "sheet-S1-01.pdf"
    lost = {"open/7/doa": "3", "open/7/missing": "2"}
    before = bare(farm_folder)
    refused(run("scan", str(fill(blank, tmp_path / "a.pdf", lost)), "--yes"), "place/Q1/counted", "place/Q3/counted")
    odd = {**lost, "place/Q1/counted": "24", "place/Q3/counted": "14"}
    refused(run("scan", str(fill(blank, tmp_path / "b.pdf", odd)), "--yes"), "place/Q1/counted")
    assert bare(farm_folder) == before
    right = {**lost, "place/Q1/counted": "21", "place/Q3/counted": "14"}
    for _ in range(2):
        done = run("scan", str(fill(blank, tmp_path / "c.pdf", right)), "--yes")
        assert done.exit_code == 0, done.output
        stand = balances(house_at(AT).entries())
        assert (stand["S1-01", "vat:Q1"], stand["S1-01", "vat:Q3"]) == (21, 14)
    assert "Nothing new" in done.stdout
    assert sum(one.count for one in box_losses(house_at(AT).entries())) == 5


def test_animals_on_the_dock_are_moved_into_the_vats_of_the_cards(run: Run, house_at: Open, tmp_path: Path) -> None:
    """Received before there was a plan: losses leave the dock, and the cards say where the others went."""
    announced(house_at(), ())
    with house_at().act() as act:
        act.note(
            "batch", "S1-01", batch_payload(Batch("S1-01", "clam", "clam_small", 40.0, 40, "S1", 1, "one", ("7",)))
        )
    receive_shipment.receive(house_at(LANDED), "S1")
    assert balances(house_at(LANDED).entries())["S1-01", "dock"] == 40
    with house_at(LANDED).act() as act:
        row = {"batch": "S1-01", "stage": "quarantine", "from": "2027-03-04", "until": "2027-04-18", "vat": "Q1"}
        plan = {"plan": "P2", "placements": [{**row, "count": 40}], "moves": []}
        act.note("plan", "P2", {"state": "accepted", "plan": plan})
    assert run("print", "sheets", "--batch", "S1-01", "--fillable", "--out", str(tmp_path)).exit_code == 0
    blank = tmp_path / "sheet-S1-01.pdf"
    wrong = fill(blank, tmp_path / "a.pdf", {"open/7/doa": "4", "place/Q1/counted": "37"})
    refused(run("scan", str(wrong), "--yes"), "place/Q1/counted", "36")
    right = fill(blank, tmp_path / "b.pdf", {"open/7/doa": "4", "place/Q1/counted": "36"})
    for _ in range(2):
        done = run("scan", str(right), "--yes")
        assert done.exit_code == 0, done.output
        stand = balances(house_at(AT).entries())
        assert (stand.get(("S1-01", "dock"), 0), stand["S1-01", "vat:Q1"]) == (0, 36)
    assert "Nothing new" in done.stdout


@pytest.mark.parametrize(("answer", "left"), [("y", 37), ("n", 40)])
def test_in_a_terminal_it_asks_first(
    run: Run, filled: Filled, house_at: Open, monkeypatch: pytest.MonkeyPatch, answer: str, left: int
) -> None:
    """Only a yes records."""
    screen = SimpleNamespace(isatty=lambda: True)
    monkeypatch.setattr(scan, "sys", SimpleNamespace(stdin=screen, stdout=screen))
    monkeypatch.setattr("click.confirm", lambda words, default: answer == "y")
    assert run("scan", str(filled({"open/7/doa": "3"}))).exit_code == 0
    assert balances(house_at(AT).entries())["S1-01", "vat:Q1"] == left
