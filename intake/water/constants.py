"""Equilibrium constants of sea water as arrays: each with its formula, unit, pH scale, published range and source.

Every function takes kelvin and practical salinity (arrays of one shape) and gives mol per kg of sea water.  Nothing here
checks a range: the callers in :mod:`intake.water.carbonate` and :mod:`intake.water.ammonia` do, with the narrowest of them.
Ranges marked † are from memory of the papers.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Numbers",
    "ammonium",
    "bicarbonate",
    "bisulfate_free",
    "boric_acid",
    "carbonic_acid",
    "co2_fugacity_factor",
    "co2_solubility",
    "hydrogen_activity_factor",
    "hydrogen_fluoride_free",
    "total_boron",
    "total_fluoride",
    "total_sulfate",
    "water_seawater_scale",
]

Numbers = NDArray[np.float64]

#: Practical salinity per ‰ of chlorinity (Wooster, Lee & Dietrich 1969).
SALINITY_PER_CHLORINITY = 1.80655
#: cm³ bar / (mol K), CODATA 2018.
GAS_CONSTANT_CM3_BAR = 83.14462618
BAR_PER_ATMOSPHERE = 1.01325


def _ionic_strength(salinity: Numbers) -> Numbers:
    """Ionic strength, mol per kg of pure water.

    References
    ----------
    DOE 1994, ORNL/CDIAC-74, chapter 5.
    """
    return 19.924 * salinity / (1000 - 1.005 * salinity)


def _sea_water_per_pure_water(salinity: Numbers) -> Numbers:
    """Kg of pure water in a kg of sea water: turns a constant per kg of pure water into one per kg of sea water.

    References
    ----------
    DOE 1994, ORNL/CDIAC-74, chapter 5.
    """
    return 1 - 0.001005 * salinity


def total_boron(salinity: Numbers) -> Numbers:
    """Total boron, mol/kg.

    References
    ----------
    Uppström 1974, Deep-Sea Res. 21:161-162: 0.232 mg/kg per ‰ of chlorinity, 0.0004157 mol/kg at S 35.
    """
    return 0.0004157 * salinity / 35


def total_sulfate(salinity: Numbers) -> Numbers:
    """Total sulfate, mol/kg.

    References
    ----------
    Morris & Riley 1966, Deep-Sea Res. 13:699-705: 0.14 by mass of chlorinity, 96.062 g/mol.
    """
    return (0.14 / 96.062) * salinity / SALINITY_PER_CHLORINITY


def total_fluoride(salinity: Numbers) -> Numbers:
    """Total fluoride, mol/kg.

    References
    ----------
    Riley 1965, Deep-Sea Res. 12:219-220: 6.7e-5 by mass of chlorinity, 18.998 g/mol.
    """
    return (0.000067 / 18.998) * salinity / SALINITY_PER_CHLORINITY


def carbonic_acid(kelvin: Numbers, salinity: Numbers) -> Numbers:
    """First constant of carbonic acid, total scale; S 19 to 43, 2 to 35 °C.

    References
    ----------
    Lueker, Dickson & Keeling 2000, Mar. Chem. 70:105-119.
    """
    log = 3633.86 / kelvin - 61.2172 + 9.67770 * np.log(kelvin) - 0.011555 * salinity + 0.0001152 * salinity**2
    return np.asarray(10.0**-log)


def bicarbonate(kelvin: Numbers, salinity: Numbers) -> Numbers:
    """Second constant of carbonic acid, total scale; S 19 to 43, 2 to 35 °C.

    References
    ----------
    Lueker, Dickson & Keeling 2000, Mar. Chem. 70:105-119.
    """
    log = 471.78 / kelvin + 25.9290 - 3.16967 * np.log(kelvin) - 0.01781 * salinity + 0.0001122 * salinity**2
    return np.asarray(10.0**-log)


def boric_acid(kelvin: Numbers, salinity: Numbers) -> Numbers:
    """Constant of boric acid, total scale; S 5 to 45, 0 to 45 °C †.

    References
    ----------
    Dickson 1990, Deep-Sea Res. 37:755-766.
    """
    root = np.sqrt(salinity)
    ln = (
        (-8966.90 - 2890.53 * root - 77.942 * salinity + 1.728 * root * salinity - 0.0996 * salinity**2) / kelvin
        + 148.0248
        + 137.1942 * root
        + 1.62142 * salinity
        - (24.4344 + 25.085 * root + 0.2474 * salinity) * np.log(kelvin)
        + 0.053105 * root * kelvin
    )
    return np.asarray(np.exp(ln))


def water_seawater_scale(kelvin: Numbers, salinity: Numbers) -> Numbers:
    """Ion product of water, (mol/kg)², seawater scale; S 0 to 45, 0 to 45 °C †.

    References
    ----------
    Millero 1995, Geochim. Cosmochim. Acta 59:661-677.
    """
    log = np.log(kelvin)
    root = np.sqrt(salinity)
    ln = 148.9802 - 13847.26 / kelvin - 23.6521 * log - 0.01615 * salinity
    return np.asarray(np.exp(ln + (-5.977 + 118.67 / kelvin + 1.0495 * log) * root))


def bisulfate_free(kelvin: Numbers, salinity: Numbers) -> Numbers:
    """Constant of HSO4-, free scale; S 5 to 45, 0 to 45 °C †.

    References
    ----------
    Dickson 1990, J. Chem. Thermodyn. 22:113-127, eq. 22 and 23, given per kg of pure water.
    """
    strength, log = _ionic_strength(salinity), np.log(kelvin)
    root = np.sqrt(strength)
    ln = (
        -4276.1 / kelvin
        + 141.328
        - 23.093 * log
        + (-13856 / kelvin + 324.57 - 47.986 * log) * root
        + (35474 / kelvin - 771.54 + 114.723 * log) * strength
        - 2698 / kelvin * root * strength
        + 1776 / kelvin * strength**2
    )
    return np.asarray(np.exp(ln) * _sea_water_per_pure_water(salinity))


def hydrogen_fluoride_free(kelvin: Numbers, salinity: Numbers) -> Numbers:
    """Constant of HF, free scale; a fit on S 0, 26.7 and 34.6, 5 to 35 °C †.

    References
    ----------
    Dickson & Riley 1979, Mar. Chem. 7:89-99, given per kg of pure water.
    """
    ln = 1590.2 / kelvin - 12.641 + 1.525 * np.sqrt(_ionic_strength(salinity))
    return np.asarray(np.exp(ln) * _sea_water_per_pure_water(salinity))


def ammonium(kelvin: Numbers, salinity: Numbers) -> Numbers:
    """Constant of NH4+, total scale; S 0 to 40, -2 to 40 °C.

    References
    ----------
    Clegg & Whitfield 1995, Geochim. Cosmochim. Acta 59:2403-2421, eq. 18, given per kg of pure water.
    """
    root = np.sqrt(kelvin)
    log = (
        9.244605
        - 2729.33 * (1 / 298.15 - 1 / kelvin)
        + (0.04203362 - 11.24742 / kelvin) * salinity**0.25
        + (-13.6416 + 1.176949 * root - 0.02860785 * kelvin + 545.4834 / kelvin) * salinity**0.5
        + (-0.1462507 + 0.0090226468 * root - 0.0001471361 * kelvin + 10.5425 / kelvin) * salinity**1.5
        + (0.004669309 - 0.0001691742 * root - 0.5677934 / kelvin) * salinity**2
        + (-2.354039e-05 + 0.009698623 / kelvin) * salinity**2.5
    )
    return np.asarray(10.0**-log * _sea_water_per_pure_water(salinity))


def co2_solubility(kelvin: Numbers, salinity: Numbers) -> Numbers:
    """Solubility of CO2, mol/(kg atm) of fugacity; S 0 to 40, -1 to 40 °C †.

    References
    ----------
    Weiss 1974, Mar. Chem. 2:203-215.
    """
    hundredth = kelvin / 100
    ln = -60.2409 + 93.4517 / hundredth + 23.3585 * np.log(hundredth)
    return np.asarray(np.exp(ln + salinity * (0.023517 - 0.023656 * hundredth + 0.0047036 * hundredth**2)))


def co2_fugacity_factor(kelvin: Numbers) -> Numbers:
    """Fugacity of CO2 over its pressure, in air at 1 atm.

    References
    ----------
    Weiss 1974, Mar. Chem. 2:203-215: virial coefficients of CO2 and of CO2 with air, cm³/mol.
    """
    virial = -1636.75 + 12.0408 * kelvin - 0.0327957 * kelvin**2 + 3.16528e-5 * kelvin**3
    with_air = 57.7 - 0.118 * kelvin
    return np.asarray(np.exp((virial + 2 * with_air) * BAR_PER_ATMOSPHERE / (GAS_CONSTANT_CM3_BAR * kelvin)))


def hydrogen_activity_factor(kelvin: Numbers, salinity: Numbers) -> Numbers:
    """Hydrogen activity read on NBS buffers over its concentration on the seawater scale; no range published.

    References
    ----------
    Takahashi et al. 1982, GEOSECS Pacific Expedition vol. 3, chapter 3.
    """
    return 1.2948 - 0.002036 * kelvin + (0.0004607 - 0.000001475 * kelvin) * salinity**2
