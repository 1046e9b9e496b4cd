"""Writing to the books: one act or nothing, under one lock, the same act never twice."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

from intake.errors import BadInput, Refused, StoreTrouble
from intake.ledger import Entry, Movement, balances, check, counter
from intake.store import Books
from intake.store.engines import address as url_of
from tests.ledger.books import Scribe, hour

ROOT = Path(__file__).parents[2]


def write(books: Books, *entries: Entry) -> None:
    """Write entries as one act."""
    with books.write() as unit:
        for entry in entries:
            if isinstance(entry, Movement):
                unit.move(entry)
            else:
                unit.note(entry)


def test_entries_come_back_as_they_were_written(books: Books) -> None:
    """Moments, words in any script and nested values survive the database exactly."""
    scribe = Scribe()
    moved = scribe.move("S1-01", "supplier > dock", 10)
    noted = scribe.note("finding", "S1-01", 1, what="Ei — 卵 🐚", list=[1, 2.5, None, {"a": True}])
    with books.write() as unit:
        first, second = unit.move(moved), unit.note(noted)
    (back_moved, back_noted) = books.entries()
    assert isinstance(back_moved, Movement)
    assert (back_moved.id, back_noted.id) == (first, second)
    assert books.entries() == (replace(moved, id=first), replace(noted, id=second))


def test_one_act_is_written_whole_or_not_at_all(books: Books) -> None:
    """A failure after the third entry leaves none of the three."""
    scribe = Scribe()
    with pytest.raises(BadInput):
        write(books, scribe.move("S1-01", "supplier > dock", 10), scribe.note("received", "S1"), scribe.note("", ""))
    assert books.entries() == ()


def test_more_than_is_there_cannot_leave_a_place(books: Books) -> None:
    """The refusal names batch, place, have and want, and nothing of the act is written."""
    scribe = Scribe()
    with books.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > vat:Q1", 5))
    with pytest.raises(Refused) as refused:
        write(books, scribe.move("S1-01", "vat:Q1 > dead", 2, 1), scribe.move("S1-01", "vat:Q1 > sold", 4, 1))
    message = str(refused.value)
    assert all(part in message for part in ("S1-01", "vat:Q1", "6 to leave", "at most 5"))
    assert balances(books.movements()) == {("S1-01", "supplier"): -5, ("S1-01", "vat:Q1"): 5}


def test_a_count_before_the_animals_came_is_refused(books: Books) -> None:
    """The check looks at every moment, not only at the end."""
    scribe = Scribe()
    with books.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > vat:Q1", 5, 10))
    with pytest.raises(Refused, match="at most 0"), books.write() as unit:
        unit.move(scribe.move("S1-01", "vat:Q1 > dead", 1, 2, recorded=11))


def test_a_correction_may_pass_through_zero_inside_one_act(books: Books) -> None:
    """Receipt of 10 was 12: the counter movement alone would empty the dock below what went on to the vat."""
    scribe = Scribe()
    wrong = scribe.move("S1-01", "supplier > dock", 10)
    with books.write() as unit:
        unit.move(wrong)
        unit.move(scribe.move("S1-01", "dock > vat:Q1", 10, 1))
    with pytest.raises(Refused), books.write() as unit:
        unit.move(counter(wrong, at=hour(2), who="Ada", key="undo"))
    with books.write() as unit:
        unit.move(counter(wrong, at=hour(2), who="Ada", key="undo"))
        unit.move(scribe.move("S1-01", "supplier > dock", 12, 0, recorded=2))
    assert balances(books.movements())[("S1-01", "dock")] == 2


def test_the_same_act_posted_twice_is_recorded_once(books: Books) -> None:
    """A phone that lost the answer posts again, later: the number of the first is the answer."""
    scribe = Scribe()
    movement = scribe.move("S1-01", "supplier > dock", 10, 0, key="post-1")
    again = scribe.move("S1-01", "supplier > dock", 10, 0, recorded=3, key="post-1")
    record = scribe.note("hold", "S1-01", 3, reason="x", key="post-2")
    with books.write() as unit:
        first = unit.move(movement)
    with books.write() as unit:
        assert unit.move(again) == first
        assert unit.already == ["post-1"]
        assert unit.note(record) == unit.note(record)
    assert len(books.entries()) == 2


@pytest.mark.parametrize("change", [{"count": 9}, {"at": 1.0}, {"batch": "S1-02"}])
def test_a_used_key_with_other_content_is_refused(books: Books, change: dict[str, object]) -> None:
    """Two different acts under one key would lose one of them silently."""
    scribe = Scribe()
    with books.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > dock", 10, 0, key="k"))
    other = {"batch": "S1-01", "count": 10, "at": 0.0} | change
    with pytest.raises(Refused, match="recorded before"), books.write() as unit:
        unit.move(scribe.move(other["batch"], "supplier > dock", other["count"], other["at"], recorded=2, key="k"))  # type: ignore[arg-type]


def test_a_used_record_key_with_other_content_is_refused(books: Books) -> None:
    """The payload belongs to the content."""
    scribe = Scribe()
    with books.write() as unit:
        unit.note(scribe.note("hold", "S1-01", 0, key="k", reason="a"))
    with pytest.raises(Refused, match="recorded before"), books.write() as unit:
        unit.note(scribe.note("hold", "S1-01", 0, key="k", reason="b"))


def test_faulty_entries_are_refused_with_all_faults(books: Books) -> None:
    """Three faults are reported at once."""
    scribe = Scribe()
    with pytest.raises(BadInput) as refused, books.write() as unit:
        unit.move(scribe.move(" ", "cellar > dock", 0))
    assert len(refused.value.findings) == 3


def test_a_correction_of_nothing_is_refused(books: Books) -> None:
    """The key it names must be in the books."""
    with pytest.raises(Refused, match="earlier movement"), books.write() as unit:
        unit.move(Scribe().move("S1-01", "supplier > dock", 1, corrects="nothing"))


def test_a_clock_before_the_last_entry_is_refused(books: Books) -> None:
    """A computer that woke with its clock at last year must not write; five minutes are forgiven."""
    scribe = Scribe()
    with books.write() as unit:
        unit.note(scribe.note("cleaned", "Q1", 48))
    with pytest.raises(Refused, match="clock"), books.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > dock", 1, 24))
    with books.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > dock", 1, 47.95))
    with pytest.raises(Refused, match="happened at"), books.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > dock", 1, 72, recorded=48))
    assert check(books.entries()) == []


def test_entries_are_found_by_kind_subject_and_time_recorded(books: Books) -> None:
    """What the books said at a moment is a query too."""
    scribe = Scribe()
    with books.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > dock", 1, 0))
        unit.note(scribe.note("hold", "S1-01", 1, reason="x"))
        unit.note(scribe.note("hold", "S1-02", 2, reason="x"))
        unit.move(scribe.move("S1-02", "supplier > dock", 1, 0, recorded=3))
        assert len(unit.entries()) == 4
    assert [e.recorded_at for e in books.entries()] == [hour(0), hour(1), hour(2), hour(3)]
    assert [r.subject for r in books.records("hold")] == ["S1-01", "S1-02"]
    assert [r.subject for r in books.records("hold", "S1-02")] == ["S1-02"]
    assert [m.batch for m in books.movements("S1-02")] == ["S1-02"]
    assert [m.batch for m in books.movements(until=hour(2))] == ["S1-01"]
    assert len(books.entries(until=hour(1))) == 2


FORBIDDEN = (
    "UPDATE movement SET count = 1",
    "DELETE FROM movement",
    "UPDATE record SET payload = '{}'",
    "DELETE FROM record",
)
LAST = "happened_at, recorded_at, who, key, corrects"
OTHER_KEY = LAST.replace("key", "key || 7")
FORBIDDEN_ON_SQLITE = (
    f"INSERT OR REPLACE INTO movement SELECT id, batch, source, target, 1, {LAST}, note, site, seal FROM movement",
    f"INSERT OR REPLACE INTO movement SELECT id + 100, batch, source, target, 1, {LAST}, note, site, seal FROM movement",
    f"REPLACE INTO record SELECT id, kind, subject, '{{}}', {OTHER_KEY}, site, seal, '', '', '' FROM record",
)
FORBIDDEN_ON_POSTGRES = (
    "TRUNCATE movement",
    "TRUNCATE record",
    "INSERT INTO movement SELECT * FROM movement ON CONFLICT (id) DO UPDATE SET count = 1",
)


def test_nothing_in_the_books_can_be_changed_or_deleted(books: Books, address: str) -> None:
    """Even a program that goes past this one is refused by the database, whichever way it tries."""
    scribe = Scribe()
    with books.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > dock", 10))
        unit.note(scribe.note("received", "S1"))
    before = books.entries()
    engine = create_engine(url_of(address))
    special = FORBIDDEN_ON_SQLITE if engine.dialect.name == "sqlite" else FORBIDDEN_ON_POSTGRES
    for statement in FORBIDDEN + special:
        with pytest.raises(DBAPIError, match="append-only"), engine.begin() as connection:
            connection.execute(text(statement))
    engine.dispose()
    assert books.entries() == before


def test_people_counting_one_vat_at_once_never_take_more_than_is_there(opened: Callable[[], Books]) -> None:
    """Eight threads take one animal each, ten times, out of 50: exactly 50 are granted."""
    scribe = Scribe()
    with opened().write() as unit:
        unit.move(scribe.move("S1-01", "supplier > vat:Q1", 50))

    def take(person: int) -> int:
        books = opened()
        granted = 0
        for number in range(10):
            try:
                with books.write() as unit:
                    unit.move(scribe.move("S1-01", "vat:Q1 > dead", 1, 1, key=f"{person}-{number}"))
                granted += 1
            except Refused:
                pass
        return granted

    with ThreadPoolExecutor(8) as crew:
        granted = sum(crew.map(take, range(8)))
    assert granted == 50
    entries = opened().entries()
    assert balances(entries) == {("S1-01", "supplier"): -50, ("S1-01", "dead"): 50}
    assert check(entries) == []


WRITER = """
import sys
from intake.errors import Refused
from intake.store import Books
from tests.ledger.books import Scribe
address, name = sys.argv[1:]
scribe = Scribe()
with Books.open(address) as books:
    for number in range(10**9):
        try:
            with books.write() as unit:
                unit.move(scribe.move("S1-01", "vat:Q1 > dead", 1, 1, key=f"{name}-{number}"))
        except Refused:
            break
        print(f"{name}-{number}", flush=True)
