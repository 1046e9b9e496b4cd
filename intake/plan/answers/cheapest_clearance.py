"""The cheapest set of vats to clear, as one optimization of its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from intake.plan.model.exact_model import build
from intake.plan.model.objectives import NAMES, objective_terms
from intake.plan.model.occupancy import Occupancy
from intake.plan.problem import AWAY, Problem, Standing, SystemOffer, VatOffer
from intake.plan.search.first_fit import first_plan
from intake.plan.solvers.cpsat import run
from intake.plan.solvers.interface import Limits

__all__ = ["cheapest_clearing"]


_NO_LIMIT = 10**12


def cheapest_clearing(problem: Problem, days: Mapping[int, int], *, seconds: float, seed: int) -> tuple[int, ...]:
    """Which stays to clear: fewest animals left over, then least handling.

    Parameters
    ----------
    days
        Stays that may go, by their place in the problem, with the day each would be gone.

    Returns
    -------
    tuple of int
        The stays to clear; empty when clearing gains nothing or the time was too short.
    """
    open_ended = _with_ways_out(problem, days)
    occupancy = Occupancy(open_ended, loose=True)
    model = build(occupancy, range(len(problem.batches)))
    left = objective_terms(model, NAMES[0]).terms
    answer = run(model.rows, left, Limits(seconds * 0.6, seed), hint=model.write(first_plan(Occupancy(open_ended))))
    if not answer.values:
        return ()
    model.rows.row(left, None, sum(coef * answer.values[var] for var, coef in left))
    exits = {
        index: choices[away]
        for index, choices in sorted(model.homes.items())
        if index in days and (away := occupancy.vat_index[_way(index)]) in choices
    }
    handling = [(exits[index], max(1, _seconds(problem.standing[index]))) for index in exits]
    cheaper = run(model.rows, handling, Limits(seconds * 0.4, seed), hint=list(answer.values))
    chosen = cheaper.values or answer.values
    return tuple(index for index, literal in exits.items() if chosen[literal])


def _seconds(standing: Standing) -> int:
    return standing.count * standing.handling_seconds


def _way(index: int) -> str:
    return f"(way out {index})"


def _with_ways_out(problem: Problem, days: Mapping[int, int]) -> Problem:
    """The problem with a vat outside the farm for every stay that may go, where it meets no one."""
    standing = tuple(
        replace(one, movable=True, move_to=(_way(index),), move_day=days[index])
        if index in days
        else replace(one, movable=False)
        for index, one in enumerate(problem.standing)
    )
    ways = [_way(index) for index in sorted(days)]
    return replace(
        problem,
        systems=(*problem.systems, *(SystemOffer(way, AWAY, _NO_LIMIT) for way in ways)),
        vats=(*problem.vats, *(VatOffer(way, way, _NO_LIMIT, _NO_LIMIT) for way in ways)),
        standing=standing,
    )
