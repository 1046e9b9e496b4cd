"""A hold is ended by a lift that came after it, and by no other."""

from __future__ import annotations

import pytest

from intake.ledger import Entry
from intake.ledger.balance import fold
from tests.ledger.books import Scribe, hour


def _held(scribe: Scribe, *entries: Entry) -> list[str]:
    """Reasons of the holds in force after these entries."""
    here = [scribe.move("S1-01", "supplier > vat:Q1", 5), *entries]
    return [hold.reason for hold in fold(here, hour(100)).holds if not hold.lifted]


def test_a_lift_older_than_a_hold_does_not_cancel_it() -> None:
    """Lifted at 5, held again at 8: the lot is held, though a lift for it stands on record."""
    scribe = Scribe()
    lift = scribe.note("lift", "S1-01", 5, batch="S1-01", reason="tested clean")
    hold = scribe.note("hold", "S1-01", 8, batch="S1-01", reason="two dead today")
    assert _held(scribe, lift, hold) == ["two dead today"]
    assert _held(scribe, hold, lift) == ["two dead today"], "the order of recording does not matter, the moments do"


@pytest.mark.parametrize(("lifted_at", "held"), [(7.99, ["first"]), (8, []), (8.01, [])])
def test_a_lift_at_the_moment_of_the_hold_ends_it(lifted_at: float, held: list[str]) -> None:
    """Held and lifted in one minute by a mistaken tap: the lift counts."""
    scribe = Scribe()
    hold = scribe.note("hold", "S1-01", 8, batch="S1-01", reason="first")
    assert _held(scribe, hold, scribe.note("lift", "S1-01", lifted_at, reason="wrong lot")) == held


def test_a_lift_of_another_lot_or_another_hold_changes_nothing() -> None:
    """A lift names its lot; where it names a hold, too, the other holds of the lot stay."""
    scribe = Scribe()
    one = scribe.note("hold", "S1-01", 2, key="h1", reason="papers")
    two = scribe.note("hold", "S1-01", 3, key="h2", reason="deaths")
    other = scribe.note("lift", "S1-02", 4, reason="fine")
    named = scribe.note("lift", "S1-01", 4, reason="papers came", hold="h1")
    assert _held(scribe, one, two, other) == ["papers", "deaths"]
    assert _held(scribe, one, two, named) == ["deaths"]


def test_the_first_lift_after_a_hold_is_the_one_told() -> None:
    """Two lifts: the reason and the moment shown are those that ended it."""
    scribe = Scribe()
    entries: list[Entry] = [
        scribe.move("S1-01", "supplier > vat:Q1", 5),
        scribe.note("hold", "S1-01", 2, reason="papers"),
        scribe.note("lift", "S1-01", 4, reason="papers came"),
        scribe.note("lift", "S1-01", 9, reason="again"),
    ]
    (hold,) = fold(entries, hour(10)).holds
    assert (hold.lifted, hold.lifted_at) == ("papers came", hour(4))
