"""Sea water as alkalinity, carbon and ammonia: what a bag holds, what opening it does, and how waters mix.

pH is never averaged: waters are mixed through alkalinity, dissolved inorganic carbon and ammonia, then solved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from intake.errors import BadInput, Finding
from intake.water.ammonia import as_ph_scale, tan_mg_per_l, tan_umol_per_kg
from intake.water.equilibrium import KnownWater, SolvedWater, solve_waters
from intake.water.ranges import PublishedRange, require_between, require_not_negative, require_positive
from intake.water.salinity import density

__all__ = [
    "AIR_PCO2_UATM",
    "CARBONATE_SOURCE",
    "Opening",
    "SeaWater",
    "alkalinity_umol_per_kg",
    "closed_bag",
    "mix_waters",
    "opened_bag",
    "solve_many",
    "water_from_dic",
    "water_from_pco2",
    "water_from_ph",
]

CARBONATE_SOURCE = "Lueker et al. 2000 (S 19 to 43, 2 to 35 C), Clegg & Whitfield 1995 ammonia"
#: µatm of CO2 a room's water settles at: indoor air, a little above the open air (common practice, no source).
AIR_PCO2_UATM = 450.0
#: g/mol of CO2 (standard atomic weights).
CO2_G_PER_MOL = 44.0095
#: L atm / (mol K).
GAS_CONSTANT = 0.082057366

_TEMPERATURE = PublishedRange("temperature in °C", 2.0, 35.0, "Lueker et al. 2000")
_SALINITY = PublishedRange("salinity (PSS-78)", 19.0, 43.0, "Lueker et al. 2000")
_AMMONIA_SALINITY = PublishedRange("salinity (PSS-78)", 0.0, 40.0, "Clegg & Whitfield 1995")


@dataclass(frozen=True, slots=True)
class SeaWater:
    """One solved sea water.

    Attributes
    ----------
    temperature_c, salinity_psu
        In °C and practical salinity.
    alkalinity_umol_per_kg, dic_umol_per_kg, tan_umol_per_kg
        Total alkalinity, dissolved inorganic carbon and total ammonia, the three that mix by mass.
    pco2_uatm, ph_total, ph_nbs, co2_mg_per_l
        What follows from them.
    nh3_fraction, nh3_n_mg_per_l
        Toxic share of total ammonia (0 when there is none) and un-ionised ammonia as N.
    """

    temperature_c: float
    salinity_psu: float
    alkalinity_umol_per_kg: float
    dic_umol_per_kg: float
    tan_umol_per_kg: float
    pco2_uatm: float
    ph_total: float
    ph_nbs: float
    co2_mg_per_l: float
    nh3_fraction: float
    nh3_n_mg_per_l: float


@dataclass(frozen=True, slots=True)
class Opening:
    """A bag's water once this share of its excess carbon has gone to the air."""

    share_lost: float
    water: SeaWater


def alkalinity_umol_per_kg(meq_per_l: float, temperature_c: float, salinity_psu: float) -> float:
    """Alkalinity from meq/L, as kits give it, to µmol per kg.

    Raises
    ------
    BadInput
        If it is not above zero.
    OutOfRange
        Outside the range of the density.

    References
    ----------
    TEOS-10 density.
    """
    return require_positive("alkalinity, meq/L", meq_per_l) * 1e6 / density(temperature_c, salinity_psu)


def _check(water: KnownWater) -> KnownWater:
    _TEMPERATURE.check(water.temperature_c)
    _SALINITY.check(water.salinity_psu)
    if water.tan_umol_per_kg > 0:
        _AMMONIA_SALINITY.check(water.salinity_psu)
    require_positive("alkalinity, µmol/kg", water.alkalinity_umol_per_kg)
    require_not_negative("total ammonia, µmol/kg", water.tan_umol_per_kg)
    if water.second_kind == "ph":
        require_between("pH", water.second, 3.0, 11.0)
    else:
        require_positive("CO2 pressure or DIC", water.second)
    return water


