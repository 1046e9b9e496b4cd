"""Bench of the timetable's core model on public instances: value over published optimum, proofs, and the impossible.

Run with ``python -m tests.bench.project_sets --seconds 30 --workers 2``; times are wall seconds.  Where only an upper
bound is published, the value is set against that.
"""

from __future__ import annotations

import argparse
import time
from statistics import mean, median

from tests.timetable.public_sets import Project, faults, projects, solve

SETS = "PSPLIB j30,RCPSP/max,RCPSP/max j10,RCPSP/max without a schedule,job shop,PSPLIB j60,PSPLIB j60 hard"


def main() -> None:
    """Run the sets asked for, print a line an instance and a line a set."""
    told = argparse.ArgumentParser(description=__doc__)
    told.add_argument("--sets", default=SETS)
    told.add_argument("--seconds", type=float, default=30.0, help="wall seconds for each instance")
    told.add_argument("--workers", type=int, default=2)
    told.add_argument("--names", default="", help="only these instances")
    told.add_argument("--impossible", action="store_true", help="also ask for one slot less than the optimum, twice")
    asked = told.parse_args()
    names = asked.names.split(",") if asked.names else None
    for kind in asked.sets.split(","):
        chosen = [one for one in projects(kind) if names is None or one.name in names]
        without = [_none(one, asked.seconds, asked.workers) for one in chosen if one.infeasible]
        if without:
            print(f"{kind}: {sum(without)} of {len(without)} called impossible twice")
        ratios = [_line(one, asked.seconds, asked.workers, impossible=asked.impossible)
                  for one in chosen if not one.infeasible]  # fmt: skip
        if ratios:
            print(f"{kind}: {len(ratios)} instances, value / published: median {median(ratios):.4f}, "
                  f"mean {mean(ratios):.4f}, worst {max(ratios):.4f}")  # fmt: skip


def _twice(project: Project, seconds: float, workers: int, deadline: int | None = None) -> list[str]:
    return [
        solve(project, seconds=seconds, workers=workers, deadline=deadline, presolve=presolve, clock=True).status
        for presolve in (True, False)
    ]


def _none(project: Project, seconds: float, workers: int) -> bool:
    wall = time.perf_counter()
    runs = _twice(project, seconds, workers)
    print(f"  {project.name:<12} {', '.join(runs)}, {time.perf_counter() - wall:.2f} s for both", flush=True)
    return runs == ["infeasible", "infeasible"]


def _line(project: Project, seconds: float, workers: int, *, impossible: bool) -> float:
    wall = time.perf_counter()
    answer = solve(project, seconds=seconds, workers=workers, clock=True)
    wall = time.perf_counter() - wall
    known = project.optimum or project.upper_bound
    ratio = float("inf") if answer.value is None or known is None else answer.value / known
    wrong = faults(project, answer.starts, answer.value) if answer.value is not None else ["no schedule"]
    note = ""
    if impossible and project.optimum is not None:
        note = f"  one slot less: {', '.join(_twice(project, seconds, workers, project.optimum - 1))}"
    most = "" if project.optimum else "at most "
    told = f"{answer.value} of {most}{known} {answer.status}, bound {answer.bound}, {wall:.2f} s"
    print(f"  {project.name:<12} {told}{note}{'' if not wrong else f'  WRONG: {wrong}'}", flush=True)
    return ratio


if __name__ == "__main__":
    main()
