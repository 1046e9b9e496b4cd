"""How often and how many times a bath must be repeated, from the life cycle of the pest in water of a temperature.

The rule (``husbandry.md`` 2.3): eggs of every age may be present on day 0 and survive the bath, so no hatchling may lay
before the next one (interval ≤ 0.9 × shortest time from hatching to laying), and the last must fall after the last egg
has hatched and its larva has settled (span ≥ longest hatching time + longest free-swimming time).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor

from intake.errors import BadInput, Finding, OutOfRange
from intake.library import Cycle, Evidence, Pest

__all__ = ["Series", "generation_days", "series"]

SAFE_SHARE = 0.9
"""Share of the shortest hatch-to-laying time that an interval may take: house rule, no source (husbandry.md 2.3)."""

_INTO_WINDOW = 0.25
"""The default lies a quarter into the window: gives day 18 of 16–24 for the worked flatworm case; no source."""

_SAME_C = 0.05
"""Temperatures closer than this, in °C, are the same: no bath thermometer distinguishes them (common practice)."""

_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Series:
    """Repeated baths against one pest at one water temperature.

    Attributes
    ----------
    interval_days
        Days from one bath to the next by default; it may be moved between ``interval_min_days`` and
        ``interval_max_days``.
    baths
        Number of baths, the first counted.
    span_days
        Days from the first to the last bath at least: longest hatching time + longest free-swimming time.
    first_repeat_window
        Days after the first bath between which the second must fall.
    arithmetic
        The sum in words, for the sheet.
    evidence, source
        As in the library; ``derived`` as soon as a figure was interpolated or scaled.
    """

    pest: str
    temperature_c: float
    interval_days: float
    interval_min_days: float
    interval_max_days: float
    baths: int
    span_days: float
    first_repeat_window: tuple[float, float]
    arithmetic: str
    evidence: Evidence
    source: str


@dataclass(frozen=True, slots=True)
class _Stages:
    last_hatch_d: float
    free_d: float
    maturity_d: float
    how: str
    evidence: Evidence
    source: str


def series(pest: Pest, temperature_c: float) -> Series:
    """Interval, number and span of the baths against a pest.

    Parameters
    ----------
    pest
        Pest of the library.
    temperature_c
        Mean temperature of the water, °C.  Between two temperatures with figures the *rate* of development (1/days) is
        interpolated linearly; a stage read at one temperature only is scaled like the generation time.

    Raises
    ------
    OutOfRange
        Warmer or colder than the figures that were read.
    BadInput
        The library holds no figures for hatching or for the time to first laying.

    References
    ----------
    Worked case: Prosthiostomum acroporae at 27 °C, hatching 11 d on average (16 d with a margin), generation 38 d at
    the least (Barton et al. 2019, Front Mar Sci 6:524, abstract): one repeat between day 16 and day 24.  That
    well-timed treatments break the cycle: Brazenor & Hutson 2015, Parasitol Res 114:1875.
    """
    stages = _stages(pest, temperature_c)
    longest = SAFE_SHARE * stages.maturity_d
    span = stages.last_hatch_d + stages.free_d
    repeats = max(1, ceil(span / longest - _ROUNDING))
    shortest = span / repeats
    low, high = _readable(shortest, longest)
    interval = min(max(_rounded(shortest + _INTO_WINDOW * (longest - shortest), low, high), low), high)
    free = f" + {stages.free_d:.3g} d swimming" if stages.free_d else ""
    arithmetic = (
        f"{pest.name} at {temperature_c:.3g} °C: interval at most {SAFE_SHARE} × {stages.maturity_d:.3g} d "
        f"from hatching to laying = {longest:.3g} d; span at least {stages.last_hatch_d:.3g} d "
        f"to the last hatch{free} = {span:.3g} d; "
        f"baths = ceil({span:.3g} / {longest:.3g}) + 1 = {repeats + 1}; repeat between day {low:g} and day {high:g}, "
        f"by default day {interval:g}{stages.how}"
    )
    return Series(
        pest=pest.id,
        temperature_c=temperature_c,
        interval_days=interval,
        interval_min_days=low,
        interval_max_days=high,
        baths=repeats + 1,
        span_days=span,
        first_repeat_window=(low, high),
        arithmetic=arithmetic,
        evidence=stages.evidence,
        source=stages.source,
    )


def generation_days(pest: Pest, temperature_c: float) -> float:
    """Shortest time from egg to egg at a temperature, in days.

    Raises
    ------
    OutOfRange
        Warmer or colder than the figures that were read.
    BadInput
        No generation time was read for this pest.

    References
    ----------
    Barton et al. 2019 (abstract): 38 d at 27 °C and 64 d at 24 °C for Prosthiostomum acroporae.
    """
    found = _interpolated(pest, "generation_d", temperature_c)
    if found is None:
        raise _no_figures(pest, "generation_d")
    return found


def _stages(pest: Pest, temperature_c: float) -> _Stages:
    """Hatching, swimming and maturing time at a temperature, each with how it was got."""
    whole = [cycle for cycle in pest.cycles if cycle.last_hatch_d is not None and cycle.maturity_d is not None]
    if not whole:
        raise _no_figures(pest, "last_hatch_d and maturity_d")
    warm = [cycle for cycle in whole if cycle.temperature_c is not None]
    if not warm:
        return _as_read(whole[0], "; the source states no temperature, so the figures are used as read", "derived")
    same = [cycle for cycle in warm if abs((cycle.temperature_c or 0.0) - temperature_c) <= _SAME_C]
    if same:
        return _as_read(same[0], "", same[0].evidence)
    if len(warm) == 1:
        return _scaled(pest, warm[0], temperature_c)
    hatch, mature = (_interpolated(pest, stage, temperature_c) for stage in ("last_hatch_d", "maturity_d"))
    free = max(cycle.free_d or 0.0 for cycle in warm)
    how = "; development rates interpolated between the temperatures read (derived)"
    return _Stages(hatch or 0.0, free, mature or 0.0, how, "derived", _sources(warm))


def _scaled(pest: Pest, cycle: Cycle, temperature_c: float) -> _Stages:
    """Stages read at one temperature, stretched as the generation is."""
    read_at = cycle.temperature_c if cycle.temperature_c is not None else temperature_c
    there, here = _interpolated(pest, "generation_d", read_at), _interpolated(pest, "generation_d", temperature_c)
    if there is None or here is None:
        raise OutOfRange("water temperature in °C", temperature_c, read_at, read_at, cycle.source)
    stretch = here / there
    how = (
        f"; the figures at {read_at:g} °C are stretched by {stretch:.3g}, as the generation time is "
        f"({there:.3g} d there, {here:.3g} d here; derived)"
    )
    return _Stages(
        last_hatch_d=(cycle.last_hatch_d or 0.0) * stretch,
        free_d=(cycle.free_d or 0.0) * stretch,
        maturity_d=(cycle.maturity_d or 0.0) * stretch,
        how=how,
        evidence="derived",
        source=_sources([other for other in pest.cycles if other.generation_d is not None]),
    )


def _as_read(cycle: Cycle, how: str, evidence: Evidence) -> _Stages:
    return _Stages(cycle.last_hatch_d or 0.0, cycle.free_d or 0.0, cycle.maturity_d or 0.0, how, evidence, cycle.source)


def _interpolated(pest: Pest, stage: str, temperature_c: float) -> float | None:
    """Days of a stage: the rate 1/days is linear in temperature between two temperatures with figures."""
    read: list[tuple[float, float]] = sorted(
        (cycle.temperature_c, days)
        for cycle in pest.cycles
        if cycle.temperature_c is not None and (days := getattr(cycle, stage)) is not None and days > 0
    )
    if not read:
        return None
    low, high = read[0][0], read[-1][0]
    if not low - _SAME_C <= temperature_c <= high + _SAME_C:
        raise OutOfRange("water temperature in °C", temperature_c, low, high, f"figures read for {pest.name}")
    at = min(max(temperature_c, low), high)
    for (cool, slow), (warm, fast) in pairwise(read):
        if cool <= at <= warm:
            share = (at - cool) / (warm - cool)
            return 1.0 / ((1.0 - share) / slow + share / fast)
    return read[0][1]


def _readable(shortest: float, longest: float) -> tuple[float, float]:
    """Whole days inside the window where there are any, tenths of a day otherwise."""
    low, high = float(ceil(shortest - _ROUNDING)), float(floor(longest + _ROUNDING))
    if low <= high:
        return low, high
    low, high = ceil(shortest * 10 - _ROUNDING) / 10, floor(longest * 10 + _ROUNDING) / 10
    return (low, high) if low <= high else (shortest, longest)


def _rounded(days: float, low: float, high: float) -> float:
    return float(floor(days + 0.5)) if low.is_integer() and high.is_integer() else round(days, 1)


def _sources(cycles: list[Cycle]) -> str:
    return "; ".join(dict.fromkeys(cycle.source for cycle in cycles))


def _no_figures(pest: Pest, what: str) -> BadInput:
    return BadInput(
        Finding(
            f"library/pests.toml, [{pest.id}], cycles", "", f"{what}, in days", "Keep the interval of the dip itself."
        )
    )
