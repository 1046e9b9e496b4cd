"""Salt and dosing arithmetic: how much to weigh, pour or top up, and how much a tank holds.

ppm means mg/L here, never per mass; a liquid's ppm is µL/L and its density must be asked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from intake.errors import BadInput, Finding
from intake.water.ranges import require_between, require_not_negative, require_positive
from intake.water.salinity import density
from intake.water.seawater import reference_salinity

__all__ = [
    "DOSE_SOURCE",
    "SALT_SOURCE",
    "SaltMix",
    "dose_grams",
    "fresh_water_to_lower_l",
    "salt_for",
    "salt_to_raise_kg",
    "stock_ml",
    "tank_litres_cylinder",
    "tank_litres_frustum",
    "tank_litres_oval",
    "tank_litres_rectangle",
]

SALT_SOURCE = "anhydrous sea salt by mass: TEOS-10 density and reference salinity 35.16504/35"
DOSE_SOURCE = "grams = liters x mg/L / 1000 x 100 / active percent"


@dataclass(frozen=True, slots=True)
class SaltMix:
    """What to weigh and pour for a volume of finished sea water.

    Attributes
    ----------
    salt_kg
        Salt as it comes from the sack, moisture factor included.
    fresh_water_l
        Fresh water at the same temperature.
    salt_g_per_l
        Grams of that salt per liter of finished water.
    """

    salt_kg: float
    fresh_water_l: float
    salt_g_per_l: float


def salt_for(litres: float, salinity_psu: float, temperature_c: float, moisture_factor: float = 1.0) -> SaltMix:
    """Salt and fresh water for so many liters of finished water.

    Notes
    -----
    M = V ρ(SP, t); salt = M SR/1000; the rest is water.  ``moisture_factor`` is kg of the mix per kg of anhydrous salt
    (1 or more, to be measured by the user; no published figure), and its extra mass is water that need not be poured.

    Raises
    ------
    BadInput
        For a volume not above zero or a factor below 1.
    OutOfRange
        Outside -2 to 40 °C or salinity 0 to 42.

    References
    ----------
    TEOS-10 (density; SR = 35.16504/35 × SP).

    Examples
    --------
    >>> mix = salt_for(100.0, 35.0, 25.0)
    >>> round(mix.salt_kg, 4), round(mix.fresh_water_l, 3)
    (3.5986, 99.028)
    """
    require_positive("litres", litres)
    require_between("moisture factor", moisture_factor, 1.0, 2.0)
    mass = litres / 1000 * density(temperature_c, salinity_psu)
    salt = mass * reference_salinity(salinity_psu) / 1000 * moisture_factor
    return SaltMix(salt, (mass - salt) / density(temperature_c, 0.0) * 1000, salt * 1000 / litres)


def salt_to_raise_kg(
    litres: float, from_psu: float, to_psu: float, temperature_c: float, moisture_factor: float = 1.0
) -> float:
    """Salt to stir into water already there to raise its salinity; the volume grows a little.

    Notes
    -----
    M1 (SR2 - SR1)/(1000 - SR2) for anhydrous salt; a damp mix brings water too: M1 (SR2 - SR1)/(1000/f - SR2).

    Raises
    ------
    BadInput
        If the goal is not above the start, or for a factor below 1.
    OutOfRange
        Outside the range of the density.

    References
    ----------
    Conservation of mass; TEOS-10.

    Examples
    --------
    >>> round(salt_to_raise_kg(1000.0, 33.0, 35.0, 25.0), 4)
    2.1281
    """
    require_positive("litres", litres)
    require_between("moisture factor", moisture_factor, 1.0, 2.0)
    if not to_psu > from_psu:
        raise BadInput(
            Finding("salinity to reach", f"{to_psu:g}", f"above {from_psu:g}", "To lower it add fresh water.")
        )
    mass = litres / 1000 * density(temperature_c, from_psu)
    density(temperature_c, to_psu)
    goal = reference_salinity(to_psu)
    return mass * (goal - reference_salinity(from_psu)) / (1000 / moisture_factor - goal)


def fresh_water_to_lower_l(litres: float, from_psu: float, to_psu: float, temperature_c: float) -> float:
    """Fresh water to add, nothing taken out, to lower salinity; by mass, so a little more than C1V1 says.

    Raises
    ------
    BadInput
        If the goal is not below the start or is zero.
    OutOfRange
        Outside the range of the density.

    References
    ----------
    Conservation of mass; TEOS-10.

    Examples
    --------
    >>> round(fresh_water_to_lower_l(1000.0, 36.0, 35.0, 25.0), 3)
    29.347
    """
    require_positive("litres", litres)
    if not 0 < to_psu < from_psu:
        raise BadInput(Finding("salinity to reach", f"{to_psu:g}", f"above 0 and below {from_psu:g}"))
    mass = litres / 1000 * density(temperature_c, from_psu)
    return mass * (from_psu / to_psu - 1) / density(temperature_c, 0.0) * 1000


def dose_grams(litres: float, mg_per_l: float, active_percent: float = 100.0) -> float:
    """Grams of product to weigh for a bath of so many mg/L (ppm) of active substance.

    Raises
    ------
    BadInput
        For a volume not above zero, a negative strength, or an active share outside 0 to 100 %.

    References
    ----------
    Virginia DWR, Formulas for determining application rates: V × factor × ppm × 100/% active.

    Examples
    --------
    >>> dose_grams(250.0, 20.0, 80.0)
    6.25
    """
    require_positive("litres", litres)
    require_not_negative("mg per L", mg_per_l)
    if not 0 < active_percent <= 100:
        raise BadInput(Finding("active percent", f"{active_percent:g}", "above 0 and at most 100"))
    return litres * mg_per_l / 1000 * 100 / active_percent


def stock_ml(litres: float, mg_per_l: float, stock_g_per_l: float) -> float:
    """Millilitres of stock solution for a bath: C1 V1 = C2 V2.

    Raises
    ------
    BadInput
        For a volume or stock not above zero, or a bath stronger than its stock.

    References
    ----------
    Conservation of mass.

    Examples
    --------
    >>> stock_ml(250.0, 5.0, 10.0)
    125.0
    """
    require_positive("litres", litres)
    require_not_negative("mg per L", mg_per_l)
    require_positive("stock, g/L", stock_g_per_l)
    if mg_per_l > stock_g_per_l * 1000:
        raise BadInput(
            Finding("stock, g/L", f"{stock_g_per_l:g}", f"at least {mg_per_l / 1000:g}, the bath's strength")
        )
    return litres * mg_per_l / stock_g_per_l


def tank_litres_rectangle(length_cm: float, width_cm: float, depth_cm: float) -> float:
    """Liters in a rectangular tank filled to a depth, inside measures in cm.

    Raises
    ------
    BadInput
        For a measure not above zero.

    References
    ----------
    Geometry.

    Examples
    --------
    >>> tank_litres_rectangle(100.0, 50.0, 40.0)
    200.0
    """
    return _sides(length_cm, width_cm, depth_cm) / 1000


def tank_litres_cylinder(diameter_cm: float, depth_cm: float) -> float:
    """Liters in a round tank filled to a depth, inside measures in cm.

    Raises
    ------
    BadInput
        For a measure not above zero.

    References
    ----------
    Geometry.
    """
    return math.pi / 4 * _sides(diameter_cm, diameter_cm, depth_cm) / 1000


def tank_litres_oval(length_cm: float, width_cm: float, depth_cm: float) -> float:
    """Liters in an elliptic tank filled to a depth, inside measures in cm.

    Raises
    ------
    BadInput
        For a measure not above zero.

    References
    ----------
    Geometry.
    """
    return math.pi / 4 * _sides(length_cm, width_cm, depth_cm) / 1000


def tank_litres_frustum(top_diameter_cm: float, bottom_diameter_cm: float, depth_cm: float) -> float:
    """Liters in a round tub that narrows downwards; a bottom diameter of 0 is a cone.

    Raises
    ------
    BadInput
        For a top or depth not above zero or a negative bottom.

    References
    ----------
    Geometry: π h (R² + R r + r²)/3.
    """
    require_positive("top diameter, cm", top_diameter_cm)
    require_not_negative("bottom diameter, cm", bottom_diameter_cm)
    top, bottom = top_diameter_cm / 2, bottom_diameter_cm / 2
    return math.pi * require_positive("depth, cm", depth_cm) * (top**2 + top * bottom + bottom**2) / 3 / 1000


def _sides(length_cm: float, width_cm: float, depth_cm: float) -> float:
    for where, value in (("length, cm", length_cm), ("width, cm", width_cm), ("depth, cm", depth_cm)):
        require_positive(where, value)
    return length_cm * width_cm * depth_cm
