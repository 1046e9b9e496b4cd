"""What is usual: the farm's level, each age band and each batch, learnt with a guard and with past outbreaks weighed down.

Steps 1 to 5 of the method.  The last days are left out (guard band), so that an outbreak in progress does not teach that
death is usual; weeks far above the level weigh less, so that a past outbreak does not hide the next; batch and age rates
are adjusted toward the farm's, so that a young farm has a level at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from intake.report.alarms.death_record import PRIOR_RATES, DeathRecord
from intake.report.alarms.factors import DIFFER, Factors, learn_factors

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "BAND_WEIGHT",
    "FARM_WEIGHT",
    "GUARD_DAYS",
    "USUAL_DAYS",
    "Level",
    "anscombe",
    "guard",
    "level_at",
    "weights",
]

USUAL_DAYS: Final = 180
"""Days before the guard from which the usual is learnt."""

GUARD_DAYS: Final = 14
"""Last days left out of the usual, at most; half the record on a farm younger than four weeks."""

_THRESHOLD: Final = 2.58
"""Residual beyond which a week is weighed down (Noufaily et al. 2013; the 99 % point of the normal distribution)."""

_WEEK: Final = 7
_ROUNDS: Final = 3
_FARM_SPREAD: Final = 0.03
_LEAST_BLOCKS: Final = 3

# Weight of what is assumed, in deaths: the farm, an age band, the day-to-day spread (set by tests/bench/alarms.py).
FARM_WEIGHT: Final = 2.0
BAND_WEIGHT: Final = 10.0
_SPREAD_WEIGHT: Final = 25.0
_SPREAD_PRIOR: Final = 0.3
_SPREAD_RANGE: Final = (0.05, 1.0)


@dataclass(frozen=True, slots=True)
class Level:
    """What is usual on one day.

    Attributes
    ----------
    farm
        Deaths for each death that the prior rates expect.
    rates
        Deaths per animal-day in each age band.
    factors
        Mean factor of each batch on its band's rate.
    own
        What is known of each batch's factor beside what was known of its group.
    alone
        Share of each batch's rate that rests on the farm's level; the rest is its own deaths.
    spread
        Day-to-day variance of a batch's rate, as a share of its square.
    seen_farm, seen_bands
        Deaths that the farm's level and the bands rest on; a batch counts as no more than batches differ by.
    first, last
        Days learnt from, both included; ``last < first`` when there are none.
    """

    farm: float
    rates: NDArray[Any]
    factors: NDArray[Any]
    own: Factors
    alone: NDArray[Any]
    spread: float
    seen_farm: float
    seen_bands: NDArray[Any]
    first: int
    last: int


def guard(days_of_record: int) -> int:
    """Last days left out of the usual: 14, or half the record of a young farm, 1 at least."""
    return min(GUARD_DAYS, max(1, days_of_record // 2))


def anscombe(deaths: Any, expected: Any, dispersion: Any) -> Any:
    """Residuals of counts against their mean, nearly normal for Poisson counts of the given dispersion.

    ``1.5 (x^⅔ − µ^⅔) / (µ^⅙ √φ)`` (C. P. Farrington et al., J. R. Stat. Soc. A 159 (1996) 547–563; A. Noufaily et al.,
    Stat. Med. 32 (2013) 1206–1222); 0 where nothing is expected.
    """
    mean = np.maximum(expected, 1e-12)
    found = 1.5 * (np.asarray(deaths) ** (2 / 3) - mean ** (2 / 3)) / (mean ** (1 / 6) * np.sqrt(dispersion))
    return np.where(np.asarray(expected) > 0, found, 0.0)


def weights(residuals: Any, threshold: float = _THRESHOLD) -> Any:
    """Weight of each count: 1, or the residual to the power −2 above the threshold (Noufaily et al. 2013, not normalised)."""
    found = np.asarray(residuals, dtype=float)
    return np.where(found > threshold, 1.0 / np.square(np.maximum(found, 1e-9)), 1.0)


def level_at(record: DeathRecord, day: int) -> Level:
    """What is usual on ``day``, learnt from the days before its guard.

    Parameters
    ----------
    record
        What was counted.
    day
        Column of the table, from 0; nothing counted later is read.
    """
    last = day - guard(day + 1)
    first = max(0, last - USUAL_DAYS)
    span = slice(first, last + 1) if last >= 0 else slice(0, 0)
    learnt = _Learnt.of(record, span, last)
    weight, farm, seen_farm = _weigh(learnt)
    daily = np.repeat(weight, _WEEK, axis=1)[:, -learnt.deaths.shape[1] :] if learnt.deaths.shape[1] else learnt.deaths
    rates, seen_bands = _bands(learnt, daily, farm)
    usual = rates[learnt.band] * learnt.at_risk * record.prior[learnt.batch, None]
    found, seen, squares = ((daily * one).sum(axis=1) for one in (learnt.deaths, usual, np.square(usual)))
    spread = _spread(learnt, daily, usual, (1 / DIFFER + found) / (1 / DIFFER + seen), seen)
    whole = np.zeros((3, record.batches))
    whole[:, learnt.batch] = found, seen, spread * squares
    own = learn_factors(*whole)
    return Level(
        farm=farm,
        rates=rates,
        factors=own.mean * record.prior,
        own=own,
        alone=1 / (1 + own.differ * whole[1]),
        spread=spread,
        seen_farm=seen_farm,
        seen_bands=seen_bands,
        first=first,
        last=last,
    )


def _bands(learnt: _Learnt, daily: NDArray[Any], farm: float) -> tuple[NDArray[Any], NDArray[Any]]:
    """Deaths per animal-day in each age band, and the deaths they rest on."""
    prior = np.array(PRIOR_RATES)
    seen, rates = np.zeros(len(prior)), farm * prior
    for band in range(len(prior)):
        inside = daily * (learnt.band == band)
        found, expected = (inside * learnt.deaths).sum(axis=1), farm * (inside * learnt.prior_deaths).sum(axis=1)
        share = 1 / (1 + DIFFER * expected)
        seen[band] = (share * found).sum()
        rates[band] *= (BAND_WEIGHT + seen[band]) / (BAND_WEIGHT + (share * expected).sum())
    return rates, seen


@dataclass(frozen=True, slots=True)
class _Learnt:
    """The usual days, batches × days: deaths spread over the gap they were counted after, and as they were counted.

    Only batches that had animals on one of them; ``batch`` is the index of each.
    """

    batch: NDArray[Any]
    deaths: NDArray[Any]
    counted: NDArray[Any]
    at_risk: NDArray[Any]
    prior_deaths: NDArray[Any]
    band: NDArray[Any]
    opened: NDArray[Any]
    closed: NDArray[Any]

    @classmethod
    def of(cls, record: DeathRecord, span: slice, last: int) -> _Learnt:
        closed, opened = record.closed[span], np.maximum(record.opened[span] - (span.start or 0), 0)
        known = closed <= last  # what is counted only inside the guard belongs to the guard
        here = np.zeros(record.batches, dtype=bool)
        here[record.batch[(record.at_risk[:, span] > 0).any(axis=1)]] = True
        batch = np.flatnonzero(here)
        deaths, at_risk = (_by_batch(record, table[:, span], here) * known for table in (record.deaths, record.at_risk))
        bands = np.zeros((record.batches, deaths.shape[1]), dtype=int)
        bands[record.batch] = record.band[:, span]
        band = bands[batch]
        prior = np.array(PRIOR_RATES)[band] * at_risk * record.prior[batch, None]
        ends = closed - (span.start or 0)
        spread = deaths
        if (ends != np.arange(len(ends)))[known].any():
            spread = np.zeros_like(deaths)
            for start, end in {(int(o), int(c)) for o, c, k in zip(opened, ends, known, strict=True) if k}:
                risk = at_risk[:, start : end + 1]
                share = risk / np.maximum(risk.sum(axis=1, keepdims=True), 1e-12)
                spread[:, start : end + 1] = share * deaths[:, end : end + 1]
        return cls(batch, spread, deaths, at_risk, prior, band, opened, np.where(known, ends, -1))


def _by_batch(record: DeathRecord, table: NDArray[Any], here: NDArray[Any]) -> NDArray[Any]:
    """Rows of one batch added up, for the batches that are here."""
    if len(record.batch) == record.batches and (record.batch == np.arange(record.batches)).all():
        return np.asarray(table[here])
    summed = np.zeros((record.batches, table.shape[1]))
    np.add.at(summed, record.batch, table)
    return np.asarray(summed[here])


def _weigh(learnt: _Learnt) -> tuple[NDArray[Any], float, float]:
    """Weight of each batch's weeks, the farm's level they give, and the deaths it rests on."""
    deaths, expected = (_weeks(table) for table in (learnt.deaths, learnt.prior_deaths))
    weight = np.ones_like(deaths)
    if deaths.shape[1] < _LEAST_BLOCKS:
        return weight, *_farm_level(deaths, expected, weight)
    farm_deaths, farm_expected = deaths.sum(axis=0), expected.sum(axis=0)
    told = farm_expected >= 1
    # the mean would start from a level that a large outbreak has already raised
    level = (
        float(np.median(farm_deaths[told] / farm_expected[told]))
        if told.sum() >= _LEAST_BLOCKS
        else _farm_level(deaths, expected, weight)[0]
    )
    seen = 0.0
    for _ in range(_ROUNDS):
        # a batch that dies faster week after week is as usual; one week far above its others is not
        usual = max(level, 1e-6) * expected
        known = 1 / DIFFER + (weight * usual).sum(axis=1)
        mean = usual * ((1 / DIFFER + (weight * deaths).sum(axis=1)) / known)[:, None]
        share = _SPREAD_PRIOR / _WEEK + 1 / known[:, None]
        together = mean.sum(axis=0)
        own = anscombe(deaths, mean, 1 + share * mean)
        farm_variance = together + (share * np.square(mean)).sum(axis=0) + _FARM_SPREAD * np.square(together)
        farm = anscombe(farm_deaths, together, farm_variance / np.maximum(together, 1e-12))
        weight = weights(own) * weights(farm)[None, :]
        level, seen = _farm_level(deaths, expected, weight)
    return weight, level, seen


def _weeks(table: NDArray[Any]) -> NDArray[Any]:
    """Sums over blocks of seven days counted back from the last."""
    rows, days = table.shape
    blocks = -(-days // _WEEK)
    padded = np.zeros((rows, blocks * _WEEK))
    if days:
        padded[:, -days:] = table
    return np.asarray(padded.reshape(rows, blocks, _WEEK).sum(axis=2))


def _farm_level(deaths: NDArray[Any], expected: NDArray[Any], weight: NDArray[Any]) -> tuple[float, float]:
    """Level, and the deaths it rests on: one large batch is one batch, however long it has stood here."""
    found, usual = (weight * deaths).sum(axis=1), (weight * expected).sum(axis=1)
    share = 1 / (1 + DIFFER * usual)
    seen = float((share * found).sum())
    return float((FARM_WEIGHT + seen) / (FARM_WEIGHT + (share * usual).sum())), seen


def _spread(
    learnt: _Learnt, daily: NDArray[Any], usual: NDArray[Any], factor: NDArray[Any], seen: NDArray[Any]
) -> float:
    """Day-to-day variance beyond chance, over whole gaps where days were not counted."""
    ends = np.flatnonzero(learnt.closed == np.arange(len(learnt.closed)))
    if not len(ends):
        return _SPREAD_PRIOR
    starts = learnt.opened[ends]

    def over(table: NDArray[Any]) -> NDArray[Any]:
        summed = np.concatenate([np.zeros((len(table), 1)), np.cumsum(table, axis=1)], axis=1)
        return np.asarray(summed[:, ends + 1] - summed[:, starts])

    common, squares = over(usual), over(np.square(usual)) * np.square(factor)[:, None]
    mean = common * factor[:, None]
    # else a few large batches tell it all; by what is usual of all, for its own deaths would choose among the days
    weight = daily[:, ends] / np.square(1 + _SPREAD_PRIOR * common)
    # a factor fitted to few days lies too near to each of them
    apart = np.square(learnt.counted[:, ends] - mean) / np.maximum(1 - common / (1 / DIFFER + seen)[:, None], 0.1)
    found = (_SPREAD_PRIOR * _SPREAD_WEIGHT + (weight * (apart - mean)).sum()) / (
        _SPREAD_WEIGHT + (weight * squares).sum()
    )
    return float(np.clip(found, *_SPREAD_RANGE))
