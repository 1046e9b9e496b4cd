"""A person's hand on the command line: pins, proof files, and futures; refused before any work."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from intake.farm.floor import Batch
from intake.ledger import batch_payload
from intake.plan.solution import Solution
from intake.plan.solve import solve
from tests.app.deliveries import Open
from tests.cli.conftest import Run, bare
from tests.conftest import NOON

pytestmark = pytest.mark.usefixtures("coming")


@pytest.fixture
def coming(house_at: Open, farm_folder: Path) -> Path:
    """One line to come."""
    with house_at().act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": (NOON + timedelta(days=4)).isoformat()})
        batch = Batch("S1-01", "Tridacna maxima", "clam_small", 40.0, 60, "S1", 1, "one")
        act.note("batch", batch.id, batch_payload(batch))
    return farm_folder


def test_pins_are_said_kept_and_taken_away(run: Run) -> None:
    """Pinned, accepted, still there in the next plan, gone when unpinned."""
    first = run("plan", "--seconds", "1", "--pin", "S1-01=Q2", "--ceiling", "growout=90", "--accept")
    assert first.exit_code == 0, first.output
    words = "Decided by hand: S1-01 only in Q2; growout filled to 90 % at most (they cost no animal its place)."
    assert words in " ".join(first.stdout.split())
    again = json.loads(run("plan", "--seconds", "1", "--json").stdout)
    assert again["pins"] == ["S1-01 only in Q2", "growout filled to 90 % at most"]
    assert {row["vat"] for row in again["placements"] if row["stage"] == "quarantine"} == {"Q2"}
    assert json.loads(run("plan", "--seconds", "1", "--unpin", "--json").stdout)["pins"] == []


@pytest.mark.parametrize(
    "words",
    [
        ("--pin", "S1-01"),
        ("--pin", "S9-01=Q1"),
        ("--keep-free", "Q9"),
        ("--ceiling", "growout=most"),
        ("--stress", "--futures", "3"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(run: Run, farm_folder: Path, words: tuple[str, ...]) -> None:
    """Exit 2 with the option named."""
    before = bare(farm_folder)
    done = run("plan", "--seconds", "1", *words)
    assert done.exit_code == 2, done.output
    assert bare(farm_folder) == before


def test_files_to_prove_the_plan_with_are_written(run: Run, tmp_path: Path) -> None:
    """Model, plan, relaxation, and how the bound was found."""
    done = run("plan", "--seconds", "1", "--export", str(tmp_path / "proof"))
    assert done.exit_code == 0, done.output
    names = {path.name for path in (tmp_path / "proof").iterdir()}
    assert names == {"model.mps", "plan.sol", "bound.mps", "proof.json"}
    told = json.loads((tmp_path / "proof" / "proof.json").read_text(encoding="utf-8"))
    assert (told["left_over"], told["proved"], told["plan_satisfies_model"]) == (0, True, True)


def test_futures_are_told_in_words_and_as_data(run: Run) -> None:
    """How many futures fit, what one in twenty leaves, causes, and what being careful buys."""
    told = run("plan", "--seconds", "1", "--stress", "--futures", "20")
    assert told.exit_code == 0, told.output
    flat = " ".join(told.stdout.split())
    assert "of 100 futures" in flat
    assert "no more than ordered, in the terms" in flat
    assert "Rates:" in flat
    assert "default (0 shipments of" in flat
    assert "10 % kept free and no more than ordered" in flat
    data = json.loads(run("plan", "--seconds", "1", "--stress", "--futures", "20", "--json").stdout)["stress"]
    assert data["plan"]["futures"] == 20
    assert any("Dead on arrival" in one for one in data["rates"])
    assert {row["cause"] for row in data["causes"]} == {"slip", "counts", "deaths", "growth", "outage"}


def test_a_plan_cut_short_by_the_clock_says_so(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A busy machine may end a search sooner than its own count of effort: the same question can then be answered otherwise."""

    def cut(*asked: Any, **more: Any) -> Solution:
        return replace(solve(*asked, **more), reproducible=False)

    monkeypatch.setattr("intake.app.commands.plan_vats.solve", cut)
    assert json.loads(run("plan", "--seconds", "1", "--json").stdout)["reproducible"] is False
    told = " ".join(run("plan", "--seconds", "1").stdout.split())
    assert "The search was stopped by the clock or by hand. Planned again, the answer can differ" in told
