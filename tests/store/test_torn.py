"""Files cut and bytes flipped: damage is reported or does not matter, and the last good copy comes back whole."""

from __future__ import annotations

import random
import shutil
import sqlite3
from pathlib import Path

import pytest

from intake.errors import StoreTrouble
from intake.ledger import Entry
from intake.store import Books, restore, verify
from tests.ledger.books import Scribe


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[Entry, ...]]:
    """A file of books with 300 entries, all in the database and none in its log, and what it holds."""
    file = tmp_path_factory.mktemp("sound") / "farm.db"
    scribe = Scribe()
    with Books.open(file) as books:
        with books.write() as unit:
            unit.move(scribe.move("S1-01", "supplier > vat:Q1", 1_000))
            for number in range(149):
                unit.move(scribe.move("S1-01", "vat:Q1 > dead", 1, number))
                unit.note(scribe.note("reading", "Q1", number, quantity="temperature", value=26 + number / 100))
        entries = books.entries()
    raw = sqlite3.connect(file)
    raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw.close()
    return file, entries


def outcome(file: Path, target: Path, entries: tuple[Entry, ...]) -> str:
    """Back up a damaged file: refused in words, or a copy that has every entry as it was."""
    try:
        with Books.open(file, create=False) as books:
            verify_same(books.backup(target), entries)
    except StoreTrouble as trouble:
        told = [finding.expected for finding in trouble.findings]
    else:
        return "whole"
    assert all(told)
    assert not target.exists()
    return "told"


def verify_same(copy: Path, entries: tuple[Entry, ...]) -> None:
    """A copy that counts as sound has all entries, unaltered."""
    key = {(type(e), e.key): e for e in verify(copy)}
    assert key == {(type(e), e.key): e for e in entries}


@pytest.mark.parametrize("part", range(4))
def test_a_flipped_byte_anywhere_is_told_or_does_not_matter(
    sound: tuple[Path, tuple[Entry, ...]], tmp_path: Path, part: int
) -> None:
    """Sixty single bytes altered: no backup that passes for good lacks or alters an entry."""
    file, entries = sound
    whole = file.read_bytes()
    chance = random.Random(f"bytes {part}")  # a fixed seed
    told = 0
    for number in range(15):
        bent = bytearray(whole)
        bent[chance.randrange(len(bent))] ^= 1 << chance.randrange(8)
        torn = tmp_path / f"torn{number}.db"
        torn.write_bytes(bytes(bent))
        told += outcome(torn, tmp_path / f"copy{number}.db", entries) == "told"
    assert told > 0


def test_one_digit_of_a_count_altered_on_disk_is_found(tmp_path: Path) -> None:
    """The database itself notices nothing: pages are sound and the animals add up; the seal does not fit."""
    file = tmp_path / "farm.db"
    scribe = Scribe()
    with Books.open(file) as books:
        with books.write() as unit:
            unit.move(scribe.move("S1-01", "supplier > vat:Q1", 50))
            unit.note(scribe.note("reading", "Q1", 1, quantity="temperature", value=26.1))
        raw = sqlite3.connect(file)
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        raw.close()
    data = file.read_bytes()
    assert data.count(b'"value":26.1') == 1
    file.write_bytes(data.replace(b'"value":26.1', b'"value":28.1'))
    with Books.open(file) as books:
        assert len(books.entries()) == 2
        (fault,) = books.faults()
        assert fault.where == "books, record 1"
        with pytest.raises(StoreTrouble, match="as it was written"):
            books.backup(tmp_path / "copy.db")


