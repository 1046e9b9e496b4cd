"""Heat a tub or a floating bag loses to a colder room: how fast it cools, and the power that holds it."""

from __future__ import annotations

import math

from intake.water.floating import FLOAT_RATE_PER_MIN
from intake.water.ranges import require_not_negative, require_positive

__all__ = [
    "FLOOR_CM2_PER_L",
    "WH_PER_L_C",
    "bag_loss_per_h",
    "cooled",
    "cooling_per_h",
    "floating_in_room",
    "floating_short_c",
    "holding_w",
    "room_words",
]

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


def bag_loss_per_h() -> float:
    """Rate constant at which the upper side of a floating sealed bag takes the room's temperature, per hour.

    References
    ----------
    A bag lies as deep as a tub stands (1/6 m), its upper side is a film over gas, as a covered surface loses: both default,
    the coefficient from memory; no rate is published for the dry side of a floating bag.

    Examples
    --------
    >>> round(bag_loss_per_h(), 4)
    0.0526
    """
    return FLOOR_CM2_PER_L * 1e-4 * COVERED_W_PER_M2_C / WH_PER_L_C


def floating_in_room(start_c: float, bath_c: float, room_c: float | None, minutes: float) -> float:
    """Temperature of a sealed bag that floats in a bath, its upper side in a room: both at once, each at its own rate.

    T = Te + (T0 - Te) exp(-(k + r) t) with Te = (k Tbath + r Troom) / (k + r).  Without a room it is the bath alone.

    Raises
    ------
    BadInput
        For a negative time.

    References
    ----------
    Newton cooling; k of :mod:`intake.water.floating`, r of :func:`bag_loss_per_h`.

    Examples
    --------
    >>> round(floating_in_room(20.0, 26.0, 15.0, 60.0), 3), round(floating_in_room(20.0, 26.0, None, 60.0), 3)
    (24.795, 25.04)
    """
    hours = require_not_negative("minutes", minutes) / 60.0
    k, r = 60.0 * FLOAT_RATE_PER_MIN, 0.0 if room_c is None else bag_loss_per_h()
    ends = (k * bath_c + r * (bath_c if room_c is None else room_c)) / (k + r)
    return ends + (start_c - ends) * math.exp(-(k + r) * hours)


def floating_short_c(bath_c: float, room_c: float) -> float:
    """How far from its bath a floating bag stays for ever, °C; below 0 where the room is warmer.

    References
    ----------
    The limit of :func:`floating_in_room`.

    Examples
    --------
    >>> round(floating_short_c(26.0, 16.0), 3)
    0.279
    """
    return (bath_c - room_c) * bag_loss_per_h() / (60.0 * FLOAT_RATE_PER_MIN + bag_loss_per_h())


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
