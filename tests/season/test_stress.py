"""Futures are drawn fairly, carried by the rules, and measured with an interval; being careful is measured on unseen ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from intake.plan import Problem
from intake.plan.answers.least_change_replan import carried_over
from intake.plan.solve import solve
from intake.season.stress import CAUSES, Chances, future, outcome, stress
from tests.checker import judge
from tests.plan.conftest import tiny_problem
from tests.plan.facts import facts_of_problem

CERTAIN = Chances(slips=((0, 1.0),), count_sd=0.0, dead=0.0, growth=0.0, growth_sd=0.0, outage=0.0)


def roomy() -> Problem:
    """The small farm with one supplier's lines, which all fit."""
    problem = tiny_problem()
    batches = tuple(one for one in problem.batches if one.shipment == "T1")
    return replace(problem, batches=batches, standing=tuple(one for one in problem.standing if one.batch != "H3"))


def test_without_chance_everyone_keeps_their_place() -> None:
    """No slip, no loss, no growth, nothing down: the plan is what happens."""
    problem = roomy()
    plan = solve(problem, seconds=2)
    found = outcome(problem, plan.placements, CERTAIN, futures=20, seed=(1, 1))
    assert (found.fits, found.without_p95, found.placed) == (1.0, 0, plan.placed)
    assert found.fits_low < 1.0  # twenty futures prove no certainty
    assert found.breaks == ()


def test_the_same_seed_gives_the_same_futures_and_each_cause_only_its_own() -> None:
    """Causes draw whether they count or not, so that plans and causes are compared on the same chances."""
    problem = roomy()
    chances = Chances(outage=0.5, slips=((7, 1.0),))
    one, other = (future(problem, chances, np.random.default_rng([3, 1])) for _ in range(2))
    assert one == other
    slipped = future(problem, chances, np.random.default_rng([3, 1]), ("slip",))
    assert [
        b.stages[0].start_day - a.stages[0].start_day for a, b in zip(problem.batches, slipped.batches, strict=True)
    ] == [7, 7]
    assert [b.count for b in slipped.batches] == [b.count for b in problem.batches]
    down = future(problem, chances, np.random.default_rng([3, 1]), ("outage",))
    assert [vat.closed for vat in down.vats] == [vat.closed for vat in one.vats]


def test_what_is_carried_into_a_future_keeps_every_rule() -> None:
    """The judge reads what the futures make of the plan."""
    problem = tiny_problem()
    plan = solve(problem, seconds=2)
    rng = np.random.default_rng(7)
    for _ in range(25):
        then = future(problem, Chances(outage=0.4), rng)
        after = carried_over(then, plan.placements)
        told = after.as_dict(then.day_zero)
        left = {one.id: one.count for one in then.batches}
        for row in told["placements"]:  # type: ignore[attr-defined]
            stages = next(one for one in then.batches if one.id == row["batch"]).stages
            left[row["batch"]] -= row["count"] if row["stage"] == stages[0].stage else 0
        told["short"] = [{"batch": name, "count": count} for name, count in left.items() if count]
        assert judge(facts_of_problem(then), told) == []


def test_draws_have_the_rates_that_were_told() -> None:
    """Means over many draws, within four standard errors."""
    problem = roomy()
    chances = Chances(dead=0.05, outage=0.2, growth=0.1)
    rng = np.random.default_rng(11)
    drawn = [future(problem, chances, rng) for _ in range(600)]
    alive = np.mean([sum(one.count for one in then.batches) for then in drawn]) / problem.announced
    assert alive == pytest.approx(0.95, abs=0.012)
    late = np.mean([then.batches[0].stages[0].start_day > problem.batches[0].stages[0].start_day for then in drawn])
    assert late == pytest.approx(0.16, abs=0.06)
    down = np.mean(
        [[vat.closed != old.closed for vat, old in zip(then.vats, problem.vats, strict=True)] for then in drawn]
    )
    assert down == pytest.approx(0.2, abs=0.04)


def test_being_careful_is_measured_on_the_same_unseen_futures_with_its_cost() -> None:
    """No more than ordered never leaves more without a place; every insurance has an interval and a price."""
    problem = roomy()
    plan = solve(problem, seconds=2)
    found = stress(problem, plan, Chances(), futures=150, seconds=0.5)
    assert [cause for cause, _ in found.causes] == list(CAUSES)
    names = [one.name for one in found.insurances]
    assert names[0] == "no more than ordered, in the terms"
    assert "10 % of quarantine kept free" in names
    capped = found.insurances[0].outcome
    assert capped.without_p95 <= found.plan.without_p95
    for one in (found.plan, *(each.outcome for each in found.insurances)):
        assert one.fits_low <= one.fits <= one.fits_high
        assert one.without_low <= one.without_p95 <= one.without_high
    if found.halves:
        best = next(one for one in found.insurances if one.name == found.halves)
        assert 2 * best.outcome.without_p95 <= found.plan.without_p95
        assert best.cost <= 0.01


def test_where_nothing_is_left_there_is_nothing_to_halve() -> None:
    """A plan that leaves no one without a place in nineteen of twenty futures needs no insurance."""
    problem = roomy()
    plan = solve(problem, seconds=1)
    assert stress(problem, plan, CERTAIN, futures=20, seconds=0.3).halves == ""


def test_a_shipment_and_a_batch_may_have_rates_of_their_own() -> None:
    """The supplier's own lateness and counts, the line's own deaths; the others keep the general ones."""
    problem = roomy()
    first, *others = problem.batches
    own = replace(CERTAIN, dead_of={first.id: 0.9}, dead_rho=0.0001)
    then = future(problem, own, np.random.default_rng([4, 1]), ("deaths",))
    counts = {one.id: one.count for one in then.batches}
    assert counts.get(first.id, 0) < 0.2 * first.count
    assert all(counts[one.id] == one.count for one in others)
    late = replace(CERTAIN, slips_of={first.shipment: ((9, 1.0),)}, count_sd_of={first.shipment: 0.3})
    then = future(problem, late, np.random.default_rng([4, 1]), ("slip", "counts"))
    start = {one.id: one.stages[0].start_day for one in problem.batches}
    assert {one.stages[0].start_day - start[one.id] for one in then.batches} == {9}
    assert [one.count for one in then.batches] != [one.count for one in problem.batches]
