"""What every plan must be: sound by the judge, conserved, as good as exhaustive search, and the same each time."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings

from intake.errors import BadInput
from intake.plan import BatchNeed, Problem, StageNeed, Standing, SystemOffer, VatOffer
from intake.plan.model.objectives import NAMES
from intake.plan.model.occupancy import Occupancy
from intake.plan.search.first_fit import first_plan
from intake.plan.solution import Progress
from intake.plan.solve import solve
from tests.bench.plan_instances import twelve_by_eight
from tests.checker import judge
from tests.plan.brute import best_left_over
from tests.plan.facts import facts_of_problem
from tests.strategies import problems


def checked(problem: Problem, **options: Any) -> dict[str, Any]:
    """Solve, have the judge read the plan, and give it as plain data."""
    plan = solve(problem, **options).as_dict(problem.day_zero)
    assert judge(facts_of_problem(problem), plan) == []
    return plan


@given(problem=problems())
@settings(max_examples=60, deadline=None)
def test_every_plan_is_sound_and_conserves_animals(problem: Problem) -> None:
    """The judge shares no code with the planner, so what both accept is what the rules say."""
    plan = checked(problem, seconds=2)
    left = sum(row["count"] for row in plan["short"])
    assert plan["placed"] + left == plan["announced"] == problem.announced


@given(problem=problems(most_batches=2, most_vats=4, most_animals=4))
@settings(max_examples=60, deadline=None)
def test_no_plan_leaves_fewer_than_exhaustive_search(problem: Problem) -> None:
    """On farms small enough to try everything, the proved optimum is the true one."""
    solution = solve(problem, seconds=5)
    assert solution.objectives[0].proved
    assert solution.announced - solution.placed == best_left_over(problem)


@given(problem=problems())
@settings(max_examples=25, deadline=None)
def test_larger_vat_never_places_fewer_animals(problem: Problem) -> None:
    """Room can only help; compared where both plans are proved."""
    wider = tuple(replace(vat, area_mm2=vat.area_mm2 + 7) for vat in problem.vats)
    before, after = solve(problem, seconds=2), solve(replace(problem, vats=wider), seconds=2)
    if before.objectives[0].proved and after.objectives[0].proved:
        assert after.placed >= before.placed


@given(problem=problems())
@settings(max_examples=60, deadline=None)
def test_greedy_plan_satisfies_every_row_of_the_model(problem: Problem) -> None:
    """Two codings of the rules agree: the greedy's checks and the solver's rows."""
    from intake.plan.model.exact_model import build
    from intake.plan.model.release_dates import candidate_ends

    layout = first_plan(Occupancy(problem))
    ends = dict(enumerate(candidate_ends(problem)))
    model = build(Occupancy(problem, loose=True), range(len(problem.batches)), ends=ends)
    assert model.rows.broken(model.write(layout)) == []


@given(problem=problems())
@settings(max_examples=10, deadline=None)
def test_same_problem_and_seed_give_the_same_plan(problem: Problem) -> None:
    """An owner who asks twice must not get two plans."""
    plans = [solve(problem, seconds=2, seed=3).as_dict(problem.day_zero) for _ in range(2)]
    for plan in plans:
        plan.pop("seconds")
    assert plans[0] == plans[1]


@given(problem=problems())
@settings(max_examples=20, deadline=None)
def test_stopping_at_once_still_gives_a_sound_plan(problem: Problem) -> None:
    """The best plan so far is kept by us, whatever the solver was doing."""
    told: list[Progress] = []

    def stop(progress: Progress) -> bool:
        told.append(progress)
        return True

    plan = solve(problem, seconds=2, progress=stop).as_dict(problem.day_zero)
    assert judge(facts_of_problem(problem), plan) == []
    assert told[0].source == "greedy"


def test_trouble_in_a_progress_callback_reaches_the_caller(tiny: Problem) -> None:
    """An error in the caller's own code must not vanish inside the solver."""

    def broken(progress: Progress) -> None:
        if progress.source == "search":
            msg = "the caller's own fault"
            raise RuntimeError(msg)

    with pytest.raises(RuntimeError, match="own fault"):
        solve(tiny, seconds=2, progress=broken)


def test_seconds_must_be_positive(tiny: Problem) -> None:
    """A budget of nothing is a mistake, not a wish for the greedy plan."""
    with pytest.raises(BadInput):
        solve(tiny, seconds=0)


@pytest.mark.parametrize(("movable", "placed_and_moves"), [(False, (0, 0)), (True, (2, 1))])
def test_nobody_joins_stock_that_overfills_its_vat(movable: bool, placed_and_moves: tuple[int, int]) -> None:
    """Not even animals that need no oxygen: stock may stay where oxygen is short, but the vat takes no newcomer."""
    vats = (VatOffer("V1", "G", 8, 4), VatOffer("V2", "G", 8, 9))
    batch = BatchNeed("B", "T", "P", "clam", 2, 3, 0, 0, (StageNeed("grow-out", 5, 9, ("V1",)),))
    stock = Standing("H", "V1", "grow-out", 2, "clam", -3, 6, 1, 3, 0, "", "", movable, ("V2",) if movable else (), 5)
    problem = Problem(date(2030, 3, 1), (SystemOffer("G", "grow-out", 5),), vats, (batch,), (stock,))
    plan = solve(problem, seconds=1)
    assert judge(facts_of_problem(problem), plan.as_dict(problem.day_zero)) == []
    assert (plan.placed, len(plan.moves)) == placed_and_moves


def test_progress_tells_animals_placed_and_what_no_plan_exceeds() -> None:
    """The first report is what the first plan places, never fewer afterwards; the bound is never below the plan."""
    problem = twelve_by_eight()
    told: list[Progress] = []
    solution = solve(problem, seconds=3, aims=1, progress=lambda one: told.append(one))
    placing = [one for one in told if one.step == NAMES[0]]
    assert placing[0].doing == "first plan made"
    assert [one.value for one in placing] == sorted(one.value for one in placing)
    assert 0 < placing[0].value <= solution.placed <= solution.placed_bound
    assert all(one.value <= one.bound <= problem.announced for one in placing)
    assert all(0 <= one.left <= 3 for one in placing)
