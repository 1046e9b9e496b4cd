"""The one door to PyCO2SYS: the carbonate and ammonia equilibria of sea water with every option said aloud.

Options: Lueker et al. 2000 carbonic constants (10), Uppström 1974 boron (1), Dickson 1990 bisulfate (1), Dickson &
Riley 1979 fluoride (1).  The default for the first differs between releases of the library, so none is left to it; its
fresh-water option (8) ignores ammonia and is never used.  Nothing here checks a range; the callers do.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

__all__ = ["PH_SCALES", "AmmoniaConstant", "KnownWater", "PhScale", "SolvedWater", "ammonia_constant", "solve_waters"]

PhScale = Literal["nbs", "total", "seawater", "free"]
PH_SCALES: tuple[PhScale, ...] = ("nbs", "total", "seawater", "free")

_SCALE_CODE: dict[str, int] = {"total": 1, "seawater": 2, "free": 3, "nbs": 4}
_KIND_CODE: dict[str, int] = {"dic": 2, "ph": 3, "pco2": 4}
_OPTIONS = {
    "opt_k_carbonic": 10,
    "opt_total_borate": 1,
    "opt_k_bisulfate": 1,
    "opt_k_fluoride": 1,
    "opt_gas_constant": 3,
    "opt_buffers_mode": 0,
}


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


@dataclass(frozen=True, slots=True)
class AmmoniaConstant:
    """The stoichiometric constant of NH4+ on one pH scale (mol/kg sea water), and the pH on two scales."""

    k_ammonia: float
    ph_total: float
    ph_nbs: float


@lru_cache(maxsize=512)
def solve_waters(waters: tuple[KnownWater, ...]) -> tuple[SolvedWater, ...]:
    """Solve any number of waters in one call, for a call costs the same for one as for fifty.

    References
    ----------
    Humphreys et al. 2022, Geosci. Model Dev. 15:15-43 (PyCO2SYS); Lueker et al. 2000, Mar. Chem. 70:105-119.
    """
    if not waters:
        return ()
    import numpy as np
    import PyCO2SYS

    solved = PyCO2SYS.sys(
        par1=np.array([w.alkalinity_umol_per_kg for w in waters], dtype=float),
        par1_type=1,
        par2=np.array([w.second for w in waters], dtype=float),
        par2_type=np.array([_KIND_CODE[w.second_kind] for w in waters]),
        opt_pH_scale=np.array([_SCALE_CODE[w.ph_scale] for w in waters]),
        temperature=np.array([w.temperature_c for w in waters], dtype=float),
        salinity=np.array([w.salinity_psu for w in waters], dtype=float),
        total_ammonia=np.array([w.tan_umol_per_kg for w in waters], dtype=float),
        **_OPTIONS,
    )
    keys = ("dic", "pCO2", "pH_total", "pH_nbs", "CO2", "NH3")
    columns = [np.broadcast_to(solved[key], (len(waters),)) for key in keys]
    return tuple(SolvedWater(*(float(column[row]) for column in columns)) for row in range(len(waters)))


@lru_cache(maxsize=2048)
def ammonia_constant(temperature_c: float, salinity_psu: float, ph: float, ph_scale: PhScale) -> AmmoniaConstant:
    """The constant of NH4+ on the scale the pH was read on, per kg of sea water.

    References
    ----------
    Clegg & Whitfield 1995, Geochim. Cosmochim. Acta 59:2403-2421, eq. 18, times (1 - 0.001005 S) as in PyCO2SYS.
    """
    import PyCO2SYS

    solved = PyCO2SYS.sys(
        par1=ph,
        par1_type=3,
        opt_pH_scale=_SCALE_CODE[ph_scale],
        temperature=temperature_c,
        salinity=salinity_psu,
        **_OPTIONS,
    )
    return AmmoniaConstant(float(solved["k_ammonia"]), float(solved["pH_total"]), float(solved["pH_nbs"]))
