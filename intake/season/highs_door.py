"""The door to HiGHS for order plans, through scipy: columns and rows in, values and a proved bound out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from intake.season.order_model import OrderModel

__all__ = ["Found", "branch_and_bound"]

CHARGED_WHEN_DONE = 0.25
"""Share of its time that a run is charged which ended before: HiGHS through scipy does not report its time (design default)."""


@dataclass(frozen=True, slots=True)
class Found:
    """Values of the columns (empty: none found), the bound on the greatest objective, and the seconds it was given or took."""

    columns: tuple[float, ...]
    bound: float
    optimal: bool
    seconds: float


def branch_and_bound(
    model: OrderModel, whole: Sequence[bool], fixed: Mapping[int, float], seconds: float, *, gap: float = 0.0
) -> Found:
    """Make the objective as great as the time allows, some columns fixed, those not ``whole`` in fractions.

    ``optimal`` means within ``gap`` of the best, as a share.
    """
    import numpy as np  # heavy, and only needed to plan orders
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_matrix

    if not model.price:
        return Found((), 0.0, optimal=True, seconds=0.0)
    low, high = np.array(model.low), np.array(model.high)
    for column, value in fixed.items():
        low[column] = high[column] = value
    ends = np.cumsum([0, *(len(row[0]) for row in model.rows)])
    where = np.array([column for row in model.rows for column in row[0]], dtype=int)
    entries = np.array([value for row in model.rows for value in row[1]])
    matrix = csr_matrix((entries, where, ends), shape=(len(model.rows), len(model.price)))
    sides = [np.array([row[side] for row in model.rows]) for side in (2, 3)]
    found: Any = milp(
        -np.array(model.price),
        integrality=np.array([int(one) for one in whole]),
        bounds=Bounds(low, high),
        constraints=LinearConstraint(matrix, *sides),
        options={"time_limit": max(0.1, seconds), "mip_rel_gap": gap},
    )
    optimal = found.status == 0
    columns = () if found.x is None else _rounded(found.x, whole, low, high)
    bound = float("inf") if found.mip_dual_bound is None else -float(found.mip_dual_bound)
    if optimal and found.x is not None:
        bound = max(bound, -float(found.fun)) if bound != float("inf") else -float(found.fun)
    return Found(columns, bound, optimal, seconds * CHARGED_WHEN_DONE if optimal else seconds)


def _rounded(values: Any, whole: Sequence[bool], low: Any, high: Any) -> tuple[float, ...]:
    return tuple(
        float(min(max(round(value) if one else value, least), most))
        for value, one, least, most in zip(values.tolist(), whole, low.tolist(), high.tolist(), strict=True)
    )
