"""One question planned three ways, side by side: nobody stays longer, newcomers may wait, lots that stand may be held as well."""

from __future__ import annotations

from dataclasses import dataclass, replace

from intake.plan.answers.longer_holds import days_to_hold, held_until, lots_held
from intake.plan.model.objectives import NAMES
from intake.plan.problem import Problem
from intake.plan.solution import Solution
from intake.plan.solve import solve

__all__ = ["Policy", "side_by_side"]

_FIRST_TWO = len(NAMES[:2])
"""Aims pursued: most animals placed, then fewest animal-days held; where each animal stands is not compared."""


@dataclass(frozen=True, slots=True)
class Policy:
    """A way to treat lots that share water, and what it gives.

    Attributes
    ----------
    words
        The policy in words.
    placed, bound, proved
        Animals placed, the most any plan of this policy can place, and whether that is proved.  With lots held the bound
        is that of the waters chosen to be held, so it is never proved.
    waiting_days, held_days
        Animal-days that newcomers, and lots that stand there, stay longer than their own clocks ask.
    holds
        Waters whose lots are held, each with the day of the plan until which.
    """

    words: str
    placed: int
    announced: int
    bound: int
    proved: bool
    waiting_days: int
    held_days: int
    holds: tuple[tuple[str, int], ...] = ()


def side_by_side(problem: Problem, *, seconds: float, seed: int = 1) -> tuple[Policy, ...]:
    """The three policies for one question.

    Parameters
    ----------
    seconds
        Time for all the solving together, shared by thirds.
    """
    third = seconds / 3
    nobody = solve(replace(problem, most_days_held=0), seconds=third, seed=seed, aims=_FIRST_TWO)
    waiting = solve(problem, seconds=third, seed=seed, aims=_FIRST_TWO, start=nobody)
    freely, holds, held = _with_holds(problem, waiting, seconds=third, seed=seed)
    return (
        _policy("no lot stays longer than its own clock asks", nobody),
        _policy("newcomers may wait for each other", waiting),
        replace(
            _policy("lots that stand there may be held as well", freely), proved=freely.placed == freely.announced,
            bound=freely.announced, held_days=held, holds=holds,
        ),
    )  # fmt: skip


def _policy(words: str, solution: Solution) -> Policy:
    placed = solution.objectives[0]
    waits = sum(one.count * one.days for one in solution.held)
    return Policy(words, solution.placed, solution.announced, solution.placed_bound, placed.proved, waits, 0)


def _with_holds(
    problem: Problem, start: Solution, *, seconds: float, seed: int
) -> tuple[Solution, tuple[tuple[str, int], ...], int]:
    """The best plan found by holding the lots of one water after another, as long as each places more."""
    best, holds, held = start, dict[str, int](), 0
    tries = [(one.id, day) for one in problem.systems for day in days_to_hold(problem, one.id, _coming(problem))]
    each = max(0.3, seconds / max(1, 2 * len(tries)))
    while best.placed < best.announced:
        found = [
            (again, system, day, then, cost)
            for system, day in tries
            if system not in holds
            for then, cost in [(held_until(problem, system, day), _animal_days(problem, system, day))]
            for again in [solve(then, seconds=each, seed=seed, aims=_FIRST_TWO, start=best)]
            if again.placed > best.placed
        ]
        if not found:
            break
        best, system, day, problem, cost = max(found, key=lambda one: (one[0].placed, -one[4], one[1], -one[2]))
        holds[system], held = day, held + cost
    return best, tuple(sorted(holds.items())), held


def _coming(problem: Problem) -> dict[str, int]:
    return {batch.id: batch.count for batch in problem.batches}


def _animal_days(problem: Problem, system: str, day: int) -> int:
    """What it costs the lots of a water to be held until a day."""
    return sum(one.count * (day - one.until_day) for one in lots_held(problem, system, day))
