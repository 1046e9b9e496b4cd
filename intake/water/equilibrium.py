"""Carbonate and ammonia equilibria of sea water, water by water: the door to the arrays of ``speciation``.

Constants: Lueker et al. 2000 carbonic acid, Uppström 1974 boron, Dickson 1990 boric acid and bisulfate, Dickson & Riley
1979 fluoride, Millero 1995 water, Weiss 1974 CO2, Clegg & Whitfield 1995 ammonium.  Nothing here checks a range; the
callers do.  Arrays are loaded with the first water solved, not with this module.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from intake.water.constants import Numbers

__all__ = ["PH_SCALES", "KnownWater", "PhScale", "SolvedWater", "ammonium_constant", "solve_waters"]

PhScale = Literal["nbs", "total", "seawater", "free"]
PH_SCALES: tuple[PhScale, ...] = ("nbs", "total", "seawater", "free")


@dataclass(frozen=True, slots=True)
class KnownWater:
    """What is known of one sea water before it is solved.

    Attributes
    ----------
    temperature_c, salinity_psu
        In °C and practical salinity.
    alkalinity_umol_per_kg
        Total alkalinity, µmol/kg, ammonia included.
    second, second_kind
        The other known: ``dic`` µmol/kg, ``pco2`` µatm, or ``ph`` on ``ph_scale``.
    tan_umol_per_kg
        Total ammonia (NH3 and NH4+), µmol/kg.
    ph_scale
        Scale of a pH given as second; no matter otherwise.
    """

    temperature_c: float
    salinity_psu: float
    alkalinity_umol_per_kg: float
    second: float
    second_kind: Literal["dic", "ph", "pco2"]
    tan_umol_per_kg: float = 0.0
    ph_scale: PhScale = "total"


@dataclass(frozen=True, slots=True)
class SolvedWater:
    """One sea water at equilibrium: concentrations in µmol/kg, pCO2 in µatm, pH on two scales."""

    dic_umol_per_kg: float
    pco2_uatm: float
    ph_total: float
    ph_nbs: float
    co2_umol_per_kg: float
    nh3_umol_per_kg: float


@lru_cache(maxsize=512)
def solve_waters(waters: tuple[KnownWater, ...]) -> tuple[SolvedWater, ...]:
    """Solve any number of waters in one call, for a call costs nearly the same for one as for fifty.

    Raises
    ------
    ArithmeticError
        If no pH from 0 to 16 gives the alkalinity.

    References
    ----------
    :mod:`intake.water.speciation`; checked against PyCO2SYS 1.8.3.4 (Humphreys et al. 2022) in the tests.
    """
    if not waters:
        return ()
    import numpy as np

    from intake.water import speciation

    def column(name: str, unit: float = 1.0) -> Numbers:
        return np.array([getattr(water, name) for water in waters], dtype=np.float64) * unit

    of = speciation.chemistry(column("temperature_c"), column("salinity_psu"))
    alkalinity, ammonia = column("alkalinity_umol_per_kg", 1e-6), column("tan_umol_per_kg", 1e-6)
    second = column("second")
    ph = np.empty_like(second)
    for kind in {water.second_kind for water in waters}:
        rows = np.array([water.second_kind == kind for water in waters])
        part = of.rows(rows)
        if kind == "ph":
            scales = [water.ph_scale for water in waters if water.second_kind == kind]
            ph[rows] = second[rows] - speciation.pH_shifts(part, scales)
        else:
            search = speciation.pH_from_carbon if kind == "dic" else speciation.pH_from_pressure
            ph[rows] = search(part, alkalinity[rows], second[rows] * 1e-6, ammonia[rows])
    parts = speciation.solved(of, alkalinity, ammonia, ph)
    nbs = ph + speciation.pH_shift(of, "nbs")
    columns = (parts.carbon * 1e6, parts.pressure * 1e6, ph, nbs, parts.co2 * 1e6, parts.nh3 * 1e6)
    return tuple(SolvedWater(*map(float, row)) for row in zip(*columns, strict=True))


@lru_cache(maxsize=2048)
def ammonium_constant(temperature_c: float, salinity_psu: float, ph_scale: PhScale) -> float:
    """The constant of NH4+, mol per kg of sea water, on the scale a pH was read on.

    References
    ----------
    Clegg & Whitfield 1995, Geochim. Cosmochim. Acta 59:2403-2421, eq. 18, times (1 - 0.001005 S).
    """
    import numpy as np

    from intake.water import speciation

    of = speciation.chemistry(np.array([temperature_c]), np.array([salinity_psu]))
    return float((of.ammonium * 10.0 ** -speciation.pH_shift(of, ph_scale))[0])
