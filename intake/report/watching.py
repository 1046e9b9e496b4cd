"""The daily watch over every batch: deaths against what is usual for animals as long arrived, with its false-alarm rate."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from intake.errors import BadInput, Finding
from intake.ledger.entries import Entry, Movement, movements
from intake.report.alarms import THREE_SIGMA_TAIL
from intake.report.losses import FIRST_WEEK_DAYS, LossDay, by_day
from intake.report.suppliers import design_effect

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["SPANS_DAYS", "BatchAlarm", "BatchWatch", "LookedAt", "Usual", "watch_batches"]

SPANS_DAYS: Final = (1, 7)
"""Days added up before judging: one sees a crash, seven see a slow bleed (design default)."""

STARTING_RATES: Final[Mapping[str, float]] = {"first week": 0.05 / 3, "later": 0.002}
"""Deaths per animal-day taken as usual where no other batch tells: 5 % in three days after arrival, as dealers were
reported to expect (second-hand, S102 of the library's sources); later a design default."""


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual in one phase, learnt from the other batches.

    Attributes
    ----------
    rate
        Deaths per animal-day.
    spread
        Design effect: by how much deaths of one batch and day go together, 1 when they do not.
    batches, animal_days
        What it rests on; 0 batches when it is the starting rate.
    """

    rate: float
    spread: float
    batches: int
    animal_days: int


@dataclass(frozen=True, slots=True)
class LookedAt:
    """One look: some days of a batch together.

    Attributes
    ----------
    day
        Last of the days, counted from the batch's arrival (0 the first).
    ends_at
        Moment that day ends.
    at_risk
        Animal-days.
    expected, limit
        Deaths that are usual, and the fewest that alarm.
    chance
        Chance of as many deaths or more when all is as usual.
    false_alarm
        Chance that this look alarms when all is as usual.
    """

    day: int
    span_days: int
    ends_at: datetime
    deaths: int
    at_risk: int
    expected: float
    limit: int
    chance: float
    false_alarm: float

    @property
    def out(self) -> bool:
        """Whether it alarms."""
        return self.deaths >= self.limit


@dataclass(frozen=True, slots=True)
class BatchAlarm:
    """Looks at a batch that alarmed, days that overlap taken together.

    Attributes
    ----------
    starts_at
        When the days of ``look`` begin.
    look
        The look with the smallest chance.
    first_day, last_day
        First and last day on which it alarmed, counted from the batch's arrival.
    """

    batch: str
    starts_at: datetime
    look: LookedAt
    first_day: int
    last_day: int


@dataclass(frozen=True, slots=True)
class BatchWatch:
    """The whole watch.

    Attributes
    ----------
    alarms
        Latest first; alarms of one batch whose days overlap are one.
    days
        Batch → its looks at single days since arrival, for the chart.
    looks, false_alarms_expected
        How often was looked, and how many alarms that gives though nothing changed.
    usual
        Phase → what all batches together show.
    rule
        The rule in words.
    """

    alarms: tuple[BatchAlarm, ...]
    days: Mapping[str, tuple[LookedAt, ...]]
    looks: int
    false_alarms_expected: float
    usual: Mapping[str, Usual]
    rule: str


def watch_batches(
    entries: Iterable[Entry],
    batches: Iterable[str],
    now: datetime,
    *,
    days_back: int = 7,
    chance: float = THREE_SIGMA_TAIL,
) -> BatchWatch:
    """Look at the last days of every batch.

    Parameters
    ----------
    entries
        Entries of the books.
    batches
        Batch ids.
    now
        Moment of looking, time-zone aware.
    days_back
        Days looked back at, 1 or more.
    chance
        Alarm when as many deaths or more have at most this chance, 0 to 1.

    Raises
    ------
    BadInput
        For numbers out of range.

    Notes
    -----
    A batch is judged by the others in the same phase (first week, later), so that it does not excuse itself.  Deaths of
    one batch and day go together; their number is taken as beta-binomial with the spread that the others show.
    """
    if days_back < 1 or not 0 < chance < 1:
        raise BadInput(Finding("watch", f"{days_back} days, chance {chance:g}", "1 day or more, a chance from 0 to 1"))
    owned: defaultdict[str, list[Movement]] = defaultdict(list)
    for movement in movements(entries):
        owned[movement.batch].append(movement)
    told = {
        batch: _Watched(days, any(m.source == "opening" for m in owned[batch]))
        for batch in batches
        if (days := by_day(owned[batch], batch, now))
    }
    singles: dict[str, tuple[LookedAt, ...]] = {}
    alarms: list[BatchAlarm] = []
    looks = 0
    expected_false = 0.0
    since = now - timedelta(days=days_back)
    for batch, watched in told.items():
        others = [its for name, its in told.items() if name != batch]
        usual = {phase: _usual(others, phase) for phase in STARTING_RATES}
        seen = {span: _looks(watched, span, usual, chance) for span in SPANS_DAYS}
        singles[batch] = seen[1]
        recent = [look for span in SPANS_DAYS for look in seen[span] if look.ends_at > since]
        looks += len(recent)
        expected_false += sum(look.false_alarm for look in recent)
        alarms += _raised(batch, watched.days, recent)
    alarms.sort(key=lambda alarm: (alarm.look.ends_at, -alarm.look.chance), reverse=True)
    overall = {phase: _usual(list(told.values()), phase) for phase in STARTING_RATES}
    rule = (
        f"Alarm when the deaths of a day, or of {SPANS_DAYS[1]} days together, have at most the chance {chance:g} at the "
        "rate that is usual for the other batches in the same phase (first week, later), spread as theirs is."
    )
    return BatchWatch(tuple(alarms), singles, looks, expected_false, overall, rule)


def _raised(batch: str, days: Sequence[LossDay], recent: Sequence[LookedAt]) -> list[BatchAlarm]:
    """Alarms of one batch, each from the looks whose days overlap."""
    episodes: list[list[LookedAt]] = []
    for look in sorted((look for look in recent if look.out), key=lambda one: (one.day, -one.span_days)):
        if episodes and look.day - look.span_days <= max(one.day for one in episodes[-1]):
            episodes[-1].append(look)
        else:
            episodes.append([look])
    found = []
    for looks in episodes:
        worst = min(looks, key=lambda one: one.chance)
        begins = days[max(0, worst.day - worst.span_days + 1)].starts_at
        found.append(BatchAlarm(batch, begins, worst, looks[0].day, looks[-1].day))
    return found


@dataclass(frozen=True, slots=True)
class _Watched:
    """A batch's days; ``settled`` when it stood here at the first stocktake and had no journey."""

    days: tuple[LossDay, ...]
    settled: bool

    def phase(self, day: LossDay) -> str:
        return "later" if self.settled or day.day >= FIRST_WEEK_DAYS else "first week"


def _usual(others: Sequence[_Watched], phase: str) -> Usual:
    clusters = [
        [
            (float(max(0, day.dead)), float(day.at_risk))
            for day in one.days
            if one.phase(day) == phase and day.at_risk > 0
        ]
        for one in others
    ]
    kept = [cluster for cluster in clusters if cluster]
    deaths = sum(lost for cluster in kept for lost, _ in cluster)
    watched = sum(of for cluster in kept for _, of in cluster)
    if not watched:
        return Usual(STARTING_RATES[phase], 1.0, 0, 0)
    # half a death more, so that a house without losses does not alarm at certainty (Jeffreys)
    return Usual((deaths + 0.5) / (watched + 1), design_effect(kept) or 1.0, len(kept), int(watched))


def _looks(watched: _Watched, span_days: int, usual: Mapping[str, Usual], chance: float) -> tuple[LookedAt, ...]:
    days = watched.days
    found = []
    for last in range(span_days - 1, len(days)):
        together = [day for day in days[last - span_days + 1 : last + 1] if day.at_risk > 0]
        at_risk = sum(day.at_risk for day in together)
        if not at_risk:
            continue
        deaths = sum(max(0, day.dead) for day in together)
        expected = sum(day.at_risk * usual[watched.phase(day)].rate for day in together)
        spread = sum(day.at_risk * usual[watched.phase(day)].spread for day in together) / at_risk
        tails = _tails(at_risk, expected / at_risk, spread, max(deaths, 1), chance)
        # with very few animals even the death of all is no alarm
        limit = next((x for x, tail in enumerate(tails) if x and tail <= chance), at_risk + 1)
        false_alarm = tails[limit] if limit <= at_risk else 0.0
        ends = days[last].starts_at + timedelta(days=1)
        found.append(
            LookedAt(days[last].day, span_days, ends, deaths, at_risk, expected, limit, tails[deaths], false_alarm)
        )
    return tuple(found)


def _tails(n: int, share: float, spread: float, seen: int, chance: float) -> list[float]:
    """Chances of 0, 1, 2 … deaths or more, far enough to hold what was seen and the fewest that alarm."""
    import numpy as np

    most = min(n, max(seen, math.ceil(n * share + 8 * math.sqrt(spread * n * share) + 10)))
    while True:
        below = np.cumsum(np.exp(_log_mass(n, share, spread, most)))
        tails = [1.0, *(max(0.0, 1.0 - float(mass)) for mass in below[:-1])]
        if tails[-1] <= chance or most == n:
            return tails
        most = min(n, 4 * most)


def _log_mass(n: int, share: float, spread: float, most: int) -> NDArray[Any]:
    """Logarithms of the chances of 0 to ``most`` deaths: binomial, or beta-binomial of the same spread."""
    import numpy as np
    from scipy.special import betaln, gammaln

    x = np.arange(0, most + 1, dtype=float)
    choose = gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1)
    if spread <= 1.0 + 1e-9 or n < 2:
        return np.asarray(choose + x * math.log(share) + (n - x) * math.log1p(-share))
    # the weight alpha + beta at which a count of n has this spread: spread = 1 + (n - 1) / (weight + 1)
    weight = max(1e-3, (n - 1) / (min(spread, n - 1e-9) - 1) - 1)
    alpha, beta = share * weight, (1 - share) * weight
    return np.asarray(choose + betaln(x + alpha, n - x + beta) - betaln(alpha, beta))
