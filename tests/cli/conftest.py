"""The command line on the small invented farm, with the clock held still and the books watched."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from intake.app import system_clock as clock
from intake.cli.command_table import vatside
from intake.store import Books
from tests.app.deliveries import Open, received
from tests.conftest import NOON

__all__ = ["Run", "bare"]

Run = Callable[..., Result]
AT = NOON + timedelta(hours=5)
"""When the commands of these tests are given."""


@pytest.fixture
def run(farm_folder: Path) -> Run:
    """Give a command on the farm at a moment; stdout and stderr apart."""

    def give(*words: str, at: datetime = AT, farm: Path | None = None) -> Result:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(clock, "now", lambda: at)
            return CliRunner().invoke(vatside, ["--farm", str(farm or farm_folder), *words])

    return give


@pytest.fixture
def stocked(farm_folder: Path, house_at: Open) -> Path:
    """The farm's folder after its shipment S1 was received."""
    received(house_at).books.close()
    return farm_folder


def bare(folder: Path) -> dict[str, str]:
    """Everything a command could have written: the entries of the books, and every other file by its content."""
    with Books.open(folder / "farm.db") as books:
        seen = {"entries": repr(books.entries())}
    for path in sorted(folder.rglob("*")):
        if path.is_file() and not path.name.startswith("farm.db"):
            seen[str(path.relative_to(folder))] = hashlib.sha256(path.read_bytes()).hexdigest()
    return seen
