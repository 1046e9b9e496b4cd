"""Heat a tub loses to a colder room: how fast it cools, and the power that holds it."""

from __future__ import annotations

import math

from intake.water.ranges import require_not_negative, require_positive

__all__ = ["FLOOR_CM2_PER_L", "WH_PER_L_C", "cooled", "cooling_per_h", "holding_w", "room_words"]

#: cm² of floor per liter: 1200 cm² in 20 L (tub table), so water stands 1/6 m deep.
FLOOR_CM2_PER_L = 60.0
#: Wh to warm a liter of sea water by 1 °C (4.1 kJ).
WH_PER_L_C = 1.14
#: Heat lost through walls and a closed lid to still air, W per m² and °C (from memory: measure your own tub).
COVERED_W_PER_M2_C = 10.0
#: The same from an open, bubbling surface, which also evaporates (from memory).
OPEN_W_PER_M2_C = 30.0


def _w_per_c(litres: float, *, lid: bool) -> float:
    """Watts lost for each degree above the room, of a square tub on a bench that insulates its floor (default)."""
    top_m2 = FLOOR_CM2_PER_L * require_positive("tub, L", litres) * 1e-4
    depth_m = 10.0 / FLOOR_CM2_PER_L
    walls_m2 = 4 * math.sqrt(top_m2) * depth_m
    return top_m2 * (COVERED_W_PER_M2_C if lid else OPEN_W_PER_M2_C) + walls_m2 * COVERED_W_PER_M2_C


def cooling_per_h(litres: float, *, lid: bool = True) -> float:
    """Rate constant at which a tub without a heater takes the room's temperature, per hour.

    Raises
    ------
    BadInput
        For a tub not above zero.

    References
    ----------
    Newton cooling; both coefficients from memory, no published one for an acclimation tub.

    Examples
    --------
    >>> round(cooling_per_h(20.0), 4), round(cooling_per_h(20.0, lid=False), 4)
    (0.1539, 0.2592)
    """
    return _w_per_c(litres, lid=lid) / (WH_PER_L_C * litres)


def cooled(start_c: float, room_c: float, minutes: float, litres: float, *, lid: bool = True) -> float:
    """Temperature of a tub without a heater after so many minutes in a room: T = Tr + (T0 - Tr) exp(-k t).

    Raises
    ------
    BadInput
        For a negative time or a tub not above zero.

    References
    ----------
    Newton cooling, :func:`cooling_per_h`.

    Examples
    --------
    >>> round(cooled(26.0, 20.0, 60.0, 20.0), 3)
    25.144
    """
    hours = require_not_negative("minutes", minutes) / 60.0
    return room_c + (start_c - room_c) * math.exp(-cooling_per_h(litres, lid=lid) * hours)


def holding_w(litres: float, water_c: float, room_c: float, *, lid: bool = True) -> float:
    """Watts that hold a tub at its temperature; 0 where the room is as warm.

    Raises
    ------
    BadInput
        For a tub not above zero.

    References
    ----------
    As :func:`cooling_per_h`.

    Examples
    --------
    >>> round(holding_w(20.0, 26.0, 20.0), 2), holding_w(20.0, 26.0, 28.0)
    (21.06, 0.0)
    """
    return _w_per_c(litres, lid=lid) * max(0.0, water_c - room_c)


def room_words(litres: float, water_c: float, room_c: float, minutes: int, heater_w: int) -> str:
    """What the room does to a tub that is at its warmest, and what the heater is for, as a sentence.

    Raises
    ------
    BadInput
        For a tub not above zero.
    """
    if room_c >= water_c:
        return f"The room, {room_c:g} °C, is no colder than the tub: it loses no heat. Read the temperature as you go."
    watched = min(60, minutes)
    lost, bare = (water_c - cooled(water_c, room_c, watched, litres, lid=lid) for lid in (True, False))
    need = holding_w(litres, water_c, room_c)
    told = (
        f"Without a heater a tub at {water_c:.1f} °C loses {lost:.1f} °C in {watched} min to the room at {room_c:g} °C "
        f"({bare:.1f} °C without its lid; from memory, no source)"
    )
    end = f"{need:.0f} W hold it, the heater has {heater_w} W" if heater_w else "none is needed"
    return f"{told}: {end}. Read the temperature as you go."
