"""The one door to gsw (TEOS-10): density, reference salinity and conductivity as plain typed functions.

Nothing here checks a range; the callers do, because the ranges belong to their formulas.
"""

from __future__ import annotations

__all__ = ["conductivity_raw", "density_raw", "practical_salinity_raw", "reference_salinity"]

#: g of sea salt per kg of sea water for each unit of practical salinity (TEOS-10 uPS; Millero et al. 2008).
REFERENCE_PER_PRACTICAL = 35.16504 / 35.0


def reference_salinity(salinity_psu: float) -> float:
    """Turn practical salinity into grams of salt per kilogram of sea water.

    References
    ----------
    TEOS-10 manual (IOC, SCOR, IAPSO 2010), eq. 2.4.1: SR = 35.16504/35 × SP.

    Examples
    --------
    >>> round(reference_salinity(35.0), 5)
    35.16504
    """
    return salinity_psu * REFERENCE_PER_PRACTICAL


def density_raw(temperature_c: float, salinity_psu: float, pressure_dbar: float = 0.0) -> float:
    """Density in kg/m³ by TEOS-10 with reference salinity, as no place on the ocean is meant.

    Notes
    -----
    Temperature is in-situ, ITS-90; pressure is sea pressure (0 at the surface).

    References
    ----------
    Roquet et al. 2015, 75-term polynomial, as in gsw.rho.
    """
    import gsw

    salt = reference_salinity(salinity_psu)
    return float(gsw.rho(salt, gsw.CT_from_t(salt, temperature_c, pressure_dbar), pressure_dbar))


def practical_salinity_raw(conductivity_ms_per_cm: float, temperature_c: float, pressure_dbar: float = 0.0) -> float:
    """Practical salinity from conductivity in mS/cm (never S/m) and ITS-90 temperature.

    References
    ----------
    PSS-78: UNESCO 1983, Technical Papers in Marine Science 44, as in gsw.SP_from_C.
    """
    import gsw

    return float(gsw.SP_from_C(conductivity_ms_per_cm, temperature_c, pressure_dbar))


def conductivity_raw(salinity_psu: float, temperature_c: float, pressure_dbar: float = 0.0) -> float:
    """Conductivity in mS/cm from practical salinity and ITS-90 temperature.

    References
    ----------
    PSS-78: UNESCO 1983, Technical Papers in Marine Science 44, as in gsw.C_from_SP.
    """
    import gsw

    return float(gsw.C_from_SP(salinity_psu, temperature_c, pressure_dbar))
