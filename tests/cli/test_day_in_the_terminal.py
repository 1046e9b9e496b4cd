"""The day in the terminal: today in twenty lines, tasks by number, the round, what may be sold, files left alone."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app import system_clock as clock
from intake.cli.command_table import COMMANDS, GROUPS, vatside
from tests.cli.conftest import AT, Run, bare


def test_help_lists_every_command_under_its_heading(run: Run) -> None:
    """Grouped by the day's path; none is lost, and none stands twice."""
    told = run("--help").stdout
    placed = [name for names in GROUPS.values() for name in names]
    assert len(placed) == len(set(placed))
    assert set(COMMANDS) - set(placed) <= {"feed", "feeds"}
    for head in GROUPS:
        assert f"{head}:" in told


def test_alone_it_shows_today_in_twenty_lines(run: Run, stocked: Path) -> None:
    """Late, due, landing, alarms; at most twenty lines of 80 columns."""
    told = run()
    assert told.exit_code == 0, told.output
    lines = told.stdout.splitlines()
    assert len(lines) <= 20
    assert max(map(len, lines)) <= 80
    assert "animals" in lines[0]
    assert "vatside --help" in lines[-1]


def test_alone_outside_a_farm_it_shows_help(tmp_path: Path) -> None:
    """No farm, no refusal: the commands."""
    told = CliRunner().invoke(vatside, ["--farm", str(tmp_path)])
    assert told.exit_code == 0
    assert "Before a shipment lands:" in told.output


def open_tasks(run: Run) -> list[dict[str, object]]:
    """Tasks that are open, with their numbers."""
    run("timetable")
    tasks = json.loads(run("timetable", "--json").stdout)["tasks"]
    return [
        one
        for one in tasks
        if one["state"] in {"due", "running", "late"} and one["number"] and "dip" not in str(one["kind"])
    ]


def test_several_tasks_are_recorded_by_their_numbers(run: Run, stocked: Path) -> None:
    """``done 3 4``: both are recorded, and each can be undone."""
    tasks = [
        one for one in open_tasks(run) if one["kind"] in {"inspect", "inspection", "round", "feeding", "siphon"}
    ] or open_tasks(run)
    first, second = (str(one["number"]) for one in tasks[:2])
    told = run("done", first, second, "--note", "calm", "--json")
    facts = json.loads(told.stdout)
    assert len(facts["keys"]) + len(facts["refused"]) >= 2, facts
    assert run("done", "999999").exit_code == 2


def test_a_task_another_did_keeps_none_of_the_others_from_being_recorded(run: Run, stocked: Path) -> None:
    """One named again is said to be done, with its title, and not to be unknown; the next one is recorded all the same."""
    tasks = [one for one in open_tasks(run) if one["kind"] != "transfer"]
    first, second = (str(one["number"]) for one in tasks[:2])
    told = run("done", first)
    assert told.exit_code == 0
    assert "()" not in told.stdout
    again = run("done", first, second)
    assert again.exit_code == 1
    assert f"task {first}: done: " in again.stderr
    assert again.stdout.count("Done: ") == 1
    assert run("done", first, second).exit_code == 2


def test_a_range_of_tasks_runs_forward(run: Run, stocked: Path) -> None:
    """``9-7`` is a slip."""
    told = run("done", "9-7")
    assert told.exit_code == 2
    assert "the smaller number first" in told.stderr


def test_animals_in_quarantine_are_not_for_sale(run: Run, stocked: Path) -> None:
    """A shipment just received stands on no stock list."""
    assert json.loads(run("round", "--json").stdout)
    assert json.loads(run("stocklist", "--json").stdout) == []


def test_the_round_is_listed_and_recorded(run: Run, stocked: Path) -> None:
    """Each vat with animals and its work; deaths and temperatures in one command."""
    stops = json.loads(run("round", "--json").stdout)
    assert stops
    stop = stops[0]
    batch = stop["stands"][0]["batch"]
    told = run("round", "--dead", f"{batch}/{stop['vat']}=1", "--temp", f"{stop['system']}=25.8")
    assert told.exit_code == 0, told.output
    after = json.loads(run("round", "--json").stdout)[0]
    assert after["stands"][0]["count"] == stop["stands"][0]["count"] - 1
    assert after["temperature_c"] == pytest.approx(25.8)


