"""What somebody does to the books past the program, and which check finds it: the table of docs/decisions/store.md."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from intake.errors import BadInput, StoreTrouble
from intake.ledger.head import Head, parse
from intake.store import Books
from intake.store.ledger_tables import DERIVED, FACTS, seal
from tests.ledger.books import Scribe, hour

NOW = hour(100)


def filled(path: Path, batches: int = 6) -> Head:
    """Books with some entries, and their head."""
    scribe = Scribe()
    with Books.open(path) as books:
        for number in range(batches):
            with books.write() as unit:
                unit.move(scribe.move(f"S1-{number:02}", "supplier > vat:Q1", 10, number))
                unit.note(scribe.note("reading", "main", number, quantity="temperature_c", value=20 + number))
                unit.note(scribe.note("finding", f"S1-{number:02}", number, batch=f"S1-{number:02}", what="mite"))
        return books.head()


def past_the_program(path: Path, *statements: str) -> None:
    """Change the file with the triggers away for a moment, as anybody with the file can."""
    raw = sqlite3.connect(path)
    triggers = raw.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        raw.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        raw.execute(statement)
    for _, sql in triggers:
        raw.execute(sql)
    raw.commit()
    raw.close()


def resealed(path: Path) -> None:
    """Give every row the seal that fits it now: what a careful forger does."""
    raw = sqlite3.connect(path)
    triggers = raw.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        raw.execute(f"DROP TRIGGER {name}")
    for table, names in FACTS.items():
        last = ""
        for number, *facts in raw.execute(f"SELECT id, {', '.join(names)} FROM {table} ORDER BY id").fetchall():
            last = seal(last, facts)
            raw.execute(f"UPDATE {table} SET seal = ? WHERE id = ?", (last, number))
    raw.execute("DELETE FROM proved")
    for _, sql in triggers:
        raw.execute(sql)
    raw.commit()
    raw.close()


def changed_row(path: Path) -> None:
    """A count altered, the holding with it."""
    past_the_program(
        path,
        "UPDATE movement SET count = 9 WHERE id = 2",
        "UPDATE holding SET count = 9 WHERE batch = 'S1-01' AND place = 'vat:Q1'",
        "UPDATE holding SET count = -9 WHERE batch = 'S1-01' AND place = 'supplier'",
    )


def resealed_row(path: Path) -> None:
    """The same, and every seal made to fit."""
    changed_row(path)
    resealed(path)


def cut_tail(path: Path) -> None:
    """The last batch taken out, holdings and all."""
    past_the_program(
        path,
        "DELETE FROM movement WHERE id = 6",
        "DELETE FROM record WHERE id > 10",
        "DELETE FROM holding WHERE batch = 'S1-05'",
        "DELETE FROM proved",
    )


def swapped(path: Path) -> None:
    """Other books, whole in themselves, in the place of these."""
    other = path.with_name("other.db")
    filled(other, 7)
    past_the_program(other, "UPDATE record SET payload = '{}', topic = '' WHERE id = 1")
    resealed(other)
    shutil.move(other, path)


def moved_record(path: Path) -> None:
    """A finding kept under another batch: out of sight of the one it was made on."""
    past_the_program(path, "UPDATE record SET batch = 'S1-00' WHERE id = 12")


def wrong_holding(path: Path) -> None:
    """Animals that the movements do not have."""
    past_the_program(path, "UPDATE holding SET count = 11 WHERE batch = 'S1-03' AND place = 'vat:Q1'")


TAMPERED: list[tuple[Callable[[Path], None], bool, bool]] = [
    # what was done, found by check --all, found by check --against a head printed before
    (changed_row, True, True),
    (resealed_row, False, True),
    (cut_tail, False, True),
    (swapped, False, True),
    (moved_record, True, True),
    (wrong_holding, True, True),
]


@pytest.mark.parametrize(("tamper", "by_all", "by_head"), TAMPERED, ids=[row[0].__name__ for row in TAMPERED])
def test_tampering_is_found_where_the_docs_say_so(
    tamper: Callable[[Path], None], by_all: bool, by_head: bool, tmp_path: Path
) -> None:
    """Seals alone cannot find what was sealed anew or cut off at the end; a head outside the books can."""
    path = tmp_path / "farm.db"
    head = filled(path)
    with Books.open(path) as books:
        assert books.prove(NOW).faults == ()
        assert books.differs_from(head) == []
    tamper(path)
    with Books.open(path) as books:
        found = books.prove(NOW).faults
        assert bool(found) == by_all
        assert bool([*found, *books.differs_from(parse(str(head)))]) == by_head


def test_a_lost_write_ahead_log_is_found_by_a_head_taken_with_it(tmp_path: Path) -> None:
    """Who copies the file without its log loses the last entries; nothing in the file says so."""
    path, copy = tmp_path / "farm.db", tmp_path / "copy.db"
    filled(path)
    scribe = Scribe()
    with Books.open(path) as books:
        with books.write() as unit:
            unit.move(scribe.move("S9-01", "supplier > vat:Q1", 5, 50, key="late"))
        head = books.head()
        assert (tmp_path / "farm.db-wal").stat().st_size > 0
        shutil.copyfile(path, copy)
    with Books.open(copy) as books:
        assert books.prove(NOW).faults == ()
        assert "cut off" in str(books.differs_from(head)[0])


def test_dropped_triggers_are_told_when_the_books_are_opened(tmp_path: Path) -> None:
    """Before anything is read from them."""
    path = tmp_path / "farm.db"
    filled(path)
    raw = sqlite3.connect(path)
    raw.execute("DROP TRIGGER movement_holding")
    raw.commit()
    raw.close()
    with pytest.raises(StoreTrouble, match="movement_holding"):
        Books.open(path)


def test_a_check_of_the_tail_reads_only_what_came_since(opened: Callable[[], Books]) -> None:
    """And finds in it what all would find; a version of the program that proved nothing proves all."""
    books = opened()
    scribe = Scribe()
    for number in range(5):
        with books.write() as unit:
            unit.move(scribe.move(f"S1-{number:02}", "supplier > vat:Q1", 10, number))
    assert books.prove(NOW, everything=False, program="1").looked_at == 5
    assert books.prove(NOW, everything=False, program="1").looked_at == 0
    with books.write() as unit:
        unit.note(scribe.note("hold", "S1-01", 6, reason="spots"))
        unit.move(scribe.move("S1-01", "vat:Q1 > dead", 1, 6))
    tail = books.prove(NOW, everything=False, program="1")
    assert (tail.looked_at, tail.faults, tail.since) == (2, (), NOW)
    assert books.prove(NOW, everything=False, program="2").looked_at == 7


def test_damage_in_the_tail_is_found_by_the_plain_check(tmp_path: Path) -> None:
    """What was altered after the last full proof needs no --all."""
    path = tmp_path / "farm.db"
    filled(path)
    with Books.open(path) as books:
        assert books.prove(NOW).faults == ()
        with books.write() as unit:
            unit.note(Scribe().note("hold", "S1-01", 60, reason="spots", key="held"))
    past_the_program(path, "UPDATE record SET payload = '" + json.dumps({"reason": "none"}) + "' WHERE key = 'held'")
    with Books.open(path) as books:
        found = books.prove(NOW, everything=False)
        assert found.looked_at == 1
        assert "as it was written" in str(found.faults[0])


def test_a_head_grows_with_the_books_and_stays_true(opened: Callable[[], Books]) -> None:
    """Every head ever taken is met by the books as they go on, on either database."""
    books = opened()
    scribe = Scribe()
    heads = [books.head()]
    for number in range(8):
        with books.write() as unit:
            unit.move(scribe.move("S1-01", "supplier > vat:Q1", 1, number))
            if number % 2:
                unit.note(scribe.note("hold", "S1-01", number))
        heads.append(books.head())
    assert len({str(head) for head in heads}) == 9
    for head in heads:
        assert books.differs_from(parse(f" {str(head).upper()} ")) == []
    assert (heads[-1].movements, heads[-1].records, heads[-1].at) == (8, 4, hour(7))


@pytest.mark.parametrize("text", ["", "12", "1-2-xyz", "1-2-" + "0" * 19])
def test_what_is_no_head_is_bad_input(text: str) -> None:
    """Reported with an example."""
    with pytest.raises(BadInput, match="812-2310"):
        parse(text)


def test_where_records_are_kept_is_no_part_of_their_seals() -> None:
    """So that books of older versions keep their seals when the columns are added."""
    assert not set(DERIVED) & set(FACTS["record"])
