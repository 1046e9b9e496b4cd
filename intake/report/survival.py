"""How animals survive: the product-limit estimate with its interval, from movements of the ledger.

A batch has its own clock from the moment it came.  Animals that enter later join those at risk later; sold, sampled,
discarded and lost-from-sight animals are censored.  Dead on arrival never enter: they are a share of their own.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import Counter, defaultdict, deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import accumulate
from statistics import NormalDist

from intake.errors import BadInput, Finding
from intake.ledger.corrections import netted
from intake.ledger.entries import SOURCES, Entry, Movement, is_vat
from intake.report.intervals import clopper_pearson

__all__ = ["Curve", "Life", "Step", "curve", "kaplan_meier", "lives"]


@dataclass(frozen=True, slots=True)
class Life:
    """Animals that entered and left together.

    Attributes
    ----------
    entered_days, left_days
        On the batch's clock, in days; at risk after ``entered_days`` up to and with ``left_days``.
    count
        Animals.
    died
        Whether they died at ``left_days``; else they were alive when last seen.
    """

    entered_days: float
    left_days: float
    count: int
    died: bool


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the curve: at ``day``, ``deaths`` of ``at_risk`` died.

    Attributes
    ----------
    survival
        Share alive just after, 0 to 1.
    standard_error
        Greenwood's.
    low, high
        Interval of the share.
    """

    day: float
    at_risk: int
    deaths: int
    survival: float
    standard_error: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Curve:
    """A survival curve.

    Attributes
    ----------
    steps
        One for each time with deaths, by day.
    observed
        Lives it was made from.
    confidence
        Of the intervals.
    """

    steps: tuple[Step, ...]
    observed: tuple[Life, ...]
    confidence: float

    @property
    def entered(self) -> int:
        """Animals that came under observation."""
        return sum(life.count for life in self.observed)

    @property
    def deaths(self) -> int:
        """Animals that died under observation."""
        return sum(step.deaths for step in self.steps)

    @property
    def censored_days(self) -> tuple[float, ...]:
        """Days at which animals were last seen alive, each once."""
        return tuple(sorted({life.left_days for life in self.observed if not life.died}))

    @property
    def last_day(self) -> float:
        """Day of the last observation; nothing is known beyond it."""
        return max(life.left_days for life in self.observed)

    @property
    def median_days(self) -> float | None:
        """First day at which at most half are alive; ``None`` when more than half are."""
        return next((step.day for step in self.steps if step.survival <= 0.5 + 1e-12), None)

    def at_risk(self, day: float) -> int:
        """Animals under observation at a day."""
        return sum(life.count for life in self.observed if life.entered_days <= day <= life.left_days)

    def at(self, day: float) -> Step | None:
        """Share alive at a day; ``None`` beyond the last observation, unless all had died.

        Before the first death the share is 1 and its lower limit the exact one for no death among those at risk then:
        a batch without deaths is not a batch without risk.
        """
        step = next((step for step in reversed(self.steps) if step.day <= day), None)
        if day > self.last_day:
            return step if step is not None and step.survival == 0 else None
        if step is not None:
            return step
        at_risk = self.at_risk(day)
        low = clopper_pearson(at_risk, at_risk, self.confidence).low if at_risk else 0.0
        return Step(day, at_risk, 0, 1.0, 0.0, low, 1.0)


def kaplan_meier(observed: Iterable[Life], confidence: float = 0.95) -> Curve:
    """Product-limit estimate with delayed entry and censoring.

    Parameters
    ----------
    observed
        Lives on one clock.
    confidence
        Of the pointwise interval, between 0 and 1.

    Notes
    -----
    Deaths of a moment come before its censorings; who enters at a moment is at risk only after it, except at the
    clock's first moment.  The interval is log-log.  It does not exist at a share of 0, where the exact interval of that
    step's animals is used.  If all at risk die while others are yet to enter, the estimate stays at 0.

    Raises
    ------
    BadInput
        For no life at all, a count below 1, or a life that ends before it begins.

    References
    ----------
    E. L. Kaplan, P. Meier, J. Am. Stat. Assoc. 53 (1958) 457–481; M. Greenwood (1926), Rep. Public Health 33, for the
    variance; log-log interval: J. D. Kalbfleisch, R. L. Prentice, The Statistical Analysis of Failure Time Data (1980),
    from memory.
    """
    kept = tuple(observed)
    if not kept:
        raise BadInput(Finding("survival", "", "at least one animal under observation"))
    for life in kept:
        if life.count < 1 or not life.entered_days <= life.left_days:
            raise BadInput(Finding("survival", repr(life), "at least 1 animal, leaving no earlier than it entered"))
    leaving = _Tally((life.left_days, life.count) for life in kept)
    start = min(life.entered_days for life in kept)
    entering = _Tally((_at_risk_after(life, start), life.count) for life in kept)
    died: Counter[float] = Counter()
    for life in kept:
        died[life.left_days] += life.count if life.died else 0
    z = NormalDist().inv_cdf(0.5 + confidence / 2)
    survival, greenwood, high = 1.0, 0.0, 1.0
    steps: list[Step] = []
    for day in sorted(day for day, deaths in died.items() if deaths):
        at_risk, deaths = entering.before(day) - leaving.before(day), died[day]
        survival *= 1 - deaths / at_risk
        greenwood += deaths / (at_risk * (at_risk - deaths)) if at_risk > deaths else math.inf
        low, high = _limits(survival, greenwood, z, (at_risk, high, confidence))
        error = survival * math.sqrt(greenwood) if survival > 0 else 0.0
        steps.append(Step(day, at_risk, deaths, survival, error, low, high))
    return Curve(tuple(steps), kept, confidence)


