"""When losses are more than chance: a chart of shares with limits, and an alarm on daily deaths with its error rate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from intake.errors import BadInput, Finding

__all__ = ["Alarm", "ChartPoint", "ShareChart", "Watch", "p_chart", "watch"]

THREE_SIGMA_TAIL = 0.00135
"""Upper tail of the normal distribution beyond three standard deviations, the customary alarm."""


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """One sample: ``x`` of ``n``, its share and limits (0 to 1); ``out`` when the share lies beyond a limit."""

    index: int
    x: int
    n: int
    share: float
    low: float
    high: float
    out: bool


@dataclass(frozen=True, slots=True)
class ShareChart:
    """A chart of shares from samples of different size.

    Attributes
    ----------
    centre
        Share the limits are drawn around.
    sigmas
        Half width of the limits in standard deviations.
    points
        One for each sample.
    false_alarm_rate
        Chance that one sample lies beyond a limit even if nothing has changed, by the binomial distribution, averaged
        over the samples.  With small samples it is far from the 0.0027 of textbooks.
    rule
        The rule in words.
    """

    centre: float
    sigmas: float
    points: tuple[ChartPoint, ...]
    false_alarm_rate: float
    rule: str

    @property
    def out(self) -> tuple[int, ...]:
        """Indices, from 0, of the samples beyond a limit."""
        return tuple(point.index for point in self.points if point.out)


@dataclass(frozen=True, slots=True)
class Alarm:
    """Days up to ``day`` with ``deaths`` where ``expected`` are usual, and the chance of as many or more."""

    day: int
    deaths: int
    expected: float
    chance: float


@dataclass(frozen=True, slots=True)
class Watch:
    """Alarms raised on daily deaths.

    Attributes
    ----------
    alarms
        Those raised, by day.
    false_alarms_expected
        How many would be raised over these days even if nothing has changed.
    rule
        The rule in words.
    """

    alarms: tuple[Alarm, ...]
    false_alarms_expected: float
    rule: str


def p_chart(
    counts: Sequence[int], sizes: Sequence[int], *, centre: float | None = None, sigmas: float = 3.0
) -> ShareChart:
    """Draw up a chart of shares with limits that follow each sample's size.

    Parameters
    ----------
    counts, sizes
        x of n for each sample, n ≥ 1.
    centre
        Usual share, 0 to 1; the share of all samples together when ``None``.
    sigmas
        Half width of the limits, above 0.

    Raises
    ------
    BadInput
        For lists of different length, no sample, or counts out of range.

    References
    ----------
    W. A. Shewhart (1931); limits p ± 3 √(p(1 − p)/n), the lower not below 0, as in NIST/SEMATECH e-Handbook of
    Statistical Methods, 6.3.3.2.
    """
    if len(counts) != len(sizes) or not counts:
        raise BadInput(
            Finding("chart", f"{len(counts)} counts, {len(sizes)} sizes", "as many sizes as counts, 1 or more")
        )
    for x, n in zip(counts, sizes, strict=True):
        if not (n >= 1 and 0 <= x <= n):
            raise BadInput(Finding("chart, sample", f"{x} of {n}", "0 ≤ x ≤ n and n at least 1"))
    usual = sum(counts) / sum(sizes) if centre is None else centre
    points = []
    for index, (x, n) in enumerate(zip(counts, sizes, strict=True)):
        half = sigmas * math.sqrt(usual * (1 - usual) / n)
        low, high = max(0.0, usual - half), min(1.0, usual + half)
        points.append(ChartPoint(index, x, n, x / n, low, high, out=not low <= x / n <= high))
    rate = math.fsum(_outside(point, usual) for point in points) / len(points)
    rule = f"A sample is out when its share lies beyond {sigmas:g} standard deviations of {usual:.4g} for its size."
    return ShareChart(usual, sigmas, tuple(points), rate, rule)


def watch(
    deaths: Sequence[int],
    at_risk: Sequence[int],
    usual_rate: float,
    *,
    span_days: int = 1,
    chance: float = THREE_SIGMA_TAIL,
) -> Watch:
    """Raise an alarm on each day whose deaths are too many to be usual.

    Parameters
    ----------
    deaths, at_risk
        For each day in order; at_risk may be 0.
    usual_rate
        Deaths per animal and day that are usual, 0 to 1.
    span_days
        Days added up before judging, 1 or more: 1 sees a crash, 7 sees a slow bleed.
    chance
        Alarm when as many deaths or more have at most this chance, 0 to 1.

    Raises
    ------
    BadInput
        For lists of different length or numbers out of range.

    Notes
    -----
    Exact binomial tail rather than normal limits: with a rate near 0.1 % and batches of 50 a normal limit would alarm
    at every single death.
    """
    from scipy.stats import binom

    if len(deaths) != len(at_risk) or span_days < 1 or not 0 <= usual_rate <= 1 or not 0 < chance < 1:
        raise BadInput(
            Finding("watch", f"{len(deaths)} and {len(at_risk)} days", "equal lists, a span of 1 day or more")
        )
    alarms: list[Alarm] = []
    expected_false = 0.0
    for day in range(len(deaths)):
        first = max(0, day - span_days + 1)
        x, n = sum(deaths[first : day + 1]), sum(at_risk[first : day + 1])
        if n == 0:
            continue
        tail = float(binom.sf(x - 1, n, usual_rate))
        if tail <= chance and x:
            alarms.append(Alarm(day, x, n * usual_rate, tail))
        fewest = max(1, int(binom.isf(chance, n, usual_rate)))  # at or just below the fewest deaths that alarm
        while float(binom.sf(fewest - 1, n, usual_rate)) > chance:
            fewest += 1
        expected_false += float(binom.sf(fewest - 1, n, usual_rate))
    days = "a day" if span_days == 1 else f"{span_days} days together"
    rule = f"Alarm when {days} brought deaths whose chance at the usual rate {usual_rate:.3g} is at most {chance:.3g}."
    return Watch(tuple(alarms), expected_false, rule)


def _outside(point: ChartPoint, usual: float) -> float:
    """Chance that a sample of this size lies beyond its limits at the usual share."""
    from scipy.special import bdtr, bdtrc  # scipy.stats says the same and takes most of a second to import

    above = math.floor(point.high * point.n + 1e-9)
    below = math.ceil(point.low * point.n - 1e-9)
    more = float(bdtrc(above, point.n, usual)) if above < point.n else 0.0
    return more + (float(bdtr(below - 1, point.n, usual)) if below > 0 else 0.0)