def _told(known: KnownWater, solved: SolvedWater) -> SeaWater:
    tan = known.tan_umol_per_kg
    litre = density(known.temperature_c, known.salinity_psu) / 1000
    if not solved.dic_umol_per_kg > 0:
        value = f"pH {solved.ph_total:.2f} (total) with alkalinity {known.alkalinity_umol_per_kg:.0f} µmol/kg"
        raise BadInput(Finding("bag water", value, "a pH and an alkalinity that leave some carbon in the water"))
    return SeaWater(
        temperature_c=known.temperature_c,
        salinity_psu=known.salinity_psu,
        alkalinity_umol_per_kg=known.alkalinity_umol_per_kg,
        dic_umol_per_kg=solved.dic_umol_per_kg,
        tan_umol_per_kg=tan,
        pco2_uatm=solved.pco2_uatm,
        ph_total=solved.ph_total,
        ph_nbs=solved.ph_nbs,
        co2_mg_per_l=solved.co2_umol_per_kg * litre * CO2_G_PER_MOL * 1e-3,
        nh3_fraction=solved.nh3_umol_per_kg / tan if tan > 0 else 0.0,
        nh3_n_mg_per_l=tan_mg_per_l(solved.nh3_umol_per_kg, known.temperature_c, known.salinity_psu),
    )


def solve_many(waters: Sequence[KnownWater]) -> tuple[SeaWater, ...]:
    """Solve several waters at once; one call costs the same for one as for fifty.

    Raises
    ------
    OutOfRange
        Outside 2 to 35 °C or salinity 19 to 43 (19 to 40 with ammonia).
    BadInput
        For a pH or concentration that cannot be.

    References
    ----------
    :mod:`intake.water.constants` and :mod:`intake.water.speciation`.
    """
    known = tuple(_check(water) for water in waters)
    try:
        solved = solve_waters(known)
    except ArithmeticError:
        most = max(water.alkalinity_umol_per_kg for water in known)
        raise BadInput(Finding("alkalinity", f"{most:g} µmol/kg", "an alkalinity a water can have")) from None
    return tuple(_told(k, s) for k, s in zip(known, solved, strict=True))


def water_from_ph(
    temperature_c: float,
    salinity_psu: float,
    alkalinity: float,
    *,
    ph: float,
    ph_scale: str,
    tan_n_mg_per_l: float = 0.0,
) -> SeaWater:
    """Solve a water from its alkalinity (µmol/kg) and a pH on its named scale.

    Raises
    ------
    OutOfRange, UnknownName, BadInput
        As :func:`solve_many`, and for the scale.

    References
    ----------
    As :func:`solve_many`.
    """
    tan = tan_umol_per_kg(tan_n_mg_per_l, temperature_c, salinity_psu)
    known = KnownWater(temperature_c, salinity_psu, alkalinity, ph, "ph", tan, as_ph_scale(ph_scale))
    return solve_many([known])[0]


def water_from_dic(
    temperature_c: float, salinity_psu: float, alkalinity: float, dic: float, tan: float = 0.0
) -> SeaWater:
    """Solve a water from alkalinity, dissolved inorganic carbon and total ammonia, all µmol/kg.

    Raises
    ------
    OutOfRange, BadInput
        As :func:`solve_many`.

    References
    ----------
    As :func:`solve_many`.
    """
    return solve_many([KnownWater(temperature_c, salinity_psu, alkalinity, dic, "dic", tan)])[0]


def water_from_pco2(
    temperature_c: float, salinity_psu: float, alkalinity: float, pco2_uatm: float = AIR_PCO2_UATM, tan: float = 0.0
) -> SeaWater:
    """Solve a water in balance with air of this CO2 pressure.

    Raises
    ------
    OutOfRange, BadInput
        As :func:`solve_many`.

    References
    ----------
    As :func:`solve_many`.
    """
    return solve_many([KnownWater(temperature_c, salinity_psu, alkalinity, pco2_uatm, "pco2", tan)])[0]