def test_the_round_asks_vat_by_vat(stocked: Path) -> None:
    """Enter goes on; a wrong answer is reported and asked again."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(clock, "now", lambda: AT)
        told = CliRunner().invoke(vatside, ["--farm", str(stocked), "round", "--ask"], input="warm\n25.8\n" + "\n" * 60)
    assert told.exit_code == 0, told.output
    assert "✗" in told.output
    assert "The round is finished." in told.output


def test_the_last_act_is_listed_with_its_key_and_undone(run: Run, stocked: Path) -> None:
    """A slip is found in the journal and taken back by the key shown there; without a key the last is offered."""
    stop = json.loads(run("round", "--json").stdout)[0]
    batch, before = stop["stands"][0]["batch"], stop["stands"][0]["count"]
    assert run("count", batch, "--vat", stop["vat"], "--dead", "2").exit_code == 0
    acts = json.loads(run("journal", "--json").stdout)
    assert acts[0]["undo"]
    assert batch in " ".join(acts[0]["words"])
    offered = run("undo")
    assert offered.exit_code == 2
    assert f"vatside undo {acts[0]['key']}" in offered.stderr
    assert run("undo", "--yes").exit_code == 0
    assert json.loads(run("round", "--json").stdout)[0]["stands"][0]["count"] == before
    assert "undone" in run("journal").stdout


def test_what_may_be_sold_is_listed_and_written(run: Run, farm_folder: Path, tmp_path: Path) -> None:
    """Animals in quarantine are not for sale; what stands in grow-out is, with the farm's price."""
    (farm_folder / "library").mkdir(exist_ok=True)
    (farm_folder / "library" / "prices.csv").write_text(
        "name,price,currency\nZoanthus sp.,4.50,EUR\n", encoding="utf-8"
    )
    assert json.loads(run("stocklist", "--json").stdout) == []
    stock = tmp_path / "in.csv"
    stock.write_text(
        "vat,name,group,size_mm,count,since,stage\nG1,Zoanthus sp.,zoanthid,30,5,2026-01-01,grow-out\n",
        encoding="utf-8",
    )
    assert run("stock", str(stock)).exit_code == 0
    rows = json.loads(run("stocklist", "--json").stdout)
    assert [(row["name"], row["count"], row["vat"], row["price"], row["currency"]) for row in rows] == [
        ("Zoanthus sp.", 5, "G1", "4.50", "EUR")
    ]
    out = tmp_path / "stock.csv"
    told = run("stocklist", "--out", str(out))
    assert told.exit_code == 0, told.output
    with out.open(encoding="utf-8-sig") as file:
        assert [row["name"] for row in csv.DictReader(file)] == ["Zoanthus sp."]


@pytest.mark.parametrize(
    "name",
    [
        "farm.toml",
        "farm.db",
        "library/x.ics",
        "inbox/x.ics",
        "backups/x.ics",
        "claims",
        "photos",
        "tls/x.ics",
        "out",
        "out/feeds",
    ],
)
def test_a_calendar_never_overwrites_what_the_farm_lives_by(run: Run, farm_folder: Path, name: str) -> None:
    """``feed --out farm.db`` is refused, and the file stays as it was; no file takes the place of a folder to come."""
    run("check")
    (farm_folder / name).parent.mkdir(exist_ok=True)
    before = bare(farm_folder)
    told = run("feed", "--out", str(farm_folder / name))
    assert told.exit_code == 2, told.output
    assert "another" in told.stderr
    assert {key: value for key, value in bare(farm_folder).items() if key != "entries"} == {
        key: value for key, value in before.items() if key != "entries"
    }


def test_a_file_of_another_kind_is_left_alone(run: Run, farm_folder: Path, tmp_path: Path) -> None:
    """A letter is no calendar; an older calendar is."""
    letter, calendar = tmp_path / "letter.txt", tmp_path / "farm.ics"
    letter.write_text("Dear keeper", encoding="utf-8")
    assert run("feed", "--out", str(letter)).exit_code == 2
    assert letter.read_text(encoding="utf-8") == "Dear keeper"
    assert run("feed", "--out", str(calendar)).exit_code == 0
    assert run("feed", "--out", str(calendar)).exit_code == 0


@pytest.mark.parametrize(
    "words", [("stock", "/dev/zero"), ("readings", "/dev/zero", "--vat", "G1"), ("history", "/dev/zero")]
)
def test_a_device_is_no_file(run: Run, farm_folder: Path, words: tuple[str, ...]) -> None:
    """A file that never ends is refused at once, whatever the command."""
    told = run(*words)
    assert told.exit_code == 2, told.output
    assert "no ordinary file" in told.stderr
    assert "Traceback" not in told.output
