"""What the check of the books finds, and that it finds nothing in sound ones."""

from __future__ import annotations

from dataclasses import replace

import pytest

from intake.ledger import Entry, check, counter, faults, shortages
from tests.ledger.books import Scribe, hour


def words(entries: list[Entry]) -> str:
    """Everything the check finds, as one text."""
    return "\n".join(str(finding) for finding in check(entries))


def test_sound_books_have_no_findings() -> None:
    """A whole small history: arrival, dead on arrival, a move, a death, a sale."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-01", "supplier > dock", 10),
        scribe.move("S1-01", "dock > doa", 1, 1),
        scribe.move("S1-01", "dock > vat:Q1", 9, 1),
        scribe.move("S1-01", "vat:Q1 > dead", 1, 30),
        scribe.move("S1-01", "vat:Q1 > sold", 8, 900),
        scribe.note("received", "S1", 0, recorded=900),
    ]
    assert check(entries) == []


def test_a_place_below_zero_is_named_with_have_and_want() -> None:
    """The finding says which batch, where, how many are there and how many were to leave."""
    scribe = Scribe()
    entries = [scribe.move("S1-01", "supplier > vat:Q1", 5), scribe.move("S1-01", "vat:Q1 > dead", 6, 1)]
    (short,) = shortages(entries)
    assert (short.batch, short.place, short.have, short.want, short.at) == ("S1-01", "vat:Q1", 5, 6, hour(1))
    assert "S1-01" in words(list(entries))


def test_a_place_below_zero_for_a_while_is_found_though_it_ends_well() -> None:
    """Deaths entered for a time before the animals came would make a past balance negative."""
    scribe = Scribe()
    entries = [
        scribe.move("S1-01", "supplier > vat:Q1", 5, 10),
        scribe.move("S1-01", "vat:Q1 > dead", 1, 2, recorded=11),
    ]
    assert [s.at for s in shortages(entries)] == [hour(2)]


def test_movements_of_one_moment_have_no_order() -> None:
    """Unloading and placing noted for the same minute are lawful in either order."""
    scribe = Scribe()
    onward, unload = scribe.move("S1-01", "dock > vat:Q1", 5), scribe.move("S1-01", "supplier > dock", 5)
    assert shortages([onward, unload]) == ()


@pytest.mark.parametrize("source", ["supplier", "cut-from", "opening"])
def test_only_sources_may_go_below_zero(source: str) -> None:
    """Animals come from somewhere; every other place can give only what it has."""
    scribe = Scribe()
    assert shortages([scribe.move("X", f"{source} > vat:Q1", 5)]) == ()
    assert shortages([scribe.move("X", "sold > vat:Q1", 5)]) != ()


def test_corrections_must_point_at_an_earlier_entry_and_take_back_no_more_than_it_moved() -> None:
    """A counter movement without its movement, or larger than it, invents animals."""
    scribe = Scribe()
    first = scribe.move("S1-01", "supplier > vat:Q1", 5)
    lost = scribe.move("S1-01", "vat:Q1 > supplier", 1, 1, corrects="nothing")
    assert "nothing" in words([first, lost])
    twice: list[Entry] = [
        first,
        counter(first, 4, at=hour(1), who="Ada", key="a"),
        counter(first, 3, at=hour(2), who="Ada", key="b"),
    ]
    assert "at most its 5 animals" in words(twice)


def test_a_record_cannot_correct_a_movement() -> None:
    """Keys of movements and records are different books; pointing across is found."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-01", "supplier > dock", 5, key="k"),
        scribe.note("hold", "S1-01", corrects="k"),
    ]
    assert "earlier entry" in words(entries)


def test_a_key_used_twice_is_found() -> None:
    """The database forbids it, so twice means that someone changed the file."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("A", "supplier > dock", 5, key="k"),
        scribe.move("A", "supplier > dock", 5, key="k"),
    ]
    assert "k" in words(entries)


def test_a_clock_that_ran_backwards_or_ahead_is_found_beyond_its_slack() -> None:
    """Five minutes between two computers are forgiven; a day is not."""
    scribe = Scribe()
    first = scribe.move("A", "supplier > dock", 5, 48)
    assert check([first, scribe.move("A", "dock > vat:Q1", 1, 48, recorded=47.95)]) == []
    assert "recorded at" in words([first, scribe.move("A", "dock > vat:Q1", 1, 48.0, recorded=24)])
    assert "happened at" in words([scribe.move("A", "supplier > dock", 5, 48, recorded=24)])


@pytest.mark.parametrize(
    ("change", "part"),
    [
        ({"count": 0}, "count"),
        ({"count": -3}, "count"),
        ({"count": 2.5}, "count"),
        ({"count": True}, "count"),
        ({"target": "vat:"}, "target"),
        ({"target": "cellar"}, "target"),
        ({"target": "supplier"}, "target"),
        ({"batch": "  "}, "batch"),
        ({"who": "A\x00da"}, "who"),
        ({"note": "\udcff"}, "note"),
        ({"happened_at": hour(0).replace(tzinfo=None)}, "happened_at"),
    ],
)
def test_faulty_movements_are_described(change: dict[str, object], part: str) -> None:
    """Every way a movement can be wrong is named by its field, and damaged books can still be read to say so."""
    entry = replace(Scribe().move("S1-01", "supplier > dock", 5), **change)  # type: ignore[arg-type]
    assert any(part in finding.where for finding in faults(entry))
    assert check([entry]) == list(faults(entry))


def test_faulty_records_are_described() -> None:
    """Unknown kinds and values that JSON cannot hold."""
    scribe = Scribe()
    assert "record kind" in words([scribe.note("gossip", "S1")])
    assert "payload" in words([scribe.note("reading", "vat:Q1", value=float("nan"))])
    assert "payload" in words([scribe.note("reading", "vat:Q1", value=object())])
    assert "payload" in words([scribe.note("photo", "S1", text="\ud800")])
