"""The one door to PyCO2SYS: the carbonate and ammonia equilibria of sea water with every option said aloud.

Options: Lueker et al. 2000 carbonic constants (10), Uppström 1974 boron (1), Dickson 1990 bisulfate (1), Dickson &
Riley 1979 fluoride (1).  The default for the first differs between releases of the library, so none is left to it; its
fresh-water option (8) ignores ammonia and is never used.  Nothing here checks a range; the callers do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

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
    from PyCO2SYS import convert, equilibria, salts, solve

    # The library's own front door goes on to differentiate CO2 by temperature, which takes four fifths of its time and
    # which nobody here reads; these are its inner steps in its own order, and a test holds the two to the same digits.
    known = {name: _column([getattr(w, name) for w in waters]) for name in _COLUMNS}
    scale, kind = (
        _column([_SCALE_CODE[w.ph_scale] for w in waters]),
        _column([_KIND_CODE[w.second_kind] for w in waters]),
    )
    of = _OPTIONS
    totals = salts.assemble(
        known["salinity_psu"], 0.0, 0.0, known["tan_umol_per_kg"], 0.0, of["opt_k_carbonic"], of["opt_total_borate"]
    )
    constants = equilibria.assemble(
        known["temperature_c"],
        0.0,
        totals,
        scale,
        of["opt_k_carbonic"],
        of["opt_k_bisulfate"],
        of["opt_k_fluoride"],
        of["opt_gas_constant"],
    )
    core = solve.core(
        known["alkalinity_umol_per_kg"], known["second"], scale * 0 + 1, kind, totals, constants, convert_units=True
    )
    parts = solve.get.speciation_func(core["TC"], core["PH"], totals, constants)
    total, _, _, nbs = convert.pH_to_all_scales(core["PH"], scale, totals, constants)
    micro = (core["TC"] * 1e6, core["PC"] * 1e6, total, nbs, core["CO2"] * 1e6, parts["NH3"] * 1e6)
    return tuple(SolvedWater(*(float(column[row]) for column in micro)) for row in range(len(waters)))


_COLUMNS = ("temperature_c", "salinity_psu", "alkalinity_umol_per_kg", "second", "tan_umol_per_kg")


def _column(values: Sequence[float]) -> Any:
    import numpy as np

    return np.array(values)


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
