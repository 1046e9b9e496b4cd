"""Looks at the last days of every batch, every water and the farm: how likely so many deaths are when all is as usual.

Steps 6 and 7 of the method.  Deaths are taken as Poisson about a rate that is itself uncertain (gamma): days differ, batches
differ, and the level is learnt from few deaths.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from intake.report.alarms.death_record import DeathRecord
from intake.report.alarms.factors import tail
from intake.report.alarms.level import BAND_WEIGHT, FARM_WEIGHT, Level, level_at

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["FALSE_SHARE", "LEAST_DEATHS", "WINDOWS", "DayLooks", "fewest", "look"]

WINDOWS: Final = (1, 2, 4, 7, 28)
"""Days added up before judging: a crash shows in one to four, slow excess in 7 and 28."""

FALSE_SHARE: Final = 0.07
"""Share of false ones among the looks that alarm (Benjamini & Hochberg 1995), over all looks of a day: the largest that keeps
false alarms to one a month on farms of 60 batches that differ widely (``tests/bench/alarms.py``)."""

LEAST_DEATHS: Final = 3
"""Fewer deaths in a window never alarm: one or two of a tiny lot are a note."""

_LARGEST_CUT: Final = 0.01
"""No look alarms at a larger chance, however many others do (convention, no source)."""

_OWN_SPREAD: Final = 0.03
_SHARED_SPREAD: Final = 0.03
_SKEW: Final = 0.5


@dataclass(frozen=True, slots=True)
class DayLooks:
    """Every look of one day; tables are units × windows.

    Attributes
    ----------
    day
        Last day of the windows.
    deaths, expected, chance
        Deaths found, deaths that are usual, and the chance of as many or more: batches, then waters, then the farm.
    shape, size
        Variance beyond Poisson as the gamma shape; for batches also that of all but the batch's own factor.
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
    alone
        Chance that a look needs which alone alarms; below ``cut`` where many do.
    """

    day: int
    deaths: NDArray[Any]
    expected: NDArray[Any]
    chance: NDArray[Any]
    shape: NDArray[Any]
    size: NDArray[Any]
    starts: NDArray[Any]
    alarms: NDArray[Any]
    batches: int
    waters: int
    standing: NDArray[Any]
    rest: NDArray[Any]
    worst: NDArray[Any]
    cut: float
    alone: float
    level: Level


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
    shared = np.square(level.alone) / (FARM_WEIGHT + level.seen_farm)
    bands = np.zeros(record.batches)
    bands[record.batch] = 1 / (BAND_WEIGHT + level.seen_bands[record.band[:, day]])
    own = np.maximum(_OWN_SPREAD, level.own.variance)
    unsure = shared + np.square(level.alone) * bands
    batch = _batch_looks(record, sums, level, own, unsure)
    groups = [_group(record, sums, level, own, record.water == water) for water in range(record.waters)]
    groups.append(_group(record, sums, level, own, np.ones(len(record.batch), dtype=bool)))
    deaths = np.concatenate([batch.deaths, [one.deaths for one in groups]])
    expected = np.concatenate([batch.expected, [one.expected for one in groups]])
    shape = np.concatenate([batch.shape, [one.shape for one in groups]])
    chance = np.concatenate([batch.chance, [one.chance for one in groups]])
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
        size=batch.size,
        starts=sums.starts,
        alarms=asked & (chance <= cut),
        batches=record.batches,
        waters=record.waters,
        standing=np.array([len(one.standing) for one in groups]),
        rest=np.array([one.rest for one in groups]),
        worst=np.array([one.worst for one in groups]),
        cut=cut,
        alone=FALSE_SHARE / max(1, int(asked.sum())),
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


@dataclass(frozen=True, slots=True)
class _Batches:
    """Looks at batches, batches × windows; ``size`` is the gamma shape of all but the batch's own factor."""

    deaths: NDArray[Any]
    expected: NDArray[Any]
    shape: NDArray[Any]
    size: NDArray[Any]
    chance: NDArray[Any]


def _batch_looks(record: DeathRecord, sums: _Sums, level: Level, own: NDArray[Any], unsure: NDArray[Any]) -> _Batches:
    deaths, expected, squares = (_summed(record, table) for table in (sums.deaths, sums.expected, sums.squares))
    days = level.spread * squares / np.maximum(np.square(expected), 1e-12)
    drift = own - level.own.variance
    size = 1 / np.maximum(days + (unsure + drift)[:, None], 1e-12)
    shape = 1 / np.maximum(days + (unsure + own)[:, None], 1e-12)
    chance = np.ones(deaths.shape)
    batch, window = np.nonzero((deaths >= LEAST_DEATHS) & (expected > 0))
    usual = expected[batch, window] / level.own.mean[batch]
    chance[batch, window] = level.own.chance(batch, deaths[batch, window], usual, size[batch, window])
    return _Batches(deaths, expected, shape, size, chance)


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
    chance: NDArray[Any]
    rest: NDArray[Any]
    worst: NDArray[Any]


