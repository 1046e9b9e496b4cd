"""Bounds on the aims of a landing day: never above a day that can be run, and tight where a hand can show it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model

from intake.receiving.box import BoxNeed
from intake.receiving.problem import DayProblem, Hand
from intake.receiving.solving import day_tuning as tuning
from intake.receiving.solving.bounds import alone, kept_bound, lower_bounds
from intake.receiving.solving.box_placing import aims
from intake.receiving.solving.day_model import DayModel
from intake.receiving.solving.finish_proof import can_end_by, least_end
from intake.receiving.solving.opening_rules import RULES, run_rule
from intake.receiving.solving.resource_prices import Prices
from intake.receiving.solving.solve import run_day, started_by
from tests.receiving.test_day import ALL, box, day, drawn, invented


def priced(problem: DayProblem) -> Prices:
    """Prices of a day, all nothing."""
    first = {name: put.open_at for name, put in alone(problem).items()}
    return Prices(problem, first, max(put.placed_at for put in run_rule(problem, next(iter(RULES)))))


def fresh_and_begun(count: int, seed: int, now: int) -> tuple[DayProblem, DayProblem]:
    """An invented day, and the same day as it stands at a minute."""
    problem = invented(count, seed).completed()
    first = run_day(problem, seconds=0.0)
    return problem, replace(problem, now=now, underway=started_by(first, problem.at(now)))


@settings(max_examples=25, deadline=None)
@given(count=st.integers(1, 12), seed=st.integers(0, 10**6), now=st.integers(0, 200), dear=st.integers(0, 4000))
def test_no_prices_lift_the_bound_above_a_day_that_can_be_run(count: int, seed: int, now: int, dear: int) -> None:
    """Prices drawn at random are poor, and still the bound lies below the hours in the bag of every rule's day."""
    for problem in fresh_and_begun(count, seed, now):
        prices = priced(problem)
        minutes = np.arange(prices.opens, dtype=np.int64)
        costs = np.array([one.weight * minutes for one in prices.boxes], np.int64).reshape(-1, prices.opens)
        noise = np.array(
            [[hashlib.sha256(f"{seed}/{row}/{at // 7}".encode()).digest()[0] for at in range(prices.stock.minutes)]
             for row in range(len(prices.there))],
            np.int64,
        )  # fmt: skip
        prices.price = noise.reshape(prices.price.shape) * dear // 255
        prices.price[:, prices.until :] = 0
        least, _, _ = prices.chosen(costs * 64)
        for rule in RULES:
            puts = {put.box: put for put in run_rule(problem, rule)}
            assert least <= 64 * sum(one.weight * puts[one.box].open_at for one in prices.boxes)


@settings(max_examples=25, deadline=None)
@given(count=st.integers(1, 14), seed=st.integers(0, 10**6), now=st.integers(0, 200))
def test_a_bound_with_aims_kept_lies_below_the_day_that_keeps_them(count: int, seed: int, now: int) -> None:
    """For the day of every rule, with the aims before each aim kept at what that day reaches."""
    for problem in fresh_and_begun(count, seed, now):
        for rule in tuple(RULES)[:4]:
            value = aims(problem, run_rule(problem, rule))
            prices = priced(problem)
            for number in range(4):
                assert kept_bound(prices, number, value, 12) <= value[number]


# ── every day there is, on a grid ───────────────────────────────────────────────────────────────────────────────────

STEP, LAST = 5, 13


def tiny(seed: int) -> DayProblem:
    """Three boxes, one table, two tubs, two people and 40 L of water: everything is short."""
    boxes = []
    for number in range(1, 4):
        digest = hashlib.sha256(f"small {seed}/{number}".encode()).digest()
        boxes.append(
            box(
                number,
                hours=drawn(digest, 0, (23.5, 35.8, 30)),
                weight=drawn(digest, 1, (0.5, 1.0, 1.6)),
                count_minutes=drawn(digest, 2, (0, 5)),
                acclimation_minutes=drawn(digest, 3, (5, 15, 20)),
                place_minutes=drawn(digest, 4, (5, 10)),
                water_l=float(drawn(digest, 5, (0, 20, 30))),
                leaking=drawn(digest, 6, (True, False, False)),
            )
        )
    crew = (Hand("Marou", ALL, 0, 600), Hand("Teva", ALL, 0, 600))
    return day(boxes, tables=1, tubs=2, people=crew, mixed_water_l=40.0, remake_minutes=10).completed()


def crowded(spans: list[tuple[int, int, int]], most: int) -> bool:
    """Whether more than there is would be used at some moment."""
    return any(sum(use for start, end, use in spans if start <= at < end) > most for at, _, _ in spans)


