"""When the database fails: words and advice instead of a traceback, and nothing written."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from sqlalchemy import Connection, create_engine, text

from intake.errors import BadInput, StoreTrouble
from intake.store import Books, engines, migrations
from intake.store.engines import address as url_of
from tests.ledger.books import Scribe

ROOT = Path(__file__).parents[2]


def advice(trouble: pytest.ExceptionInfo[StoreTrouble]) -> str:
    """What the person is told to do."""
    return trouble.value.findings[0].do


def test_books_that_are_not_there_are_not_made_by_reading(tmp_path: Path) -> None:
    """A mistyped path must not leave an empty farm behind."""
    with pytest.raises(StoreTrouble, match="nowhere"):
        Books.open(tmp_path / "nowhere" / "farm.db")
    with pytest.raises(StoreTrouble, match=r"farm\.db"):
        Books.open(tmp_path / "farm.db", create=False)
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_no_database_is_named(tmp_path: Path) -> None:
    """A text file saved as farm.db."""
    (tmp_path / "farm.db").write_text("not a database at all, only words\n" * 50)
    with pytest.raises(StoreTrouble) as trouble:
        Books.open(tmp_path / "farm.db")
    assert "restore the last backup" in advice(trouble)


def test_a_database_of_something_else_is_left_alone(address: str) -> None:
    """Tables that are not ours are neither used nor added to."""
    engine = create_engine(url_of(address))
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE recipes (id INTEGER PRIMARY KEY)"))
    with pytest.raises(StoreTrouble, match="recipes"):
        Books.open(address)
    with engine.begin() as connection, pytest.raises(Exception, match="movement"):
        connection.execute(text("SELECT * FROM movement"))
    engine.dispose()


def test_damaged_pages_are_told_as_damage(tmp_path: Path) -> None:
    """Overwritten pages in the middle of the file."""
    file = tmp_path / "farm.db"
    scribe = Scribe()
    with Books.open(file) as books, books.write() as unit:
        for number in range(200):
            unit.note(scribe.note("cleaned", f"Q{number}", note="x" * 200))
    raw = sqlite3.connect(file)
    raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw.close()
    with file.open("r+b") as handle:
        handle.seek(4096 * 4)
        handle.write(b"\xff" * 4096 * 12)
    with pytest.raises(StoreTrouble) as trouble, Books.open(file) as books:
        books.entries()
    assert "restore the last backup" in advice(trouble)


def test_a_locked_database_asks_to_wait(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another writer holds the lock longer than the wait (shortened here)."""
    monkeypatch.setattr(engines, "BUSY_MS", 50)
    with Books.open(address) as one, Books.open(address) as other, one.write() as unit:
        unit.note(Scribe().note("cleaned", "Q1"))
        with pytest.raises(StoreTrouble) as trouble, other.write():
            pass
        assert "Wait a moment" in advice(trouble)
        assert other.entries() == ()  # reading goes on meanwhile


