"""Every question to the tables answered a second time in plain Python over all entries, on both kinds of database."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest

from intake.ledger import Entry, Movement, Record, balances, latest, movements, standing
from intake.ledger.entries import is_vat
from intake.ledger.present import LATELY
from intake.ledger.streams import stream_of
from intake.store import Books
from tests.ledger.books import Scribe, hour
from tests.store.histories import BATCHES, Chronicle, scope_of


def places(entries: tuple[Entry, ...]) -> dict[str, tuple[str, str, str]]:
    """Key of each record → batch, shipment and topic; a correction belongs where what it corrects does."""
    found: dict[str, tuple[str, str, str]] = {}
    for one in entries:
        if isinstance(one, Record):
            own = stream_of(one)
            found[one.key] = found.get(one.corrects or "", (own.batch, own.shipment, own.topic))
    return found


def told(books: Books, seed: int) -> float:
    """Sixty acts of a history; gives its last hour."""
    story = Chronicle(books, seed)
    for _ in range(60):
        story.act()
    return story.now


def belongs(entry: Entry, where: dict[str, tuple[str, str, str]]) -> str:
    """The batch an entry belongs to; empty for none."""
    return entry.batch if isinstance(entry, Movement) else where[entry.key][0]


@pytest.mark.parametrize("seed", [11])
def test_records_of_a_kind_are_those_a_loop_finds(opened: Callable[[], Books], seed: int) -> None:
    """Since a moment to the microsecond, of no batch, of a subject, of topics, and the latest from a topic on."""
    books = opened()
    told(books, seed)
    view, entries = books.view(), books.entries()
    where = places(entries)
    for kind in ("finding", "reading", "done", "cleaned", "hold"):
        plain = standing(entries, kind)
        every = [one for one in entries if isinstance(one, Record) and one.kind == kind]
        assert view.of_kind(kind) == tuple(every)
        assert view.standing(kind, loose=True) == tuple(one for one in plain if not where[one.key][0])
        for since in {edge for one in plain for edge in (one.happened_at, one.happened_at + timedelta(microseconds=1))}:
            assert view.standing(kind, since=since) == tuple(one for one in plain if one.happened_at >= since)
        for subject in {one.subject for one in plain}:
            assert view.standing(kind, subject) == tuple(one for one in plain if one.subject == subject)
        topics = sorted({where[one.key][2] for one in every} - {""})
        assert view.about(kind, topics[:2]) == tuple(one for one in every if where[one.key][2] in topics[:2])
        for topic in topics:
            wanted = {"main", "t3", *(one.subject for one in every if where[one.key][2] >= topic)}
            newest = {name: one for name, one in latest(entries, kind).items() if name in wanted}
            assert view.latest_from(kind, topic, ("main", "t3")) == newest


@pytest.mark.parametrize("seed", [11])
def test_entries_of_places_batches_and_times_are_those_a_loop_finds(opened: Callable[[], Books], seed: int) -> None:
    """Movements, streams, shipments, corrections, what was recorded after a moment, and what lives or was stirred since."""
    books = opened()
    now = hour(told(books, seed))
    view, entries = books.view(), books.entries()
    where = places(entries)
    assert view.count() == len(entries)
    assert view.moved() == tuple(movements(entries))
    assert view.readings_of(["main"]) == tuple(one for one in standing(entries, "reading") if one.subject == "main")
    assert view.of_shipment("S1") == tuple(
        one for one in entries if isinstance(one, Record) and where[one.key][1] == "S1"
    )
    corrected = [one.corrects for one in entries if one.corrects][:3]
    assert view.corrections(corrected) == tuple(one for one in entries if one.corrects in corrected)
    for moment in {one.recorded_at for one in entries}:
        assert view.recorded_after(moment) == tuple(one for one in entries if one.recorded_at > moment)
    for batch in BATCHES:
        assert view.stream([batch]) == tuple(one for one in entries if belongs(one, where) == batch)
    alive = {batch for (batch, place), n in balances(entries).items() if n and (place == "dock" or is_vat(place))}
    for since in sorted({one.recorded_at for one in entries})[-40:]:
        if now - since > LATELY:
            scope = alive | scope_of(entries, lambda one, since=since: one.recorded_at >= since)  # type: ignore[misc]
            assert view.lately(now, now - since) == tuple(one for one in entries if belongs(one, where) in scope)


def test_an_act_is_found_by_its_key_however_many_entries_it_wrote(books: Books) -> None:
    """``key``, ``key.2`` and so on without a gap: what comes after a gap, or under a longer key, is another act."""
    scribe = Scribe()
    for many in (1, 2, 15, 16, 17, 31, 32, 33, 65):
        rows = [scribe.note("cleaned", "Q1", key="k" if one == 1 else f"k.{one}") for one in range(1, many + 1)]
        rows = [scribe.note(one.kind, one.subject, key=f"a{many}{one.key}") for one in rows]
        with books.write() as unit:
            for row in [
                *rows,
                scribe.note("cleaned", "Q1", key=f"a{many}k.{many + 2}"),
                scribe.note("cleaned", "Q1", key=f"a{many}kk"),
            ]:
                unit.note(row)
    view = books.view()
    for many in (1, 2, 17, 33, 65):
        keys = [one.key for one in view.act(f"a{many}k")]
        assert keys[:many] == [f"a{many}k", *(f"a{many}k.{one}" for one in range(2, many + 1))]
        assert f"a{many}kk" not in keys
    assert view.act("") == ()
    assert view.act("nobody") == ()