def may_run(boxes: tuple[BoxNeed, ...], opened: tuple[int, ...], waits: tuple[int, ...]) -> bool:
    """Whether these minutes of opening, and waits in the tub beyond what is needed, can be done (coded here again)."""
    tables, tubs, people, water = [], [], [], []
    for one, start, wait in zip(boxes, opened, waits, strict=True):
        tub = start + one.open_minutes + one.count_minutes
        out = tub + max(one.acclimation_minutes, one.setup_minutes) + wait
        tables.append((start, tub, 1))
        tubs.append((tub, out, 1))
        people += [(start, tub, 1), (tub, tub + one.setup_minutes, 1), (out, out + one.place_minutes, 1)]
        water.append((tub, out + 10, round(one.water_l)))
    return not (crowded(tables, 1) or crowded(tubs, 2) or crowded(people, 2) or crowded(water, 40))


def every_day(problem: DayProblem) -> Iterator[tuple[int, int, int, int, int]]:
    """The aims of every day on a grid of five minutes, waits in the tub up to ten."""
    boxes = problem.boxes
    for opened in product(range(0, STEP * LAST, STEP), repeat=3):
        for waits in product((0, 5, 10), repeat=3):
            if may_run(boxes, opened, waits):
                age = [problem.age[one.box] + start for one, start in zip(boxes, opened, strict=True)]
                late = [
                    [one.weight * max(0, old - round(limit * 60)) for one, old, limit in zip(boxes, age, row, strict=True)]
                    for row in ([one.red_h for one in boxes], [one.amber_h for one in boxes])
                ]  # fmt: skip
                ends = [
                    start + one.opening_minutes + one.tub_minutes + wait + one.place_minutes
                    for one, start, wait in zip(boxes, opened, waits, strict=True)
                ]
                urgent = sum(one.weight * old for one, old in zip(boxes, age, strict=True) if one.leaking)
                bag = sum(one.weight * old for one, old in zip(boxes, age, strict=True))
                yield urgent, sum(late[0]), sum(late[1]), bag, max(ends)


@cache
def days_of(seed: int) -> list[tuple[int, int, int, int, int]]:
    """The different days of a tiny problem, the best first."""
    return sorted(set(every_day(tiny(seed))))


@pytest.mark.parametrize("seed", range(4))
def test_bounds_lie_below_every_day_of_a_tiny_problem(seed: int) -> None:
    """Each bound against the best of all days on the grid, for the aim alone and with the aims before it kept."""
    problem = tiny(seed)
    days = days_of(seed)
    best = days[0]
    cheap = lower_bounds(problem, run_day(problem, seconds=0.0).placed)
    assert all(low <= min(one[number] for one in days) for number, low in enumerate(cheap))
    prices = priced(problem)
    for number in range(4):
        kept = [one[number] for one in days if all(a <= b for a, b in zip(one[:number], best[:number], strict=True))]
        assert kept_bound(prices, number, best, 60) <= min(kept)
    plan = run_day(problem, seconds=5.0)
    assert aims(problem, plan.placed) <= best


def asked(problem: DayProblem, value: Sequence[int]) -> Callable[[int], bool | None]:
    """Whether a day can end by a minute with the aims before kept at a value, by the solver, a short time for each question."""
    first = {name: put.open_at for name, put in alone(problem).items()}
    model = DayModel(problem, cp_model.CpModel(), first, cp_model.Domain.from_intervals)
    for aim, most in zip(model.aims[:4], value[:4], strict=True):
        model.cp.add(aim <= most)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = 0.01
    words = (cp_model.OPTIMAL, cp_model.FEASIBLE, cp_model.INFEASIBLE)
    return lambda minute: can_end_by(model, minute, solver.solve, words)


