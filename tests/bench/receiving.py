"""Measures receiving days: best rule, plan, bound and time by number of boxes; run as ``python -m tests.bench.receiving``."""

from __future__ import annotations

import sys
import time
from dataclasses import replace

from intake.receiving.solving.solve import rerun, run_day
from tests.receiving.test_day import invented


def main(seconds: float = 5.0) -> None:
    """Print a line a day: hours of the aims (past red, past amber, in bag), time, a re-run at 95 min with a table lost."""
    print(
        "boxes seed   rule: red amber bag      plan: red amber bag     bound: red amber bag   finish bound proved  s  rerun s"
    )
    for boxes in (8, 20, 40, 60):
        for seed in range(3):
            problem = invented(boxes, seed)
            begin = time.perf_counter()
            plan = run_day(problem, seconds=seconds)
            took = time.perf_counter() - begin
            begin = time.perf_counter()
            left = tuple(lane for lane in problem.lanes if lane.id != "table 2")
            rerun(replace(problem, lanes=left), plan, problem.at(95))
            again = time.perf_counter() - begin
            rows = (plan.rule_value, plan.value, plan.bound)
            hours = "   ".join(f"{row[1]:7.1f} {row[2]:7.1f} {row[3]:7.1f}" for row in rows)
            print(
                f"{boxes:5d} {seed:4d} {hours} {plan.value[4]:6.0f} {plan.bound[4]:5.0f} {plan.proved!s:6} "
                f"{took:5.1f} {again:5.1f}",
                flush=True,
            )


if __name__ == "__main__":
    main(*(float(word) for word in sys.argv[1:]))