def test_another_program_holding_the_file_asks_to_wait(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Someone looks into farm.db with a database tool and leaves a transaction open: another process's lock."""
    monkeypatch.setattr(engines, "BUSY_MS", 50)
    file = tmp_path / "farm.db"
    with Books.open(file) as books:
        holder = subprocess.Popen([sys.executable, "-c", HOLDER, str(file)], stdin=-1, stdout=-1, text=True)
        assert holder.stdin is not None
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(StoreTrouble) as trouble, books.write() as unit:
            unit.note(Scribe().note("cleaned", "Q1"))
        assert "Wait a moment" in advice(trouble)
        holder.communicate("let go\n")
        with books.write() as unit:
            unit.note(Scribe().note("cleaned", "Q1"))
        assert len(books.entries()) == 1


HOLDER = """
import sqlite3, sys
raw = sqlite3.connect(sys.argv[1], isolation_level=None)
raw.execute("BEGIN IMMEDIATE")
print("held", flush=True)
sys.stdin.readline()
raw.execute("ROLLBACK")
"""

FULL = """
import resource, signal, sys
from intake.errors import StoreTrouble
from intake.store import Books
from tests.ledger.books import Scribe
file, room = sys.argv[1], int(sys.argv[2])
scribe = Scribe()
written = 0
with Books.open(file) as books:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, resource.RLIM_INFINITY))
    try:
        for number in range(10_000):
            with books.write() as unit:
                unit.note(scribe.note("cleaned", f"Q{number}", note="x" * 500))
            written += 1
    except StoreTrouble as trouble:
        print(written, str(trouble))
    try:
        books.backup(file + ".copy")
    except StoreTrouble as trouble:
        print(written, str(trouble))
"""


@pytest.mark.parametrize("room", [250_000, 700_000])
def test_a_disk_that_fills_up_while_counting_loses_nothing_written(tmp_path: Path, room: int) -> None:
    """Files may not grow past a limit, as on a full disk: the count fails in words, all before it are there after."""
    file = tmp_path / "farm.db"
    told = subprocess.run([sys.executable, "-c", FULL, str(file), str(room)], cwd=ROOT, capture_output=True, text=True)
    lines = told.stdout.splitlines()
    assert told.returncode == 0, told.stderr
    assert "free space" in lines[0] or "Free some space" in lines[0]
    with Books.open(file) as books:
        assert len(books.entries()) == int(lines[0].split()[0]) > 0
        assert books.faults() == []
        with books.write() as unit:
            unit.note(Scribe().note("cleaned", "after", key="after"))
    assert [name.name for name in tmp_path.iterdir() if "part" in name.name] == []


LOCKED_OUT = """
import os, sys
from pathlib import Path
from intake.errors import StoreTrouble
from intake.store import Books
from tests.ledger.books import Scribe
folder = Path(sys.argv[1])
with Books.open(folder / "warm.db") as books, books.write() as unit:
    unit.note(Scribe().note("cleaned", "Q1"))
folder.chmod(0o555)
for file in folder.iterdir():
    file.chmod(0o444)
if os.geteuid() == 0:
    os.setuid(65534)
for act in ("write", "backup", "new"):
    try:
        if act == "new":
            Books.open(folder / "new.db").close()
        with Books.open(folder / "farm.db") as books:
            if act == "backup":
                books.backup(folder / "copy.db")
            with books.write() as unit:
                unit.note(Scribe().note("cleaned", "Q2", key="k"))
        print(act, "went through")
    except StoreTrouble as trouble:
        print(act, "told", str(trouble).replace(chr(10), " "))
"""


def test_a_folder_that_may_not_be_written_is_told() -> None:
    """A stick with its switch on, a folder of another user: each act is refused with what to check, nothing changes."""
    folder = Path(tempfile.mkdtemp(prefix="books-read-only-"))
    try:
        folder.chmod(0o755)
        with Books.open(folder / "farm.db") as books, books.write() as unit:
            unit.note(Scribe().note("cleaned", "Q1"))
        told = subprocess.run([sys.executable, "-c", LOCKED_OUT, str(folder)], cwd=ROOT, capture_output=True, text=True)
        lines = told.stdout.splitlines()
        assert told.returncode == 0, told.stderr
        assert [line.split()[:2] for line in lines] == [["write", "told"], ["backup", "told"], ["new", "told"]]
        assert all("permissions" in line or "who owns" in line for line in lines), lines
        folder.chmod(0o755)
        for file in folder.iterdir():
            file.chmod(0o644)
        with Books.open(folder / "farm.db") as books:
            assert len(books.entries()) == 1
    finally:
        folder.chmod(0o755)
        shutil.rmtree(folder)


def test_a_full_disk_writes_nothing_and_says_so(tmp_path: Path) -> None:
    """The database may not grow: the act fails as a whole, what was there stays."""
    with Books.open(tmp_path / "farm.db") as books:
        scribe = Scribe()
        with books.write() as unit:
            unit.note(scribe.note("cleaned", "Q1"))
            pages = unit._connection.execute(text("PRAGMA page_count")).scalar_one()
            unit._connection.execute(text(f"PRAGMA max_page_count = {pages}"))
        with pytest.raises(StoreTrouble) as trouble, books.write() as unit:
            unit.note(scribe.note("cleaned", "Q2", note="x" * 1_000_000))
        assert "Free some space" in advice(trouble)
        assert len(books.entries()) == 1


def test_a_read_only_database_can_be_read_and_refuses_writing(tmp_path: Path) -> None:
    """Books on a medium that cannot be written are still books."""
    file = tmp_path / "farm.db"
    with Books.open(file) as books, books.write() as unit:
        unit.note(Scribe().note("cleaned", "Q1"))
    with Books.open(f"sqlite:///file:{file}?mode=ro&uri=true") as books:
        assert len(books.entries()) == 1
        with pytest.raises(StoreTrouble) as trouble, books.write() as unit:
            unit.note(Scribe().note("cleaned", "Q2", key="other"))
    assert "who owns the file" in advice(trouble)


def test_books_of_a_newer_program_are_left_alone(address: str) -> None:
    """An older program might misread what a newer one wrote."""
    with Books.open(address):
        pass
    engine = create_engine(url_of(address))
    with engine.begin() as connection:
        connection.execute(text("INSERT INTO schema_version VALUES (99)"))
    engine.dispose()
    with pytest.raises(StoreTrouble, match="newer version"):
        Books.open(address)


def test_books_whose_guards_were_removed_are_refused(address: str) -> None:
    """Without its triggers the database would accept changes, so someone may have made some."""
    with Books.open(address):
        pass
    engine = create_engine(url_of(address))
    ending = "" if engine.dialect.name == "sqlite" else " ON movement"
    with engine.begin() as connection:
        connection.execute(text(f"DROP TRIGGER movement_no_update{ending}"))
    engine.dispose()
    with pytest.raises(StoreTrouble, match="movement_no_update"):
        Books.open(address)


def test_entries_that_cannot_be_read_are_numbered(address: str) -> None:
    """A time that is no time, written past the program, is reported with the entry's number."""
    with Books.open(address) as books:
        engine = create_engine(url_of(address))
        with engine.begin() as connection:
            row = "(7, 'cleaned', 'Q1', '{}', 'yesterday', 'yesterday', 'Ada', 'k', NULL, '', 'x', '', '', '')"
            connection.execute(text(f"INSERT INTO record VALUES {row}"))
        engine.dispose()
        with pytest.raises(StoreTrouble, match="entry 7"):
            books.entries()


@pytest.mark.parametrize("host", ["127.0.0.1:9", "no-such-host.invalid"])
def test_an_unreachable_server_is_told_without_its_password(host: str) -> None:
    """The message may be shown on a screen in the hall."""
    with pytest.raises(StoreTrouble) as trouble:
        Books.open(f"postgresql://farm:secret@{host}/farm")
    assert "secret" not in str(trouble.value)
    assert "server runs" in advice(trouble)


@pytest.mark.parametrize("wrong", ["mysql://farm@host/farm", "postgresql://host:port/farm", "://"])
def test_an_address_that_is_none_is_bad_input(wrong: str) -> None:
    """Only files and PostgreSQL are known."""
    with pytest.raises(BadInput, match="store"):
        Books.open(wrong)


def test_a_step_that_fails_changes_nothing(address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Power cut or error in the middle of a step: the books are still those of the old version."""
    with Books.open(address) as books, books.write() as unit:
        unit.note(Scribe().note("cleaned", "Q1"))

    def broken(connection: Connection) -> None:
        for _ in range(2):
            connection.execute(text("CREATE INDEX record_who ON record (who)"))

    with monkeypatch.context() as patched:
        patched.setattr(migrations, "STEPS", {**migrations.STEPS, migrations.newest() + 1: broken})
        with pytest.raises(StoreTrouble):
            Books.open(address, aside=tmp_path)
    with Books.open(address) as books:
        assert len(books.entries()) == 1
