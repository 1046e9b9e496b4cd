"""Planning again must not turn the farm upside down: nothing broken, nothing changed; something broken, little changed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings

from intake.plan import BatchNeed, Problem, Solution, StageNeed, Standing, SystemOffer, VatOffer
from intake.plan.answers.least_change_replan import CHANGES, carried_over, least_change
from intake.plan.solve import solve
from intake.plan.solvers.cpsat import run
from tests.bench.plan_instances import generated
from tests.checker import judge
from tests.plan.facts import facts_of_problem
from tests.strategies import problems


def again(problem: Problem, accepted: Solution, seconds: float = 3) -> Solution:
    """Plan a changed problem again around an accepted plan, and have the judge read the result."""
    fresh = solve(problem, seconds=seconds, seed=5, start=carried_over(problem, accepted.placements))
    plan = least_change(problem, fresh, accepted.placements, run, seconds=seconds)
    assert judge(facts_of_problem(problem), plan.as_dict(problem.day_zero)) == []
    assert plan.placed >= fresh.placed
    return plan


def value(plan: Solution) -> int:
    """Changes as the aim counts them against none: old places left and new places taken."""
    return sum(one.places for one in plan.changes)


@given(problem=problems())
@settings(max_examples=25, deadline=None)
def test_nothing_broken_changes_nothing(problem: Problem) -> None:
    """The same question again, with another seed: a proved plan comes back as it was, moves of stock apart."""
    accepted = solve(problem, seconds=2)
    if accepted.moves or not accepted.objectives[0].proved:
        return
    plan = again(problem, accepted, 2)
    assert plan.changes == ()
    assert set(plan.placements) == set(accepted.placements)


def test_nothing_broken_on_a_farm_of_sixty_vats_changes_nothing() -> None:
    """The same where there are thousands of equally good plans to stray to."""
    problem = generated(60, 40, 2, 0.1)
    accepted = solve(problem, seconds=3, aims=1)
    if accepted.moves:
        problem = replace(problem, standing=tuple(replace(one, movable=False) for one in problem.standing))
        accepted = solve(problem, seconds=3, aims=1)
    plan = least_change(problem, accepted, accepted.placements, run, seconds=3)
    assert plan.changes == ()


def roomy(problem: Problem) -> Problem:
    """The small farm without the second supplier and the lot that closes its water: every line that suits a vat finds room."""
    batches = tuple(one for one in problem.batches if one.id not in {"T2-1", "T2-2"})
    return replace(problem, batches=batches, standing=tuple(one for one in problem.standing if one.batch != "H3"))


def test_a_lot_a_fifth_larger_changes_little(tiny: Problem) -> None:
    """Twenty per cent more of one line: it keeps its vats and all the others keep their quarantine."""
    problem = roomy(tiny)
    accepted = solve(problem, seconds=3)
    assert accepted.placed == problem.announced
    larger = tuple(replace(one, count=24) if one.id == "T1-2" else one for one in problem.batches)
    plan = again(replace(problem, batches=larger), accepted)
    assert plan.placed == problem.announced + 4
    grown = [one for one in plan.changes if one.batch == "T1-2"]
    assert [(one.places, one.why) for one in grown] == [(0, "24 animals are announced, 20 had a place")] * 2
    assert value(plan) <= 2
    least = next(one for one in plan.objectives if one.name == CHANGES)
    assert (least.value, least.proved) == (value(plan), True)


def test_a_vat_out_of_service_is_named_as_the_reason(tiny: Problem) -> None:
    """Who was promised that vat goes elsewhere and is told why; no more changes than that takes."""
    problem = roomy(tiny)
    accepted = solve(problem, seconds=3)
    used = next(one.vat for one in accepted.placements if one.stage == "quarantine")
    closed = tuple(replace(one, closed=((0, 90),)) if one.id == used else one for one in problem.vats)
    plan = again(replace(problem, vats=closed), accepted)
    assert used not in {one.vat for one in plan.placements}
    forced = next(one for one in plan.changes if used in dict(one.before))
    assert f"{used} is out of service then" in forced.why


def test_a_finding_that_holds_a_lot_moves_only_what_stood_in_its_way(tiny: Problem) -> None:
    """Stock in quarantine has to stay a month longer: whoever was promised its vat is told so, grow-out stays."""
    problem = replace(roomy(tiny), standing=tiny.standing)
    late = tuple(
        replace(
            one,
            stages=tuple(replace(s, vats=("Q2b", "Q1a") if s.stage == "quarantine" else s.vats) for s in one.stages),
        )
        for one in problem.batches
        if one.id == "T1-2"
    )
    early = tuple(replace(one, until_day=0, served_day=0) if one.batch == "H3" else one for one in problem.standing)
    before = replace(problem, batches=(replace(late[0], count=14),), standing=early)
    accepted = solve(before, seconds=2)
    promised = next(one.vat for one in accepted.placements if one.stage == "quarantine")
    held = tuple(replace(one, vat=promised, until_day=40, served_day=40) if one.batch == "H3" else one for one in early)
    plan = again(replace(before, standing=held), accepted)
    assert [(one.batch, one.stage, one.places) for one in plan.changes] == [("T1-2", "quarantine", 2)]
    assert f"{promised} holds another lot then, or is fallow after it (T0)" in plan.changes[0].why
    # a lot in the next vat of that water is not in the way of the vat
    beside = next(one for one in held if one.batch == "H3")
    next_vat = {"Q2b": "Q2a", "Q1a": "Q1b"}[promised]
    both = (*held, replace(beside, batch="H9", vat=next_vat, shipment="T9"))
    plan = again(replace(before, standing=both), accepted)
    moved = next(one for one in plan.changes if one.batch == "T1-2" and one.stage == "quarantine")
    assert f"{promised} holds another lot then, or is fallow after it (T0)" in moved.why


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_changes_are_no_more_than_planning_afresh_makes(seed: int, tiny: Problem) -> None:
    """A fresh plan with another seed strays; the nearest plan never strays farther."""
    problem = roomy(tiny)
    accepted = solve(problem, seconds=2)
    grown = replace(problem, batches=tuple(replace(one, count=one.count + one.count // 5) for one in problem.batches))
    fresh = solve(grown, seconds=2, seed=seed)
    plan = again(grown, accepted, 2)
    assert plan.placed == fresh.placed
    old = {(one.batch, one.stage, one.vat) for one in accepted.placements}
    new = {(one.batch, one.stage, one.vat) for one in fresh.placements}
    assert value(plan) <= len(old ^ new) + len(fresh.moves)


def test_stock_in_the_water_is_moved_only_when_more_find_a_place() -> None:
    """Moving the stock lets five more in: it is done, and reported as a change with its reason."""
    vats = (VatOffer("G1", "G", 100, 900), VatOffer("G2", "G", 60, 900))
    batch = BatchNeed("B", "S", "P", "clam", 15, 4, 1, 1, (StageNeed("grow-out", 3, 20, ("G1", "G2")),), max_vats=1)
    stay = Standing("H", "G1", "grow-out", 10, "clam", -9, 90, 4, 1, 1, movable=True, move_to=("G2",), move_day=2)
    problem = Problem(date(2030, 1, 1), (SystemOffer("G", "grow-out", 900),), vats, (batch,), (stay,))
    accepted = solve(problem, seconds=2)
    assert (accepted.placed, accepted.moves) == (15, ())
    plan = again(replace(problem, batches=(replace(batch, count=25),)), accepted)
    assert plan.placed == 25
    moved = next(one for one in plan.changes if one.batch == "H")
    assert (moved.before, moved.after) == ((("G1", 10),), (("G2", 10),))
    assert "be placed" in moved.why
