"""Most value instead of most animals, with no kind left out for it; and what a person's pins cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from intake.plan.model.objectives import NAMES
from intake.plan.model.pins import Pins
from intake.plan.problem import Problem
from intake.plan.solution import Solution
from intake.plan.solve import solve
from intake.plan.tuning import WORTH_MOST

__all__ = ["by_price", "left_out", "most_value", "pins_cost", "value_placed"]


def by_price(problem: Problem) -> dict[str, int]:
    """Batch id → worth of one animal by its price, the cheapest counting 1; empty where a price is missing or all are alike."""
    prices = {batch.id: batch.price_cents for batch in problem.batches}
    least = min(prices.values(), default=0)
    if least <= 0:
        return {}
    worth = {batch: min(WORTH_MOST, max(1, round(price / least))) for batch, price in prices.items()}
    return worth if len(set(worth.values())) > 1 else {}


def _weighed(problem: Problem, worth: Mapping[str, int]) -> Problem:
    return replace(problem, batches=tuple(replace(one, weight=worth[one.id]) for one in problem.batches))


def left_out(problem: Problem, solution: Solution) -> set[str]:
    """Groups of which nothing is placed."""
    group = {batch.id: batch.group for batch in problem.batches}
    placed = {group[one.batch] for one in solution.placements if one.batch in group}
    return {batch.group for batch in problem.batches} - placed


def most_value(
    problem: Problem, plan: Solution, *, seconds: float, seed: int, order: Sequence[str] = NAMES
) -> tuple[Problem, Solution]:
    """Plan again with animals counted by their price, no kind left out wholly that the plan by heads has.

    Guard: a group of which nothing would be placed, although the plan by heads places some, has its worth raised to the greatest;
    if it is still left out, the plan by heads stands.

    Returns
    -------
    tuple
        The problem with the worth that was used, and its plan; both as given where prices do not say otherwise.
    """
    worth = by_price(problem)
    if not worth:
        return problem, plan
    before = left_out(problem, plan)
    for _ in range(2):
        weighed = _weighed(problem, worth)
        found = solve(weighed, seconds=seconds, seed=seed, start=plan, order=order)
        lost = left_out(problem, found) - before
        if not lost:
            better = (value_placed(problem, found) or 0.0) >= (value_placed(problem, plan) or 0.0)
            bound = min(found.placed_bound, plan.placed_bound)  # in heads, which worth says little of
            return (weighed, replace(found, placed_bound=bound)) if better else (problem, plan)
        most = max(worth.values())
        worth |= {batch.id: most for batch in problem.batches if batch.group in lost}
    return problem, plan


def value_placed(problem: Problem, solution: Solution) -> float | None:
    """Price of the animals placed; ``None`` where a price is missing."""
    prices = {batch.id: batch.price_cents for batch in problem.batches}
    if not prices or min(prices.values()) <= 0:
        return None
    first = {batch.id: batch.stages[0].stage for batch in problem.batches}
    placed = [one for one in solution.placements if first.get(one.batch) == one.stage]
    return sum(one.count * prices[one.batch] for one in placed) / 100


def pins_cost(free: Problem, solution: Solution, pins: Pins, *, seconds: float, seed: int) -> int:
    """Animals that a plan without the pins would place more, by planning without them."""
    if not pins or solution.placed == solution.announced:
        return 0
    again = solve(free, seconds=seconds, seed=seed, aims=1, start=solution)
    return max(0, again.placed - solution.placed)
