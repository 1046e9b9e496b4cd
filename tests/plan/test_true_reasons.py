"""What keeps animals out must be what keeps them out: each fact reported is checked here by planning without it."""

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

HELD_UNTIL = 25
"""Day on which the other supplier's lots leave the second water; after two fallow days its vats are free on day 27."""


def farm_of_two_waters() -> Problem:
    """An invented shipment of 3,070 for a farm whose second quarantine water another supplier has until day 25.

    757 places in the first water, 1,064 in the second: three weeks later 1,821 would fit.
    """
    first = tuple(VatOffer(f"A{number}", "QA", area, 10**7, 2) for number, area in enumerate((300, 257, 200)))
    second = tuple(VatOffer(f"B{number}", "QB", area, 10**7, 2) for number, area in enumerate((400, 400, 264)))
    grown = tuple(VatOffer(f"G{number}", "G", 2000, 10**7) for number in range(3))
    quarantine, later = tuple(vat.id for vat in (*first, *second)), tuple(vat.id for vat in grown)

    def line(number: int, count: int) -> BatchNeed:
        stages = (StageNeed("quarantine", 6, 48, quarantine), StageNeed("grow-out", 48, 62, later))
        return BatchNeed(f"S2-{number:02}", "S2", "P2", "clam", count, 1, 1, 1, stages, 1, 10, 6, 30, price_cents=450)

    return Problem(
        date(2027, 3, 1),
        (SystemOffer("QA", "quarantine", 10**7), SystemOffer("QB", "quarantine", 10**7), SystemOffer("G", "grow-out", 10**7)),
        (*first, *second, *grown),
        tuple(line(number, count) for number, count in enumerate((900, 800, 700, 400, 270), start=1)),
        (
            Standing("S1-01", "B0", "quarantine", 120, "clam", -18, HELD_UNTIL, 1, 1, 1, "S1", "P1", served_day=HELD_UNTIL),
            Standing("S1-02", "B1", "quarantine", 90, "clam", -18, HELD_UNTIL, 1, 1, 1, "S1", "P1", served_day=HELD_UNTIL),
        ),
    )  # fmt: skip


def test_landing_later_is_found_and_first_where_the_other_suppliers_water_is_in_the_way() -> None:
    """757 of 3,070 fit; three weeks later 1,821 would, which is reported before every other way and before buying less."""
    problem = farm_of_two_waters()
    solution = solve(problem, seconds=5, aims=1)
    assert (solution.announced, solution.placed) == (3070, 757)
    reliefs = relief(problem, solution, seconds=8)
    best = next(one for one in reliefs if not one.steps)
    assert (best.kind, best.day) == ("delay", 21)
    assert best.do == "move the arrival of shipment S2 to 2027-03-28 (21 days later)"
    assert solution.placed + best.places == 1821
    assert best.value_cents == 450 * (1821 - 757)
    assert reliefs[-1].kind == "fewer"
    kinds = {one.kind for one in reliefs}
    assert {"delay", "split", "fewer"} <= kinds
    assert not kinds & {"clear", "sell"}  # what is there is in quarantine
    after = apply(problem, best)
    again = solve(after, seconds=3, aims=1)
    assert judge(facts_of_problem(after), again.as_dict(after.day_zero)) == []


def test_the_other_suppliers_water_is_the_reason_and_not_bench_area() -> None:
    """Bench area of a water that nobody may enter is no reason: the supplier there and the day are, and what its going gains."""
    problem = farm_of_two_waters()
    solution = solve(problem, seconds=5, aims=1)
    left = max(solution.short, key=lambda one: one.count)
    first = left.binding[0]
    assert first.resource == "quarantine systems not used by another supplier"
    assert first.where == "quarantine in QB (P1 until 2027-03-26)"
    assert first.gain > 0
    assert all(one.where != "quarantine in QB" for one in left.binding)  # which has bench area enough


def test_a_water_shared_is_offered_with_its_risk_in_words() -> None:
    """Where lots that are there stay longer than newcomers, sharing their water places more: reported with what may go wrong."""
    problem = farm_of_two_waters()
    late = tuple(replace(one, until_day=60, served_day=60) for one in problem.standing)
    problem = replace(problem, standing=late)
    solution = solve(problem, seconds=3, aims=1)
    share = next(one for one in relief(problem, solution, seconds=6) if one.kind == "share")
    assert (share.vat, share.places) == ("QB", 264)  # the two vats with lots in them stay closed
    assert "pest or disease" in share.risk


def with_reserve(area_mm2: int) -> Problem:
    """The same farm with a priced vat in reserve."""
    problem = farm_of_two_waters()
    batches = tuple(
        replace(one, stages=(replace(one.stages[0], reserve=("R1",)), one.stages[1])) for one in problem.batches
    )
    vats = (*problem.vats, VatOffer("R1", "QA", area_mm2, 10**7, 2, weekly_cents=4000))
    return replace(problem, vats=vats, batches=batches)


def test_a_vat_in_reserve_is_offered_at_its_price() -> None:
    """Only a vat the farm has priced, for the weeks it would be used."""
    problem = with_reserve(2500)
    solution = solve(problem, seconds=3, aims=1)
    assert solution.placed == 757
    borrow = next(one for one in relief(problem, solution, seconds=6) if one.kind == "borrow")
    assert borrow.do == "use vat R1, kept in reserve, for 6 weeks at 240.00 in all"
    assert (borrow.price_cents, borrow.left_over) == (24_000, 0)


def test_two_ways_together_are_offered_where_none_alone_is_enough() -> None:
    """Three weeks later and a vat in reserve: each places some, both together more."""
    problem = with_reserve(900)
    found = relief(problem, solve(problem, seconds=3, aims=1), seconds=6)
    both = next(one for one in found if one.kind == "pair")
    assert {step.kind for step in both.steps} == {"delay", "borrow"}
    assert both.places > max(step.places for step in both.steps)
    assert found[0] == both


@given(problem=problems())
@settings(max_examples=40, deadline=None)
def test_a_fact_with_a_gain_is_a_reason_the_judge_would_name(problem: Problem) -> None:
    """Whoever has room by every rule is not short: a short batch always has a reason, and the reasons with a gain come first."""
    solution = solve(problem, seconds=1, aims=1)
    for one in solution.short:
        assert one.binding
        gains = [what.gain for what in one.binding]
        assert gains == sorted(gains, reverse=True)
        batch = next(entry for entry in problem.batches if entry.id == one.batch)
        assert all(0 <= gain <= batch.count for gain in gains)
