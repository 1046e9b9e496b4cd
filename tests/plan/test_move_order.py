"""Moves of present stock are reported in an order in which they can be done."""

from __future__ import annotations

from intake.plan.solution import Move, vats_first_left


def move(batch: str, source: str, target: str) -> Move:
    """A move of one animal."""
    return Move(batch, source, target, 1, 0)


def test_a_vat_is_left_before_somebody_else_comes_into_it() -> None:
    """Reported by batch, H3 would have gone to G2 before H4 left it, and the rules refused it."""
    chain = [move("H3", "G1", "G2"), move("H4", "G2", "G5"), move("H8", "G6", "G1")]
    assert [one.batch for one in vats_first_left(chain)] == ["H4", "H3", "H8"]


def test_a_ring_is_kept_whole_and_what_leads_out_of_it_comes_first() -> None:
    """Two that change places need a third vat: nothing is lost and nothing is listed twice."""
    ring = [move("A", "G1", "G2"), move("B", "G2", "G1"), move("C", "G2", "G3")]
    ordered = vats_first_left(ring)
    assert ordered[0].batch == "C"
    assert sorted(one.batch for one in ordered) == ["A", "B", "C"]
