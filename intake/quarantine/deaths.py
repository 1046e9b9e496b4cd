"""Whether deaths after the first week are more than a group usually has, so that a person must say why first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from math import exp

from intake.farm.floor import Floor
from intake.quarantine.quarantine_clock import days_after

__all__ = ["Unexplained", "unexplained_deaths"]

TRANSPORT_DAYS = 7.0
"""Deaths in the first week are put down to the journey (design section 13)."""

USUAL_A_DAY = 0.05 / 23
"""Deaths per animal and day after the first week that are usual where the group says nothing else: the upper end of 3–5 %
over days 8–30 (design default, husbandry.md 1.2)."""

SPANS_DAYS = (7.0, 30.0)
"""A burst shows in a week, a slow loss in a month: house rule, no source."""

CHANCE = 0.0005
"""Deaths are called unexplained where the usual rate gives as many with a smaller chance than this in one span: house rule.
In simulated stays of 42 days it holds 0.2–1.5 % of lots of 20 to 1,000 that die as usual, and 82 % of lots of 100 that die
three times as fast (``tests/quarantine/test_free_from.py`` keeps both)."""


@dataclass(frozen=True, slots=True)
class Unexplained:
    """More deaths than usual in one span of days.

    Attributes
    ----------
    dead
        Deaths in the span that ended ``until``, the day of the last of them.
    days
        Length of the span, shorter where the lot has not been past its first week for so long.
    usual
        Deaths the usual rate gives in it.
    fewest
        Deaths from which a lot is held in such a span.
    """

    dead: int
    days: float
    usual: float
    fewest: int
    until: datetime

    @property
    def words(self) -> str:
        """The arithmetic in a sentence."""
        span = f"in the {self.days:.0f} d to {self.until:%Y-%m-%d}"
        return f"{self.dead} died {span}, {self.usual:.1f} are usual (held from {self.fewest}), and no one has said why"


def unexplained_deaths(
    batch: str, entered: datetime, floor: Floor, *, usual_a_day: float = USUAL_A_DAY
) -> Unexplained | None:
    """The first span in which more of a lot died than is usual and no one has explained since; ``None`` if there is none.

    Parameters
    ----------
    usual_a_day
        Usual deaths per animal and day of the group, after the first week.

    Notes
    -----
    Each death is looked at with the deaths of the week and of the month before it, against a Poisson count at the usual
    rate.  So a long stay at the usual rate holds no one, and a burst is not forgotten because quiet weeks follow.  A hold
    that was lifted explains what died before its lifting.
    """
    since = max([days_after(entered, TRANSPORT_DAYS), *_explained(batch, floor)])
    deaths = sorted(
        (loss.at, loss.count)
        for loss in floor.losses
        if loss.batch == batch and loss.head == "dead" and since < loss.at <= floor.at
    )
    for at in dict.fromkeys(moment for moment, _ in deaths):
        for days in SPANS_DAYS:
            first = max(since, days_after(at, -days))
            dead = sum(count for moment, count in deaths if first < moment <= at)
            span = (at - first).total_seconds() / 86400
            usual = usual_a_day * span * _alive(batch, floor, first, at)
            fewest = max(2, _fewest(usual))
            if dead >= fewest:
                return Unexplained(dead, span, usual, fewest, at)
    return None


def _explained(batch: str, floor: Floor) -> list[datetime]:
    return [hold.lifted_at or hold.since for hold in floor.holds if hold.batch == batch and hold.lifted]


def _alive(batch: str, floor: Floor, first: datetime, last: datetime) -> float:
    """Mean of the animals alive at both ends of a span, as if none had been sold since: never too few."""
    gone = [loss for loss in floor.losses if loss.batch == batch and loss.at <= floor.at]
    now = floor.headcount(batch)
    return (
        now + (sum(one.count for one in gone if one.at > first) + sum(one.count for one in gone if one.at > last)) / 2
    )


def _fewest(usual: float) -> int:
    """Fewest deaths whose chance (that many or more, Poisson) is below :data:`CHANCE`."""
    term, below, count = exp(-usual), 0.0, 0
    while 1.0 - below >= CHANCE:
        below += term
        count += 1
        term *= usual / count
    return count
