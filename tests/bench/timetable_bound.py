"""A bound below the cost of a generated farm's timetable: what the dip benches alone make unavoidable.

Every batch must be unboxed, acclimated and dipped in turn; here hands are free and re-dips ask for no room.  Let
``f_b(t)`` be the least cost of the three pieces of work of batch b when its dip begins in slot t.  A dip of p slots that
begins in t fills the slots t … t + p − 1, and as f is made non-decreasing, Σ_k f(t + k − p + 1) / p ≤ f(t).  So handing
p units of each dip to slots of the benches at f(τ − p + 1) / p each, as cheaply as can be (an assignment problem), costs
no more than any timetable.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

from intake.timetable.problem import Job, Problem

__all__ = ["bench_bound"]

NEVER = 1e9
"""Cost of a slot before the dip can begin at all."""

DAYS_LOOKED = 24
"""Days after the first arrival in which a dip may stand here; a later one costs more than it could here."""


def bench_bound(problem: Problem) -> int:
    """The bound in units of cost; 0 where the benches have room enough."""
    places = problem.places["dip"]
    starts = _open_starts(problem)
    rows: list[Any] = []
    for base in range(0, len(problem.jobs), 10):
        chain = problem.jobs[base : base + 3]
        cost = _least_cost(chain, starts)
        slots = chain[2].slots
        first = int(np.argmax(np.isfinite(cost)))
        at = np.maximum(np.searchsorted(starts, starts - slots + 1), first)
        share = np.where(np.arange(len(starts)) >= first, cost[at] / slots, NEVER)
        rows += [share] * slots
    weights = np.repeat(np.array(rows), places, axis=1)
    units, where = linear_sum_assignment(weights)
    return int(np.floor(weights[units, where].sum() + 1e-6))


def _open_starts(problem: Problem) -> Any:
    """Slots of the days looked at in which somebody works."""
    first = min(problem.day_of(job.earliest) for job in problem.jobs)
    slots = []
    for day in problem.days[first : first + DAYS_LOOKED]:
        shifts = [shift for shift in day.shifts if shift is not None]
        if shifts:
            slots += range(min(shift[0] for shift in shifts), max(shift[1] for shift in shifts))
    return np.array(slots)


def _least_cost(chain: tuple[Job, ...], starts: Any) -> Any:
    """For each start of the last of the chain the least cost of all of it, made non-decreasing from below."""
    before: Any = None
    for job in chain:
        own = job.weight * np.maximum(0, starts - job.latest) + np.abs(starts - job.low).astype(float)
        own = np.where(starts >= job.earliest, own, np.inf)
        if before is not None:
            gap = starts[None, :] - starts[:, None]
            late = job.weight * np.maximum(0, gap - (job.lag_max or 0))
            reach = np.where(gap >= job.lag_min, before[:, None] + late, np.inf)
            own += reach.min(axis=0)
        before = own
    at_least: Any = np.minimum.accumulate(before[::-1])[::-1]
    return np.where(np.isfinite(before) | (np.arange(len(starts)) > np.argmax(np.isfinite(before))), at_least, np.inf)
