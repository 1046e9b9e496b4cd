"""Five minutes a clock may be off: at five minutes an entry is taken and found sound, a second beyond it is not."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from intake.app.system_clock import behind
from intake.errors import Refused
from intake.ledger import Entry, check
from intake.ledger.conservation import CLOCK_SLACK
from intake.store import Books
from tests.ledger.books import Scribe, hour
from tests.store.test_appending import write

EDGE, BEYOND = 5 / 60, 5 / 60 + 1 / 3600
"""Five minutes and a second more, in hours."""


def recorded_early(early: float) -> list[Entry]:
    """Two entries, the second recorded by a clock that stands so many hours before the first's."""
    scribe = Scribe()
    return [
        scribe.move("S1-01", "supplier > vat:Q1", 5, 0, recorded=2),
        scribe.move("S1-01", "vat:Q1 > dead", 1, 1, recorded=2 - early),
    ]


def ahead(hours: float) -> list[Entry]:
    """An entry that happened so many hours after it was recorded."""
    return [Scribe().move("S1-01", "supplier > vat:Q1", 5, 2 + hours, recorded=2)]


@pytest.mark.parametrize("made", [recorded_early, ahead])
def test_the_books_take_five_minutes_and_not_a_second_more(books: Books, made: Callable[[float], list[Entry]]) -> None:
    """The store refuses beyond it."""
    with pytest.raises(Refused):
        write(books, *made(BEYOND))
    assert books.entries() == ()
    rows = made(EDGE)
    write(books, *rows)
    assert len(books.entries()) == len(rows)


@pytest.mark.parametrize("made", [recorded_early, ahead])
def test_the_check_finds_a_second_more_than_five_minutes(made: Callable[[float], list[Entry]]) -> None:
    """What is in the books is judged as what comes in."""
    assert check(made(EDGE)) == []
    assert len(check(made(BEYOND))) == 1


def test_a_computers_clock_may_stand_five_minutes_before_the_last_entry() -> None:
    """Then it is believed; a second earlier the command asks."""
    zone = ZoneInfo("Europe/Lisbon")
    assert timedelta(hours=EDGE) == CLOCK_SLACK
    assert behind(hour(2) - CLOCK_SLACK, hour(2), zone) is None
    assert behind(hour(2) - CLOCK_SLACK - timedelta(seconds=1), hour(2), zone) is not None
    assert behind(hour(0), None, zone) is None
