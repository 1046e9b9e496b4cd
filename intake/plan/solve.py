"""The one door to a vat plan: search aim by aim, then say what binds the animals left over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from intake.errors import BadInput, Finding
from intake.plan.model.objectives import NAMES
from intake.plan.problem import Problem
from intake.plan.search.driver import Report, Search
from intake.plan.shortage import shortages
from intake.plan.solution import Solution
from intake.plan.solvers.cpsat import Pair, run

__all__ = ["solve"]


def solve(
    problem: Problem,
    *,
    seconds: float = 20.0,
    seed: int = 1,
    progress: Report | None = None,
    aims: int = len(NAMES),
    start: Solution | None = None,
    order: Sequence[str] = NAMES,
) -> Solution:
    """Plan: most animals placed, then fewest moves of current stock, then fewest vats and splits, room, balance.

    Parameters
    ----------
    seconds
        Time to search in all, as seconds of an ordinary machine; counted by the solver's own deterministic clock, so
        that the same problem and seed give the same plan.
    progress
        Called with every better plan; a true answer stops the search and the best plan so far is returned.
    aims
        How many of the aims to pursue; 1 asks only how many animals can be placed.
    start
        A plan of a similar problem to start from, used where it is sound here and better than the greedy's.
    order
        The aims in the order they are pursued; animals placed come first, room and balance last.

    Raises
    ------
    BadInput
        ``seconds`` is not positive.
    """
    if seconds <= 0:
        raise BadInput(Finding("seconds", str(seconds), "a positive number of seconds"))
    search = Search(problem, run, Pair, seconds=seconds, seed=seed, progress=progress)
    search.begin(start)
    search.place(last=aims == 1)
    for name in order[1:aims]:
        search.pursue(name)
    return replace(search.solution(), short=shortages(problem, search.layout))
