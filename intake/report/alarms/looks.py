"""Looks at the last days of every batch, every water and the farm: how likely so many deaths are when all is as usual.

Steps 6 and 7 of the method.  Deaths are taken as Poisson about a rate that is itself uncertain (gamma): days differ, batches
differ, and the level is learnt from few deaths.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.special import betainc
from scipy.stats import false_discovery_control

from intake.report.alarms.death_record import DeathRecord
from intake.report.alarms.level import BAND_WEIGHT, FARM_WEIGHT, Level, level_at

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["FALSE_SHARE", "LEAST_DEATHS", "WINDOWS", "DayLooks", "look", "tail"]

WINDOWS: Final = (1, 4, 7, 28)
"""Days added up before judging: a crash shows in one to four, slow excess in 7 and 28."""

FALSE_SHARE: Final = 0.02
"""Share of false ones among the looks that alarm (Benjamini & Hochberg 1995), over all looks of a day; .02 instead of the
customary .05 keeps false alarms to about one a month on farms of 60 batches (``tests/bench/alarms.py``)."""

LEAST_DEATHS: Final = 3
"""Fewer deaths in a window never alarm: one or two of a tiny lot are a note."""

_OWN_SPREAD: Final = 0.03
_SHARED_SPREAD: Final = 0.03


@dataclass(frozen=True, slots=True)
class DayLooks:
    """Every look of one day; tables are units × windows.

    Attributes
    ----------
    day
        Last day of the windows.
    deaths, expected, chance
        Deaths found, deaths that are usual, and the chance of as many or more: batches, then waters, then the farm.
    shape
        Variance beyond Poisson as the gamma shape, for limits.
    starts
        First day of each unit's window; uncounted days lengthen it to the gap's beginning.
    alarms
        Whether the look is among those raised, :data:`FALSE_SHARE` of which are false; fewer than three deaths never.
    batches, waters
        How many of the units are batches and waters; the farm is the last.
    standing
        Batches of each water with animals in the longest window.
    rest
        For waters and the farm: chance without the worst batch.
    worst
        That batch's index; −1 where there is none.
    cut
        Chance at or below which a look of this day alarms.
    """

    day: int
    deaths: NDArray[Any]
    expected: NDArray[Any]
    chance: NDArray[Any]
    shape: NDArray[Any]
    starts: NDArray[Any]
    alarms: NDArray[Any]
    batches: int
    waters: int
    standing: NDArray[Any]
    rest: NDArray[Any]
    worst: NDArray[Any]
    cut: float
    level: Level


def tail(deaths: Any, expected: Any, shape: Any) -> Any:
    """Chance of so many deaths or more.

    Parameters
    ----------
    deaths
        Deaths found, 0 or more.
    expected
        Mean, above 0.
    shape
        Gamma shape R = mean² / variance beyond Poisson; the larger, the nearer to Poisson.

    References
    ----------
    Gamma-Poisson (negative binomial) upper tail ``betainc(x, R, µ / (µ + R))`` (DLMF 8.17.5).
    """
    found = np.asarray(deaths, dtype=float)
    mean, size = np.maximum(expected, 1e-12), np.maximum(shape, 1e-12)
    return np.where(found <= 0, 1.0, betainc(np.maximum(found, 1e-12), size, mean / (mean + size)))


def look(record: DeathRecord, day: int) -> DayLooks | None:
    """All looks of one day, or ``None`` when nothing was counted on it.

    Parameters
    ----------
    record
        What was counted.
    day
        Column of the table, from 0; nothing later is read.
    """
    if record.closed[day] != day:
        return None
    level = level_at(record, day)
    sums = _windows(record, level, day)
    own = np.maximum(_OWN_SPREAD, 1 / (1 / level.differ + level.seen_batches))
    shared = 1 / (FARM_WEIGHT + level.seen_farm)
    band = 1 / (BAND_WEIGHT + level.seen_bands[record.band[:, day]])
    batch = _batch_looks(record, sums, level, own, shared, band)
    groups = [_group(record, sums, level, own, shared, record.water == water) for water in range(record.waters)]
    groups.append(_group(record, sums, level, own, shared, np.ones(len(record.batch), dtype=bool)))
    deaths = np.concatenate([batch[0], [one.deaths for one in groups]])
    expected = np.concatenate([batch[1], [one.expected for one in groups]])
    shape = np.concatenate([batch[2], [one.shape for one in groups]])
    chance = np.where(expected > 0, tail(deaths, expected, shape), 1.0)
    chance = np.where(deaths < LEAST_DEATHS, 1.0, chance)
    asked = _asked(expected, sums.starts, [len(one.standing) for one in groups], record.batches)
    chance = np.where(asked, chance, 1.0)
    cut = _cut(chance[asked])
    return DayLooks(
        day=day,
        deaths=deaths,
        expected=expected,
        chance=chance,
        shape=shape,
        starts=sums.starts,
        alarms=asked & (chance <= cut),
        batches=record.batches,
        waters=record.waters,
        standing=np.array([len(one.standing) for one in groups]),
        rest=np.array([one.rest for one in groups]),
        worst=np.array([one.worst for one in groups]),
        cut=cut,
        level=level,
    )


@dataclass(frozen=True, slots=True)
class _Sums:
    """Over each window, rows × windows: deaths, expected, sum of squared daily expectations; first day of each window."""

    deaths: NDArray[Any]
    expected: NDArray[Any]
    squares: NDArray[Any]
    starts: NDArray[Any]


def _windows(record: DeathRecord, level: Level, day: int) -> _Sums:
    longest = max(WINDOWS)
    starts = np.array([record.opened[max(0, day - span + 1)] for span in WINDOWS])
    begin = min(int(starts.min()), max(0, day - longest + 1))
    part = slice(begin, day + 1)
    usual = level.rates[record.band[:, part]] * record.at_risk[:, part] * level.factors[record.batch][:, None]

    def over(table: NDArray[Any]) -> NDArray[Any]:
        back = np.concatenate([np.cumsum(table[:, ::-1], axis=1)], axis=1)
        return np.asarray(back[:, day - starts])

    return _Sums(over(record.deaths[:, part]), over(usual), over(np.square(usual)), starts)


def _batch_looks(
    record: DeathRecord, sums: _Sums, level: Level, own: NDArray[Any], shared: float, band: NDArray[Any]
) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    deaths, expected, squares = (_summed(record, table) for table in (sums.deaths, sums.expected, sums.squares))
    unsure = own + shared
    unsure[record.batch] += band
    variance = level.spread * squares + unsure[:, None] * np.square(expected)
    return deaths, expected, np.square(expected) / np.maximum(variance, 1e-12)


def _summed(record: DeathRecord, table: NDArray[Any]) -> NDArray[Any]:
    found = np.zeros((record.batches, table.shape[1]))
    np.add.at(found, record.batch, table)
    return found


@dataclass(frozen=True, slots=True)
class _Group:
    """Looks at a water or the farm, by window."""

    deaths: NDArray[Any]
    expected: NDArray[Any]
    shape: NDArray[Any]
    standing: NDArray[Any]
    rest: NDArray[Any]
    worst: NDArray[Any]


def _group(
    record: DeathRecord, sums: _Sums, level: Level, own: NDArray[Any], shared: float, inside: NDArray[Any]
) -> _Group:
    deaths, expected = sums.deaths[inside], sums.expected[inside]
    variance = level.spread * sums.squares[inside] + own[record.batch[inside], None] * np.square(expected)
    standing = np.unique(record.batch[inside][expected[:, -1] > 0])
    total, mean, beyond = deaths.sum(axis=0), expected.sum(axis=0), variance.sum(axis=0)
    common = shared + _SHARED_SPREAD
    shape = np.square(mean) / np.maximum(beyond + common * np.square(mean), 1e-12)
    if not len(deaths):
        none = np.full(len(WINDOWS), -1)
        return _Group(total, mean, shape, standing, np.ones(len(WINDOWS)), none)
    each = tail(deaths, expected, np.square(expected) / np.maximum(variance + shared * np.square(expected), 1e-12))
    worst = np.where(expected > 0, each, 2.0).argmin(axis=0)
    spans = np.arange(len(WINDOWS))
    left = mean - expected[worst, spans]
    remains = np.square(left) / np.maximum(beyond - variance[worst, spans] + common * np.square(left), 1e-12)
    rest = np.where(left > 0, tail(total - deaths[worst, spans], left, remains), 1.0)
    return _Group(total, mean, shape, standing, rest, record.batch[inside][worst])


def _asked(expected: NDArray[Any], starts: NDArray[Any], standing: list[int], batches: int) -> NDArray[Any]:
    """Looks that are made: something could die, no shorter window holds the same days, and a water holds two batches."""
    fresh = np.ones(len(starts), dtype=bool)
    fresh[1:] = starts[1:] < starts[:-1]
    asked = (expected > 0) & fresh[None, :]
    # a batch younger than a window has the same days in the shorter one
    asked[:, 1:] &= expected[:, 1:] > expected[:, :-1] * (1 + 1e-9)
    asked[batches:] &= (np.array(standing) >= 2)[:, None]
    return asked


def _cut(chances: NDArray[Any]) -> float:
    """Largest chance that alarms: Benjamini & Hochberg's step-up, or what one alone would need when none does."""
    if not len(chances):
        return 0.0
    corrected = false_discovery_control(chances)
    raised = chances[corrected <= FALSE_SHARE]
    return float(raised.max()) if len(raised) else FALSE_SHARE / len(chances)