def closed_bag(
    packed: SeaWater,
    *,
    produced_umol_per_l: float,
    gas_per_water: float,
    tan_n_mg_per_l: float = 0.0,
    excreted_as: Literal["nh3", "nh4"] = "nh3",
) -> SeaWater:
    """The water of a sealed bag after the animals breathed out carbon dioxide and ammonia into it.

    Notes
    -----
    The carbon dioxide is shared between water and headspace: ΔDIC × ρ + pCO2 × (Vgas/Vwater)/(R T) = production per
    liter of water; the gas held no CO2 at packing.  Ammonia leaves as NH3 (alkalinity rises by as much) or as NH4+ in
    exchange for H+ or Na+ (it does not).  ``gas_per_water`` 0 to 10 by volume.

    Raises
    ------
    OutOfRange, BadInput
        As :func:`solve_many`, and for amounts below zero.

    References
    ----------
    Mass balance; ideal gas; :func:`solve_many`.
    """
    require_not_negative("CO2 produced, µmol per L of water", produced_umol_per_l)
    require_between("gas to water by volume", gas_per_water, 0.0, 10.0)
    temperature, salinity = packed.temperature_c, packed.salinity_psu
    litre = density(temperature, salinity) / 1000
    added = tan_umol_per_kg(tan_n_mg_per_l, temperature, salinity)
    alkalinity = packed.alkalinity_umol_per_kg + (added if excreted_as == "nh3" else 0.0)
    tan = packed.tan_umol_per_kg + added
    per_uatm = gas_per_water / (GAS_CONSTANT * (temperature + 273.15))
    low, high = 0.0, produced_umol_per_l / litre
    if gas_per_water == 0 or produced_umol_per_l == 0:
        return water_from_dic(temperature, salinity, alkalinity, packed.dic_umol_per_kg + high, tan)
    for _ in range(3):
        tries = [low + (high - low) * i / 40 for i in range(41)]
        known = [
            KnownWater(temperature, salinity, alkalinity, packed.dic_umol_per_kg + rise, "dic", tan) for rise in tries
        ]
        excess = [
            rise * litre + water.pco2_uatm * per_uatm - produced_umol_per_l
            for rise, water in zip(tries, solve_many(known), strict=True)
        ]
        above = next((i for i, e in enumerate(excess) if e > 0), len(excess) - 1)
        low, high = tries[max(above - 1, 0)], tries[above]
    return water_from_dic(temperature, salinity, alkalinity, packed.dic_umol_per_kg + (low + high) / 2, tan)


def opened_bag(
    bag: SeaWater, shares_lost: Sequence[float] = (0.0, 0.25, 0.5, 0.75, 0.9, 1.0), air_pco2_uatm: float = AIR_PCO2_UATM
) -> tuple[Opening, ...]:
    """What opening a bag does: carbon dioxide leaves, pH climbs, and ammonia turns toxic with none added.

    Notes
    -----
    The excess is the DIC above that of the same water in balance with the air; each share lost is 0 to 1.

    Raises
    ------
    OutOfRange, BadInput
        As :func:`solve_many`, and for a share outside 0 to 1.

    References
    ----------
    :func:`solve_many`; shares are an assumption of the reader, no rate is published.
    """
    temperature, salinity, tan = bag.temperature_c, bag.salinity_psu, bag.tan_umol_per_kg
    alkalinity = bag.alkalinity_umol_per_kg
    settled = water_from_pco2(temperature, salinity, alkalinity, air_pco2_uatm, tan).dic_umol_per_kg
    shares = [require_between("share of the excess carbon lost", share, 0.0, 1.0) for share in shares_lost]
    known = [
        KnownWater(
            temperature,
            salinity,
            alkalinity,
            bag.dic_umol_per_kg - share * (bag.dic_umol_per_kg - settled),
            "dic",
            tan,
        )
        for share in shares
    ]
    return tuple(Opening(share, water) for share, water in zip(shares, solve_many(known), strict=True))


def mix_waters(parts: Sequence[tuple[float, SeaWater]]) -> SeaWater:
    """Mix waters given as (liters, water): alkalinity, carbon, ammonia, salt and heat by mass, pH solved afterwards.

    Raises
    ------
    BadInput
        If nothing is mixed or a volume is negative.
    OutOfRange
        As :func:`solve_many`.

    References
    ----------
    Conservation of mass; heat capacity taken equal, which errs by less than 0.1 °C in 5 °C between S 0 and 35.
    """
    masses = [
        require_not_negative("volume, L", litres) * density(water.temperature_c, water.salinity_psu)
        for litres, water in parts
    ]
    whole = require_positive("volume mixed, L", sum(masses))

    def by_mass(name: str) -> float:
        return float(sum(mass * getattr(water, name) for mass, (_, water) in zip(masses, parts, strict=True)) / whole)

    return water_from_dic(
        by_mass("temperature_c"),
        by_mass("salinity_psu"),
        by_mass("alkalinity_umol_per_kg"),
        by_mass("dic_umol_per_kg"),
        by_mass("tan_umol_per_kg"),
    )
