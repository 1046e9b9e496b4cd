"""Alarms on simulated farms with injected outbreaks: the method in use beside version 1's, on the same farms.

``python -m tests.bench.alarms --runs 120 --seed 1`` prints, for each cell, the share of struck batches of 100 animals or
more that were named while it lasted, and false alarms a month where nothing was injected; every number is simulated.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, replace
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
LATER_RATE = 0.002
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
    lots = [(slot, begin) for slot in range(batches) for begin in range(-int(offset[slot]), days, _LOT_DAYS)]
    slots, begins = (np.array(one) for one in zip(*lots, strict=True))
    rows = len(lots)
    struck = (
        np.isin(slots, sorted(_struck(cell.where, batches, rng))) & (begins <= start) & (start < begins + _LOT_DAYS)
    )
    alive = np.rint(np.exp(rng.uniform(np.log(10), np.log(2000), rows))).astype(int)
    rate = LATER_RATE * np.exp(rng.normal(0, cell.log_sd, rows))
    effects = rng.gamma(1 / cell.day_variance, cell.day_variance, (rows, days))
    since = np.arange(days)[None, :] - begins[:, None]
    here = (since >= 0) & (since < _LOT_DAYS)
    came = begins[:, None] >= 0
    age = np.where(came, np.maximum(0, since), 99)
    times = np.where(struck[:, None] & (np.arange(days) >= start), cell.times, 1.0)
    dies = np.minimum(0.9, rate[:, None] * effects * age_factor(age) * times) * here
    deaths, risk = np.zeros((rows, days)), np.zeros((rows, days))
    for day in range(days):
        now = np.flatnonzero(here[:, day])
        risk[now, day] = alive[now]
        deaths[now, day] = rng.binomial(alive[now], dies[now, day])
        alive[now] -= deaths[now, day].astype(int)
    counted = np.array([cell.weekends or day % 7 < 5 for day in range(days)])
    if not cell.weekends:
        deaths = _heaped(deaths, counted)
    return Farm(deaths, risk, age, slots // _WATER_BATCHES, struck, start, counted)


def age_factor(age: Any) -> Any:
    """Deaths of young animals for each of settled ones."""
    return np.select([age < until for until, _ in _AGE_EFFECT], [effect for _, effect in _AGE_EFFECT], 1.0)


def large_struck(farm: Farm) -> list[int]:
    """Struck rows that hold 100 animals or more as it begins."""
    return [int(row) for row in np.flatnonzero(farm.struck & (farm.at_risk[:, farm.start] >= 100))]


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


_READ_DAYS = 200
"""Days of record before the outbreak that the method can read: the usual, its guard and a day."""


def _now(farm: Farm) -> tuple[set[int], tuple[Alarm, ...]]:
    """Rows named while it lasted, and alarms, by the method in use."""
    cut = max(0, farm.start - _READ_DAYS)
    kept = np.flatnonzero(farm.at_risk[:, cut:].sum(axis=1) > 0)
    deaths, at_risk, age = (table[kept, cut:] for table in (farm.deaths, farm.at_risk, farm.age))
    record = DeathRecord.of(deaths, at_risk, age, water=farm.water[kept], counted=farm.counted[cut:])
    waters = [frozenset([int(water)]) for water in farm.water[kept]]
    days = []
    for day in range(farm.start - cut, deaths.shape[1]):
        seen = look(record, day)
        days.append(raised(seen, waters) if seen is not None else ())
    found = tuple(replace(one, named=tuple(int(kept[row]) for row in one.named)) for one in episodes(days))
    return {row for alarm in found for row in alarm.named}, found


def named_before(farm: Farm) -> set[int]:
    """Rows named while it lasted by version 1."""
    return _before(farm)[0]


def _before(farm: Farm) -> tuple[set[int], int]:
    """The same with its messages: a batch with days that overlap is one."""
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


def run_cell(
    cell: Cell, batches: int, record: int, runs: int, seed: int, *, before: int | None = None
) -> dict[str, float]:
    """Share named of the struck batches of 100 animals or more, and messages for each farm, both ways.

    ``low`` and ``high`` are the 95 % bootstrap interval, farms drawn with replacement: of the share where something is struck,
    of the messages where nothing is.  ``messages`` counts alarms that name a struck batch (of the farms with any), ``others``
    those that do not; ``gained`` and ``lost`` the struck batches that only the method in use, or only version 1, named; version 1
    is asked about the first ``before`` farms.
    """
    asked = runs if before is None else min(before, runs)
    hits, of, messages, others, wrong = (np.zeros(runs) for _ in range(5))
    old, pairs = np.zeros((asked, 3)), np.zeros(2)
    for number in range(runs):
        farm = simulate(cell, batches, record, seed + number)
        large, struck = set(large_struck(farm)), set(np.flatnonzero(farm.struck).tolist())
        named, found = _now(farm)
        hits[number], of[number], wrong[number] = len(large & named), len(large), len(named - struck)
        messages[number] = sum(bool(set(one.named) & struck) for one in found)
        others[number] = len(found) - messages[number]
        if number < asked:
            old_named, told = _before(farm)
            old[number] = len(large & old_named), len(large), told
            pairs += len((large & named) - old_named), len((large & old_named) - named)
    top, under = (hits, of) if of.sum() else (others, np.ones(runs))
    drawn = np.random.default_rng(1).integers(0, runs, (1000, runs))
    low, high = np.percentile(top[drawn].sum(axis=1) / np.maximum(under[drawn].sum(axis=1), 1), (2.5, 97.5))
    return {
        "named": _share(hits.sum(), of.sum()),
        "named_before": _share(old[:, 0].sum(), old[:, 1].sum()),
        "low": float(low),
        "high": float(high),
        "batches": float(of.sum()),
        "messages": _share(messages.sum(), (messages > 0).sum()),
        "others": float(others.mean()),
        "messages_before": _share(old[:, 2].sum(), asked),
        "gained": pairs[0],
        "lost": pairs[1],
        "wrongly_named": float(wrong.mean()),
    }


def _share(top: float, under: float) -> float:
    return float(top / under) if under else float("nan")


def _runs(cell: Cell, batches: int, runs: int) -> tuple[int, int]:
    """Farms of a cell, and those version 1 is asked about too: fewer where each holds many struck batches or lasts a month."""
    if cell.where == "none":
        return runs // 2, runs // 8
    many = runs if cell.where == "one" else runs * 8 // batches
    return max(20, many), max(20, many)


def main() -> None:
    """Print every cell."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--runs", type=int, default=120)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--only", default="", help="cells whose name holds this")
    asked.add_argument("--no-before", action="store_true", help="leave version 1 out")
    told = asked.parse_args()
    print(f"runs {told.runs}, seeds {told.seed} and up; version 1 > method in use [95 % interval]")
    for cell in CELLS:
        if told.only not in cell.name:
            continue
        for record in RECORDS:
            for batches in FARMS:
                runs, before = _runs(cell, batches, told.runs)
                begun = time.process_time()
                one = run_cell(cell, batches, record, runs, told.seed, before=0 if told.no_before else before)
                words = _quiet(one) if cell.where == "none" else _struck_words(one)
                took = time.process_time() - begun
                print(
                    f"{cell.name} | {record} d | {batches} batches | {runs} farms | {words} | {took:.0f} s", flush=True
                )


def _quiet(one: dict[str, float]) -> str:
    now = f"{one['others']:.2f} [{one['low']:.2f}, {one['high']:.2f}]"
    return f"false alarms a month {one['messages_before']:.2f} > {now}"


def _struck_words(one: dict[str, float]) -> str:
    return (
        f"named {100 * one['named_before']:.0f} > {100 * one['named']:.0f} [{100 * one['low']:.0f}, {100 * one['high']:.0f}] % "
        f"of {one['batches']:.0f}, only now {one['gained']:.0f}, only then {one['lost']:.0f}, "
        f"messages {one['messages']:.2f}, wrongly named {one['wrongly_named']:.2f}"
    )


if __name__ == "__main__":
    main()
