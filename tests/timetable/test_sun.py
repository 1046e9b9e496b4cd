"""When it is dark: the library's times against a second computation and against what geometry demands."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from math import acos, asin, cos, degrees, radians, sin, tan
from zoneinfo import ZoneInfo

import pytest

from intake.timetable.sun import dusk_times

DAYS = [date(2027, month, 15) for month in range(1, 13)]


def by_hand(latitude: float, longitude: float, day: date) -> datetime:
    """End of civil twilight in UTC by the low-precision solar position of the Astronomical Almanac, page C5.

    Its declination is good to 0.01° and its equation of time to 0.1 min between 1950 and 2050 (from memory).
    """
    noon = datetime(day.year, day.month, day.day, 18, tzinfo=UTC)
    n = (noon - datetime(2000, 1, 1, 12, tzinfo=UTC)) / timedelta(days=1)
    mean, anomaly = (280.460 + 0.9856474 * n) % 360, radians((357.528 + 0.9856003 * n) % 360)
    ecliptic = radians(mean + 1.915 * sin(anomaly) + 0.020 * sin(2 * anomaly))
    tilt = radians(23.439 - 4e-7 * n)
    declination = asin(sin(tilt) * sin(ecliptic))
    f, t = degrees(1), tan(tilt / 2) ** 2
    ascension = degrees(ecliptic) - f * t * sin(2 * ecliptic) + (f / 2) * t * t * sin(4 * ecliptic)
    equation_min = ((mean - ascension + 180) % 360 - 180) * 4
    height = (sin(radians(-6)) - sin(radians(latitude)) * sin(declination)) / (
        cos(radians(latitude)) * cos(declination)
    )
    minutes = 720 - 4 * longitude - equation_min + degrees(acos(height)) * 4
    return datetime(day.year, day.month, day.day, tzinfo=UTC) + timedelta(minutes=minutes)


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [(37.1, -8.6, "Europe/Lisbon"), (-17.7, 168.3, "Pacific/Efate"), (55.7, 12.6, "Europe/Copenhagen")],
)
def test_dusk_agrees_with_a_second_computation_within_two_minutes(latitude: float, longitude: float, zone: str) -> None:
    """Two ways to the same sun; the zone and its summer time are part of the answer."""
    found = dusk_times(latitude, longitude, ZoneInfo(zone), DAYS)
    assert set(found) == set(DAYS)
    for day, at in found.items():
        moment = datetime.combine(day, at, ZoneInfo(zone))
        other = by_hand(latitude, longitude, day)
        gap = abs((moment - other).total_seconds()) % 86400
        assert min(gap, 86400 - gap) <= 120, (day, at, other)


def test_where_it_never_gets_dark_the_day_is_left_out() -> None:
    """Midsummer at 65° north: the last working hour must stand in."""
    found = dusk_times(65.0, 25.5, ZoneInfo("Europe/Helsinki"), [date(2027, 6, 21), date(2027, 12, 21)])
    assert date(2027, 6, 21) not in found
    assert found[date(2027, 12, 21)] < time(17)


def test_evenings_grow_longer_towards_june_in_the_north() -> None:
    """A sign error in the latitude would turn the year round."""
    found = dusk_times(37.1, -8.6, ZoneInfo("Europe/Lisbon"), DAYS)
    assert found[date(2027, 6, 15)] > found[date(2027, 12, 15)]
