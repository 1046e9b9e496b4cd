"""pH and toxic ammonia along a table: waters mixed by alkalinity and carbon, and carbon lost to the air once open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from intake.receiving.acclimation.waters import BagWater, Step, VatWater
from intake.water.ammonia import as_ph_scale, tan_umol_per_kg
from intake.water.carbonate import AIR_PCO2_UATM, SeaWater, alkalinity_umol_per_kg, solve_many
from intake.water.equilibrium import KnownWater
from intake.water.salinity import density

__all__ = ["OPEN_MINUTES_TO_AIR", "Draft", "bag_and_vat", "told_steps"]

#: Minutes an opened, aerated vessel takes to lose all its excess CO2, in proportion to time (design default; no rate
#: is published).  Short is cautious: the sooner the CO2 goes, the sooner ammonia is toxic.
OPEN_MINUTES_TO_AIR = 60.0


@dataclass(frozen=True, slots=True)
class Draft:
    """A row before its chemistry is known.

    Attributes
    ----------
    minute, action, volume_l, temperature_c, salinity_psu
        As in :class:`Step`.
    water
        ``mix`` of bag and vat water, ``clean`` water made up to this temperature and salinity, or the ``vat``.
    vat_share
        Share of vat water by volume in a mix.
    open_minutes
        Minutes since the vessel was opened; 0 while sealed.
    poured_l
        Vat-quality water poured so far.
    """

    minute: int
    action: str
    volume_l: float
    temperature_c: float
    salinity_psu: float
    water: Literal["mix", "clean", "vat"] = "mix"
    vat_share: float = 0.0
    open_minutes: float = 0.0
    poured_l: float = 0.0


def bag_and_vat(bag: BagWater, vat: VatWater) -> tuple[SeaWater, SeaWater] | None:
    """Both waters solved, or None where a pH is not known.

    Raises
    ------
    OutOfRange
        Outside 2 to 35 °C or salinity 19 to 43 (Lueker et al. 2000), and as :func:`solve_many`.

    References
    ----------
    Alkalinity of a bag that was not read: the vat's scaled by salinity, plus ammonia excreted as NH3 (common practice
    for the first, stoichiometry for the second).
    """
    if bag.ph is None or vat.ph is None:
        return None
    tan_bag = tan_umol_per_kg(bag.tan_n_mg_per_l, bag.temperature_c, bag.salinity_psu)
    tan_vat = tan_umol_per_kg(vat.tan_n_mg_per_l, vat.temperature_c, vat.salinity_psu)
    of_vat = alkalinity_umol_per_kg(vat.alkalinity_meq_per_l, vat.temperature_c, vat.salinity_psu)
    if bag.alkalinity_meq_per_l is not None:
        of_bag = alkalinity_umol_per_kg(bag.alkalinity_meq_per_l, bag.temperature_c, bag.salinity_psu)
    else:
        of_bag = of_vat * (bag.salinity_psu / vat.salinity_psu if vat.salinity_psu > 0 else 1.0) + tan_bag
    scale_bag, scale_vat = as_ph_scale(bag.ph_scale), as_ph_scale(vat.ph_scale)
    solved = solve_many(
        [
            KnownWater(bag.temperature_c, bag.salinity_psu, of_bag, bag.ph, "ph", tan_bag, scale_bag),
            KnownWater(vat.temperature_c, vat.salinity_psu, of_vat, vat.ph, "ph", tan_vat, scale_vat),
        ]
    )
    return solved[0], solved[1]


def _mass_share(draft: Draft, bag: SeaWater, vat: SeaWater) -> float:
    of_vat = draft.vat_share * density(vat.temperature_c, vat.salinity_psu)
    return of_vat / (of_vat + (1 - draft.vat_share) * density(bag.temperature_c, bag.salinity_psu))


def _closed(draft: Draft, bag: SeaWater, vat: SeaWater) -> KnownWater:
    """The row with no carbon lost."""
    temperature, salinity = draft.temperature_c, draft.salinity_psu
    if draft.water != "mix":
        diluted = salinity / vat.salinity_psu if vat.salinity_psu > 0 else 1.0
        alkalinity = vat.alkalinity_umol_per_kg * diluted
        return KnownWater(temperature, salinity, alkalinity, vat.pco2_uatm, "pco2", vat.tan_umol_per_kg)
    share = _mass_share(draft, bag, vat)
    alkalinity = bag.alkalinity_umol_per_kg + share * (vat.alkalinity_umol_per_kg - bag.alkalinity_umol_per_kg)
    dic = bag.dic_umol_per_kg + share * (vat.dic_umol_per_kg - bag.dic_umol_per_kg)
    tan = bag.tan_umol_per_kg + share * (vat.tan_umol_per_kg - bag.tan_umol_per_kg)
    return KnownWater(temperature, salinity, alkalinity, dic, "dic", tan)


def told_steps(drafts: Sequence[Draft], bag: BagWater, vat: VatWater) -> tuple[Step, ...]:
    """Rows with their pH and NH3-N; a mix loses its excess carbon to the air in proportion to the time it stands open.

    Raises
    ------
    OutOfRange
        Outside the range of the carbonate constants, where a pH was given.

    References
    ----------
    Mass balance of alkalinity, DIC and ammonia; :mod:`intake.water.speciation`.
    """
    both = bag_and_vat(bag, vat)
    if both is None:
        return tuple(_step(draft, None, None) for draft in drafts)
    closed = [_closed(draft, *both) for draft in drafts]
    settled = solve_many(
        [replace(k, second=AIR_PCO2_UATM, second_kind="pco2") if k.second_kind == "dic" else k for k in closed]
    )
    known = [_aired(draft, shut, air.dic_umol_per_kg) for draft, shut, air in zip(drafts, closed, settled, strict=True)]
    return tuple(
        _step(draft, water.ph_nbs, water.nh3_n_mg_per_l) for draft, water in zip(drafts, solve_many(known), strict=True)
    )


def _aired(draft: Draft, shut: KnownWater, settled_dic: float) -> KnownWater:
    """The row once part of its excess carbon has gone to the air."""
    if shut.second_kind != "dic":
        return shut
    lost = min(1.0, draft.open_minutes / OPEN_MINUTES_TO_AIR)
    return replace(shut, second=shut.second - lost * (shut.second - settled_dic))


def _step(draft: Draft, ph_nbs: float | None, nh3_n_mg_per_l: float | None) -> Step:
    return Step(
        draft.minute,
        draft.action,
        draft.volume_l,
        draft.temperature_c,
        draft.salinity_psu,
        ph_nbs,
        nh3_n_mg_per_l,
        draft.poured_l,
    )
