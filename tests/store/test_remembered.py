"""What the books remember of earlier reading must equal what a stranger reads from the start."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any, cast

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.ledger import Movement, Record
from intake.store import Books
from intake.store.asking.questions import Questions
from tests.ledger.books import Scribe


@given(steps=st.lists(st.tuples(st.sampled_from("AB"), st.sampled_from("mnr"), st.booleans()), max_size=25))
def test_books_that_read_before_say_the_same_as_books_opened_afresh(
    steps: list[tuple[str, str, bool]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Two programs append in turn, movements and records, some in one act; each reads at its own moments."""
    path = tmp_path_factory.mktemp("books") / "farm.db"
    scribe = Scribe()
    with Books.open(path) as one, Books.open(path) as other:
        both = {"A": one, "B": other}
        for number, (who, what, looks) in enumerate(steps):
            with both[who].write() as unit:
                if what in "mn":
                    unit.move(scribe.move(f"S1-{number:02}", "supplier > vat:Q1", 5, number // 2))
                if what in "nr":
                    unit.note(scribe.note("finding", f"S1-{number:02}", number // 2, what=""))
                inside = unit.entries()
            if looks:
                assert both[who].entries() == inside
        with Books.open(path) as fresh:
            assert one.entries() == other.entries() == fresh.entries()


STEP = st.tuples(st.integers(0, 5), st.integers(1, 6), st.integers(0, 30), st.sampled_from("nnnnnnwc"), st.booleans())


@settings(max_examples=40)
@given(steps=st.lists(STEP, max_size=14))
def test_the_latest_from_a_day_on_is_caught_up_to_what_books_opened_afresh_say(
    steps: list[tuple[int, int, int, str, bool]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Of few subjects, ending on few days, backdated, withdrawn and corrected: the same records in the same order."""
    path = tmp_path_factory.mktemp("books") / "farm.db"
    scribe, keys = Scribe(), list[tuple[str, str, int]]()

    def found(books: Books, topic: str) -> list[tuple[str, Record]]:
        return list(books.view().latest_from("published", topic, ()).items())

    topics = ("2026-02-01", "2026-02-03", "2026-02-05")
    with Books.open(path) as one:
        for number, (subject, day, at, what, looks) in enumerate(steps):
            if looks:
                for topic in topics:
                    found(one, topic)
            uid, corrects, rest = f"e{subject}@farm", cast("str | None", None), dict[str, Any]()
            if what in "wc" and keys:
                uid, corrects, day = keys.pop(number % len(keys))
                rest = {"withdrawn": True} if what == "w" else {}
            fields: dict[str, Any] = {} if rest else {"fields": {"end": f"2026-02-0{day}"}, "number": number}
            note = scribe.note("published", uid, at, recorded=40 + number, corrects=corrects, **fields, **rest)
            keys.append((uid, note.key, day))
            with one.write() as unit:
                unit.note(note)
        with Books.open(path) as fresh:
            for topic in topics:
                assert found(one, topic) == found(fresh, topic)


def test_few_records_more_are_read_and_no_others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Forty events known, one of them written again: one is read."""
    scribe, read = Scribe(), list[int]()
    records_of = Questions._records

    def counted(self: Questions, query: Any) -> tuple[Record, ...]:
        found = records_of(self, query)
        read.append(len(found))
        return found

    with Books.open(tmp_path / "farm.db") as books:
        for number in [*range(40), 7]:
            with books.write() as unit:
                unit.note(scribe.note("published", f"e{number}", len(read), fields={"end": "2026-02-01"}, n=len(read)))
            if number == 39:
                assert len(books.view().latest_from("published", "2026-01-01", ())) == 40
                monkeypatch.setattr(Questions, "_records", counted)
        read.clear()
        assert len(books.view().latest_from("published", "2026-01-01", ())) == 40
    assert sum(read) <= 2


def test_two_readers_of_either_database_agree_while_both_write(opened: Callable[[], Books]) -> None:
    """The same on a server, where numbers are given out differently."""
    scribe = Scribe()
    one, other = opened(), opened()
    for number in range(12):
        writer = (one, other)[number % 2]
        with writer.write() as unit:
            unit.note(scribe.note("finding", "S1-01", number // 3, what=""))
            unit.move(scribe.move(f"S1-{number:02}", "supplier > vat:Q1", 5, number // 3))
        if number % 3 == 0:
            assert one.entries() == other.entries()
    assert one.entries() == other.entries() == opened().entries()
    assert len(one.entries()) == 24


def test_an_act_that_was_undone_is_not_remembered(tmp_path: Path) -> None:
    """What a unit read of its own entries must go with it."""
    scribe = Scribe()
    with Books.open(tmp_path / "farm.db") as books:
        with books.write() as unit:
            unit.move(scribe.move("S1-01", "supplier > vat:Q1", 5))
        kept = books.entries()

        def act_and_give_up() -> None:
            with books.write() as unit:
                unit.move(scribe.move("S1-02", "supplier > vat:Q1", 5))
                assert len(unit.entries()) == 2
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            act_and_give_up()
        assert books.entries() == kept
        with books.write() as unit:
            unit.move(scribe.move("S1-03", "supplier > vat:Q1", 5))
        assert [entry.batch for entry in books.movements()] == ["S1-01", "S1-03"]
        assert [entry.batch for entry in books.entries() if isinstance(entry, Movement)] == ["S1-01", "S1-03"]


def test_books_put_back_under_an_open_reader_are_read_anew(tmp_path: Path) -> None:
    """A copy with as many entries but other ones: the seal of the last entry distinguishes them."""
    first, second = tmp_path / "farm.db", tmp_path / "other.db"
    for path, batch in ((first, "S1-01"), (second, "S9-09")):
        scribe = Scribe()
        with Books.open(path) as books, books.write() as unit:
            unit.move(scribe.move(batch, "supplier > vat:Q1", 5))
    with Books.open(first) as books:
        assert [entry.batch for entry in books.entries() if isinstance(entry, Movement)] == ["S1-01"]
        books.close()  # its connections let go of the file; the reader itself lives on
        shutil.copyfile(second, first)
        assert [entry.batch for entry in books.entries() if isinstance(entry, Movement)] == ["S9-09"]


@given(
    steps=st.lists(st.tuples(st.sampled_from("mnc"), st.integers(0, 2), st.booleans()), max_size=20),
    kind=st.sampled_from([None, "movement", "finding", "cleaned"]),
    subject=st.sampled_from([None, "S1-00", "S1-01", "S1-02"]),
)
def test_what_is_picked_from_memory_is_what_the_database_would_give(
    steps: list[tuple[str, int, bool]], kind: str | None, subject: str | None, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Entries of one kind and subject are taken from what was read before; a stranger asks the database for them."""
    path = tmp_path_factory.mktemp("books") / "farm.db"
    scribe = Scribe()
    with Books.open(path) as books:
        for number, (what, batch, looks) in enumerate(steps):
            with books.write() as unit:
                if what == "m":
                    unit.move(scribe.move(f"S1-{batch:02}", "supplier > vat:Q1", 5, number // 2))
                else:
                    unit.note(scribe.note("finding" if what == "n" else "cleaned", f"S1-{batch:02}", number // 2))
                inside = unit.entries(kind, subject)
            if looks:
                books.entries()
            with Books.open(path) as fresh:
                asked = fresh.entries(kind, subject)
            assert books.entries(kind, subject) == inside == asked