@pytest.mark.parametrize("seed", range(4))
def test_no_tiny_day_ends_before_its_least_end(seed: int) -> None:
    """No day on the grid that is as good in the aims before ends sooner, whichever day's aims are kept."""
    problem = tiny(seed)
    days = days_of(seed)
    for value in (days[0], days[len(days) // 50], min(days, key=lambda one: (one[3], one))):
        soonest = min(one[4] for one in days if all(a <= b for a, b in zip(one[:4], value[:4], strict=True)))
        ends_by = asked(problem, value)
        low = lower_bounds(problem, run_day(problem, seconds=0.0).placed)[4]
        for step in (1, 4):
            assert low <= least_end(low, value[4], ends_by, step=step) <= soonest
        assert ends_by(soonest) is not False
        assert ends_by(low - 1) is False


@settings(max_examples=10, deadline=None)
@given(count=st.integers(1, 9), seed=st.integers(0, 10**6), now=st.integers(0, 200))
def test_the_least_end_lies_below_the_day_that_keeps_its_aims(count: int, seed: int, now: int) -> None:
    """For the day of every rule, fresh and begun, the aims before the finish kept at what that day reaches."""
    for problem in fresh_and_begun(count, seed, now):
        for rule in tuple(RULES)[:3]:
            value = aims(problem, run_rule(problem, rule))
            assert asked(problem, value)(value[4]) is not False


@given(low=st.integers(0, 300), gap=st.integers(0, 300), none=st.integers(0, 300), step=st.integers(1, 40))
def test_the_least_end_is_the_last_no_and_one(low: int, gap: int, none: int, step: int) -> None:
    """Where every question up to a minute is answered with no, the least end is the minute after it, never past the known end."""
    high, last = low + gap, low + none
    found = least_end(low, high, lambda minute: False if minute <= last else None, step=step)
    assert found == min(high, last + 1)


def test_kept_aims_raise_the_least_end_of_twenty_boxes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Work between heads and tails says minute 262; three urgent boxes of the second truck leave the tubs empty before them."""
    monkeypatch.setattr(tuning, "BRAKE", 1000.0)  # however busy the machine
    plan = run_day(invented(20, 0), seconds=1.0)
    cheap = lower_bounds(plan.problem, plan.placed)[4]
    assert cheap + 20 <= plan.bound[4] <= plan.value[4]


# ── tight where a hand can show it ──────────────────────────────────────────────────────────────────────────────────


def crew(count: int) -> tuple[Hand, ...]:
    """So many people who may do all."""
    return tuple(Hand(f"hand {number}", ALL, 0, 600) for number in range(count))


def test_mixed_water_alone_sets_the_finish() -> None:
    """Four boxes of 30 L, 40 L ready, 30 min in the tub and 20 to mix again: tub starts lie 50 minutes apart.

    Opened and counted at 15; the tubs at 15, 65, 115, 165; out at 195, placed at 200.
    """
    boxes = [box(number, water_l=30.0) for number in range(1, 5)]
    problem = day(boxes, tables=4, tubs=9, people=crew(9), mixed_water_l=40.0, remake_minutes=20)
    plan = run_day(problem)
    assert plan.value[4] == 200
    assert lower_bounds(problem.completed(), plan.placed)[4] > 15 + 30 + 5  # each box alone says no more
    generous = replace(problem, mixed_water_l=400.0)
    assert run_day(generous).value[4] == 50


def test_heads_and_tails_of_one_tub_add_up() -> None:
    """One tub, three boxes of 15 + 30 + 5 minutes: 15 until the first is in, 90 in the tub, 5 to place the last."""
    problem = day([box(number) for number in range(1, 4)], tables=3, tubs=1, people=crew(9)).completed()
    plan = run_day(problem)
    assert lower_bounds(problem, plan.placed)[4] == 15 + 90 + 5 == plan.value[4]


def test_prices_prove_the_order_of_boxes_that_share_one_tub() -> None:
    """Equal boxes in one tub: openings 30 minutes apart cannot be beaten, and prices show 99 % of that."""
    boxes = [box(number, hours=10) for number in range(1, 6)]
    problem = day(boxes, tables=5, tubs=1, people=crew(9)).completed()
    best = sum(100 * (600 + 30 * turn) for turn in range(5))
    value = (0, 0, 0, best, 15 + 150 + 5)
    found = kept_bound(priced(problem), 3, value, 300)
    waited = best - 5 * 100 * 600
    assert best - waited / 100 <= found <= best


def test_a_resource_taken_away_raises_the_bound() -> None:
    """A bound that did not see the tubs would be the same with one as with nine."""
    boxes = [box(number, hours=10) for number in range(1, 9)]
    found = []
    for tubs in (9, 3, 1):
        problem = day(boxes, tables=8, tubs=tubs, people=crew(9)).completed()
        value = aims(problem, run_rule(problem, next(iter(RULES))))
        found.append(kept_bound(priced(problem), 3, value, 60))
    assert found == sorted(found)
    assert len(set(found)) == 3


def test_a_large_plan_tells_the_bound_by_prices() -> None:
    """On a day of 30 boxes the plan's bound is above the one without prices."""
    plan = run_day(invented(30, 1), seconds=1.0)
    cheap = lower_bounds(plan.problem, plan.placed)
    assert plan.bound[2] * 6000 > cheap[2]
    assert all(low <= value for low, value in zip(plan.bound, plan.value, strict=True))