def _at_risk_after(life: Life, start: float) -> float:
    """Time after which a life is at risk: who is there at the clock's first moment is at risk in it."""
    if life.entered_days <= start:
        return -math.inf
    return math.nextafter(life.entered_days, -math.inf) if life.entered_days == life.left_days else life.entered_days


class _Tally:
    """Animals by time, to be asked how many came before a time."""

    def __init__(self, counted: Iterable[tuple[float, int]]) -> None:
        ordered = sorted(counted)
        self._times = [time for time, _ in ordered]
        self._sums = [0, *accumulate(count for _, count in ordered)]

    def before(self, time: float) -> int:
        return self._sums[bisect_left(self._times, time)]


def _limits(survival: float, greenwood: float, z: float, step: tuple[int, float, float]) -> tuple[float, float]:
    at_risk, high_before, confidence = step
    if survival <= 0:
        return 0.0, min(high_before, clopper_pearson(0, at_risk, confidence).high)
    spread = math.exp(z * math.sqrt(greenwood) / abs(math.log(survival)))
    return survival**spread, survival ** (1 / spread)


def lives(entries: Iterable[Entry], batch: str, now: datetime, *, missing_died: bool = False) -> tuple[Life, ...]:
    """Lives of one batch on its own clock, which begins when its first animals came.

    Parameters
    ----------
    entries
        Entries of the ledger.
    batch
        Batch id.
    now
        Moment of looking, time-zone aware; who is in a vat then is censored there.
    missing_died
        Whether animals lost from sight in a vat count as dead rather than as censored.

    Notes
    -----
    Animals of a batch are alike in the ledger, and the estimate depends only on how many enter and leave when; the
    earliest entered are taken to leave first.  Found dead before any vat: entered and died at that moment.  Counted as
    dead on arrival after having been booked into a vat: never at risk.
    """
    moved = [m for m in netted(entries) if m.batch == batch and m.happened_at <= now]
    if not moved:
        return ()
    origin = moved[0].happened_at
    moved.sort(key=lambda m: (m.happened_at, not is_vat(m.target)))  # at one moment animals enter before they leave
    inside: deque[tuple[float, int]] = deque()
    found: list[Life] = []
    for movement in moved:
        day = (movement.happened_at - origin) / timedelta(days=1)
        if is_vat(movement.target) and not is_vat(movement.source):
            inside.append((day, movement.count))
        elif is_vat(movement.source) and not is_vat(movement.target):
            died = movement.target == "dead" or (missing_died and movement.target == "missing")
            left = [Life(entered, day, count, died) for entered, count in _take(inside, movement.count)]
            found.extend(left if movement.target != "doa" else ())
        elif movement.target == "dead" and movement.source in ("dock", *SOURCES):
            found.append(Life(day, day, movement.count, died=True))
    end = (now - origin) / timedelta(days=1)
    found.extend(Life(entered, end, count, died=False) for entered, count in inside)
    return tuple(found)


def _take(inside: deque[tuple[float, int]], count: int) -> Iterator[tuple[float, int]]:
    while count and inside:
        entered, there = inside.popleft()
        taken = min(count, there)
        if there > taken:
            inside.appendleft((entered, there - taken))
        count -= taken
        yield entered, taken


def curve(
    entries: Iterable[Entry], batches: str | Iterable[str], now: datetime, *, confidence: float = 0.95
) -> Curve | None:
    """Survival of one batch, or of several together, each on its own clock from the day it came.

    Parameters
    ----------
    entries
        Entries of the ledger.
    batches
        Batch id or ids.
    now
        Moment of looking, time-zone aware.
    confidence
        Of the pointwise interval.

    Returns
    -------
    Curve or None
        ``None`` when no animal of them ever stood in a vat.

    Notes
    -----
    The interval takes animals as dying independently of each other.  Animals of one bag do not, so it is a lower bound
    of the true uncertainty; suppliers are compared with that corrected (``suppliers.scorecard``).
    """
    wanted = {batches} if isinstance(batches, str) else set(batches)
    by_batch: defaultdict[str, list[Entry]] = defaultdict(list)
    for entry in entries:
        if isinstance(entry, Movement) and entry.batch in wanted:
            by_batch[entry.batch].append(entry)
    observed = [life for batch in sorted(by_batch) for life in lives(by_batch[batch], batch, now)]
    return kaplan_meier(observed, confidence) if observed else None