"""


def writer(address: str, name: str) -> subprocess.Popen[str]:
    """Another process which takes one animal after the other and says each key once it is written."""
    command = [sys.executable, "-c", WRITER, address, name]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)


def test_two_processes_counting_one_vat_share_what_is_there(books: Books, address: str) -> None:
    """Between processes too, no animal is taken twice and every acknowledged count is in the books."""
    with books.write() as unit:
        unit.move(Scribe().move("S1-01", "supplier > vat:Q1", 60))
    crew = [writer(address, name) for name in ("ada", "ben")]
    said = [key for process in crew for key in process.communicate()[0].split()]
    assert len(said) == 60
    assert {m.key for m in books.movements()} >= set(said)
    assert balances(books.movements()) == {("S1-01", "supplier"): -60, ("S1-01", "dead"): 60}


def test_a_writer_killed_at_any_moment_loses_nothing_acknowledged(books: Books, address: str) -> None:
    """Three rounds of kill -9 while counts are being written: what was said to be written is there, and adds up."""
    with books.write() as unit:
        unit.move(Scribe().move("S1-01", "supplier > vat:Q1", 100_000))
    for number, counts in enumerate((3, 17, 40)):
        process = writer(address, f"round{number}")
        assert process.stdout is not None
        said = [process.stdout.readline().strip() for _ in range(counts)]
        process.kill()
        said += process.stdout.read().split("\n")[:-1]  # a line without its end was not said
        process.wait()
        process.stdout.close()
        kept = {m.key for m in books.movements()}
        assert len(said) >= counts
        assert kept >= set(said)
        assert check(books.entries()) == []


def test_counts_posted_again_after_a_kill_stand_once(books: Books, address: str) -> None:
    """A phone that heard no answer posts all it has again: each count is there once, the seals are whole."""
    with books.write() as unit:
        unit.move(Scribe().move("S1-01", "supplier > vat:Q1", 60))
    process = writer(address, "phone")
    assert process.stdout is not None
    for _ in range(7):
        process.stdout.readline()
    process.kill()
    process.communicate()
    answered = writer(address, "phone").communicate()[0].split()
    assert len(answered) == 60
    entries = books.entries()
    assert balances(entries) == {("S1-01", "supplier"): -60, ("S1-01", "dead"): 60}
    assert len(entries) == 61
    assert check(entries) == []
    assert books.faults() == []


def test_threads_of_one_program_queue_and_are_told_when_it_takes_too_long(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another thread that never finishes its act must not stop the others for ever."""
    monkeypatch.setattr("intake.store.books.BUSY_MS", 50)
    with Books.open(tmp_path / "farm.db") as books, books.write():
        with ThreadPoolExecutor(1) as crew:
            refused = crew.submit(write, books, Scribe().note("cleaned", "Q1")).exception()
        assert isinstance(refused, StoreTrouble)
        assert "Wait a moment" in refused.findings[0].do
