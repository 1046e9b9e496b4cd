"""Bench of the timetable's core model on public instances: value over published optimum, proofs, and the impossible.

Run with ``python -m tests.bench.project_sets --seconds 30 --workers 2``; times are wall seconds.
"""

from __future__ import annotations

import argparse
import time
from statistics import mean, median

from tests.timetable.public_sets import Project, faults, projects, solve


def main() -> None:
    """Run the sets asked for, print a line an instance and a line a set."""
    told = argparse.ArgumentParser(description=__doc__)
    told.add_argument("--sets", default="PSPLIB j30,RCPSP/max,job shop,PSPLIB j60")
    told.add_argument("--seconds", type=float, default=30.0, help="wall seconds for each instance")
    told.add_argument("--workers", type=int, default=2)
    told.add_argument("--names", default="", help="only these instances")
    told.add_argument("--impossible", action="store_true", help="also ask for one slot less than the optimum, twice")
    asked = told.parse_args()
    for kind in asked.sets.split(","):
        names = asked.names.split(",") if asked.names else None
        chosen = [one for one in projects(kind) if names is None or one.name in names]
        ratios = [_line(one, asked.seconds, asked.workers, impossible=asked.impossible) for one in chosen]
        if ratios:
            print(f"{kind}: {len(ratios)} instances, value / published: median {median(ratios):.4f}, "
                  f"mean {mean(ratios):.4f}, worst {max(ratios):.4f}")  # fmt: skip


def _line(project: Project, seconds: float, workers: int, *, impossible: bool) -> float:
    wall = time.perf_counter()
    answer = solve(project, seconds=seconds, workers=workers, clock=True)
    wall = time.perf_counter() - wall
    known = project.optimum or project.upper_bound
    ratio = float("inf") if answer.value is None or known is None else answer.value / known
    wrong = faults(project, answer.starts, answer.value) if answer.value is not None else ["no schedule"]
    note = ""
    if impossible and project.optimum is not None:
        less = project.optimum - 1
        runs = [
            solve(project, seconds=seconds, workers=workers, deadline=less, presolve=presolve, clock=True).status
            for presolve in (True, False)
        ]
        note = f"  one slot less: {', '.join(runs)}"
    told = f"{answer.value} of {known} {answer.status}, bound {answer.bound}, {wall:.2f} s"
    print(f"  {project.name:<12} {told}{note}{'' if not wrong else f'  WRONG: {wrong}'}", flush=True)
    return ratio


if __name__ == "__main__":
    main()