def test_an_entry_taken_out_from_the_middle_is_found(tmp_path: Path) -> None:
    """Someone lifted the triggers and deleted a reading: the seals after it say so."""
    file = tmp_path / "farm.db"
    scribe = Scribe()
    with Books.open(file) as books:
        for number in range(3):
            with books.write() as unit:
                unit.note(scribe.note("reading", "Q1", number, quantity="temperature", value=26))
    raw = sqlite3.connect(file)
    (made,) = raw.execute("SELECT sql FROM sqlite_master WHERE name = 'record_no_delete'").fetchone()
    raw.executescript(f"DROP TRIGGER record_no_delete; DELETE FROM record WHERE id = 2; {made};")
    raw.close()
    with Books.open(file) as books:
        assert [fault.where for fault in books.faults()] == ["books, record 3"]


def test_a_trigger_of_the_right_name_that_does_nothing_is_found(tmp_path: Path) -> None:
    """On SQLite the words of the triggers are compared, not only their names."""
    file = tmp_path / "farm.db"
    with Books.open(file):
        pass
    raw = sqlite3.connect(file)
    raw.executescript(
        "DROP TRIGGER record_no_delete; CREATE TRIGGER record_no_delete BEFORE DELETE ON record BEGIN SELECT 1; END;"
    )
    raw.close()
    with pytest.raises(StoreTrouble, match="record_no_delete"):
        Books.open(file)


@pytest.mark.parametrize("share", [0.0, 0.01, 0.3, 0.5, 0.9, 0.999])
def test_a_file_cut_short_is_told(sound: tuple[Path, tuple[Entry, ...]], tmp_path: Path, share: float) -> None:
    """A copy that broke off, a disk that filled up: never taken for sound; a backup of it is refused."""
    file, entries = sound
    whole = file.read_bytes()
    torn = tmp_path / "torn.db"
    torn.write_bytes(whole[: int(len(whole) * share)])
    with pytest.raises(StoreTrouble):
        verify(torn)
    if share:  # an empty file is an empty database: the farm's folder is asked about that one
        assert outcome(torn, tmp_path / "copy.db", entries) == "told"


def test_a_log_cut_short_loses_at_most_its_own_end(tmp_path: Path) -> None:
    """A torn write-ahead log: what is left are the first acts, whole; SQLite's checksums drop the rest."""
    file, torn = tmp_path / "farm.db", tmp_path / "torn" / "farm.db"
    torn.parent.mkdir()
    scribe = Scribe()
    with Books.open(file) as books:
        for number in range(40):
            with books.write() as unit:
                unit.note(scribe.note("reading", "Q1", number, quantity="temperature", value=26))
        entries = books.entries()
        log = Path(f"{file}-wal").read_bytes()
        for share in (0.2, 0.6, 0.95):
            shutil.copy(file, torn)
            Path(f"{torn}-wal").write_bytes(log[: int(len(log) * share)])
            try:
                with Books.open(torn) as left:
                    found = left.entries()
                    assert left.faults() == []
            except StoreTrouble:
                found = ()
            assert found == entries[: len(found)]
            for leftover in torn.parent.iterdir():
                leftover.unlink()


def test_after_a_torn_disk_the_last_good_copy_comes_back(sound: tuple[Path, tuple[Entry, ...]], tmp_path: Path) -> None:
    """The whole way: copy, damage, refusal, restore, writing on."""
    file, entries = sound
    farm = tmp_path / "farm.db"
    shutil.copy(file, farm)
    with Books.open(farm) as books:
        copy = books.backup(tmp_path / "copy.db")
    data = bytearray(farm.read_bytes())
    data[4096 * 2 : 4096 * 6] = bytes(4096 * 4)
    farm.write_bytes(bytes(data))
    assert outcome(farm, tmp_path / "bad.db", entries) == "told"
    kept = restore(copy, farm, replace=True)
    assert kept is not None
    assert kept.read_bytes()[100:] == bytes(data)[100:]  # the header says that the log is folded in
    with Books.open(farm) as books:
        assert books.entries() == entries
        with books.write() as unit:
            unit.move(Scribe().move("S1-01", "vat:Q1 > sold", 1, 200, key="after"))
        assert books.faults() == []
