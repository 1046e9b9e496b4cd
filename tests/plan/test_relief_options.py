"""Reliefs must relieve: each promise is kept when it is carried out, and none of them breaks quarantine."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from hypothesis import given, settings

from intake.plan import BatchNeed, Problem, StageNeed, Standing, SystemOffer, VatOffer
from intake.plan.answers.relief_options import apply, relief
from intake.plan.solve import solve
from tests.checker import judge
from tests.plan.facts import facts_of_problem
from tests.strategies import problems


def crowded() -> Problem:
    """100 clams for a quarantine of 60 places, of which stock parked there takes 40; grow-out is roomy."""
    return Problem(
        date(2030, 3, 1),
        (SystemOffer("Q", "quarantine", 10_000), SystemOffer("G", "grow-out", 10_000)),
        (VatOffer("Q1", "Q", 60, 10_000, 2), VatOffer("Q2", "Q", 40, 10_000, 2), VatOffer("G1", "G", 500, 10_000)),
        (
            BatchNeed(
                "S1-01", "S1", "P1", "clam", 100, 1, 1, 1,
                (StageNeed("quarantine", 10, 40, ("Q1", "Q2")), StageNeed("grow-out", 40, 54, ("G1",))),
                min_portion=10, max_vats=4, handling_seconds=30,
            ),
        ),
        (
            Standing(
                "H1", "Q2", "grow-out", 40, "clam", -90, 400, 1, 1, 1, supplier="P1",
                move_to=("G1",), move_day=8, handling_seconds=30,
            ),
        ),
    )  # fmt: skip


def test_crowded_farm_is_told_to_clear_the_parked_vat_or_take_fewer() -> None:
    """Both of the promised kinds appear, each with vat or line, day and number."""
    problem = crowded()
    solution = solve(problem, seconds=2)
    assert (solution.status, solution.placed) == ("short", 60)
    reliefs = relief(problem, solution, seconds=5)
    clear = next(one for one in reliefs if one.kind == "clear")
    assert (clear.vat, clear.day, clear.places, clear.left_over) == ("Q2", 8, 40, 0)
    assert clear.do == "clear vat Q2 by 2030-03-09 (40 of H1)"
    assert clear.cost == 20.0
    fewer = next(one for one in reliefs if one.kind == "fewer")
    assert (fewer.batch, fewer.count, fewer.left_over) == ("S1-01", 40, 0)
    assert any(one.kind == "move" and one.batch == "H1" for one in reliefs)
    assert reliefs[-1].kind == "fewer"


def test_quarantine_stock_is_never_cleared_or_moved() -> None:
    """The same farm with the stock in quarantine: nobody is told to empty that vat before its time."""
    problem = crowded()
    held = (replace(problem.standing[0], stage="quarantine", move_to=(), shipment="S0", served_day=400),)
    problem = replace(problem, standing=held)
    reliefs = relief(problem, solve(problem, seconds=2), seconds=5)
    assert {one.kind for one in reliefs}.isdisjoint({"clear", "move"})


def test_nothing_left_over_needs_no_relief() -> None:
    """A plan that fits is not haggled over."""
    problem = apply_all(crowded())
    assert relief(problem, solve(problem, seconds=2), seconds=2) == ()


def apply_all(problem: Problem) -> Problem:
    """The crowded farm without its parked stock."""
    return replace(problem, standing=())


@given(problem=problems(most_batches=3))
@settings(max_examples=20, deadline=None)
def test_relief_carried_out_keeps_its_promise(problem: Problem) -> None:
    """Planning again with the relief done leaves no more animals over than promised, in a plan the judge accepts."""
    solution = solve(problem, seconds=2)
    before = solution.announced - solution.placed
    for one in relief(problem, solution, seconds=4)[:4]:
        after = apply(problem, one)
        assert one.places > 0
        assert one.left_over == before - one.places
        if not after.batches:
            continue
        again = solve(after, seconds=2, aims=1)
        assert again.announced - again.placed <= one.left_over
        assert judge(facts_of_problem(after), again.as_dict(after.day_zero)) == []
