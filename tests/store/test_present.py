"""The present caught up by what came since must be the one read from the start, and both what all entries fold to."""

from __future__ import annotations

import random
import shutil
from collections import Counter
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Connection, Select, create_engine, text

from intake.errors import Refused
from intake.farm.floor import Floor
from intake.ledger import LATELY, READ_LATELY, Entry, Movement, balances, fold, latest, standing
from intake.store import Books
from intake.store.derived import wrong_holdings
from intake.store.engines import address as url_of
from intake.store.entry_reading import rows_of
from intake.store.view import View
from tests.ledger.books import Scribe, hour
from tests.store.histories import Chronicle, scope_of


def restricted(entries: tuple[Entry, ...], at: datetime) -> dict[str, object]:
    """What the full fold says, less what is neither alive nor lately: written again here, without the product's scope."""
    full = fold(entries, at)
    since = at - LATELY
    scope = scope_of(entries, lambda entry: entry.recorded_at >= since)
    scope |= {batch for (batch, place), n in balances(entries).items() if n > 0 and place.startswith(("vat:", "dock"))}
    ended = fold(entries, datetime.max.replace(tzinfo=at.tzinfo))
    quarantined = [s.since for s in ended.stays if s.stage == "quarantine" and s.batch in scope]
    seen_since = min([since, *quarantined])
    last_out = {one.vat: one for one in full.past}
    last: dict[tuple[str, str], int] = {}
    for place, one in enumerate(full.readings):
        if one.at < at - READ_LATELY:
            last[one.place, one.quantity] = place
    return {
        "stays": full.stays,
        "received": full.received,
        "done": tuple(
            one for one in full.done if one.batch in scope or (not one.batch and one.at >= since) or one.where == "vat"
        ),
        "found": tuple(one for one in full.found if one.batch in scope or one.at >= seen_since or one.what),
        "past": tuple(one for one in full.past if one.batch in scope or one == last_out[one.vat]),
        "closures": full.closures,
        "opened": full.opened,
        "orders": tuple(one for one in full.orders if one.batch in scope),
        "losses": tuple(one for one in full.losses if one.batch in scope),
        "readings": tuple(
            one
            for n, one in enumerate(full.readings)
            if one.at >= at - READ_LATELY or n in last.values() or one.quantity == "copper_ug_per_l"
        ),
        "holds": tuple(one for one in full.holds if one.batch in scope),
        "cleaned": full.cleaned,
        "batches": dict(full.batches),
    }


def told(floor: Floor) -> dict[str, object]:
    """A floor as plain values."""
    names = (
        "past",
        "closures",
        "opened",
        "orders",
        "stays",
        "received",
        "done",
        "found",
        "losses",
        "readings",
        "holds",
        "cleaned",
    )
    return {name: getattr(floor, name) for name in names} | {"batches": dict(floor.batches)}


def compare(books: Books, afresh: Callable[[], Books], at: datetime) -> None:
    """The books that read before, books opened afresh, and the fold of all entries."""
    entries = books.entries()
    expected = restricted(entries, at)
    caught_up = told(books.view().floor(at))
    assert caught_up == expected
    fresh = afresh()
    assert told(fresh.view().floor(at)) == expected
    fresh.close()


