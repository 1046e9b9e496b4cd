"""The commands, options and keys that others rely on exist as the contract names them, and help fits a terminal."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from intake.app.commands import count_animals
from intake.app.session import open_house
from intake.cli.command_table import COMMANDS, GROUPS, vatside
from tests.bench.ages import grown
from tests.board.conftest import write_farm
from tests.cli.conftest import Run

OPTIONS: dict[str, set[str]] = {
    "demo": {"folder", "--days", "--serve"},
    "init": {"folder"},
    "check": {"--json"},
    "expect": {"file", "--supplier", "--lands", "--columns", "--json"},
    "plan": {"--what-if", "--accept", "--seconds", "--json"},
    "capacity": {"--mix", "--from", "--to", "--json"},
    "timetable": {"--replan", "--json"},
    "print": {"what", "--shipment", "--batch", "--paper", "--out"},
    "feed": {"--for", "--out"},
    "feeds": {"--create", "--revoke", "--json"},
    "serve": {"--host", "--port"},
    "receive": {"shipment"},
    "count": {"batch", "--vat", "--doa", "--dead", "--missing", "--key"},
    "done": {"task"},
    "finding": {"batch"},
    "reading": {"place"},
    "move": {"batch", "--from", "--to", "--count"},
    "cut": {"parent", "--pieces", "--vat"},
    "claim": {"shipment", "--json"},
    "trace": {"--batch", "--vat", "--system", "--since", "--picture", "--json"},
    "report": set(),
    "water": set(),
    "acclimate": set(),
    "sample": {"--lot", "--prevalence", "--confidence", "--sensitivity", "--json"},
}
"""Command → what the contract says it takes."""


def _command(name: str) -> click.Command:
    found = vatside.get_command(click.Context(vatside), name)
    assert found is not None
    return found


@pytest.mark.parametrize("name", OPTIONS)
def test_the_contracts_options_exist(name: str) -> None:
    """An acceptance check or a script of the farm calls them by these names."""
    have = {word for option in _command(name).params for word in (*option.opts, option.name or "")}
    assert OPTIONS[name] - have == set()


@pytest.mark.parametrize(("name", "below"), [("report", "losses suppliers vats permits"), ("water", "oxygen density")])
def test_commands_with_commands_of_their_own(name: str, below: str) -> None:
    """``report losses`` and ``water oxygen`` are words of the contract too."""
    told = CliRunner().invoke(vatside, [name, "--help"]).output
    assert all(word in told for word in below.split())


@pytest.mark.parametrize("name", COMMANDS)
def test_help_fits_eighty_columns_and_shows_an_example(name: str) -> None:
    """Help that wraps is not read; an example is copied before anything is read."""
    told = CliRunner().invoke(vatside, [name, "--help"])
    assert told.exit_code == 0
    assert max(map(len, told.output.splitlines())) <= 80
    assert "Example" in told.output


def test_help_of_the_whole_lists_every_command_in_the_order_of_the_work() -> None:
    """The list is the table of contents of the job, under a heading for each part of it."""
    lines = CliRunner().invoke(vatside, ["--help"]).output.splitlines()
    first = lines.index(f"{next(iter(GROUPS))}:")
    listed = [line.split()[0] for line in lines[first + 1 :] if line.startswith("  ") and line[2] != " "]
    assert listed == [name for names in GROUPS.values() for name in names]
    assert {*listed, "feed", "feeds"} == set(COMMANDS)
    assert max(map(len, lines)) <= 80


def test_help_imports_nothing_heavy() -> None:
    """A crew member who mistypes waits for an interpreter, not for pandas."""
    code = (
        "import sys\nfrom intake.cli.command_table import vatside\n"
        "try:\n    vatside(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'pandas', 'numpy', 'sqlalchemy', 'reportlab', 'ortools', 'pydantic', 'icalendar'} & set(sys.modules)\n"
        "sys.exit(f'imported {heavy}' if heavy else 0)"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert told.returncode == 0, told.stderr


def test_a_mistyped_command_is_answered_with_the_nearest() -> None:
    """Exit 2, one line, no list of thirty."""
    told = CliRunner().invoke(vatside, ["timetabel"])
    assert told.exit_code == 2
    assert "timetable" in told.output


PLAN = {"plan", "status", "announced", "placed", "placed_bound", "objectives", "placements", "moves", "short", "relief"}
PLACEMENT = {"batch", "vat", "stage", "count", "from", "until"}
TASK = {"uid", "kind", "batch", "vat", "start", "end", "staff", "station", "sequence", "why"}
LIST = "Box,Scientific name,Size (cm),Qty,Unit price EUR\n1,Tridacna maxima,4,{count},4.20\n2,Zoanthus sp.,3,20,9.00\n"


def listed(folder: Path, count: int = 60) -> Path:
    """A clear packing list with ``count`` clams."""
    path = folder.parent / "list.csv"
    path.write_text(LIST.format(count=count), encoding="utf-8")
    return path


def answer(run: Run, *words: str, code: int = 0) -> Any:
    """The JSON a command prints, and nothing else on stdout."""
    told = run(*words, "--json")
    assert told.exit_code == code, told.output
    assert told.stderr == ""
    return json.loads(told.stdout)


def expected(run: Run, path: Path) -> Any:
    """The list entered as S1, landing in four days."""
    return answer(run, "expect", str(path), "--supplier", "one", "--lands", "2027-03-08T09:00")


def test_a_plan_in_json(run: Run, farm_folder: Path) -> None:
    """Keys of the contract; a proved plan says so, with a bound for each aim."""
    expected(run, listed(farm_folder))
    plan = answer(run, "plan", "--seconds", "3")
    assert PLAN | {"seconds"} <= set(plan)
    assert (plan["status"], plan["announced"], plan["placed"], plan["placed_bound"]) == ("optimal", 80, 80, 80)
    assert all(set(aim) >= {"name", "value", "bound", "proved"} for aim in plan["objectives"])
    assert all(set(row) >= PLACEMENT for row in plan["placements"])
    assert sum(row["count"] for row in plan["placements"] if row["stage"] == "quarantine") == 80


def test_a_plan_that_is_short_exits_1_and_tells_what_binds(run: Run, farm_folder: Path) -> None:
    """That it does not fit is an answer: exit 1, who is left out, what binds, what would help."""
    expected(run, listed(farm_folder, 9000))
    plan = answer(run, "plan", "--seconds", "2", code=1)
    assert plan["status"] == "short"
    left = plan["announced"] - plan["placed"]
    assert left == sum(row["count"] for row in plan["short"]) > 0
    assert all(set(b) >= {"resource", "where", "need", "have"} for row in plan["short"] for b in row["binding"])
    assert all(set(row) >= {"do", "frees", "cost", "places"} for row in plan["relief"])
    refused = run("plan", "--accept", "--seconds", "2")
    assert refused.exit_code == 2
    assert "--short" in refused.stderr
    taken = run("plan", "--accept", "--short", "--seconds", "2")
    assert (taken.exit_code, "accepted" in taken.stdout) == (0, True)


def test_a_timetable_in_json(run: Run, stocked: Path) -> None:
    """Keys of the contract; times carry the farm's offset."""
    table = answer(run, "timetable", "--seconds", "1")
    assert set(table) >= {"tasks", "unplaced"}
    assert all(set(task) >= TASK for task in table["tasks"])
    assert table["tasks"]
    assert len({task["uid"] for task in table["tasks"]}) == len(table["tasks"])


