"""Readings of a vat and its water over time: the last value of each quantity, and a trend as a picture."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from intake.app.session import House
from intake.farm.floor import Reading

__all__ = ["Trend", "water_trends"]


@dataclass(frozen=True, slots=True)
class Trend:
    """One quantity at one place.

    Attributes
    ----------
    place
        Vat or system.
    quantity
        As recorded, with its unit in the name: ``temperature_c``.
    values
        (when, value), oldest first.
    """

    place: str
    quantity: str
    values: tuple[tuple[datetime, float], ...]

    @property
    def last(self) -> tuple[datetime, float]:
        """The newest."""
        return self.values[-1]


def water_trends(house: House, *places: str, days: int = 30) -> tuple[Trend, ...]:
    """Each quantity read at these places in the last days, the most read first.

    Parameters
    ----------
    places
        Vat and system ids; none for every system and vat of the farm.
    days
        How far back, within the month the floor reaches.
    """
    wanted = set(places) or {*house.site.vats, *house.site.systems}
    since = house.now - timedelta(days=days)
    found: dict[tuple[str, str], list[Reading]] = {}
    for one in house.floor().readings:
        place = one.place.removeprefix("vat:")
        if place in wanted and one.at >= since and " " not in one.quantity:
            found.setdefault((place, one.quantity), []).append(one)
    trends = [
        Trend(place, quantity, tuple((one.at, one.value) for one in sorted(rows, key=lambda one: one.at)))
        for (place, quantity), rows in found.items()
    ]
    return tuple(sorted(trends, key=lambda one: (-len(one.values), one.place, one.quantity)))
