"""From a finding to the last hold lifted, by commands alone; and warmth that departs from the plan moves the repeats."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from intake.app.commands import move_animals, record_observation
from intake.app.queries.planning import published_timetable
from intake.cli.command_table import COMMANDS
from tests.app.deliveries import LANDED, Open, received
from tests.cli.conftest import AT, Run

EGGS = "S1-02/coral-egg-scrape/Q1"


@pytest.fixture(autouse=True)
def commands(monkeypatch: pytest.MonkeyPatch) -> None:
    """The two commands of this room, whether or not the table of commands names them yet."""
    monkeypatch.setitem(
        COMMANDS,
        "replumb",
        ("intake.cli.recording.replumb_and_carried:replumb", "Record a vat joined to another system."),
    )
    monkeypatch.setitem(
        COMMANDS,
        "carried",
        ("intake.cli.recording.replumb_and_carried:carried", "Record a tool carried wet between vats."),
    )


def told(run: Run, *words: str, **more: Any) -> Any:
    """The answer of a command, as JSON."""
    done = run(*words, "--json", **more)
    return json.loads(done.stdout)


def in_the_way(run: Run, batch: str, at: datetime) -> str:
    """What `release` says stands in the way of a batch; while something does, it exits 1."""
    done = run("release", "--batch", batch, "--json", at=at)
    [row] = json.loads(done.stdout)
    assert (done.exit_code == 0) == row["releasable"]
    return "\n".join(row["stands_in_the_way"])


def test_holds_are_placed_on_all_that_was_reached_and_lifted_one_by_one_with_a_reason(stocked: Path, run: Run) -> None:
    """One act holds, the release names each hold and why, and only a reason in words lifts it."""
    assert stocked.is_dir()
    later = AT + timedelta(minutes=30)
    run("finding", "S1-02", "acropora-flatworm", "--vat", "Q1")
    reached = {row["batch"] for row in told(run, "trace", "--batch", "S1-02") if row["way"] == "forward"}
    assert reached == {"S1-01", "S1-03"}
    held = told(run, "hold", "S1-02", "--reason", "flatworms", "--reached")
    assert len(held["keys"]) == 3
    assert all("on hold since" in in_the_way(run, lot, later) for lot in ("S1-01", "S1-02", "S1-03"))
    for refused in ([], ["--reason", ""], ["--reason", "  "]):
        assert run("hold", "S1-01", "--lift", *refused, at=later).exit_code == 2
    assert "on hold since" in in_the_way(run, "S1-01", later)
    assert run("hold", "S1-01", "--lift", "--reason", "clam, no host of it", at=later).exit_code == 0
    assert "on hold" not in in_the_way(run, "S1-01", later + timedelta(minutes=1))
    assert "on hold since" in in_the_way(run, "S1-03", later + timedelta(minutes=1))


def test_a_tool_carried_wet_is_told_and_not_held(house_at: Open, run: Run) -> None:
    """It is weaker than shared water: look at the lot, do not stop it."""
    grown(house_at)
    assert run("carried", "net 4", "--from", "Q1", "--to", "G1").exit_code == 0
    [row] = [
        row
        for row in told(run, "trace", "--batch", "S1-02", at=AT + timedelta(minutes=1))
        if row["batch"] == "H1" and row["way"] == "forward"
    ]
    assert (row["how"], row["weak"], row["where"]) == ("tool or person", True, "net 4")
    run("hold", "S1-02", "--reason", "flatworms", "--reached", at=AT + timedelta(minutes=2))
    floor = house_at(AT + timedelta(minutes=3)).floor()
    assert {hold.batch for hold in floor.holds} == {"S1-01", "S1-02", "S1-03"}


def test_a_vat_joined_to_other_water_brings_its_animals_into_other_company(house_at: Open, run: Run) -> None:
    """From then on those of the water it joined are reached, and those of the water it left before that."""
    grown(house_at)
    assert not any(row["batch"] == "H1" for row in told(run, "trace", "--batch", "S1-02"))
    asked = run("replumb", "G1", "--from", "growout", "--to", "quarantine")
    assert (asked.exit_code, "(joined-supplier)" in asked.output) == (2, True)
    lifted = ("--despite", "the pump of G1 broke")
    done = run("replumb", "G1", "--from", "growout", "--to", "quarantine", *lifted)
    assert done.exit_code == 0
    assert 'farm.toml still says system = "growout"' in done.output
    rows = told(run, "trace", "--batch", "S1-02", at=AT + timedelta(days=2))
    assert {(row["how"], row["weak"]) for row in rows if row["batch"] == "H1"} == {("shared water", False)}


@pytest.mark.parametrize(
    "words",
    [
        ("replumb", "G1", "--from", "growout", "--to", "growout"),
        ("replumb", "G1", "--from", "growout", "--to", "grow"),
        ("replumb", "G7", "--from", "growout", "--to", "quarantine"),
        ("carried", "net", "--from", "Q1", "--to", "Q1"),
        ("carried", " ", "--from", "Q1", "--to", "Q2"),
        ("carried", "net", "--from", "Q1", "--to", "Q9"),
    ],
)
def test_what_cannot_be_is_refused_and_not_written(house_at: Open, run: Run, words: tuple[str, ...]) -> None:
    """Exit 2, and the books as before."""
    before = len(grown(house_at).entries())
    assert run(*words).exit_code == 2
    assert len(house_at(AT).entries()) == before


def test_cuttings_are_free_once_they_have_healed(house_at: Open, run: Run) -> None:
    """They are not in quarantine, so what stands in their way is the healing and a hold, nothing else."""
    house = grown(house_at)
    move_animals.cut(house, "H1", 6, "G2")
    [batch] = [batch.id for batch in house_at(AT).floor().batches.values() if batch.parent == "H1"]
    early, late = AT + timedelta(days=3), AT + timedelta(days=14)
    assert in_the_way(run, batch, early).startswith("fresh cuttings heal until 2027-03-18")
    assert in_the_way(run, batch, late) == ""
    run("hold", batch, "--reason", "pale", at=late)
    assert "pale" in in_the_way(run, batch, late + timedelta(minutes=1))


def grown(house_at: Open) -> Any:
    """The farm with S1 in quarantine and a batch H1 that grows in G1."""
    house = received(house_at)
    add_stock(house)
    return house_at(LANDED + timedelta(hours=2))


def add_stock(house: Any) -> None:
    """Ten pieces of H1 in G1, as a first stocktake books them."""
    from intake.farm.floor import Batch
    from intake.ledger import batch_payload

    with house.act() as act:
        batch = Batch("H1", "Montipora", "stony_montipora", 40.0, 10, "", 0, "", ())
        act.note("batch", batch.id, batch_payload(batch))
        act.move("H1", "opening", "vat:G1", 10)


def test_water_cooler_than_planned_puts_the_repeat_off_and_says_by_what_arithmetic(house_at: Open, run: Run) -> None:
    """Planned at 26.4 °C; 24.9 °C logged: eggs hatch later, so the second inspection comes later; 0.9 °C less does not."""
    received(house_at, (("zoanthid", "Q2", 40), ("stony_branching_acropora", "Q1", 40)))
    day = LANDED + timedelta(hours=3)
    first = second_inspection(run, day)
    run("reading", "quarantine", "temperature_c", "25.5", at=day)
    assert second_inspection(run, day + timedelta(minutes=5))["start"] == first["start"]
    run("reading", "quarantine", "temperature_c", "24.1", at=day + timedelta(hours=1))
    cooler = second_inspection(run, day + timedelta(hours=1, minutes=5))
    assert datetime.fromisoformat(cooler["start"]) - datetime.fromisoformat(first["start"]) > timedelta(days=1)
    assert "26.4 °C" in first["why"]
    assert "24.8 °C" in cooler["why"]
    assert "0.9 ×" in cooler["why"]


def second_inspection(run: Run, at: datetime) -> dict[str, Any]:
    """The second scraping of eggs, as `timetable` places it."""
    tasks = told(run, "timetable", "--seconds", "0.5", at=at)["tasks"]
    [found] = [task for task in tasks if task["uid"].startswith(f"{EGGS}/2")]
    return dict(found)


def test_late_work_is_named_with_how_late_it_is(house_at: Open, run: Run) -> None:
    """A number of late tasks sends nobody to a vat: the latest of them are named, each with its place and time."""
    received(house_at)
    assert "0 late." in run("timetable", "--seconds", "0.5").stdout
    then = AT + timedelta(days=70)
    house = house_at(then)
    for task in published_timetable.published_tasks(house):
        if task["kind"] != "release check":
            record_observation.done(house, str(task["uid"]), at=datetime.fromisoformat(str(task["end"])))
    said = " ".join(run("timetable", "--seconds", "0.5", at=then).stdout.split())
    late = re.search(r"([1-9]\d*) late\. late: Release check: .+? in Q\d: \w+ \d\d \w+ \d\d:\d\d, (\d+) d past", said)
    assert late is not None, said
    assert int(late[1]) == said.count("past its latest start")
    assert 10 < int(late[2]) < 30