def test_reading_commands_print_json_alone(run: Run, stocked: Path) -> None:
    """A script pipes stdout into a parser: not a word beside the JSON, whatever the answer."""
    assert answer(run, "check")["sound"] is True
    assert answer(run, "shipments")[0]["shipment"] == "S1"
    assert answer(run, "claim")[0]["shipment"] == "S1"
    assert answer(run, "claim", "S1", "--out", str(stocked / "o"))["claimable"] == 0
    assert answer(run, "feeds") == []
    assert set(answer(run, "feeds", "--create", "ada")) == {"id", "for", "address"}
    assert answer(run, "count", "S1-01", "--dead", "1")["keys"]
    assert isinstance(answer(run, "report", "losses"), dict | list)
    assert isinstance(answer(run, "trace", "--batch", "S1-01"), dict | list)
    assert isinstance(answer(run, "release"), dict | list)


def test_refusals_are_json_too(run: Run, stocked: Path) -> None:
    """Where, value, expected and do, for a program as for a person."""
    told = run("count", "S9-01", "--dead", "1", "--json")
    assert told.exit_code == 2
    finding = json.loads(told.stdout)["findings"][0]
    assert set(finding) == {"where", "value", "expected", "do"}
    assert finding["value"] == "S9-01"
    assert "S1-01" in finding["do"]


