"""The planner's core on a plain problem with known optimum: as few vats as can hold items of three needs."""

from __future__ import annotations

import pytest

from intake.plan.solve import solve
from tests.checker import judge
from tests.plan.facts import facts_of_problem
from tests.plan.vector_packing.planted import SIZE, Packing, as_plan, mixed, triplets

EASY = [triplets(4, 1), triplets(4, 2), triplets(5, 1), mixed(5, 1), mixed(5, 2), mixed(6, 1), mixed(7, 2)]


@pytest.mark.parametrize("packing", EASY, ids=lambda packing: packing.name)
def test_planted_bins_are_found_and_proved_fewest(packing: Packing) -> None:
    """With two vats to spare, the aim of fewest vats comes down to the bins that were cut, and proves it."""
    problem = as_plan(packing, packing.fewest + 2)
    plan = solve(problem, seconds=12)
    assert judge(facts_of_problem(problem), plan.as_dict(problem.day_zero)) == []
    assert plan.placed == len(packing.items)
    vats = next(
        objective_terms for objective_terms in plan.objectives if objective_terms.name == "vats used and splits"
    )
    assert (vats.value - len(packing.items), vats.proved) == (packing.fewest, True)
    assert len({one.vat for one in plan.placements}) == packing.fewest


@pytest.mark.parametrize("packing", EASY[:2] + EASY[3:5], ids=lambda packing: packing.name)
def test_one_bin_less_is_proved_too_few(packing: Packing) -> None:
    """With a vat less something is left over, and the bound says so."""
    plan = solve(as_plan(packing, packing.fewest - 1), seconds=5, aims=1)
    assert plan.placed_bound < len(packing.items)


@pytest.mark.parametrize("packing", [*EASY, triplets(20, 1), mixed(15, 3)], ids=lambda packing: packing.name)
def test_no_fewer_bins_can_hold_what_was_cut(packing: Packing) -> None:
    """What makes the planted number an optimum: all items together exceed one bin less in some dimension."""
    most = max(sum(item[dimension] for item in packing.items) for dimension in range(3))
    assert most > (packing.fewest - 1) * SIZE
