"""Branch and bound by HiGHS, through scipy: on aggregated quarantine it proves in seconds what CP-SAT does not in minutes.

HiGHS calculates in floating point.  Its tolerances let rows be missed by a millionth, which can only make a relaxation
looser, and a bound is rounded up only beyond a ten-thousandth.
"""

from __future__ import annotations

from math import ceil, isfinite
from typing import Any

from intake.plan.model.mip import Rows, Terms
from intake.plan.solvers.interface import Answer
from intake.plan.tuning import (
    HIGHS_BRAKE_FACTOR,
    HIGHS_BRAKE_LEAST_SECONDS,
    HIGHS_SECONDS_PER_NODE_ENTRY,
    HIGHS_START_SECONDS_PER_ENTRY,
    LINEAR_ENTRIES,
    LINEAR_GROWTH,
    LINEAR_SECONDS,
    WHOLE_TOLERANCE,
)

__all__ = ["branch", "linear", "linear_seconds"]


def linear_seconds(rows: Rows) -> float:
    """What ``linear`` is charged."""
    entries = sum(map(len, rows.row_vars))
    return float(LINEAR_SECONDS * (entries / LINEAR_ENTRIES) ** LINEAR_GROWTH)


def linear(rows: Rows, objective: Terms) -> Answer:
    """The least an objective over rows can be if parts of animals, vats and waters were allowed: a bound, no values."""
    import numpy as np
    from scipy.optimize import linprog
    from scipy.sparse import vstack

    cost = _cost(rows, objective)
    matrix, least, most = _matrix(rows), _side(rows.row_low, -np.inf), _side(rows.row_high, np.inf)
    charged = linear_seconds(rows)
    found: Any = linprog(
        cost,
        A_ub=vstack([matrix[most < np.inf], -matrix[least > -np.inf]]),
        b_ub=np.concatenate([most[most < np.inf], -least[least > -np.inf]]),
        bounds=np.column_stack([rows.low, rows.high]),
        method="highs-ipm",
        options={"time_limit": HIGHS_BRAKE_LEAST_SECONDS + HIGHS_BRAKE_FACTOR * charged},
    )
    optimal = found.status == 0
    bound = ceil(found.fun - WHOLE_TOLERANCE) if optimal else _least(cost, rows)
    return Answer("UNKNOWN", (), 0, bound, charged, charged, cut=found.status == 1)


def branch(rows: Rows, objective: Terms, *, nodes: int) -> Answer:
    """Make an objective over rows as small as so many nodes of branching allow.

    Parameters
    ----------
    nodes
        Limit of the search: the same on every machine, unlike the clock.

    Returns
    -------
    Answer
        ``charged`` follows from the size of the rows and the nodes looked at, not from the clock; ``seconds`` is the
        same figure, as scipy reports no time.
    """
    import numpy as np  # heavy, and only needed on a farm of some size
    from scipy.optimize import Bounds, LinearConstraint, milp

    cost = _cost(rows, objective)
    entries = sum(map(len, rows.row_vars))
    most = entries * (HIGHS_START_SECONDS_PER_ENTRY + nodes * HIGHS_SECONDS_PER_NODE_ENTRY)
    found: Any = milp(
        cost,
        integrality=np.ones(len(cost)),
        bounds=Bounds(np.array(rows.low, dtype=float), np.array(rows.high, dtype=float)),
        constraints=LinearConstraint(_matrix(rows), _side(rows.row_low, -np.inf), _side(rows.row_high, np.inf)),
        options={
            "node_limit": max(1, nodes),
            "time_limit": HIGHS_BRAKE_LEAST_SECONDS + HIGHS_BRAKE_FACTOR * most,
            "mip_rel_gap": 0.0,
        },
    )
    values = () if found.x is None else tuple(round(value) for value in found.x)
    if values and rows.broken(values):
        values = ()  # a rounded answer that misses a row is no answer
    looked_at = int(found.mip_node_count or 0)
    charged = entries * (HIGHS_START_SECONDS_PER_ENTRY + looked_at * HIGHS_SECONDS_PER_NODE_ENTRY)
    return Answer(
        status={0: "OPTIMAL", 2: "INFEASIBLE"}.get(found.status, "FEASIBLE" if values else "UNKNOWN"),
        values=values,
        value=sum(price * values[variable] for variable, price in objective) if values else 0,
        bound=_proved(found, cost, rows),
        charged=charged,
        seconds=charged,
        cut=found.status == 1 and looked_at < nodes,
    )


def _cost(rows: Rows, objective: Terms) -> Any:
    import numpy as np

    cost = np.zeros(len(rows.low))
    for variable, price in objective:
        cost[variable] += price
    return cost


def _proved(found: Any, cost: Any, rows: Rows) -> int:
    """The proved bound as a whole number; what the bounds of the variables say where nothing better is known."""
    least, proved = _least(cost, rows), found.mip_dual_bound
    # a run cut before its first relaxation is solved has proved nothing, and says so by infinity
    return max(least, ceil(float(proved) - WHOLE_TOLERANCE)) if proved is not None and isfinite(proved) else least


def _least(cost: Any, rows: Rows) -> int:
    """What the bounds of the variables alone say."""
    sides = zip(cost.tolist(), rows.low, rows.high, strict=True)
    return int(sum(price * (low if price > 0 else high) for price, low, high in sides))


def _matrix(rows: Rows) -> Any:
    import numpy as np
    from scipy.sparse import csr_matrix

    ends = np.cumsum([0, *map(len, rows.row_vars)])
    where = np.array([variable for members in rows.row_vars for variable in members])
    entries = np.array([coefficient for row in rows.row_coefs for coefficient in row], dtype=float)
    return csr_matrix((entries, where, ends), shape=(len(rows.row_vars), len(rows.low)))


def _side(limits: list[int | None], none: float) -> Any:
    import numpy as np

    return np.array([none if limit is None else limit for limit in limits], dtype=float)
