"""Copies: whole while others write, checked, never overwriting, and put back by one call."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from intake.errors import StoreTrouble
from intake.ledger import check
from intake.store import Books, restore, verify
from tests.ledger.books import Scribe


def filled(books: Books) -> None:
    """One small act in the books."""
    scribe = Scribe()
    with books.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > vat:Q1", 50))
        unit.note(scribe.note("received", "S1"))


def test_a_backup_holds_the_same_entries_with_the_same_numbers(books: Books, tmp_path: Path) -> None:
    """A farm may go home with its books from either database as one file."""
    filled(books)
    copy = books.backup(tmp_path / "copy.db")
    assert verify(copy) == books.entries()
    with Books.open(copy) as other:
        assert other.entries() == books.entries()


def test_a_backup_never_overwrites(books: Books, tmp_path: Path) -> None:
    """Yesterday's good copy is worth more than today's unchecked one."""
    (tmp_path / "copy.db").write_text("precious")
    with pytest.raises(StoreTrouble, match="never overwritten"):
        books.backup(tmp_path / "copy.db")
    assert (tmp_path / "copy.db").read_text() == "precious"


def test_a_backup_into_no_folder_leaves_nothing(books: Books, tmp_path: Path) -> None:
    """The reason is reported, no half copy is left."""
    with pytest.raises(StoreTrouble):
        books.backup(tmp_path / "none" / "copy.db")
    assert not any("copy" in file.name for file in tmp_path.iterdir())


def test_copies_made_during_counting_are_consistent(opened: Callable[[], Books], tmp_path: Path) -> None:
    """Each copy holds whole acts only: every act here moves two animals in two entries."""
    books = opened()
    scribe = Scribe()
    with books.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > vat:Q1", 10_000))
    stop = threading.Event()

    def count() -> None:
        counting = opened()
        while not stop.is_set():
            with counting.write() as unit:
                unit.move(scribe.move("S1-01", "vat:Q1 > dead", 1, 1))
                unit.move(scribe.move("S1-01", "vat:Q1 > sold", 1, 1))

    worker = threading.Thread(target=count)
    worker.start()
    try:
        copies = [books.backup(tmp_path / f"copy{number}.db") for number in range(4)]
    finally:
        stop.set()
        worker.join()
    for copy in copies:
        entries = verify(copy)
        assert len(entries) % 2 == 1
        assert check(entries) == []


def test_a_copy_that_does_not_add_up_never_gets_the_good_name(tmp_path: Path) -> None:
    """Animals that came from nowhere, written past the program: kept aside as unsound, and reported."""
    file = tmp_path / "farm.db"
    with Books.open(file) as books:
        raw = sqlite3.connect(file)
        moment = "2026-01-05T08:00:00.000000+00:00"
        row = f"(1, 'S1-01', 'sold', 'dead', 5, '{moment}', '{moment}', 'Ada', 'k', NULL, '', '', 'x')"
        raw.execute(f"INSERT INTO movement VALUES {row}")
        raw.commit()
        raw.close()
        with pytest.raises(StoreTrouble, match="S1-01"):
            books.backup(tmp_path / "copy.db")
    assert not (tmp_path / "copy.db").exists()
    assert (tmp_path / "copy.db.unsound").exists()


def test_restoring_puts_the_copy_back_and_keeps_what_was_there(tmp_path: Path) -> None:
    """A restore is undone by restoring the file it set aside."""
    file = tmp_path / "farm.db"
    with Books.open(file) as books:
        filled(books)
        copy = books.backup(tmp_path / "copy.db")
        scribe = Scribe()
        with books.write() as unit:
            unit.note(scribe.note("cleaned", "Q9", 5, key="later"))
        with pytest.raises(StoreTrouble, match="Stop the server"):
            restore(copy, file, replace=True)
        assert len(books.entries()) == 3
    with pytest.raises(StoreTrouble, match="no books there"):
        restore(copy, file)
    kept = restore(copy, file, replace=True)
    with Books.open(file) as books:
        assert len(books.entries()) == 2
    assert kept is not None
    assert len(verify(kept)) == 3


def test_restoring_over_a_damaged_file_works(tmp_path: Path) -> None:
    """That is what restoring is for; the damaged file is kept for whoever can read it."""
    file = tmp_path / "farm.db"
    with Books.open(file) as books:
        filled(books)
        copy = books.backup(tmp_path / "copy.db")
    file.write_bytes(b"\xff" * 9000)
    kept = restore(copy, file, replace=True)
    assert kept is not None
    assert kept.read_bytes() == b"\xff" * 9000
    with Books.open(file) as books:
        assert len(books.entries()) == 2


@pytest.mark.parametrize("content", [b"", b"words", None])
def test_only_a_sound_copy_is_restored(tmp_path: Path, content: bytes | None) -> None:
    """Empty, foreign or absent: the books stay as they are."""
    file, copy = tmp_path / "farm.db", tmp_path / "copy.db"
    with Books.open(file) as books:
        filled(books)
    if content is not None:
        copy.write_bytes(content)
    with pytest.raises(StoreTrouble):
        restore(copy, file, replace=True)
    assert len(verify(file)) == 2
