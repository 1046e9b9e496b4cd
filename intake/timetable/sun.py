"""When it is dark on the farm, for work that must be done after dark."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, time
from zoneinfo import ZoneInfo

__all__ = ["DARK_DEPRESSION_DEG", "dusk_times"]

DARK_DEPRESSION_DEG = 6.0
"""Sun below the horizon at the end of civil twilight; by then a torch shows more than the sky (house rule)."""


def dusk_times(latitude: float, longitude: float, zone: ZoneInfo, days: Iterable[date]) -> dict[date, time]:
    """Clock time on the farm at which civil twilight ends, for each day on which it does.

    Parameters
    ----------
    latitude, longitude
        In degrees, north and east positive.
    zone
        The farm's time zone.

    Returns
    -------
    dict
        Days on which the sun does not sink 6° below the horizon (high summer beyond about 60°) are left out, and so are
        days on which it does so only after midnight.

    References
    ----------
    Computed by the library ``astral`` (after J. Meeus, Astronomical Algorithms, as in the NOAA solar calculator);
    checked in the tests against a second, independent computation.
    """
    from astral import Observer
    from astral.sun import dusk

    place = Observer(latitude, longitude)
    found: dict[date, time] = {}
    for day in days:
        try:
            moment = dusk(place, date=day, depression=DARK_DEPRESSION_DEG, tzinfo=zone)
        except ValueError:
            continue
        if moment.date() == day:
            found[day] = moment.time().replace(second=0, microsecond=0, tzinfo=None)
    return found