def _group(record: DeathRecord, sums: _Sums, level: Level, own: NDArray[Any], inside: NDArray[Any]) -> _Group:
    deaths, expected, batch = sums.deaths[inside], sums.expected[inside], record.batch[inside]
    standing = np.unique(batch[expected[:, -1] > 0])
    if not len(standing):
        none = np.zeros(len(WINDOWS))
        return _Group(none, none, none, standing, none + 1, none + 1, np.full(len(WINDOWS), -1))
    beyond = level.spread * sums.squares[inside] + own[batch, None] * np.square(expected)
    scores = _Scores.of(deaths, expected, beyond, level.alone[batch, None] / np.sqrt(FARM_WEIGHT + level.seen_farm))
    each = tail(deaths, expected, np.square(expected) / np.maximum(beyond + np.square(scores.unsure), 1e-12))
    worst = np.where(expected > 0, each, 2.0).argmin(axis=0)
    together, rest = scores.chances(worst)
    total, mean = deaths.sum(axis=0), expected.sum(axis=0)
    common = np.square(scores.unsure.sum(axis=0)) + _SHARED_SPREAD * np.square(mean)
    shape = np.square(mean) / np.maximum(beyond.sum(axis=0) + common, 1e-12)
    return _Group(total, mean, shape, standing, together, rest, batch[worst])


@dataclass(frozen=True, slots=True)
class _Scores:
    """Deaths of a water's batches weighted by how surely each one's usual is known, rows × windows.

    The weight ``µ / (µ + variance beyond Poisson)`` is that of the score test of a common factor on gamma-Poisson means; the
    weighted sum has a variance equal to its mean, and a large batch that came yesterday does not drown the others.
    """

    found: NDArray[Any]
    usual: NDArray[Any]
    skew: NDArray[Any]
    unsure: NDArray[Any]
    weight: NDArray[Any]

    @classmethod
    def of(cls, deaths: NDArray[Any], expected: NDArray[Any], beyond: NDArray[Any], alone: NDArray[Any]) -> _Scores:
        excess = beyond / np.maximum(expected, 1e-12)
        weight = 1 / (1 + excess)
        # third cumulant beyond a Poisson's: taken as variance, so that the tail is not too light
        skew = weight * expected * excess / (1 + excess)
        return cls(weight * deaths, weight * expected, skew, alone * expected, weight)

    def chances(self, worst: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
        """Chance of so much or more in each window, with all batches and without the worst."""
        spans = np.arange(self.found.shape[1])
        tables = (self.found, self.usual, self.skew, self.weight * self.unsure)
        whole = [table.sum(axis=0) for table in tables]
        left = [total - table[worst, spans] for total, table in zip(whole, tables, strict=True)]
        return _scored(*whole), _scored(*left)


def _scored(found: NDArray[Any], usual: NDArray[Any], skew: NDArray[Any], unsure: NDArray[Any]) -> NDArray[Any]:
    beyond = _SKEW * skew + np.square(unsure) + _SHARED_SPREAD * np.square(usual)
    return np.where(usual > 1e-9, tail(found, usual, np.square(usual) / np.maximum(beyond, 1e-12)), 1.0)


def fewest(looks: DayLooks, batch: int, window: int, at_risk: int) -> int:
    """Fewest deaths of a batch that alarm at the day's cut; one more than there are animals when none can."""
    if looks.expected[batch, window] <= 0:
        return at_risk + 1
    own, whose = looks.level.own, np.array([batch])
    usual, size = looks.expected[whose, window] / own.mean[batch], looks.size[whose, window]
    low, high = LEAST_DEATHS, at_risk + 1
    while low < high:
        middle = (low + high) // 2
        if float(own.chance(whose, np.array([middle]), usual, size)[0]) <= looks.cut:
            high = middle
        else:
            low = middle + 1
    return min(low, at_risk + 1)


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
    """Largest chance that alarms: Benjamini & Hochberg's step-up (J. R. Stat. Soc. B 57, 1995, 289), or what one alone needs."""
    if not len(chances):
        return 0.0
    # scipy.stats does the same and takes most of a second to import: every look at the day would wait for it
    rising, number = np.sort(chances), len(chances)
    raised = rising[rising <= FALSE_SHARE * np.arange(1, number + 1) / number]
    return min(_LARGEST_CUT, float(raised[-1]) if len(raised) else FALSE_SHARE / number)
