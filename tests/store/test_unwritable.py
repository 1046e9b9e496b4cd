"""A disk that is full or mounted for reading only: what stands can be read, and what cannot be saved is said in true words."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from intake.errors import StoreTrouble
from intake.store import Books
from tests.ledger.books import Scribe, hour


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A small disk of its own, in memory."""
    place = tmp_path / "disk"
    place.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(place)]
    if (
        os.geteuid() != 0
        or shutil.which("mount") is None
        or subprocess.run(command, capture_output=True, check=False).returncode
    ):
        pytest.skip("only root, where it may mount, can make a disk for this test")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def filled(file: Path) -> None:
    """Books with one batch, closed."""
    with Books.open(file) as books, books.write() as unit:
        unit.move(Scribe().move("S1-01", "supplier > vat:Q1", 9))


def test_books_on_a_disk_for_reading_only_can_be_read(disk: Path) -> None:
    """A stick with its switch on, a disk that was mounted again after an error."""
    filled(disk / "farm.db")
    subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
    with Books.open(disk / "farm.db") as books:
        assert books.view().floor(hour(1)).headcount("S1-01") == 9
        assert books.prove(hour(1)).faults == ()
        with pytest.raises(StoreTrouble, match=r"can be written\. Reading"), books.write() as unit:
            unit.move(Scribe().move("S1-01", "vat:Q1 > dead", 1, 1, key="late"))
        assert books.view().held("S1-01")["vat:Q1"] == 9


def test_books_on_a_full_disk_can_be_read_and_lose_nothing(disk: Path) -> None:
    """What cannot be saved is refused whole; with room again the books go on."""
    filled(disk / "farm.db")
    with suppress(OSError):
        (disk / "fill").write_bytes(b"x" * (8 << 20))  # twice the disk
    assert shutil.disk_usage(disk).free == 0
    with Books.open(disk / "farm.db") as books:
        assert books.view().floor(hour(1)).headcount("S1-01") == 9
        with pytest.raises(StoreTrouble, match=r"room on the disk|Free some space"), books.write() as unit:
            unit.move(Scribe().move("S1-01", "vat:Q1 > dead", 1, 1, key="late"))
    (disk / "fill").unlink()
    with Books.open(disk / "farm.db") as books:
        with books.write() as unit:
            unit.move(Scribe().move("S1-01", "vat:Q1 > dead", 1, 1, key="late"))
        assert books.view().held("S1-01")["vat:Q1"] == 8
        assert books.prove(hour(2)).faults == ()
