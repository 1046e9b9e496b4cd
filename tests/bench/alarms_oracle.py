"""What a test that knows everything but the batch's own rate would see: an upper limit for alarms on one batch.

It is told the farm's rate, the age curve, how widely batches and days differ, and on which day the outbreak begins, none of
which a farm knows; it reads the batch's own days before it.  It may raise one false alarm a month on the whole farm.

``python -m tests.bench.alarms_oracle --runs 400 --seed 1`` prints it beside version 1, on the farms of ``tests.bench.alarms``.
"""

from __future__ import annotations

import argparse
from typing import Any

import numpy as np

from intake.report.alarms.factors import tail
from tests.bench.alarms import (
    CELLS,
    FARMS,
    LATER_RATE,
    RECORDS,
    Cell,
    Farm,
    age_factor,
    large_struck,
    named_before,
    simulate,
)

__all__ = ["seen_by_oracle"]

_DAYS_A_MONTH = 30
_LOG_FACTORS = np.linspace(-3, 3, 121)


def seen_by_oracle(cell: Cell, farm: Farm, row: int, batches: int) -> bool:
    """Whether a struck row alarms on a day of the outbreak, tested once a day over all its days so far."""
    usual = LATER_RATE * farm.at_risk[row] * age_factor(farm.age[row])
    before, x_before = usual[: farm.start], farm.deaths[row, : farm.start]
    factor = np.exp(_LOG_FACTORS)
    log = -np.square(_LOG_FACTORS / cell.log_sd) / 2
    mean, size = np.outer(before, factor), 1 / cell.day_variance
    told = x_before[:, None] * np.log(np.maximum(mean, 1e-300) / (mean + size)) - size * np.log1p(mean / size)
    log = log + told[before > 0].sum(axis=0)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    level = 1 / (batches * _DAYS_A_MONTH)
    for day in range(farm.start, farm.deaths.shape[1]):
        part = slice(farm.start, day + 1)
        expected, squares = usual[part].sum(), np.square(usual[part]).sum()
        if farm.at_risk[row, day] <= 0:
            break
        shape = expected**2 / (cell.day_variance * squares)
        chance = float(weight @ tail(farm.deaths[row, part].sum(), expected * factor, shape))
        if chance <= level:
            return True
    return False


def main() -> None:
    """Print every cell in which one batch is struck."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--runs", type=int, default=400)
    asked.add_argument("--seed", type=int, default=1)
    told = asked.parse_args()
    for cell in (one for one in CELLS if one.where == "one"):
        for record in RECORDS:
            for batches in FARMS:
                seen: list[Any] = []
                for number in range(told.runs):
                    farm = simulate(cell, batches, record, told.seed + number)
                    for row in large_struck(farm):
                        seen.append((seen_by_oracle(cell, farm, row, batches), row in named_before(farm)))
                share = 100 * np.mean(seen, axis=0)
                where = f"{cell.name} | {record} d | {batches} batches"
                print(f"{where} | oracle {share[0]:.0f} %, version 1 {share[1]:.0f} % of {len(seen)}")


if __name__ == "__main__":
    main()
