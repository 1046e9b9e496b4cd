"""Ctrl-C: a sentence and exit code 130, never a traceback or one bare word."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
import time
import tomllib
from pathlib import Path

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
