"""Who stood where before: each stay that has ended is kept with its two moments, once, in the vat it was in."""

from __future__ import annotations

from intake.ledger.balance import fold
from tests.ledger.books import Scribe, hour


def _past(*ways: tuple[str, int, float]) -> list[tuple[str, str, float, float]]:
    scribe = Scribe()
    entries = [scribe.move("S1-01", way, count, at) for way, count, at in ways]
    floor = fold(entries, hour(100))
    return [
        (
            past.batch,
            past.vat,
            (past.start - hour(0)).total_seconds() / 3600,
            (past.end - hour(0)).total_seconds() / 3600,
        )
        for past in floor.past
    ]


def test_a_stay_is_past_once_the_last_animal_has_left() -> None:
    """Some moved on at 4, the rest at 9: in Q1 from 1 to 9; a stay that goes on is not past."""
    past = _past(("supplier > vat:Q1", 10, 1), ("vat:Q1 > vat:Q2", 4, 4), ("vat:Q1 > vat:Q2", 6, 9))
    assert past == [("S1-01", "Q1", 1, 9)]


def test_every_place_animals_left_for_good_ends_the_stay() -> None:
    """Sold, dead or moved alike; nothing is past of animals that never stood in a vat."""
    assert _past(("supplier > vat:Q1", 3, 1), ("vat:Q1 > dead", 1, 2), ("vat:Q1 > sold", 2, 5)) == [
        ("S1-01", "Q1", 1, 5)
    ]
    assert _past(("supplier > dock", 3, 1), ("dock > doa", 3, 2)) == []


def test_a_batch_that_comes_back_has_two_stays() -> None:
    """Out at 3 and in again at 7: two stays, the second still going on until it ends."""
    ways = (("supplier > vat:Q1", 5, 1), ("vat:Q1 > vat:Q2", 5, 3), ("vat:Q2 > vat:Q1", 5, 7), ("vat:Q1 > sold", 5, 8))
    assert sorted(_past(*ways)) == [("S1-01", "Q1", 1, 3), ("S1-01", "Q1", 7, 8), ("S1-01", "Q2", 3, 7)]
