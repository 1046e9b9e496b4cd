"""The bound on large farms must hold on every small farm where the truth can be found, and mean something on large."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings

from intake.plan import Problem
from intake.plan.model.occupancy import Occupancy
from intake.plan.model.release_dates import relaxed_days
from intake.plan.relaxations.aggregated_quarantine import quarantined, rooms_in
from intake.plan.relaxations.lower_bound import Bound, alone, bound
from intake.plan.search import driver, phases
from intake.plan.search.first_fit import first_plan
from intake.plan.solve import solve
from intake.plan.solvers.cpsat import Pair, run
from intake.plan.solvers.interface import Limits
from tests.bench.plan_instances import generated
from tests.plan.brute import best_left_over
from tests.strategies import problems


def _bound(problem: Problem, seconds: float, left_over: int | None = None) -> int:
    with Pair() as crew:
        return bound(problem, run, crew, seconds=seconds, left_over=left_over).value


@given(problem=problems(most_batches=2, most_vats=4, most_animals=4))
@settings(max_examples=25, deadline=None)
def test_bound_is_never_above_exhaustive_search(problem: Problem) -> None:
    """On farms small enough to try everything."""
    assert _bound(problem, 3) <= best_left_over(problem)


@given(problem=problems())
@settings(max_examples=25, deadline=None)
def test_no_plan_leaves_fewer_than_the_bound(problem: Problem) -> None:
    """Whatever a sound plan leaves over, proved best or not, the bound is not above it."""
    plan = solve(problem, seconds=2, aims=1)
    weight = {batch.id: batch.weight for batch in problem.batches}
    left = sum(one.count * weight[one.batch] for one in plan.short)
    assert _bound(problem, 3) <= left
    assert _bound(problem, 3, left_over=left) <= left


@given(problem=problems())
@settings(max_examples=25, deadline=None)
def test_quarantine_alone_never_leaves_more_than_the_best_plan(problem: Problem) -> None:
    """The relaxation of the waters by itself, all batches in one part and without help from other bounds."""
    owners = range(len(problem.batches))
    occupancy = Occupancy(relaxed_days(problem), loose=True)
    waters = quarantined(occupancy, owners, rooms_in(occupancy))
    answer = run(waters.rows, waters.terms(), Limits(3))
    assert answer.status == "OPTIMAL"
    plan = solve(problem, seconds=2, aims=1)
    weight = {batch.id: batch.weight for batch in problem.batches}
    assert answer.value <= sum(one.count * weight[one.batch] for one in plan.short)


def test_bound_is_the_same_each_time() -> None:
    """A bound reported yesterday must be reported today."""
    problem = generated(60, 40, 2, 0.2)
    assert _bound(problem, 1) == _bound(problem, 1)


def test_suppliers_in_too_few_waters_are_seen_on_a_large_farm() -> None:
    """Six suppliers and four waters of their setting: animals are left over, which bench area alone does not show."""
    problem = generated(200, 150, 1, 0.1)
    occupancy = Occupancy(relaxed_days(problem), loose=True)
    assert sum(alone(occupancy, owner, rooms_in(occupancy)) for owner in range(len(problem.batches))) == 0
    greedy = first_plan(Occupancy(problem))
    left = problem.announced - sum(greedy.placed(owner) for owner in range(len(problem.batches)))
    found = _bound(problem, 4)
    assert 0.01 * problem.announced < found < left


def test_the_search_hands_the_bound_what_its_plan_leaves_over(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bound that says nobody is left over has nothing to prove: asked by the search it must get the number, and prove some."""
    asked: list[tuple[int, int]] = []

    def heard(problem: Problem, *doors: Any, left_over: int | None = None, **options: Any) -> Bound:
        found = bound(problem, *doors, left_over=left_over, **options)
        asked.append((-1 if left_over is None else left_over, found.value))
        return found

    monkeypatch.setattr(phases, "bound", heard)
    monkeypatch.setattr(driver, "SMALL_PLACES", 0)
    monkeypatch.setattr(driver, "LARGE_PLACES", 0)
    monkeypatch.setattr(phases, "LARGE_PLACES", 0)
    monkeypatch.setattr(phases, "counted", lambda *_, **__: None)
    problem = generated(60, 40, 2, 0.4)
    plan = solve(problem, seconds=4, aims=1)
    greedy = first_plan(Occupancy(problem))
    at_first = problem.announced - sum(greedy.placed(owner) for owner in range(len(problem.batches)))
    assert asked
    assert all(plan.announced - plan.placed <= left <= at_first for left, _ in asked)
    assert all(0 < value <= left for left, value in asked)
    assert plan.announced - plan.placed_bound >= max(value for _, value in asked)
