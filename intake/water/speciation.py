"""Solves whole tables of sea waters at once: pH from alkalinity and carbon by a bracketed Newton search.

Alkalinity rises with pH everywhere, whether the carbon or the CO2 pressure is held, so one bracket holds one answer.
Arrays have one shape, a row for each water; amounts are mol per kg of sea water, pressures atm, pH on the total scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from intake.water import constants
from intake.water.constants import Numbers

__all__ = ["Chemistry", "Solved", "chemistry", "pH_from_carbon", "pH_from_pressure", "pH_shift", "pH_shifts", "solved"]

#: pH, total scale, between which an answer is sought; at 16 the hydroxide alone is some hundred mol/kg.
PH_LOW, PH_HIGH = 0.0, 16.0
#: pH at which the search stops, a millionth of what a meter shows.
PH_CLOSE = 1e-11
#: Newton steps at most; halving alone needs 41 from 16 pH down to PH_CLOSE.
STEPS = 100
LN_10 = float(np.log(10.0))
KELVIN_AT_0_C = 273.15


@dataclass(frozen=True, slots=True)
class Chemistry:
    """What temperature and salinity alone decide, total scale; ``total_per_free`` and ``total_per_seawater`` turn scales."""

    boron: Numbers
    sulfate: Numbers
    fluoride: Numbers
    carbonic: Numbers
    bicarbonate: Numbers
    boric: Numbers
    water: Numbers
    bisulfate: Numbers
    hydrogen_fluoride: Numbers
    ammonium: Numbers
    per_atm: Numbers
    activity: Numbers
    total_per_free: Numbers
    total_per_seawater: Numbers

    def rows(self, chosen: NDArray[np.bool_]) -> Chemistry:
        """The same for the chosen rows only."""
        return Chemistry(*(getattr(self, field.name)[chosen] for field in fields(self)))


@dataclass(frozen=True, slots=True)
class Solved:
    """Waters at equilibrium: mol/kg and atm."""

    carbon: Numbers
    pressure: Numbers
    co2: Numbers
    nh3: Numbers


def chemistry(temperature_c: Numbers, salinity: Numbers) -> Chemistry:
    """The constants of waters of this temperature, °C, and practical salinity at the surface.

    Notes
    -----
    The total scale counts the hydrogen bound to sulfate, the seawater scale that bound to fluoride too.

    References
    ----------
    :mod:`intake.water.constants`, each with its own; scales as in Dickson, Sabine & Christian 2007, PICES 3, chapter 2.
    """
    kelvin = temperature_c + KELVIN_AT_0_C
    sulfate, fluoride = constants.total_sulfate(salinity), constants.total_fluoride(salinity)
    bisulfate = constants.bisulfate_free(kelvin, salinity)
    hydrogen_fluoride = constants.hydrogen_fluoride_free(kelvin, salinity)
    total_per_free = 1 + sulfate / bisulfate
    total_per_seawater = total_per_free / (total_per_free + fluoride / hydrogen_fluoride)
    return Chemistry(
        boron=constants.total_boron(salinity),
        sulfate=sulfate,
        fluoride=fluoride,
        carbonic=constants.carbonic_acid(kelvin, salinity),
        bicarbonate=constants.bicarbonate(kelvin, salinity),
        boric=constants.boric_acid(kelvin, salinity),
        water=constants.water_seawater_scale(kelvin, salinity) * total_per_seawater,
        bisulfate=bisulfate,
        hydrogen_fluoride=hydrogen_fluoride,
        ammonium=constants.ammonium(kelvin, salinity),
        per_atm=constants.co2_solubility(kelvin, salinity) * constants.co2_fugacity_factor(kelvin),
        activity=constants.hydrogen_activity_factor(kelvin, salinity),
        total_per_free=total_per_free,
        total_per_seawater=total_per_seawater,
    )


def pH_shift(of: Chemistry, scale: str) -> Numbers:  # noqa: N802 - pH is written so
    """What to add to a pH on the total scale to read it on another: total, seawater, free or nbs.

    References
    ----------
    As :func:`chemistry`; NBS through the activity factor of Takahashi et al. 1982.
    """
    factors = {
        "total": np.ones_like(of.boron),
        "seawater": of.total_per_seawater,
        "free": of.total_per_free,
        "nbs": of.total_per_seawater / of.activity,
    }
    return np.asarray(np.log10(factors[scale]))


def pH_shifts(of: Chemistry, scales: Sequence[str]) -> Numbers:  # noqa: N802
    """As :func:`pH_shift` with a scale for each row.

    References
    ----------
    As :func:`pH_shift`.
    """
    shifts = {scale: pH_shift(of, scale) for scale in set(scales)}
    return np.array([shifts[scale][row] for row, scale in enumerate(scales)])


def _other_alkalinity(of: Chemistry, ammonia: Numbers, hydrogen: Numbers) -> tuple[Numbers, Numbers]:
    """Alkalinity that is no carbon's, and how fast it rises with pH (both mol/kg, the second per pH)."""
    free = hydrogen / of.total_per_free
    hydroxide = of.water / hydrogen
    amount, slope = hydroxide - free, hydroxide + free
    for total, constant in ((of.boron, of.boric), (ammonia, of.ammonium)):
        amount = amount + total * constant / (constant + hydrogen)
        slope = slope + total * constant * hydrogen / (constant + hydrogen) ** 2
    for total, constant in ((of.sulfate, of.bisulfate), (of.fluoride, of.hydrogen_fluoride)):
        amount = amount - total * free / (constant + free)
        slope = slope + total * constant * free / (constant + free) ** 2
    return amount, slope * LN_10


