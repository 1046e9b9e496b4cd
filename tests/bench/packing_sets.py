"""The planner's core against plain CP-SAT assignment on planted vector packing, the same time for both.

Run by hand: ``python -m tests.bench.packing_sets --bins 5 7 10 --seconds 10``.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from intake.plan import solve
from tests.plan.vector_packing.planted import SIZE, Packing, as_plan, mixed, triplets


def plain(packing: Packing, bins: int, seconds: float) -> tuple[int, int]:
    """Bins used and bound of the plain assignment model, two free workers."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    used = [model.new_bool_var("") for _ in range(bins)]
    inside = [[model.new_bool_var("") for _ in range(bins)] for _ in packing.items]
    for row in inside:
        model.add_exactly_one(row)
    for number in range(bins):
        for dimension in range(3):
            load = sum(item[dimension] * row[number] for item, row in zip(packing.items, inside, strict=True))
            model.add(load <= SIZE * used[number])
    for first, second in pairwise(used):
        model.add_implication(second, first)
    model.minimize(sum(used))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers, solver.parameters.max_time_in_seconds = 2, seconds
    solver.solve(model)
    return round(solver.objective_value), round(solver.best_objective_bound)


def measure(packing: Packing, seconds: float) -> None:
    """Print one line for one instance."""
    bins = packing.fewest + max(2, packing.fewest // 5)
    began = time.perf_counter()
    plan = solve(as_plan(packing, bins), seconds=seconds)
    wall = time.perf_counter() - began
    ours = len({one.vat for one in plan.placements})
    left = plan.announced - plan.placed
    other, bound = plain(packing, bins, wall)
    sys.stdout.write(
        f"{packing.name:18} fewest {packing.fewest:3}  ours {ours:3}{f' ({left} left over)' if left else ''} "
        f"({wall:.1f} s)  plain CP-SAT {other:3}, bound {bound:3}\n"
    )
    sys.stdout.flush()


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure the sizes asked for."""
    parser: Any = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bins", nargs="*", type=int, default=[5, 7, 10])
    parser.add_argument("--seeds", nargs="*", type=int, default=[1, 2])
    parser.add_argument("--seconds", type=float, default=10.0)
    chosen = parser.parse_args(arguments)
    for bins in chosen.bins:
        for seed in chosen.seeds:
            measure(triplets(bins, seed), chosen.seconds)
            measure(mixed(bins, seed), chosen.seconds)


if __name__ == "__main__":
    main()
