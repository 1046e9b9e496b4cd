"""How good order plans are in so many seconds: value, bound and gap on seasons of our own; judged each.

::

    python -m tests.bench.season --sizes small mid --seeds 1 2 3 --seconds 30

"""

from __future__ import annotations

import argparse
from statistics import median
from time import perf_counter

from intake.season import solve_orders
from tests.bench.season_instances import SIZES, season_of
from tests.season.order_judge import judge_orders


def main() -> None:
    """Run the bench and print a row per season and the median and worst gap of each size."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", nargs="+", default=["small", "mid"], choices=list(SIZES))
    parser.add_argument("--seeds", nargs="+", type=int, default=[1, 2, 3])
    parser.add_argument("--seconds", type=float, default=30.0)
    asked = parser.parse_args()
    for size in asked.sizes:
        gaps = []
        for seed in asked.seeds:
            season = season_of(size, seed)
            began = perf_counter()
            plan = solve_orders(season, seconds=asked.seconds)
            faults = judge_orders(season, plan)
            gaps.append(plan.gap)
            print(
                f"{size} {seed}: {len(plan.landings)} landings, value {plan.value:.0f}, bound {plan.bound:.0f}, "
                f"gap {100 * plan.gap:.2f} %, {perf_counter() - began:.0f} s, faults {len(faults)} {faults[:2]}",
                flush=True,
            )
        print(f"{size}: gap median {100 * median(gaps):.2f} %, worst {100 * max(gaps):.2f} %", flush=True)


if __name__ == "__main__":
    main()