def _carbon_alkalinity(of: Chemistry, carbon: Numbers, hydrogen: Numbers) -> tuple[Numbers, Numbers]:
    """Alkalinity of bicarbonate and carbonate when the carbon is held, and how fast it rises with pH."""
    first, both = of.carbonic * hydrogen, of.carbonic * of.bicarbonate
    whole = hydrogen**2 + first + both
    rise = first * (hydrogen**2 + 4 * of.bicarbonate * hydrogen + both)
    return carbon * (first + 2 * both) / whole, LN_10 * carbon * rise / whole**2


def _pressure_alkalinity(of: Chemistry, co2: Numbers, hydrogen: Numbers) -> tuple[Numbers, Numbers]:
    """Alkalinity of bicarbonate and carbonate when the dissolved CO2 is held, and how fast it rises with pH."""
    once = co2 * of.carbonic / hydrogen
    twice = once * of.bicarbonate / hydrogen
    return once + 2 * twice, LN_10 * (once + 4 * twice)


def pH_from_carbon(of: Chemistry, alkalinity: Numbers, carbon: Numbers, ammonia: Numbers) -> Numbers:  # noqa: N802
    """The pH at which waters of this carbon and total ammonia have this alkalinity; ArithmeticError if none from 0 to 16.

    References
    ----------
    Definition of total alkalinity (Dickson 1981) solved by Newton's method kept within a bracket.
    """
    return _search(of, alkalinity, carbon, ammonia, held_carbon=True)


def pH_from_pressure(of: Chemistry, alkalinity: Numbers, pressure: Numbers, ammonia: Numbers) -> Numbers:  # noqa: N802
    """The same where the CO2 pressure is held, as in balance with air; ArithmeticError if none from 0 to 16.

    References
    ----------
    As :func:`pH_from_carbon`.
    """
    return _search(of, alkalinity, pressure * of.per_atm, ammonia, held_carbon=False)


def _search(of: Chemistry, alkalinity: Numbers, held: Numbers, ammonia: Numbers, *, held_carbon: bool) -> Numbers:
    part = _carbon_alkalinity if held_carbon else _pressure_alkalinity

    def above(ph: Numbers) -> tuple[Numbers, Numbers]:
        hydrogen = 10.0**-ph
        carbonate, carbonate_slope = part(of, held, hydrogen)
        other, other_slope = _other_alkalinity(of, ammonia, hydrogen)
        return carbonate + other - alkalinity, carbonate_slope + other_slope

    low, high = np.full_like(alkalinity, PH_LOW), np.full_like(alkalinity, PH_HIGH)
    if np.any(above(low)[0] > 0) or np.any(above(high)[0] < 0):
        raise ArithmeticError("no pH from 0 to 16 gives this alkalinity")
    ph = (low + high) / 2
    for _ in range(STEPS):
        excess, slope = above(ph)
        low, high = np.where(excess <= 0, ph, low), np.where(excess >= 0, ph, high)
        newton = ph - excess / slope
        inside = (low < newton) & (newton < high)
        step = np.where(excess == 0, ph, np.where(inside, newton, (low + high) / 2))
        done = bool(np.all(np.abs(step - ph) < PH_CLOSE))
        ph = step
        if done:
            break
    return ph


def solved(of: Chemistry, alkalinity: Numbers, ammonia: Numbers, ph: Numbers) -> Solved:
    """Carbon, CO2 and NH3 of waters whose alkalinity, total ammonia and pH are known.

    Notes
    -----
    The carbon is negative where alkalinity is lower than what the other bases alone take at this pH; callers refuse that.

    References
    ----------
    Mass action; Weiss 1974 for the pressure.
    """
    hydrogen = 10.0**-ph
    carbonate = alkalinity - _other_alkalinity(of, ammonia, hydrogen)[0]
    co2 = carbonate * hydrogen**2 / (of.carbonic * (hydrogen + 2 * of.bicarbonate))
    carbon = co2 * (1 + of.carbonic / hydrogen * (1 + of.bicarbonate / hydrogen))
    return Solved(carbon, co2 / of.per_atm, co2, ammonia * of.ammonium / (of.ammonium + hydrogen))
