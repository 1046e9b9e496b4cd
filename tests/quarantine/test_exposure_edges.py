"""Who met whom to the instant: entry as another leaves, tools carried at the edge of a stay, and what is held for it."""

from __future__ import annotations

import pytest

from intake.quarantine.exposure import Cleaned, Contact, holds_after, meetings, trace
from tests.quarantine.test_exposure import day, pairs, stay


def test_a_lot_entering_at_the_instant_another_leaves_follows_it() -> None:
    """They never stood together, but the water was the other's until that instant: exposed one way, not none."""
    assert pairs([stay("A", "Q1a", 0, 10), stay("B", "Q1a", 10, 20)]) == {("A", "B", "entered after")}
    assert pairs([stay("A", "Q1a", 0, 10.001), stay("B", "Q1a", 10, 20)]) == {
        ("A", "B", "shared water"),
        ("B", "A", "shared water"),
    }


@pytest.mark.parametrize(("cleaned", "safe"), [(9.99, False), (10, True), (12, True), (15, True), (15.01, False)])
def test_cleaning_counts_from_the_leaving_to_the_entry_both_included(cleaned: float, safe: bool) -> None:
    """Cleaned while the first lot still stood, or after the second came in, is not cleaned between."""
    rows = [stay("A", "Q1a", 0, 10), stay("B", "Q1a", 15, 20)]
    assert (pairs(rows, cleaned=[Cleaned("Q1", day(cleaned))]) == set()) == safe


@pytest.mark.parametrize(("at", "met"), [(4.99, False), (5, True), (9.99, True), (10, False)])
def test_a_tool_carries_from_the_entry_of_a_lot_until_it_has_left(at: float, met: bool) -> None:
    """The instant of entry counts; at the instant of leaving the vat is empty."""
    rows = [stay("A", "Q1a", 5, 10), stay("B", "Q2a", 0, 20)]
    carried = pairs(rows, contacts=[Contact("Q1a", "Q2a", day(at), "net 3")])
    assert carried == ({("A", "B", "tool or person")} if met else set())


@pytest.mark.parametrize(("at", "met"), [(99.99, True), (100, False)])
def test_what_happens_at_the_end_of_the_look_is_not_yet_seen(at: float, met: bool) -> None:
    """``until`` is left out, as with entries."""
    rows = [stay("A", "Q1a", 0, None), stay("B", "Q2a", 0, None)]
    assert bool(meetings(rows, until=day(100), contacts=[Contact("Q1a", "Q2a", day(at), "net 3")])) == met


def test_lots_reached_through_a_wet_tool_are_looked_at_not_held() -> None:
    """B shares A's water and is held; C met A through a net only, D met C's water: both are reached weakly, not held."""
    rows = [
        stay("A", "Q1a", 0, None),
        stay("B", "Q1b", 0, None),
        stay("C", "Q2a", 0, None),
        stay("D", "Q2b", 0, None),
    ]
    met = meetings(rows, until=day(20), contacts=[Contact("Q1a", "Q2a", day(3), "net 3")])
    reached = trace("A", met, since=day(0), direction="forward", until=day(20))
    assert {(row.batch, row.weak) for row in reached} == {("B", False), ("C", True), ("D", True)}
    held = holds_after("A", "snail", reached)
    assert [batch for batch, _ in held] == ["A", "B"]
    assert held[0][1] == "snail seen on it"
    assert held[1][1].startswith("snail seen on A: A and B shared")


def test_the_way_through_others_is_told_from_the_second_step_on() -> None:
    """B met A itself; E met B's next water only: the reason names the lot between."""
    rows = [stay("A", "Q1a", 0, 5), stay("B", "Q1b", 0, 5), stay("B", "Q2a", 5, None), stay("E", "Q2b", 0, None)]
    reached = trace("A", meetings(rows, until=day(20)), since=day(0), direction="forward", until=day(20))
    reasons = dict(holds_after("A", "snail", reached))
    assert "through" not in reasons["B"]
    assert reasons["E"].endswith("(through B)")