def test_times_are_printed_in_the_farms_zone(run: Run, stocked: Path) -> None:
    """Lisbon in summer is an hour ahead of UTC: a claim for noon UTC must not say noon."""
    told = run("expect", str(listed(stocked)), "--supplier", "one", "--lands", "2027-07-01T09:00", "--shipment", "S7")
    assert told.exit_code == 0, told.output
    moved = run("amend", "S7", "--lands", "2027-07-02T12:00+00:00")
    assert "2027-07-02 13:00" in moved.stdout
    shown = run("shipments").stdout
    assert "2027-07-02T13:00" in shown


def test_a_count_imports_what_it_needs(tmp_path: Path) -> None:
    """Whoever counts at the vat waits for the ledger and the farm file: for no solver, no table, no paper and no page."""
    batch, vat = grown(tmp_path / "farm", 1_000).split()
    code = (
        "import sys\nfrom intake.main import main\n"
        f"sys.argv = ['vatside', '--farm', {str(tmp_path / 'farm')!r}, 'count', {batch!r}, '--vat', {vat!r}, '--dead', '1']\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code, end.code\n"
        "heavy = {'numpy', 'scipy', 'pandas', 'ortools', 'highspy', 'gsw', 'PyCO2SYS', 'icalendar', 'jinja2', 'starlette',"
        " 'uvicorn', 'reportlab', 'PIL', 'cryptography', 'forms'} & set(sys.modules)\n"
        "sys.exit(f'imported {heavy}' if heavy else 0)"
    )
    first, told = (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False) for _ in range(2)
    )
    assert "ortools" in first.stderr  # the very first makes the timetable: a guard that cannot see guards nothing
    assert told.returncode == 0, told.stderr
    assert f"1 dead of {batch}" in told.stdout


def test_the_day_in_short_imports_no_solver_and_no_tables_of_distributions(tmp_path: Path) -> None:
    """Bare `vatside` is asked many times a day; scipy.stats alone takes most of a second to import."""
    farm = write_farm(tmp_path / "farm", datetime.now(UTC) - timedelta(hours=6))
    house = open_house(farm, who="ada")
    for _ in range(3):  # deaths enough that alarms are judged and what the dead share is looked for
        count_animals.count(house, "S1-01", "Q1", count_animals.Count(dead=25), despite="the pump had stopped")
    house.books.close()
    code = (
        "import sys\nfrom intake.main import main\n"
        f"sys.argv = ['vatside', '--farm', {str(farm)!r}]\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code, end.code\n"
        "assert 'numpy' in sys.modules, 'alarms were not judged'\n"
        "heavy = {'scipy.stats', 'scipy.optimize', 'pandas', 'ortools', 'highspy', 'jinja2', 'starlette', 'reportlab'}\n"
        "sys.exit(f'imported {heavy & set(sys.modules)}' if heavy & set(sys.modules) else 0)"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert told.returncode == 0, told.stderr
    assert "animals" in told.stdout


def test_check_counts_the_animals_on_the_dock_too(tmp_path: Path) -> None:
    """One number of animals at every door: vats and dock, with what stands on the dock named."""
    farm = write_farm(tmp_path / "farm", datetime.now(UTC) - timedelta(hours=6))
    command = [sys.executable, "-m", "intake", "--farm", str(farm)]
    checked = subprocess.run([*command, "check"], capture_output=True, text=True, check=False).stdout
    today = subprocess.run(command, capture_output=True, text=True, check=False).stdout
    alive = int(re.search(r"([\d,]+) animals", today)[1].replace(",", ""))  # type: ignore[index]
    house = open_house(farm)
    docked = sum(number for (_, place), number in house.alive().items() if place == "dock")
    house.books.close()
    assert docked > 0, "the farm of this test leaves animals on the dock"
    assert f"{alive} animals alive, {docked} of them on the dock" in " ".join(checked.split())
