"""Closing vats may cost nobody a place and move no stock, and it must empty a vat where that can be seen to be possible."""

from __future__ import annotations

from datetime import date

from hypothesis import given, settings

from intake.plan import BatchNeed, Problem, StageNeed, SystemOffer, VatOffer
from intake.plan.model.objectives import VATS
from intake.plan.model.occupancy import Layout, Occupancy
from intake.plan.search.first_fit import first_plan
from intake.plan.search.vat_elimination import eliminate_vats, vats_and_splits
from intake.plan.solution import layout_of
from intake.plan.solve import solve
from tests.plan.test_destroy_and_repair import OneByOne, keeps_every_rule, left_over
from tests.strategies import problems


@given(problem=problems())
@settings(max_examples=40, deadline=None)
def test_nobody_loses_a_place_and_no_rule_is_broken(problem: Problem) -> None:
    """Whatever is closed, the plan is as good in what comes before the third aim, and no worse in that."""
    before = first_plan(Occupancy(problem))
    after = eliminate_vats(problem, OneByOne(), "1", before, 1.0).layout
    assert keeps_every_rule(problem, after)
    assert left_over(problem, after) <= left_over(problem, before)
    assert after.homes == before.homes
    assert vats_and_splits(problem, after) <= vats_and_splits(problem, before)


def test_two_half_empty_vats_become_one() -> None:
    """Two batches that stand apart, each in half a vat, are put together; the order of names has no say in it."""
    vats = tuple(VatOffer(name, "G", 100, 1000) for name in ("G1", "G2", "G3"))
    stages = (StageNeed("grow-out", 0, 10, ("G1", "G2", "G3")),)
    batches = tuple(BatchNeed(name, "T", "P", "clam", 10, 5, 1, 1, stages) for name in ("A", "B"))
    problem = Problem(date(2030, 1, 1), (SystemOffer("G", "grow-out", 1000),), vats, batches)
    apart = Layout({(0, 0, 0): 10, (1, 0, 2): 10}, ())
    together = eliminate_vats(problem, OneByOne(), "1", apart, 1.0).layout
    assert vats_and_splits(problem, apart) == 4
    assert vats_and_splits(problem, together) == 3
    assert {vat for _, _, vat in together.counts} in ({0}, {2})


def test_a_batch_stays_in_one_water_even_if_that_takes_a_vat_more() -> None:
    """Two vats of the same water are better than one small portion in each of two waters: what is found in one holds it all."""
    systems = (SystemOffer("QA", "quarantine", 1000), SystemOffer("QB", "quarantine", 1000))
    vats = (
        VatOffer("A1", "QA", 60, 1000), VatOffer("B1", "QB", 40, 1000),
        VatOffer("B2", "QB", 30, 1000), VatOffer("B3", "QB", 30, 1000),
    )  # fmt: skip
    stages = (StageNeed("quarantine", 0, 20, ("A1", "B1", "B2", "B3")),)
    problem = Problem(date(2030, 1, 1), systems, vats, (BatchNeed("A", "T", "P", "clam", 20, 5, 1, 1, stages),))
    plan = solve(problem, seconds=2)
    assert plan.placed == 20
    assert {one.vat for one in plan.placements} == {"B1", "B2", "B3"}
    tidy = next(one for one in plan.objectives if one.name == VATS)
    assert (tidy.value, tidy.proved) == (6, True)


@given(problem=problems())
@settings(max_examples=25, deadline=None)
def test_the_aim_is_reckoned_alike_from_a_plan_and_from_the_rows(problem: Problem) -> None:
    """Closing counts vats and splits on the plan itself, the solver by its rows: both must give the same number."""
    plan = solve(problem, seconds=1)
    third = next(one for one in plan.objectives if one.name == "vats used and splits")
    assert vats_and_splits(problem, layout_of(problem, plan)) == third.value
