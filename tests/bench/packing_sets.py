"""The planner's core against plain CP-SAT assignment on vector packing, planted and public, no less time for the latter.

Run by hand: ``python -m tests.bench.packing_sets --bins 5 7 10 --seconds 10``, ``... --public --seconds 10``.  Each
instance is asked twice: for the fewest bins with some to spare, and for as many items as the fewest bins can hold.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from intake.plan.solve import solve
from tests.plan.vector_packing.planted import Packing, as_plan, mixed, triplets
from tests.plan.vector_packing.public import packings


def plain(packing: Packing, bins: int, seconds: float) -> tuple[int, int]:
    """Bins used and bound of the plain assignment model, two free workers; no bins when it found no packing."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    used = [model.new_bool_var("") for _ in range(bins)]
    inside = _inside(model, packing, used)
    for row in inside:
        model.add_exactly_one(row)
    for first, second in pairwise(used):
        model.add_implication(second, first)
    model.minimize(sum(used))
    return _solved(cp_model, model, seconds)


def plain_placed(packing: Packing, seconds: float) -> tuple[int, int]:
    """Items put into the fewest bins, and bound, by the plain assignment model."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    inside = _inside(model, packing, [1] * packing.fewest)
    for row in inside:
        model.add_at_most_one(row)
    model.maximize(sum(sum(row) for row in inside))
    placed, most = _solved(cp_model, model, seconds)
    return placed, min(most, len(packing.items))


def _inside(model: Any, packing: Packing, used: Sequence[Any]) -> list[list[Any]]:
    """Which item lies in which bin, no bin overfull and nothing in a bin not used."""
    inside = [[model.new_bool_var("") for _ in used] for _ in packing.items]
    for number, one in enumerate(used):
        for dimension, size in enumerate(packing.size):
            load = sum(item[dimension] * row[number] for item, row in zip(packing.items, inside, strict=True))
            model.add(load <= size * one)
    return inside


def _solved(library: Any, model: Any, seconds: float) -> tuple[int, int]:
    solver = library.CpSolver()
    solver.parameters.num_workers, solver.parameters.max_time_in_seconds = 2, seconds
    found = solver.solve(model) in {library.OPTIMAL, library.FEASIBLE}
    return (round(solver.objective_value) if found else 0), round(solver.best_objective_bound)


def measure(packing: Packing, seconds: float) -> None:
    """Print two lines for one instance."""
    bins = packing.fewest + max(2, packing.fewest // 5)
    began = time.perf_counter()
    plan = solve(as_plan(packing, bins), seconds=seconds)
    wall = time.perf_counter() - began
    ours = len({one.vat for one in plan.placements})
    left = plan.announced - plan.placed
    other, bound = plain(packing, bins, max(wall, seconds))
    _say(
        f"{packing.name:22} fewest {packing.fewest:3}  ours {ours:3}{f' ({left} left over)' if left else ''} "
        f"({wall:.1f} s)  plain CP-SAT {other:3}, bound {bound:3}{'  WORSE' if left or ours > other > 0 else ''}"
    )
    began = time.perf_counter()
    plan = solve(as_plan(packing, packing.fewest), seconds=seconds, aims=1)
    wall = time.perf_counter() - began
    other, bound = plain_placed(packing, max(wall, seconds))
    _say(
        f"{'':22} items  {len(packing.items):3}  ours {plan.placed:3}, at most {plan.placed_bound:3} "
        f"({wall:.1f} s)  plain CP-SAT {other:3}, at most {bound:3}{'  WORSE' if plan.placed < other else ''}"
    )


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure the sizes or the public sets asked for."""
    parser: Any = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bins", nargs="*", type=int, default=[5, 7, 10])
    parser.add_argument("--seeds", nargs="*", type=int, default=[1, 2])
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--public", nargs="*", metavar="SET", help="public sets instead, all of them or these")
    parser.add_argument("--names", nargs="*", default=[], help="only these of the public instances")
    chosen = parser.parse_args(arguments)
    if chosen.public is not None:
        asked = [one for one in packings(*chosen.public) if not chosen.names or one.name in chosen.names]
    else:
        pairs = [(bins, seed) for bins in chosen.bins for seed in chosen.seeds]
        asked = [one for bins, seed in pairs for one in (triplets(bins, seed), mixed(bins, seed))]
    for packing in asked:
        measure(packing, chosen.seconds)


if __name__ == "__main__":
    main()
