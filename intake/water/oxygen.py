"""Oxygen that water holds in balance with air, by mass per liter and by amount per kilogram."""

from __future__ import annotations

import math

from intake.water.ranges import PublishedRange

__all__ = [
    "OXYGEN_AMOUNT_SOURCE",
    "OXYGEN_MASS_SOURCE",
    "oxygen_mg_per_l",
    "oxygen_umol_per_kg",
    "pressure_factor",
]

OXYGEN_MASS_SOURCE = "Benson & Krause 1984 (mg/L form; 0 to 40 C, S 0 to 40)"
OXYGEN_AMOUNT_SOURCE = "Garcia & Gordon 1992, Benson-Krause fit (check value 274.610 at 10 C, S 35)"

_TEMPERATURE = PublishedRange("temperature in °C", 0.0, 40.0, "Benson & Krause 1984")
_SALINITY = PublishedRange("salinity (PSS-78)", 0.0, 40.0, "Benson & Krause 1984")
_PRESSURE = PublishedRange(
    "pressure in atm", 0.5, 1.1, "Benson & Krause 1984, pressures of lakes and shores, from memory"
)

_MASS_TERMS = (-139.34411, 1.575701e5, -6.642308e7, 1.243800e10, -8.621949e11)
_AMOUNT_A = (5.80871, 3.20291, 4.17887, 5.10006, -9.86643e-2, 3.80369)
_AMOUNT_B = (-7.01577e-3, -7.70028e-3, -1.13864e-2, -9.51519e-3)
_AMOUNT_C = -2.75915e-7


def _check(temperature_c: float, salinity_psu: float, pressure_atm: float) -> None:
    _TEMPERATURE.check(temperature_c)
    _SALINITY.check(salinity_psu)
    _PRESSURE.check(pressure_atm)


def pressure_factor(temperature_c: float, salinity_psu: float, pressure_atm: float) -> float:
    """Share of the sea-level saturation that remains at another air pressure (1 at 1 atm).

    Notes
    -----
    P (1 - Pwv/P)(1 - θP) / ((1 - Pwv)(1 - θ)), with θ = 9.75e-4 - 1.426e-5 t + 6.436e-8 t²; temperature 0 to 40 °C,
    salinity 0 to 40, pressure in atm of wet air.

    Raises
    ------
    OutOfRange
        Outside those ranges.

    References
    ----------
    Benson & Krause 1984; vapour pressure of sea water: Green & Carritt 1967.

    Examples
    --------
    >>> round(pressure_factor(25.0, 35.0, 1.0), 12)
    1.0
    """
    _check(temperature_c, salinity_psu, pressure_atm)
    ratio = 373.16 / (temperature_c + 273.15)
    vapour = (1 - 5.37e-4 * salinity_psu) * math.exp(
        18.1973 * (1 - ratio)
        + 3.1813e-7 * (1 - math.exp(26.1205 * (1 - 1 / ratio)))
        - 1.8726e-2 * (1 - math.exp(8.03945 * (1 - ratio)))
        + 5.02802 * math.log(ratio)
    )
    theta = 9.75e-4 - 1.426e-5 * temperature_c + 6.436e-8 * temperature_c**2
    lowered = pressure_atm * (1 - vapour / pressure_atm) * (1 - theta * pressure_atm)
    return lowered / ((1 - vapour) * (1 - theta))


def oxygen_mg_per_l(temperature_c: float, salinity_psu: float, pressure_atm: float = 1.0) -> float:
    """Oxygen at saturation in mg/L.

    Notes
    -----
    ln C = -139.34411 + 1.575701e5/K - 6.642308e7/K² + 1.243800e10/K³ - 8.621949e11/K⁴
    - S (0.017674 - 10.754/K + 2140.7/K²), K = t + 273.15; 0 to 40 °C, salinity 0 to 40.

    Raises
    ------
    OutOfRange
        Outside the published range.

    References
    ----------
    Benson & Krause 1984, Limnol. Oceanogr. 29:620-632; agrees with EN 25814 within its rounding from 16 to 30 °C.

    Examples
    --------
    >>> round(oxygen_mg_per_l(26.0, 35.0), 3)
    6.659
    """
    factor = pressure_factor(temperature_c, salinity_psu, pressure_atm)
    kelvin = temperature_c + 273.15
    fresh = sum(term / kelvin**power for power, term in enumerate(_MASS_TERMS))
    return math.exp(fresh - salinity_psu * (0.017674 - 10.754 / kelvin + 2140.7 / kelvin**2)) * factor


def oxygen_umol_per_kg(temperature_c: float, salinity_psu: float, pressure_atm: float = 1.0) -> float:
    """Oxygen at saturation in µmol per kg of water.

    Notes
    -----
    ln C = Σ Aᵢ Tsⁱ + S Σ Bᵢ Tsⁱ + C₀ S², Ts = ln((298.15 - t)/(273.15 + t)), without the spurious "A₃ Ts²" of the
    printed equation 8.  The temperature goes in as read, as in the published check value; converting from ITS-90 to
    IPTS-68 first, as gsw does, lowers the result by 0.005 %.

    Raises
    ------
    OutOfRange
        Outside 0 to 40 °C or salinity 0 to 40.

    References
    ----------
    Garcia & Gordon 1992, Limnol. Oceanogr. 37:1307-1312, coefficients of the Benson-Krause fit.

    Examples
    --------
    >>> round(oxygen_umol_per_kg(10.0, 35.0), 2)
    274.61
    """
    factor = pressure_factor(temperature_c, salinity_psu, pressure_atm)
    scaled = math.log((298.15 - temperature_c) / (273.15 + temperature_c))
    fresh = sum(a * scaled**power for power, a in enumerate(_AMOUNT_A))
    salt = sum(b * scaled**power for power, b in enumerate(_AMOUNT_B))
    return math.exp(fresh + salinity_psu * salt + _AMOUNT_C * salinity_psu**2) * factor
