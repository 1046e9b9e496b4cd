"""A bound below the cost of a generated farm's timetable: what the dip benches alone make unavoidable.

Every batch must be unboxed, acclimated and dipped in turn, then dipped twice more six to eight days apart, all at the same
benches; here hands are free, and inspections, checks and transfers cost nothing.  The model is a time-indexed linear
programme (Sousa & Wolsey 1992, from memory): ``X(t)`` is the part of a dip that has begun by slot t, so the benches in
use at t are the sum of ``X(t) − X(t − slots)``, a re-dip's ``X(t)`` is at most the earlier dip's ``X(t − 6 days)``, and
its lateness is the sum over t of what is left of ``X(t) of the earlier − X(t + 8 days) of the later``.  A dip later than
the days looked at asks for no bench and costs as little as it can there.

The solver is not trusted: its duals are, whatever they are, and the bound is reckoned from them here (weak duality over
variables that all lie between 0 and 1).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_matrix

from intake.timetable.problem import DAY_SLOTS, Job, Problem

__all__ = ["bench_bound"]

DAYS_LOOKED = (7, 12, 16)
"""Days in which the first dip and its two repeats may stand here, from the first on which they can."""

BEYOND = 3
"""Days after those from which the least cost of a later first dip is read."""


def bench_bound(problem: Problem) -> int:
    """The bound in units of cost; 0 where the benches have room enough."""
    model = _Model(problem)
    for base in range(0, len(problem.jobs), 10):
        model.batch(problem.jobs[base : base + 5])
    return model.bound()


class _Model:
    """Rows and columns of the programme: minimise c·x, rows ≤ their limits, x from 0 to ``top`` (0 or 1)."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.cost: list[Any] = []
        self.top: list[Any] = []
        self.constant = 0.0
        self.columns = self.rows = 0
        self.entries: list[tuple[Any, Any, Any]] = []
        self.limits: list[Any] = []
        self.benches: dict[int, list[tuple[int, float]]] = {}

    def batch(self, chain: tuple[Job, ...]) -> None:
        """One batch: its first dip with all that comes before it, and its two repeats."""
        day = chain[0].earliest // DAY_SLOTS
        long = self._open(day, DAYS_LOOKED[0] + BEYOND)
        least = _least_cost(chain[:3], long)
        at_least = np.minimum.accumulate(least[::-1])[::-1]
        inside = long < (day + DAYS_LOOKED[0]) * DAY_SLOTS
        can = np.cumsum(np.isfinite(least)) > 0
        slots, begun = (
            long[inside],
            self._dip(chain[2], long[inside], at_least[inside], can[inside], at_least[~inside][0]),
        )
        for job, days in zip(chain[3:], DAYS_LOOKED[1:], strict=True):
            day += job.lag_min // DAY_SLOTS
            later = self._open(day, days)
            away = np.abs(later - job.low).astype(float)
            could = later >= slots[0] + job.lag_min
            again = self._dip(job, later, away, could, max(0.0, float(later[-1] + 1 - job.low)))
            self._no_sooner(job, slots, begun, later, again)
            self._late(job, slots, begun, later, again)
            slots, begun = later, again

    def _open(self, day: int, days: int) -> Any:
        """Slots of some days in which somebody works."""
        found: list[Any] = []
        for one in self.problem.days[day : day + days]:
            shifts = [shift for shift in one.shifts if shift is not None]
            if shifts:
                found += range(min(shift[0] for shift in shifts), max(shift[1] for shift in shifts))
        return np.array(found)

    def _dip(self, job: Job, slots: Any, cost: Any, can: Any, later: float) -> Any:
        """Columns "begun by this slot" of one dip, with its costs and its use of the benches."""
        cost = np.where(np.isfinite(cost), cost, 0.0)
        begun = self._columns(cost - np.append(cost[1:], later), np.where(can, 1.0, 0.0))
        self.constant += later
        number = np.arange(len(slots) - 1)
        self._rows([(number, begun[:-1], 1.0), (number, begun[1:], -1.0)], len(number))
        whole = np.isin(slots + job.slots - 1, slots) & (slots // DAY_SLOTS == (slots + job.slots - 1) // DAY_SLOTS)
        cut = np.flatnonzero(~whole[1:]) + 1
        number = np.arange(len(cut))
        self._rows([(number, begun[cut], 1.0), (number, begun[cut - 1], -1.0)], len(number))
        for place, slot in enumerate(slots):
            row = self.benches.setdefault(int(slot), [])
            row.append((int(begun[place]), 1.0))
            if place >= job.slots:
                row.append((int(begun[place - job.slots]), -1.0))
        return begun

    def _no_sooner(self, job: Job, slots: Any, begun: Any, later: Any, again: Any) -> None:
        """A repeat has begun no further than the dip before it had so long ago."""
        at = np.searchsorted(slots, later - job.lag_min, "right") - 1
        known = np.flatnonzero((at >= 0) & (later - job.lag_min <= slots[-1]))
        number = np.arange(len(known))
        self._rows([(number, again[known], 1.0), (number, begun[at[known]], -1.0)], len(number))

    def _late(self, job: Job, slots: Any, begun: Any, later: Any, again: Any) -> None:
        """Slots of lateness: those at which the greatest lag after the dip before is over and the repeat has not begun."""
        assert job.lag_max is not None
        assert job.lag_max % DAY_SLOTS == 0  # so that nothing begins between the slots compared
        at = np.searchsorted(later, slots + job.lag_max, "right") - 1
        known = np.flatnonzero((at >= 0) & (slots + job.lag_max <= later[-1]))
        weight = np.append(np.diff(slots), 1)[known] * float(job.weight)
        over, number = self._columns(weight, np.ones(len(known))), np.arange(len(known))
        self._rows([(number, begun[known], 1.0), (number, again[at[known]], -1.0), (number, over, -1.0)], len(number))

    def _columns(self, cost: Any, top: Any) -> Any:
        found = np.arange(self.columns, self.columns + len(cost))
        self.columns += len(cost)
        self.cost.append(cost)
        self.top.append(top)
        return found

    def _rows(self, parts: list[tuple[Any, Any, float]], count: int, limit: float = 0.0) -> None:
        for number, column, value in parts:
            self.entries.append((number + self.rows, column, np.full(len(column), value)))
        self.limits.append(np.full(count, limit))
        self.rows += count

    def bound(self) -> int:
        """Solve, and reckon the bound from the duals."""
        places = float(self.problem.places["dip"])
        for slot in sorted(self.benches):
            columns, values = zip(*self.benches[slot], strict=True)
            self.entries.append((np.full(len(columns), self.rows), np.array(columns), np.array(values)))
            self.limits.append(np.array([places]))
            self.rows += 1
        number, column, value = (np.concatenate(part) for part in zip(*self.entries, strict=True))
        matrix = csr_matrix((value, (number, column)), shape=(self.rows, self.columns))
        cost, top, limit = np.concatenate(self.cost), np.concatenate(self.top), np.concatenate(self.limits)
        found = linprog(
            cost, A_ub=matrix, b_ub=limit, bounds=np.stack([np.zeros(self.columns), top], axis=1), method="highs-ipm"
        )
        duals = np.minimum(found.ineqlin.marginals, 0.0)
        left = cost - matrix.T @ duals
        return max(0, int(np.floor(self.constant + limit @ duals + np.minimum(left, 0.0) @ top - 1e-3)))


def _least_cost(chain: tuple[Job, ...], starts: Any) -> Any:
    """For each start of the last of the chain the least cost of all of it; infinite where it cannot begin."""
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
    return before
