"""Bounds must bound: what is reported as impossible must be impossible on every farm where the truth can be found."""

from __future__ import annotations

import pytest
from hypothesis import given, settings

from intake.plan import Problem
from intake.plan.model.occupancy import Occupancy
from intake.plan.search import driver as search_module
from intake.plan.search import phases
from intake.plan.search.first_fit import first_plan
from intake.plan.solve import solve
from intake.plan.solvers import cpsat, highs
from tests.bench.plan_instances import generated, planted, twelve_by_eight
from tests.checker import judge
from tests.plan.facts import facts_of_problem
from tests.strategies import problems


@given(problem=problems())
@settings(max_examples=15, deadline=None)
@pytest.mark.parametrize("sizes", [(0, 10**9, 10**9), (0, 10**9, 0), (0, 0, 0)], ids=["middling", "some days", "large"])
def test_methods_for_larger_farms_agree_with_the_exact_one(sizes: tuple[int, int, int], problem: Problem) -> None:
    """The methods chosen for large farms, tried on small ones: sound plans, and bounds the exact optimum respects."""
    exact = solve(problem, seconds=2)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(search_module, "SMALL_PLACES", sizes[0])
        for module in (search_module, phases):
            patch.setattr(module, "LARGE_PLACES", sizes[1])
        patch.setattr(phases, "WIDE_PLACES", sizes[2])
        other = solve(problem, seconds=1)
    assert judge(facts_of_problem(problem), other.as_dict(problem.day_zero)) == []
    assert other.placed <= exact.placed_bound
    assert exact.placed <= other.placed_bound
    if all(sizes[1:]) and exact.objectives[0].proved and other.objectives[0].proved:
        assert other.placed == exact.placed


def test_twelve_vats_and_eight_batches_are_proved() -> None:
    """The small case of the study is proved in its first three aims."""
    solution = solve(twelve_by_eight(), seconds=10)
    assert all(one.proved for one in solution.objectives[:3])


def test_sixty_vats_give_a_sound_plan_better_than_greedy(monkeypatch: pytest.MonkeyPatch) -> None:
    """A farm of the middle size, with stock, suppliers and fallow all binding.

    The search ends by deterministic work alone: with its brakes on the clock taken off, a slow machine finds the same plan.
    """
    for name in ("BRAKE_FACTOR", "BRAKE_LEAST_SECONDS", "BRAKE_BRIEF_SECONDS"):
        monkeypatch.setattr(cpsat, name, 1e6)
    for name in ("HIGHS_BRAKE_FACTOR", "HIGHS_BRAKE_LEAST_SECONDS"):
        monkeypatch.setattr(highs, name, 1e6)
    problem = generated(60, 40, 3, 0.1)
    greedy: list[int] = []
    solution = solve(problem, seconds=4, progress=lambda one: greedy.extend([one.value]))
    assert solution.reproducible
    assert judge(facts_of_problem(problem), solution.as_dict(problem.day_zero)) == []
    assert solution.placed > greedy[0]


def test_planted_farm_is_generated_full() -> None:
    """A planted farm has a plan that places everybody; small enough here to be found."""
    problem = planted(12, 1)
    solution = solve(problem, seconds=8, aims=1)
    assert (solution.status, solution.placed) == ("bounded", problem.announced)


def test_a_search_begun_elsewhere_never_loses_the_plan_in_hand() -> None:
    """Where the plan in hand is far from its bound another start is tried; what that comes to is taken only if it is better."""
    problem = twelve_by_eight()
    search = search_module.Search(problem, cpsat.run, cpsat.Pair, seconds=10, seed=1, progress=None)
    search.begin(None)
    search.place(last=True)
    best, search.left, search.bound = search.layout, 10.0, 0
    search._search_around(0.1, 0, first_plan(Occupancy(problem)))
    assert search._left_over(search.layout) <= search._left_over(best)
    search.layout = first_plan(Occupancy(problem))
    search._search_around(3.0, 0, best)
    assert search._left_over(search.layout) <= search._left_over(best)
