"""Everything that can happen to animals has a command that books it, balanced, and leaves the rest alone."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app import system_clock as clock
from intake.app.farm_folder import check_house
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.ledger import balances, movements
from tests.app.deliveries import LANDED, received

Open = Callable[..., House]
AT = LANDED.replace(hour=LANDED.hour + 2)

ACTS: dict[str, tuple[tuple[str, ...], dict[tuple[str, str], int]]] = {
    "dead on arrival": (("count", "S1-01", "--doa", "3"), {("S1-01", "vat:Q1"): -3, ("S1-01", "doa"): 3}),
    "dead after arrival": (("count", "S1-01", "--dead", "3"), {("S1-01", "vat:Q1"): -3, ("S1-01", "dead"): 3}),
    "missing": (("count", "S1-01", "--missing", "3"), {("S1-01", "vat:Q1"): -3, ("S1-01", "missing"): 3}),
    "wrong": (("count", "S1-01", "--wrong", "3"), {("S1-01", "vat:Q1"): -3, ("S1-01", "wrong"): 3}),
    "wrong species, booked in again as what it is": (
        ("rebook", "S1-01", "3", "--vat", "Q1", "--name", "Tridacna squamosa"),
        {("S1-01", "vat:Q1"): -3, ("S1-01", "wrong"): 3, ("S1-01-W1", "supplier"): -3, ("S1-01-W1", "vat:Q1"): 3},
    ),
    "more came than announced": (
        ("rebook", "S1-01", "3", "--vat", "Q1"),
        {("S1-01", "supplier"): -3, ("S1-01", "vat:Q1"): 3},
    ),
    "split over two vats": (
        ("move", "S1-01", "--from", "Q1", "--to", "Q2", "--count", "3"),
        {("S1-01", "vat:Q1"): -3, ("S1-01", "vat:Q2"): 3},
    ),
    "sold": (
        ("move", "S1-01", "--from", "Q1", "--to", "sold", "--count", "3", "--despite", "agreed with the vet"),
        {("S1-01", "vat:Q1"): -3, ("S1-01", "sold"): 3},
    ),
    "sacrificed for a test": (
        ("move", "S1-01", "--from", "Q1", "--to", "sample", "--count", "3"),
        {("S1-01", "vat:Q1"): -3, ("S1-01", "sample"): 3},
    ),
    "discarded": (
        ("move", "S1-01", "--from", "Q1", "--to", "discarded", "--count", "3"),
        {("S1-01", "vat:Q1"): -3, ("S1-01", "discarded"): 3},
    ),
    "cut": (("cut", "S1-02", "--pieces", "4", "--vat", "Q1"), {("C1", "cut-from"): -4, ("C1", "vat:Q1"): 4}),
}


@pytest.fixture
def run(farm_folder: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., tuple[int, str]]:
    """Give a command two hours after the landing."""
    monkeypatch.setattr(clock, "now", lambda: AT)

    def give(*words: str) -> tuple[int, str]:
        told = CliRunner().invoke(vatside, ["--farm", str(farm_folder), *words])
        return told.exit_code, told.output

    return give


def _changes(before: dict[tuple[str, str], int], after: dict[tuple[str, str], int]) -> dict[tuple[str, str], int]:
    return {
        spot: after.get(spot, 0) - before.get(spot, 0)
        for spot in {*before, *after}
        if after.get(spot, 0) != before.get(spot, 0)
    }


@pytest.mark.parametrize("act", ACTS)
def test_an_act_is_one_command_and_balanced(act: str, house_at: Open, run: Callable[..., tuple[int, str]]) -> None:
    """The command moves these animals and no others; the books stay sound; sent again under its key it counts once."""
    words, changes = ACTS[act]
    before = balances(received(house_at).entries())
    for _ in range(2):
        code, output = run(*words, "--key", "once")
        assert code == 0, output
    house = house_at(AT)
    assert _changes(before, balances(house.entries())) == changes
    assert sum(changes.values()) == 0
    assert check_house(house) == []


def test_what_was_missing_is_found_again_and_vats_are_merged(
    house_at: Open, run: Callable[..., tuple[int, str]]
) -> None:
    """Both end where they began, by entries of their own."""
    before = balances(received(house_at).entries())
    for words in (
        ("count", "S1-01", "--missing", "4"),
        ("count", "S1-01", "--found", "4"),
        ("move", "S1-01", "--from", "Q1", "--to", "Q2", "--count", "9"),
        ("move", "S1-01", "--from", "Q2", "--to", "Q1", "--count", "9"),
    ):
        code, output = run(*words)
        assert code == 0, output
    house = house_at(AT)
    assert balances(house.entries()) == before
    assert len([one for one in movements(house.entries()) if one.batch == "S1-01"]) == 5


def test_a_count_error_is_taken_back_and_the_past_is_a_query(
    house_at: Open, run: Callable[..., tuple[int, str]]
) -> None:
    """The original stays; asked how it stood before, the books answer with what was true then."""
    received(house_at)
    code, output = run("count", "S1-01", "--doa", "30", "--json")
    key = json.loads(output)["keys"][0]
    assert run("count", "--undo", key)[0] == 0
    assert run("count", "S1-01", "--doa", "3")[0] == 0
    entries = [one for one in movements(house_at(AT).entries()) if one.target == "doa" or one.source == "doa"]
    assert [(one.source, one.count) for one in entries] == [("vat:Q1", 30), ("doa", 30), ("vat:Q1", 3)]

    def stands(*words: str) -> int:
        told = json.loads(run("report", "vats", "--json", *words)[1])
        return int(next(stay["count"] for one in told for stay in one["stands"] if stay["batch"] == "S1-01"))

    assert stands() == 37
    assert stands("--at", LANDED.replace(hour=LANDED.hour + 1, minute=30).isoformat()) == 40
    code, output = run("report", "vats", "--at", "2099-01-01")
    assert code == 2
    assert "in the past" in output
