"""Ctrl-C: a sentence and exit code 130, never a traceback or one bare word."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
import tomllib
from pathlib import Path
from typing import Any

import pytest

from intake.app.landing import kept_day
from intake.app.queries.season import season_answer
from tests.app.deliveries import Open, announced
from tests.cli.conftest import Run
from tests.conftest import NOON

ROOT = Path(__file__).parents[2]


def vatside(folder: Path, *words: str) -> subprocess.Popen[str]:
    """A command in a process of its own."""
    command = [sys.executable, "-m", "intake", "--farm", str(folder), *words]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_a_command_stopped_while_it_waits_says_that_nothing_was_saved(tmp_path: Path) -> None:
    """Another program writes and the reading waits: whoever gives up learns what stands, and a script sees 130."""
    farm = tmp_path / "farm"
    vatside(tmp_path, "init", str(farm)).communicate(timeout=60)
    place = next(iter(tomllib.loads((farm / "farm.toml").read_text(encoding="utf-8"))["system"]))
    reading = ("reading", place, "temperature_c", "25")
    first = vatside(farm, *reading)
    first.communicate(timeout=60)
    assert first.returncode == 0  # what is stopped below would have been saved
    blocker = sqlite3.connect(farm / "farm.db", isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    process = vatside(farm, *reading)
    time.sleep(5)
    process.send_signal(signal.SIGINT)
    said, told = process.communicate(timeout=60)
    blocker.rollback()
    count = blocker.execute("SELECT count(*) FROM record WHERE kind = 'reading'").fetchone()
    blocker.close()
    assert process.returncode == 130, told
    assert told.strip() == "Stopped. Nothing was saved by this command beyond what it has reported."
    assert "Traceback" not in said + told
    assert count == (1,)


@pytest.mark.parametrize(
    ("where", "words", "said"),
    [
        ("intake.app.commands.schedule_work.schedule", ["timetable"], "No task was moved"),
        ("intake.app.documents.printing.print_forms", ["print", "sheets"], "none is half written"),
    ],
)
def test_a_search_or_print_that_is_stopped_says_what_stands(
    run: Run, stocked: Path, monkeypatch: pytest.MonkeyPatch, where: str, words: list[str], said: str
) -> None:
    """One sentence that is true of this command, and 130."""

    def pressed(*_args: object, **_kinds: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(where, pressed)
    told = run(*words)
    assert told.exit_code == 130, told.output
    assert said in told.stderr
    assert "Aborted" not in told.output
    assert stocked.is_dir()


def test_a_landing_day_that_is_stopped_is_kept_as_far_as_it_was_found(
    run: Run, house_at: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C while it is searched: the best so far is shown and kept, and a script sees 130."""
    announced(house_at())
    plan = kept_day.planned_day

    def interrupted(*args: Any, **kinds: Any) -> Any:
        os.kill(os.getpid(), signal.SIGINT)
        return plan(*args, **kinds)

    monkeypatch.setattr(kept_day, "planned_day", interrupted)
    told = run("day", "S1", "--seconds", "1", at=NOON)
    assert told.exit_code == 130, told.output
    assert "Stopped: this is the best day found so far. It is the working plan now." in told.stderr
    assert run("day", "S1", "--seconds", "1", "--propose", at=NOON).exit_code == 130
    monkeypatch.undo()
    assert run("day", "S1", at=NOON).exit_code == 0


def test_a_season_that_is_stopped_shows_the_best_orders_so_far(
    run: Run, stocked: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C while it is searched: the answer says so, and a script sees 130."""
    file = stocked / "season.toml"
    file.write_text(run("season", "--example").output, encoding="utf-8")
    plan = season_answer.plan_season

    def interrupted(*args: Any, **kinds: Any) -> Any:
        os.kill(os.getpid(), signal.SIGINT)
        return plan(*args, **kinds)

    monkeypatch.setattr(season_answer, "plan_season", interrupted)
    told = run("season", str(file), "--seconds", "5")
    assert told.exit_code == 130, told.output
    assert "Stopped: this is the best plan found so far." in told.output
    told = run("season", str(file), "--seconds", "5", "--json")
    assert told.exit_code == 130
    assert json.loads(told.stdout)["stopped"] is True
