"""Deaths and animals at risk by day: the table that the alarm method reads, however it was filled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from intake.errors import BadInput, Finding

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["BANDS", "PRIOR_RATES", "DeathRecord", "band_of"]

BANDS: Final = (3, 7, 14)
"""Days since arrival at which an age band ends: 0–2, 3–6, 7–13, 14 and later (opening stock is in the last)."""

PRIOR_RATES: Final = (0.0167, 0.0067, 0.003, 0.002)
"""Deaths per animal-day taken as usual in each band before anything is known: 5 % in three days after arrival, as dealers
were reported to expect (second-hand, S102 of the library's sources); the others common practice, no source."""


@dataclass(frozen=True, slots=True)
class DeathRecord:
    """What was counted, by row and calendar day.

    A row is the animals of one batch in one water, so that a batch that is in two waters has two rows.

    Attributes
    ----------
    deaths, at_risk
        Animals found dead on the day, and animals that could have died; rows × days.
    band
        Age band of the row's batch on each day, 0 to 3.
    opened
        First day of the gap that the day belongs to: a count after two days without one covers three days, and each of
        those three carries the first.  The day itself where everything is counted daily.
    closed
        Day on which what happened on the day was counted; past the last column while it has not been.
    batch, water
        Index of each row's batch and water.
    prior
        By how much a batch's usual rate differs from :data:`PRIOR_RATES` before anything is known of it, 1 when unknown.
    """

    deaths: NDArray[Any]
    at_risk: NDArray[Any]
    band: NDArray[Any]
    opened: NDArray[Any]
    closed: NDArray[Any]
    batch: NDArray[Any]
    water: NDArray[Any]
    prior: NDArray[Any]

    @property
    def days(self) -> int:
        """Days of record."""
        return int(self.deaths.shape[1])

    @property
    def batches(self) -> int:
        """Batches known."""
        return len(self.prior)

    @property
    def waters(self) -> int:
        """Waters known."""
        return int(self.water.max()) + 1 if len(self.water) else 0

    @classmethod
    def of(
        cls,
        deaths: Any,
        at_risk: Any,
        age_days: Any,
        *,
        batch: Any = None,
        water: Any = None,
        counted: Any = None,
        prior: Any = None,
    ) -> DeathRecord:
        """Table from plain lists.

        Parameters
        ----------
        deaths, at_risk, age_days
            Rows × days; ages in days since arrival (14 or more for stock that stood here at the first stocktake).
        batch, water
            Index of each row's batch (default: a batch each) and water (default: one water).
        counted
            Whether the farm counted on each day; default: every day.
        prior
            Factor on the prior rates for each batch; default 1.

        Raises
        ------
        BadInput
            For tables of different shape, negative numbers, or more dead than could die.
        """
        found, risk, age = (np.asarray(one, dtype=float) for one in (deaths, at_risk, age_days))
        if found.ndim != 2 or found.shape != risk.shape or found.shape != age.shape:
            raise BadInput(Finding("alarms", f"{found.shape}, {risk.shape}, {age.shape}", "tables of one shape"))
        if (found < 0).any() or (risk < 0).any():
            raise BadInput(Finding("alarms", "a negative number", "0 or more animals"))
        rows, days = found.shape
        of = np.arange(rows) if batch is None else np.asarray(batch, dtype=int)
        opened, closed = _gaps(days, counted)
        return cls(
            deaths=found,
            at_risk=risk,
            band=band_of(age),
            opened=opened,
            closed=closed,
            batch=of,
            water=np.zeros(rows, dtype=int) if water is None else np.asarray(water, dtype=int),
            prior=np.ones(int(of.max()) + 1 if rows else 0) if prior is None else np.asarray(prior, dtype=float),
        )


def band_of(age_days: NDArray[Any]) -> NDArray[Any]:
    """Age band, 0 to 3, of animals that came so many days ago."""
    return np.searchsorted(np.array(BANDS), age_days, side="right")


def _gaps(days: int, counted: Any) -> tuple[NDArray[Any], NDArray[Any]]:
    """First day of each day's gap, and the day on which it was counted (``days`` while it was not)."""
    if counted is None:
        return np.arange(days), np.arange(days)
    known = [bool(one) for one in counted]
    opened, closed = np.arange(days), np.full(days, days)
    first = 0
    for day in range(days):
        opened[day] = first
        if known[day]:
            closed[first : day + 1] = day
            first = day + 1
    return opened, closed