@settings(max_examples=25)
@given(seed=st.integers(0, 10**9), acts=st.integers(1, 60), days=st.sampled_from([20, 160, 400]))
def test_present_is_the_fold_restricted(
    seed: int, acts: int, days: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Corrections of any age, of corrections, of other times; withdrawn records; clocks ahead: study's invariant 1."""
    path = tmp_path_factory.mktemp("books") / "farm.db"
    chance = random.Random(seed)
    with Books.open(path) as books:
        story = Chronicle(books, seed, days=days)
        for _ in range(acts):
            story.act()
            if chance.random() < 0.15:
                compare(books, lambda: Books.open(path), hour(story.now + chance.choice((0, 0, 1, 24 * 50))))
        compare(books, lambda: Books.open(path), hour(story.now))


@settings(max_examples=25)
@given(seed=st.integers(0, 10**9), acts=st.integers(1, 40))
def test_what_an_act_read_inside_is_what_the_next_reader_would_find(
    seed: int, acts: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Read before, between and after an act's own entries, and by a view that later entries left behind."""
    path = tmp_path_factory.mktemp("books") / "farm.db"
    kinds = ("finding", "reading", "hold", "batch", "done")

    def look(view: View) -> object:
        at = hour(story.now + chance.choice((0, 1)))
        asks: list[Callable[[], object]] = [
            lambda: view.floor(at),
            lambda: view.latest_from(chance.choice(kinds), chance.choice(("", "2026-02-01", "~")), ()),
            lambda: view.standing(chance.choice(kinds)),
            lambda: view.latest(chance.choice(kinds)),
            lambda: view.last_recorded(),
        ]
        return [ask() for ask in asks if chance.random() < 0.5]

    chance = random.Random(seed)
    with Books.open(path) as books:
        story = Chronicle(books, seed)
        for _ in range(acts):
            story.act(look)
        at = hour(story.now)
        with Books.open(path) as fresh:
            known, read = books.view(), fresh.view()
            assert told(known.floor(at)) == told(read.floor(at))
            assert known.last_recorded() == read.last_recorded()
            for kind in kinds:
                assert known.standing(kind) == read.standing(kind)
                assert list(known.latest(kind).items()) == list(read.latest(kind).items())
                for topic in ("", "2026-02-01", "~"):
                    assert list(known.latest_from(kind, topic, ()).items()) == list(
                        read.latest_from(kind, topic, ()).items()
                    )
        compare(books, lambda: Books.open(path), at)


def test_the_second_act_reads_only_what_the_first_one_wrote(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two acts that look at the floor and at forty events: the second reads the entry of the first again, not all."""
    scribe, read = Scribe(), list[int]()

    def counted(connection: Connection, query: Select[Any]) -> list[dict[str, Any]]:
        found = list(rows_of(connection, query))
        read.append(len(found))
        return found

    with Books.open(tmp_path / "farm.db") as books:
        with books.write() as unit:
            unit.move(scribe.move("S1-01", "supplier > vat:Q1", 900))
            for number in range(40):
                unit.note(scribe.note("published", f"e{number}", fields={"end": "2026-02-01"}))
        monkeypatch.setattr("intake.store.asking.questions.rows_of", counted)
        sums = []
        for number in (1, 2):
            read.clear()
            with books.write() as unit:
                unit.move(scribe.move("S1-01", "vat:Q1 > dead", 1, number))
                seen = books.view().within(unit.ask, unit.entries)
                assert len(seen.latest_from("published", "2026-01-01", ())) == 40
                assert [stay.count for stay in seen.floor(hour(number)).stays] == [900 - number]
            books.learn(seen)
            sums.append(sum(read))
    assert sums[0] > 40
    assert sums[1] < 10


@pytest.mark.parametrize("seed", range(6))
def test_present_is_the_fold_restricted_on_either_database(opened: Callable[[], Books], seed: int) -> None:
    """The same on PostgreSQL, where numbers and text order are another's."""
    books = opened()
    story = Chronicle(books, seed)
    for number in range(60):
        story.act()
        if number % 7 == 0:
            compare(books, opened, hour(story.now))
    compare(books, opened, hour(story.now))
    assert story.refused < 60


@pytest.mark.parametrize("seed", range(3))
def test_narrow_questions_answer_as_all_entries_do(opened: Callable[[], Books], seed: int) -> None:
    """Latest, standing and streams from the indexes are those of the pure functions over everything."""
    books = opened()
    story = Chronicle(books, seed)
    for number in range(70):
        story.act()
        if number % 10 == 9:
            view, entries = books.view(), books.entries()
            for kind in ("batch", "finding", "reading", "hold", "cleaned", "received"):
                assert view.standing(kind) == standing(entries, kind)
                assert list(view.latest(kind).items()) == list(latest(entries, kind).items())
                for subject, record in latest(entries, kind).items():
                    assert opened().view().last(kind, subject) == record
            for batch in ("S1-01", "H1"):
                moved = [entry for entry in view.stream([batch]) if isinstance(entry, Movement)]
                assert moved == [e for e in entries if isinstance(e, Movement) and e.batch == batch]
                assert view.held(batch) == {place: n for (one, place), n in balances(entries).items() if one == batch}
                own, all_ = view.floor_of([batch], hour(story.now)), fold(entries, hour(story.now))
                assert [s for s in own.stays if s.batch == batch] == [s for s in all_.stays if s.batch == batch]
                assert [s for s in own.done if s.batch == batch] == [s for s in all_.done if s.batch == batch]


def holdings(address: str) -> tuple[list[str], dict[tuple[str, str], int]]:
    """What the database finds wrong with its holdings, and what they are."""
    engine = create_engine(url_of(address))
    with engine.begin() as connection:
        wrong = [str(one) for one in wrong_holdings(connection, "")]
        rows = connection.execute(text("SELECT batch, place, count FROM holding WHERE count <> 0"))
        found = {(str(batch), str(place)): int(count) for batch, place, count in rows}
    engine.dispose()
    return wrong, found


def test_holdings_are_the_sum_of_the_movements(address: str) -> None:
    """After every act, refused or not: study's invariant 2."""
    with Books.open(address) as books:
        story = Chronicle(books, 11)
        for _ in range(50):
            story.act()
            wrong, found = holdings(address)
            assert wrong == []
            summed: Counter[tuple[str, str]] = Counter()
            for movement in books.movements():
                summed[movement.batch, movement.source] -= movement.count
                summed[movement.batch, movement.target] += movement.count
            assert found == {spot: count for spot, count in summed.items() if count}
        assert story.refused > 0


def test_a_key_told_again_adds_nothing_to_the_holdings(address: str) -> None:
    """Study's invariant 5; and a refused unit leaves them as they were."""
    scribe = Scribe()
    came = scribe.move("S1-01", "supplier > vat:Q1", 9, key="came")
    with Books.open(address) as books:
        for _ in range(2):
            with books.write() as unit:
                unit.move(came)
        before = holdings(address)
        with pytest.raises(Refused), books.write() as unit:
            unit.move(scribe.move("S1-01", "vat:Q1 > dead", 10, 1))
        assert holdings(address) == before == ([], {("S1-01", "supplier"): -9, ("S1-01", "vat:Q1"): 9})


def test_accounts_nobody_named_are_shared(opened: Callable[[], Books]) -> None:
    """Study's invariant 3: catching up costs what came, not what is there."""
    books = opened()
    scribe = Scribe()
    with books.write() as unit:
        for batch in ("S1-01", "S1-02", "S1-03"):
            unit.move(scribe.move(batch, "supplier > vat:Q1", 9))
    before = books.view().present(hour(1))
    with books.write() as unit:
        unit.move(scribe.move("S1-02", "vat:Q1 > dead", 1, 1))
    after = books.view().present(hour(1))
    assert after.accounts["S1-01"] is before.accounts["S1-01"]
    assert after.accounts["S1-03"] is before.accounts["S1-03"]
    assert after.accounts["S1-02"].held == {"supplier": -9, "vat:Q1": 8, "dead": 1}


@pytest.mark.parametrize("warm", [True, False])
def test_an_earlier_moment_does_not_depend_on_the_present(opened: Callable[[], Books], warm: bool) -> None:
    """Study's invariant 4: longer ago than a month all entries are folded; lately, what lived then and the days before."""
    books = opened()
    story = Chronicle(books, 5)
    for _ in range(60):
        story.act()
    if warm:
        books.view().floor(hour(story.now))
    for earlier in (story.now - 1, story.now - 24 * 20):
        assert told(books.view().floor(hour(earlier))) == restricted(books.entries(), hour(earlier))
    for earlier in (0.0, story.now / 3):
        floor = books.view().floor(hour(earlier))
        assert told(floor) == told(fold(books.entries(), hour(earlier)))


def test_books_put_back_under_an_open_reader_have_another_present(tmp_path: Path) -> None:
    """Study's invariant 7: as many entries but other ones; the seal of the last distinguishes them."""
    first, second = tmp_path / "farm.db", tmp_path / "other.db"
    for path, batch in ((first, "S1-01"), (second, "S9-09")):
        with Books.open(path) as books, books.write() as unit:
            unit.move(Scribe().move(batch, "supplier > vat:Q1", 5))
    with Books.open(first) as books:
        assert [stay.batch for stay in books.view().floor(hour(1)).stays] == ["S1-01"]
        books.close()
        shutil.copyfile(second, first)
        assert [stay.batch for stay in books.view().floor(hour(1)).stays] == ["S9-09"]


def test_a_view_stays_at_its_moment_while_others_write(opened: Callable[[], Books]) -> None:
    """A request keeps the value it began with, whatever it asks later."""
    books, other = opened(), opened()
    scribe = Scribe()
    with books.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > vat:Q1", 9))
        unit.note(scribe.note("hold", "S1-01", reason="spots", key="hold"))
    view = books.view()
    with other.write() as unit:
        unit.move(scribe.move("S1-01", "vat:Q1 > dead", 4, 1))
        unit.note(scribe.note("hold", "S1-01", 1, reason="none", corrects="hold"))
        unit.note(scribe.note("hold", "S1-02", 1, reason="more"))
    assert view.held("S1-01")["vat:Q1"] == 9
    assert [record.payload["reason"] for record in view.standing("hold")] == ["spots"]
    assert list(view.latest("hold")) == ["S1-01"]
    assert [record.payload["reason"] for record in books.view().standing("hold")] == ["none", "more"]


def test_a_correction_may_not_take_a_fact_to_another_batch(books: Books) -> None:
    """Accounts rest on it: what is written makes at most one of them out of date."""
    scribe = Scribe()
    with books.write() as unit:
        unit.note(scribe.note("finding", "S1-01", batch="S1-01", what="mite", key="seen"))
    with pytest.raises(Refused, match="S1-02"), books.write() as unit:
        unit.note(scribe.note("finding", "S1-02", 1, batch="S1-02", what="mite", corrects="seen"))
    with books.write() as unit:
        unit.note(scribe.note("finding", "S1-01", 1, withdrawn=True, corrects="seen"))
    assert books.view().floor(hour(1) + timedelta(minutes=1)).found == ()


def work(path: Path) -> int:
    """Steps SQLite takes for what a count asks: a stranger opens the books, reads one batch and writes."""
    steps = 0

    def tick() -> int:
        nonlocal steps
        steps += 1
        return 0

    with Books.open(path) as books:
        for engine in (books._reader, books._writer):
            with engine.connect() as connection:
                driver: Any = connection.connection.driver_connection
                driver.set_progress_handler(tick, 10)
        view = books.view()
        floor = view.floor_of(["A000"], hour(3))
        assert floor.headcount("A000") > 0
        with books.write() as unit:
            unit.move(Scribe().move("A000", "vat:G1 > dead", 1, 3, key="now"))
    return steps


def test_rows_a_count_reads_do_not_grow_with_the_books(tmp_path: Path) -> None:
    """Study's invariant 6, as a ratio in one run: of a hundred times the entries at most twice the steps."""
    found = []
    for entries in (1_000, 100_000):
        path, scribe = tmp_path / f"{entries}.db", Scribe()
        with Books.open(path) as books, books.write() as unit:
            batches = entries // 50
            unit.copy([scribe.move(f"A{one:03}", "opening > vat:G1", 1_000) for one in range(batches)])
            unit.copy(
                scribe.move(f"A{one % batches:03}", "vat:G1 > dead", 1, 1)
                if one % 3 == 0
                else scribe.note("reading", "main", 1, quantity="temperature_c", value=25)
                for one in range(entries - batches)
            )
        found.append(work(path))
    assert 0 < found[1] <= 2 * found[0], found
