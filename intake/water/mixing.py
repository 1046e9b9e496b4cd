"""Closed forms of acclimation by mixing, and the mass-weighted blend of waters.

The closed forms (a) to (e) weigh by volume, as drips and jugs do; ``blend`` weighs by mass.  For 30 against 35 PSU the
two differ by less than 0.005 PSU, for fresh water against 35 by 0.23.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from intake.errors import BadInput, Finding
from intake.water.ranges import require_between, require_not_negative, require_positive
from intake.water.salinity import density

__all__ = [
    "MIXING_SOURCE",
    "Part",
    "blend",
    "exchanged",
    "growing",
    "growing_hours",
    "largest_flow_l_per_h",
    "overflow_with_heat",
    "overflowing",
    "overflowing_hours",
]

MIXING_SOURCE = "closed form: conservation of salt and heat, well mixed, by volume"


def growing(start: float, incoming: float, volume_l: float, flow_l_per_h: float, hours: float) -> float:
    """Salinity (or temperature without heat loss) after dripping into a vessel that fills (a).

    Notes
    -----
    X = Xin - d0 V0/(V0 + Q t), d0 = Xin - X0; any unit of X; liters, L/h, hours.

    Raises
    ------
    BadInput
        For a volume not above zero or a negative flow or time.

    References
    ----------
    Conservation of mass.

    Examples
    --------
    >>> growing(30.0, 35.0, 5.0, 3.0, 1.0)
    31.875
    """
    require_positive("volume, L", volume_l)
    added = require_not_negative("drip, L/h", flow_l_per_h) * require_not_negative("time, h", hours)
    return incoming - (incoming - start) * volume_l / (volume_l + added)


def overflowing(start: float, incoming: float, volume_l: float, flow_l_per_h: float, hours: float) -> float:
    """Salinity (or temperature without heat loss) after dripping into a vessel that spills over (b).

    Notes
    -----
    X = Xin - d0 exp(-Q t/V).

    Raises
    ------
    BadInput
        For a volume not above zero or a negative flow or time.

    References
    ----------
    Conservation of mass in a well-mixed vessel.

    Examples
    --------
    >>> round(overflowing(30.0, 35.0, 5.0, 3.0, 1.0), 6)
    32.255942
    """
    require_positive("volume, L", volume_l)
    turned = require_not_negative("drip, L/h", flow_l_per_h) * require_not_negative("time, h", hours) / volume_l
    return incoming - (incoming - start) * math.exp(-turned)


def growing_hours(gap: float, within: float, volume_l: float, flow_l_per_h: float) -> float:
    """Hours until a filling vessel is within a gap (a): (V0/Q)(d0/e - 1).

    Raises
    ------
    BadInput
        For anything not above zero, save the gap's sign, which does not matter.

    References
    ----------
    Inverse of :func:`growing`.

    Examples
    --------
    >>> round(growing_hours(5.0, 1.0, 5.0, 3.0), 6)
    6.666667
    """
    _flowing(within, volume_l, flow_l_per_h)
    return max(0.0, volume_l / flow_l_per_h * (abs(gap) / within - 1))


def overflowing_hours(gap: float, within: float, volume_l: float, flow_l_per_h: float) -> float:
    """Hours until an overflowing vessel is within a gap (b): (V/Q) ln(d0/e).

    Raises
    ------
    BadInput
        For anything not above zero, save the gap's sign, which does not matter.

    References
    ----------
    Inverse of :func:`overflowing`.

    Examples
    --------
    >>> round(overflowing_hours(5.0, 1.0, 5.0, 3.0), 6)
    2.682397
    """
    _flowing(within, volume_l, flow_l_per_h)
    return max(0.0, volume_l / flow_l_per_h * math.log(max(abs(gap), within) / within))


def _flowing(within: float, volume_l: float, flow_l_per_h: float) -> None:
    require_positive("gap to reach", within)
    require_positive("volume, L", volume_l)
    require_positive("drip, L/h", flow_l_per_h)


def exchanged(start: float, incoming: float, fraction: float, steps: int) -> float:
    """Salinity (or temperature) after taking out and replacing a fraction so many times (c).

    Notes
    -----
    X = Xin - d0 (1 - f)^n, fraction 0 to 1.

    Raises
    ------
    BadInput
        For a fraction outside 0 to 1 or a negative number of steps.

    References
    ----------
    Conservation of mass.

    Examples
    --------
    >>> exchanged(30.0, 35.0, 0.25, 2)
    32.1875
    """
    require_between("fraction exchanged", fraction, 0.0, 1.0)
    require_not_negative("steps", steps)
    return float(incoming - (incoming - start) * (1 - fraction) ** steps)


def largest_flow_l_per_h(rate_per_h: float, volume_l: float, gap: float) -> float:
    """Largest first drip that keeps to a rate limit, filling or overflowing: r V0/d0 (no bound without a gap).

    Raises
    ------
    BadInput
        For a rate or volume not above zero.

    References
    ----------
    Derivative of :func:`growing` and :func:`overflowing` at t = 0.

    Examples
    --------
    >>> largest_flow_l_per_h(1.0, 5.0, 5.0)
    1.0
    """
    if not rate_per_h > 0:
        raise BadInput(Finding("rate per h", f"{rate_per_h:g}", "a number above 0"))
    require_positive("volume, L", volume_l)
    return math.inf if gap == 0 else rate_per_h * volume_l / abs(gap)


def overflow_with_heat(
    start_c: float,
    incoming_c: float,
    room_c: float,
    *,
    turnover_per_h: float,
    heat_exchange_per_h: float,
    hours: float,
) -> float:
    """Temperature of an overflowing vessel that also loses heat to the room (e).

    Notes
    -----
    T∞ = (q Tin + k Ta)/(q + k), q = Q/V, and the gap to T∞ closes at q + k.  It may never reach the vat.

    Raises
    ------
    BadInput
        If nothing flows and no heat is exchanged.

    References
    ----------
    Heat balance with Newton cooling.

    Examples
    --------
    >>> round(overflow_with_heat(22, 26, 20, turnover_per_h=0.6, heat_exchange_per_h=0.5, hours=1000), 4)
    23.2727
    """
    both = require_positive("turnover plus heat exchange, per h", turnover_per_h + heat_exchange_per_h)
    final = (turnover_per_h * incoming_c + heat_exchange_per_h * room_c) / both
    return final + (start_c - final) * math.exp(-both * hours)


@dataclass(frozen=True, slots=True)
class Part:
    """One water poured into a blend: liters, °C, practical salinity."""

    volume_l: float
    temperature_c: float
    salinity_psu: float


def blend(parts: Sequence[Part]) -> Part:
    """Mix waters by mass, which is how salt is conserved.

    Notes
    -----
    1 L at S 30 and 1 L at S 35 give 32.5046, not 32.5.  Heat capacity is taken as equal.

    Raises
    ------
    BadInput
        If nothing is mixed or a volume is negative.
    OutOfRange
        Outside the range of the density.

    References
    ----------
    Conservation of mass; TEOS-10 densities.
    """
    masses = [require_not_negative("volume, L", p.volume_l) * density(p.temperature_c, p.salinity_psu) for p in parts]
    whole = require_positive("volume mixed, L", sum(masses))
    temperature = sum(m * p.temperature_c for m, p in zip(masses, parts, strict=True)) / whole
    salinity = sum(m * p.salinity_psu for m, p in zip(masses, parts, strict=True)) / whole
    return Part(whole / density(temperature, salinity), temperature, salinity)
