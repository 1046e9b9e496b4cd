"""Most value instead of most animals, with no kind left out for it; and what a person's pins cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from intake.plan.model.objectives import NAMES
from intake.plan.model.pins import Pins
from intake.plan.problem import Problem
from intake.plan.solution import Solution
from intake.plan.solve import solve
from intake.plan.tuning import LINES_NAMED, WORTH_MOST

__all__ = ["Aim", "aim_before_search", "by_price", "left_out", "most_value", "pins_cost", "value_placed"]


@dataclass(frozen=True, slots=True)
class Aim:
    """What an animal counts in the first aim of a plan, and why: one answer for every door that shows the plan.

    Attributes
    ----------
    counts
        ``heads``: each animal alike; ``value``: by its price; ``hand``: as a person said.
    """

    counts: Literal["heads", "value", "hand"]
    why: str

    @property
    def words(self) -> str:
        """The aim in one sentence."""
        how = {
            "heads": "Every animal counts alike",
            "value": "Each animal counts by its price",
            "hand": "Animals count as set by hand",
        }[self.counts]
        return f"{how}: {self.why}."

    def as_dict(self) -> dict[str, str]:
        """The aim as plain data."""
        return {"counts": self.counts, "why": self.why, "words": self.words}


def aim_before_search(problem: Problem) -> Aim:
    """Value where prices let animals be compared, otherwise heads and what stands in the way."""
    unpriced = [batch.id for batch in problem.batches if batch.price_cents <= 0]
    if problem.batches and len(unpriced) == len(problem.batches):
        return Aim("heads", "no line has a price")
    if unpriced:
        more = f" and {len(unpriced) - LINES_NAMED} more" if len(unpriced) > LINES_NAMED else ""
        return Aim("heads", f"no price for {', '.join(unpriced[:LINES_NAMED])}{more}")
    money = problem.money
    if money is None and problem.batches:
        named = ", ".join(sorted({batch.currency or "no currency" for batch in problem.batches}))
        return Aim("heads", f"prices in {named} cannot be compared")
    if not by_price(problem):
        return Aim("heads", "all prices are alike")
    return Aim("value", "every line has a price" + (f" in {money}" if money else ""))


def by_price(problem: Problem) -> dict[str, int]:
    """Batch id → worth of one animal by its price, the cheapest counting 1; empty where prices do not let them be compared."""
    prices = {batch.id: batch.price_cents for batch in problem.batches}
    least = min(prices.values(), default=0)
    if least <= 0 or problem.money is None:
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
) -> tuple[Problem, Solution, Aim]:
    """Plan again with animals counted by their price, no kind left out wholly that the plan by heads has.

    Guard: a group of which nothing would be placed, although the plan by heads places some, has its worth raised to the greatest;
    if it is still left out, the plan by heads stands.

    Returns
    -------
    tuple
        The problem with the worth that was used, and its plan, both as given where prices do not say otherwise; and what
        animals count in it, with the reason.
    """
    worth, aim = by_price(problem), aim_before_search(problem)
    if not worth:
        return problem, plan, aim
    before = left_out(problem, plan)
    raised: set[str] = set()
    for _ in range(2):
        weighed = _weighed(problem, worth)
        found = solve(weighed, seconds=seconds, seed=seed, start=plan, order=order)
        lost = left_out(problem, found) - before
        if not lost:
            if (value_placed(problem, found) or 0.0) < (value_placed(problem, plan) or 0.0):
                return problem, plan, Aim("heads", "no plan found by price places more value")
            bound = min(found.placed_bound, plan.placed_bound)  # in heads, which worth says little of
            kept = f"; {', '.join(sorted(raised))} counts as the dearest, or none would be placed" if raised else ""
            return weighed, replace(found, placed_bound=bound), replace(aim, why=aim.why + kept)
        most, raised = max(worth.values()), raised | lost
        worth |= {batch.id: most for batch in problem.batches if batch.group in lost}
    return problem, plan, Aim("heads", f"by price no {' or '.join(sorted(raised))} would have a place")


def value_placed(problem: Problem, solution: Solution) -> float | None:
    """Price of the animals placed; ``None`` where a price is missing or not all are in one currency."""
    prices = {batch.id: batch.price_cents for batch in problem.batches}
    if not prices or min(prices.values()) <= 0 or problem.money is None:
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
