"""Alarms on simulated farms with injected outbreaks: the method in use beside version 1's, on the same farms.

``python -m tests.bench.alarms --runs 40 --seed 1`` prints, for each cell, the share of struck batches of 100 animals or
more that were named while it lasted, and false alarms a month where nothing was injected; every number is simulated.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass
from typing import Any

import numpy as np

from intake.report.alarms.death_record import DeathRecord
from intake.report.alarms.events import Alarm, episodes, raised
from intake.report.alarms.looks import look
from tests.bench.alarms_before import alarms_before

__all__ = ["CELLS", "Cell", "Farm", "run_cell", "simulate"]

_LOT_DAYS = 90
_WATER_BATCHES = 5
_AGE_EFFECT = ((3, 5.0), (7, 2.0), (14, 1.2))
_DAY_VARIANCE = 0.25
_LATER_RATE = 0.002
_MONTH = 30


@dataclass(frozen=True)
class Cell:
    """What is injected: ``times`` the usual for ``days`` days in ``where`` (one, water, half, all, none)."""

    name: str
    times: float
    days: int
    where: str
    weekends: bool = True
    log_sd: float = 0.4
    day_variance: float = _DAY_VARIANCE


CELLS = (
    Cell("8x 4 d one", 8, 4, "one"),
    Cell("8x 4 d water", 8, 4, "water"),
    Cell("8x 4 d half", 8, 4, "half"),
    Cell("8x 4 d all", 8, 4, "all"),
    Cell("4x 15 d one", 4, 15, "one"),
    Cell("4x 15 d half", 4, 15, "half"),
    Cell("4x 15 d all", 4, 15, "all"),
    Cell("none", 1, _MONTH, "none"),
    Cell("none, no counts at weekends", 1, _MONTH, "none", weekends=False),
    Cell("none, batches differ (log sd .7)", 1, _MONTH, "none", log_sd=0.7),
    Cell("none, days differ (variance .6)", 1, _MONTH, "none", day_variance=0.6),
)
FARMS = (8, 20, 60)
RECORDS = (8, 60, 365)


@dataclass(frozen=True)
class Farm:
    """A simulated farm: tables of rows × days, and which rows were struck from ``start`` on."""

    deaths: Any
    at_risk: Any
    age: Any
    water: Any
    struck: Any
    start: int
    counted: Any


def simulate(cell: Cell, batches: int, record: int, seed: int) -> Farm:
    """One invented farm with one thing injected.

    Sizes 10 to 2,000 log-uniform, later rate .002 × log-normal, an age effect unlike the prior's, gamma day effects, lots of
    90 days; after eight days of record a crash takes days 5 to 8.
    """
    rng = np.random.default_rng([seed, batches, record, CELLS.index(cell) if cell in CELLS else 99])
    start = 4 if record == 8 and cell.days == 4 else record
    days = start + cell.days
    offset = rng.integers(0, _LOT_DAYS, batches)
    lots: list[tuple[int, int, int]] = []  # slot, first day, last day
    for slot in range(batches):
        begin = -int(offset[slot])
        while begin < days:
            lots.append((slot, begin, begin + _LOT_DAYS))
            begin += _LOT_DAYS
    rows = len(lots)
    deaths, risk, age = np.zeros((rows, days)), np.zeros((rows, days)), np.zeros((rows, days))
    slots = np.array([slot for slot, _, _ in lots])
    struck_slots = _struck(cell.where, batches, rng)
    struck = np.zeros(rows, dtype=bool)
    for row, (slot, begin, end) in enumerate(lots):
        here = range(max(0, begin), min(end, days))
        struck[row] = slot in struck_slots and begin <= start < end
        alive = round(float(np.exp(rng.uniform(np.log(10), np.log(2000)))))
        rate = _LATER_RATE * float(np.exp(rng.normal(0, cell.log_sd)))
        effects = rng.gamma(1 / cell.day_variance, cell.day_variance, days)
        age[row] = 99 if begin < 0 else np.maximum(0, np.arange(days) - begin)
        for day in here:
            risk[row, day] = alive
            since = day - begin
            factor = next((effect for until, effect in _AGE_EFFECT if since < until), 1.0) if begin >= 0 else 1.0
            if struck[row] and day >= start:
                factor *= cell.times
            lost = int(rng.binomial(alive, min(0.9, rate * factor * effects[day])))
            deaths[row, day] = lost
            alive -= lost
    counted = np.array([cell.weekends or day % 7 < 5 for day in range(days)])
    if not cell.weekends:
        deaths = _heaped(deaths, counted)
    return Farm(deaths, risk, age, slots // _WATER_BATCHES, struck, start, counted)


def _struck(where: str, batches: int, rng: Any) -> set[int]:
    if where == "none":
        return set()
    if where == "one":
        return {int(rng.integers(batches))}
    if where == "water":
        water = int(rng.integers(-(-batches // _WATER_BATCHES)))
        return set(range(water * _WATER_BATCHES, min(batches, (water + 1) * _WATER_BATCHES)))
    if where == "half":
        return {int(one) for one in rng.choice(batches, batches // 2, replace=False)}
    return set(range(batches))


def _heaped(deaths: Any, counted: Any) -> Any:
    """Deaths found on the next day somebody counts; what was not yet counted is not known."""
    found = np.zeros_like(deaths)
    waiting = np.zeros(len(deaths))
    for day, known in enumerate(counted):
        waiting += deaths[:, day]
        if known:
            found[:, day], waiting = waiting, np.zeros(len(deaths))
    return found


def _now(farm: Farm) -> tuple[set[int], tuple[Alarm, ...]]:
    """Rows named while it lasted, and alarms, by the method in use."""
    record = DeathRecord.of(farm.deaths, farm.at_risk, farm.age, water=farm.water, counted=farm.counted)
    waters = [frozenset([int(water)]) for water in farm.water]
    days = []
    for day in range(farm.start, farm.deaths.shape[1]):
        seen = look(record, day)
        days.append(raised(seen, waters) if seen is not None else ())
    found = episodes(days)
    return {row for alarm in found for row in alarm.named}, found


def _before(farm: Farm) -> tuple[set[int], int]:
    """The same by version 1, whose message is a batch with days that overlap."""
    named: set[int] = set()
    last: dict[int, int] = {}
    messages = 0
    for day in range(farm.start, farm.deaths.shape[1]):
        if not farm.counted[day]:
            continue
        for row in alarms_before(farm.deaths, farm.at_risk, farm.age, day):
            messages += day - last.get(row, -99) > 7
            last[row] = day
            named.add(row)
    return named, messages


def run_cell(cell: Cell, batches: int, record: int, runs: int, seed: int, *, before: bool = True) -> dict[str, float]:
    """Share named of the struck batches of 100 animals or more, and messages for each farm, both ways."""
    hit, old_hit, of, messages, old_messages = 0, 0, 0, 0, 0
    for number in range(runs):
        farm = simulate(cell, batches, record, seed + number)
        large = {int(row) for row in np.flatnonzero(farm.struck & (farm.at_risk[:, farm.start] >= 100))}
        named, found = _now(farm)
        old_named, old = _before(farm) if before else (set(), 0)
        of += len(large)
        hit, old_hit = hit + len(large & named), old_hit + len(large & old_named)
        messages, old_messages = messages + len(found), old_messages + old
    return {
        "named": hit / of if of else float("nan"),
        "named_before": old_hit / of if of else float("nan"),
        "batches": of,
        "messages": messages / runs,
        "messages_before": old_messages / runs,
    }


def main() -> None:
    """Print every cell."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--runs", type=int, default=40)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--only", default="", help="cells whose name holds this")
    asked.add_argument("--no-before", action="store_true", help="leave version 1 out")
    told = asked.parse_args()
    print(f"runs {told.runs} (60 batches a quarter), seeds {told.seed} and up; version 1 > method in use")
    for cell in CELLS:
        if told.only not in cell.name:
            continue
        for record in RECORDS:
            for batches in FARMS:
                runs = max(8, told.runs // (4 if batches == 60 else 1))
                begun = time.perf_counter()
                one = run_cell(cell, batches, record, runs, told.seed, before=not told.no_before)
                if cell.where == "none":
                    words = f"false alarms a month {one['messages_before']:.2f} > {one['messages']:.2f}"
                else:
                    words = (
                        f"named {100 * one['named_before']:.0f} > {100 * one['named']:.0f} % of {one['batches']}, "
                        f"messages {one['messages_before']:.1f} > {one['messages']:.1f}"
                    )
                took = time.perf_counter() - begun
                print(
                    f"{cell.name} | {record} d | {batches} batches | {runs} runs | {words} | {took:.0f} s", flush=True
                )


if __name__ == "__main__":
    main()
