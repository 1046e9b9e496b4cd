"""Closing vats may cost nobody a place and move no stock, and it must empty a vat where that can be seen to be possible."""

from __future__ import annotations

from datetime import date

from hypothesis import given, settings

from intake.plan import BatchNeed, Problem, StageNeed, SystemOffer, VatOffer
from intake.plan.closing import close_vats, vats_and_splits
from intake.plan.greedy import first_plan
from intake.plan.scene import Layout, Scene
from tests.plan.test_steps import OneByOne, keeps_every_rule, left_over
from tests.strategies import problems


@given(problem=problems())
@settings(max_examples=40, deadline=None)
def test_nobody_loses_a_place_and_no_rule_is_broken(problem: Problem) -> None:
    """Whatever is closed, the plan is as good in what comes before the third aim, and no worse in that."""
    before = first_plan(Scene(problem))
    after = close_vats(problem, OneByOne(), "1", before, 1.0).layout
    assert keeps_every_rule(problem, after)
    assert left_over(problem, after) <= left_over(problem, before)
    assert after.homes == before.homes
    assert vats_and_splits(after) <= vats_and_splits(before)


def test_two_half_empty_vats_become_one() -> None:
    """Two batches that stand apart, each in half a vat, are put together; the order of names has no say in it."""
    vats = tuple(VatOffer(name, "G", 100, 1000) for name in ("G1", "G2", "G3"))
    stages = (StageNeed("grow-out", 0, 10, ("G1", "G2", "G3")),)
    batches = tuple(BatchNeed(name, "T", "P", "clam", 10, 5, 1, 1, stages) for name in ("A", "B"))
    problem = Problem(date(2030, 1, 1), (SystemOffer("G", "grow-out", 1000),), vats, batches)
    apart = Layout({(0, 0, 0): 10, (1, 0, 2): 10}, ())
    together = close_vats(problem, OneByOne(), "1", apart, 1.0).layout
    assert vats_and_splits(apart) == 4
    assert vats_and_splits(together) == 3
    assert {vat for _, _, vat in together.counts} in ({0}, {2})
