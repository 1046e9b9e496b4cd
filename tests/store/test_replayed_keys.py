"""The same key twice: the same act is counted once, another act under it is refused, whatever differs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from intake.errors import Refused
from intake.store import Books
from tests.ledger.books import Scribe, hour


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("note", "found under the rock"),
        ("count", 2),
        ("batch", "S1-02"),
        ("target", "missing"),
        ("source", "vat:Q2"),
        ("happened_at", hour(2)),
        ("who", "Ben"),
    ],
)
def test_another_act_under_a_used_key_is_refused_by_what_differs(books: Books, name: str, value: object) -> None:
    """A death sent again with another note is another act: refused by name, and the books keep the first."""
    scribe = Scribe()
    dead = scribe.move("S1-01", "vat:Q1 > dead", 1, 3, key="tap-1")
    with books.write() as unit:
        for batch in ("S1-01", "S1-02"):
            for vat in ("Q1", "Q2"):
                unit.move(scribe.move(batch, f"supplier > vat:{vat}", 5))
        unit.move(dead)
    before = books.entries()
    with pytest.raises(Refused) as refused, books.write() as unit:
        unit.move(replace(dead, **{name: value}))  # type: ignore[arg-type]  # one field at a time
    assert name in str(refused.value)
    assert "tap-1" in str(refused.value)
    assert books.entries() == before


def test_the_same_act_posted_again_later_is_counted_once(books: Books) -> None:
    """A phone that lost the answer sends it again: only the moment of posting differs, and that does not matter."""
    scribe = Scribe()
    dead = scribe.move("S1-01", "vat:Q1 > dead", 1, 3, key="tap-1")
    with books.write() as unit:
        unit.move(scribe.move("S1-01", "supplier > vat:Q1", 5))
        first = unit.move(dead)
    with books.write() as unit:
        assert unit.move(replace(dead, recorded_at=hour(9))) == first
        assert unit.already == ["tap-1"]
    assert len(books.entries()) == 2


def test_a_record_with_another_payload_under_its_key_is_refused(books: Books) -> None:
    """Readings and findings hold to it as movements do."""
    told = Scribe().note("reading", "quarantine", 1, key="r-9", quantity="temperature", value=26.0)
    with books.write() as unit:
        unit.note(told)
    with pytest.raises(Refused, match="payload"), books.write() as unit:
        unit.note(replace(told, payload={**told.payload, "value": 27.0}))
