"""Older books brought up to date: copied aside first, nothing lost, still append-only, never half done."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import Connection, MetaData, create_engine, inspect, text

from intake.errors import StoreTrouble
from intake.ledger import Movement, balances, check
from intake.store import Books, migrations, restore, verify
from intake.store.engines import address as url_of
from intake.store.ledger_tables import METADATA
from tests.ledger.books import Scribe, hour
from tests.store.old import old_books


def test_populated_books_of_version_1_come_over_whole(address: str, tmp_path: Path) -> None:
    """Twenty entries of the old program: same words, order, corrections and balances; a copy of before is kept."""
    old_books(address)
    with Books.open(address, aside=tmp_path / "aside") as books:
        entries = books.entries()
        assert check(entries) == []
        assert books.faults() == []
        assert len(entries) == 20
        assert [e.key for e in entries if isinstance(e, Movement)] == (
            ["m1", "undo", "m5", "m6", "m7", "m8", "m10", "m12", "m14", "m16", "m18"]
        )
        assert balances(entries)[("S1-01", "vat:Q1")] == 41
        assert books.records("batch")[0].payload["name"] == "Kükenqualle ✓"
        assert books.sites() == ("",)
        with books.write() as unit:
            unit.move(Scribe().move("S1-01", "vat:Q1 > sold", 41, 20, key="new"))
    (copy,) = tmp_path.rglob("*.version-1")
    assert len(verify(copy)) == 20


@pytest.mark.parametrize("have", sorted(migrations.STEPS)[1:-1])
def test_books_of_each_later_version_come_over_whole(address: str, tmp_path: Path, have: int) -> None:
    """Sealed rows without the columns added since: the copy made first is read as the version it is."""
    old_books(address)
    engine = create_engine(url_of(address))
    with engine.begin() as connection:
        migrations.migrate(connection, {number: migrations.STEPS[number] for number in range(1, have + 1)})
    engine.dispose()
    with Books.open(address, aside=tmp_path / "aside") as books:
        assert len(books.entries()) == 20
        assert books.faults() == []
    (copy,) = tmp_path.rglob(f"*.version-{have}")
    assert len(verify(copy)) == 20


@pytest.mark.parametrize("statement", ["UPDATE movement SET count = 1", "DELETE FROM record", "DELETE FROM site"])
def test_migrated_books_are_still_append_only(address: str, tmp_path: Path, statement: str) -> None:
    """Rebuilding a table on SQLite drops its triggers without a word; here they must stand again."""
    old_books(address)
    with Books.open(address, aside=tmp_path):
        pass
    engine = create_engine(url_of(address))
    with engine.begin() as connection, pytest.raises(Exception, match="append-only"):
        connection.execute(text(statement))
    engine.dispose()


def test_new_and_migrated_books_have_the_tables_the_program_believes_in(address: str, tmp_path: Path) -> None:
    """Columns, required columns, unique keys and indexes: read back from the database and compared."""
    old_books(address)
    with Books.open(address, aside=tmp_path):
        pass
    engine = create_engine(url_of(address))
    found = MetaData()
    found.reflect(engine)
    assert set(found.tables) == set(METADATA.tables)
    for name, table in METADATA.tables.items():
        there = found.tables[name]
        assert [(c.name, c.nullable) for c in there.columns] == [(c.name, c.nullable) for c in table.columns]
        unique = {tuple(u["column_names"]) for u in inspect(engine).get_unique_constraints(name)}
        assert unique == {
            tuple(column.name for column in constraint.columns)  # type: ignore[attr-defined]
            for constraint in table.constraints
            if constraint.__visit_name__ == "unique_constraint"
        }
        indexed = {i["name"] for i in inspect(engine).get_indexes(name) if not i.get("duplicates_constraint")}
        assert indexed == {index.name for index in table.indexes}
    engine.dispose()


def test_a_new_entry_gets_the_next_number_after_a_migration(address: str, tmp_path: Path) -> None:
    """Numbers go on where the old program stopped."""
    old_books(address)
    with Books.open(address, aside=tmp_path) as books, books.write() as unit:
        assert unit.move(Scribe().move("S1-01", "vat:Q1 > dead", 1, 20, key="new")) == 12


def test_older_books_on_a_server_want_a_place_for_their_copy(postgres_only: str) -> None:
    """No copy, no change."""
    old_books(postgres_only)
    with pytest.raises(StoreTrouble, match="folder for the copy"):
        Books.open(postgres_only)
    engine = create_engine(url_of(postgres_only))
    with engine.begin() as connection:
        assert migrations.version(connection) == 1
    engine.dispose()


def test_damaged_older_books_are_not_brought_up_to_date(tmp_path: Path) -> None:
    """A count that cannot be, written past the old program: the copy is refused, so nothing is changed."""
    file = tmp_path / "farm.db"
    old_books(str(file))
    raw = sqlite3.connect(file)
    raw.execute(
        "INSERT INTO record SELECT 99, kind, subject, 'no json', happened_at, recorded_at, who, 'x', NULL FROM record LIMIT 1"
    )
    raw.commit()
    with pytest.raises(StoreTrouble):
        Books.open(file)
    assert raw.execute("SELECT max(version) FROM schema_version").fetchone() == (1,)
    raw.close()


def test_a_copy_of_older_books_can_be_restored(tmp_path: Path) -> None:
    """The copy made before a step is a backup like any other."""
    file = tmp_path / "farm.db"
    old_books(str(file))
    with Books.open(file) as books:
        before = books.entries()
    restore(tmp_path / "farm.db.version-1", file, replace=True)
    with Books.open(file) as books:
        assert books.entries() == before


def test_a_later_step_runs_once_and_keeps_what_was_written(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What any future step must do."""
    with Books.open(address) as books, books.write() as unit:
        unit.note(Scribe().note("cleaned", "Q1"))
    steps = dict(migrations.STEPS)

    def another(connection: Connection) -> None:
        connection.execute(text("CREATE INDEX record_who ON record (who)"))

    before = migrations.newest()
    steps[before + 1] = another
    monkeypatch.setattr(migrations, "STEPS", steps)
    for _ in range(2):
        with Books.open(address, aside=tmp_path / "aside") as books:
            assert len(books.entries(until=hour(0))) == 1
    assert [file.name.split(".")[-1] for file in (tmp_path / "aside").iterdir()] == [f"version-{before}"]
