"""What the owner may wish of a plan on the command line: order, worth, pictures, losses; refused before any work."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest

from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.app.deliveries import Open
from tests.cli.conftest import Run, bare
from tests.conftest import NOON


@pytest.fixture
def waiting(house_at: Open, farm_folder: Path) -> Path:
    """The farm with one shipment of two lines to come."""
    with house_at().act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": (NOON + timedelta(days=4)).isoformat()})
        for line in (1, 2):
            batch = Batch(f"S1-0{line}", "Tridacna maxima", "clam_small", 30.0 + 10 * line, 40, "S1", line, "one")
            act.note("batch", batch.id, batch_payload(batch))
    return farm_folder


@pytest.mark.usefixtures("waiting")
def test_vat_space_is_written_where_asked_and_told(run: Run, tmp_path: Path) -> None:
    """Both kinds of file, named in the answer."""
    for name, begins in (("space.svg", b"<svg"), ("space.png", b"\x89PNG")):
        done = run("plan", "--seconds", "1", "--picture", str(tmp_path / name))
        assert done.exit_code == 0, done.output
        assert f"Saved {tmp_path / name}" in " ".join(done.stdout.split())
        assert (tmp_path / name).read_bytes().startswith(begins)


@pytest.mark.usefixtures("waiting")
def test_the_second_plan_says_what_is_otherwise_and_afresh_does_not(run: Run) -> None:
    """Accepted, then fewer ordered: the change and its reason on the terminal and in JSON."""
    assert run("plan", "--seconds", "1", "--accept").exit_code == 0
    same = json.loads(run("plan", "--seconds", "1", "--json").stdout)
    assert same["changes"] == []
    assert run("amend", "S1", "--line", "S1-01=30").exit_code == 0
    told = run("plan", "--seconds", "1")
    assert "Changes from the accepted plan:" in told.stdout
    assert "30 animals are announced, 40 had a place" in told.stdout
    assert "Otherwise" not in run("plan", "--seconds", "1", "--afresh").stdout


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["plan", "--accept", "--picture", "space.gif"], ".svg or .png"),
        (["plan", "--accept", "--aims", "room,vats"], "held, moves and vats in any order"),
        (["plan", "--accept", "--worth", "S1-01"], "BATCH=COUNT"),
        (["plan", "--accept", "--worth", "S1-01=0"], "1 or more"),
        (["plan", "--accept", "--worth", "S9-01=3"], "S9-01"),
        (["capacity", "--mix", "mix.csv", "--picture", "room.jpg"], ".svg or .png"),
    ],
    ids=lambda value: value if isinstance(value, str) else " ".join(value),
)
def test_wishes_that_cannot_be_are_refused_before_anything_is_written(
    run: Run, waiting: Path, words: list[str], says: str
) -> None:
    """Exit 2 names what would do, and the books stay as they were although ``--accept`` was said."""
    before = bare(waiting)
    refused = run(*words)
    assert refused.exit_code == 2, refused.output
    assert says in refused.stderr
    assert bare(waiting) == before
