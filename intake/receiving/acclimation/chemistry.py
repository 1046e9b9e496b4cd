"""What a tub holds minute by minute: alkalinity, carbon, ammonia and oxygen, mixed, breathed and aired, and its pH."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from intake.receiving.acclimation.load import UNREAD_SATURATION, Load, Tub, bag_oxygen_mg_per_l
from intake.receiving.acclimation.step_table import Step
from intake.receiving.acclimation.waters import BagWater, VatWater
from intake.water.ammonia import as_ph_scale, tan_umol_per_kg
from intake.water.carbonate import AIR_PCO2_UATM, SeaWater, alkalinity_umol_per_kg, solve_many
from intake.water.equilibrium import KnownWater
from intake.water.oxygen import oxygen_mg_per_l
from intake.water.salinity import density

__all__ = ["CO2_PER_O2", "Draft", "Peak", "bag_and_vat", "filled_rows"]

#: mol of CO2 breathed out per mol of O2 taken up (from memory; low is cautious: less acid, more toxic ammonia).
CO2_PER_O2 = 0.8
_N_MG_PER_MMOL, _O2_MG_PER_MMOL = 14.007, 31.9988
#: Minutes between two looks at a tub: in its first hour, when the carbon leaves, and after.
_LOOK_FIRST, _LOOK_LATER, _FIRST_HOUR = 5, 15, 60


@dataclass(frozen=True, slots=True)
class Draft:
    """A row before its chemistry is known.

    Attributes
    ----------
    minute, action, volume_l, temperature_c, salinity_psu
        As in :class:`Step`.
    water
        ``sealed`` bag, open ``tub``, or the ``vat``.
    bag_share
        Where animals enter a tub at this row: the share of bag water in it by volume, the rest clean water made up to
        this temperature and salinity; None elsewhere.
    flow_l_per_h
        Vat water dripped in from this row to the next.
    exchanged
        Share of the tub taken out and replaced with vat water at this row.
    poured_l
        Water poured so far, clean and vat's.
    """

    minute: int
    action: str
    volume_l: float
    temperature_c: float
    salinity_psu: float
    water: Literal["sealed", "tub", "vat"] = "tub"
    bag_share: float | None = None
    flow_l_per_h: float = 0.0
    exchanged: float = 0.0
    poured_l: float = 0.0


@dataclass(frozen=True, slots=True)
class Peak:
    """What a tub holds at a minute, rows and moments between them; None where it is not known."""

    minute: float
    o2_mg_per_l: float
    nh3_n_mg_per_l: float | None


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


@dataclass(frozen=True, slots=True)
class _Look:
    """A tub at one moment, and how it gets to the next look: hours, liters dripped per hour, or a share replaced."""

    minute: float
    row: int | None
    volume_l: float
    temperature_c: float
    salinity_psu: float
    hours: float = 0.0
    flow_l_per_h: float = 0.0
    replaced: float = 0.0

    @property
    def kg_per_l(self) -> float:
        return density(self.temperature_c, self.salinity_psu) / 1000.0


def _looks(drafts: Sequence[Draft]) -> list[_Look]:
    """Looks at the tub rows of a table, in order; a row that exchanges water is looked at before and after."""
    rows = [number for number, draft in enumerate(drafts) if draft.water == "tub"]
    looks: list[_Look] = []
    for number in rows:
        here, after = drafts[number], drafts[number + 1] if number + 1 < len(drafts) else None
        if here.exchanged and looks:
            before = drafts[number - 1]
            looks.append(_Look(here.minute, None, here.volume_l, before.temperature_c, before.salinity_psu,
                               replaced=here.exchanged))  # fmt: skip
        start = _Look(here.minute, number, here.volume_l, here.temperature_c, here.salinity_psu)
        looks += [start] if after is None else _between(start, here, after, drafts[rows[0]].minute)
    return looks


def _between(start: _Look, here: Draft, after: Draft, opened: int) -> list[_Look]:
    """The look at a row and those on the way to the next one; an exchange and a move happen at its end."""
    length = after.minute - here.minute
    still = after.water != "tub" or after.exchanged > 0
    pace = _LOOK_FIRST if here.minute - opened < _FIRST_HOUR else _LOOK_LATER
    parts = max(1, math.ceil(length / pace))
    hours = length / parts / 60.0

    def at(low: float, high: float, part: int) -> float:
        return low if still else low + (high - low) * part / parts

    return [
        _Look(
            here.minute + length * part / parts,
            start.row if part == 0 else None,
            at(here.volume_l, after.volume_l, part),
            at(here.temperature_c, after.temperature_c, part),
            at(here.salinity_psu, after.salinity_psu, part),
            hours,
            here.flow_l_per_h,
        )
        for part in range(parts)
    ]


@dataclass(frozen=True, slots=True)
class _Substance:
    """How one amount per liter changes: what flows in holds, what the animals add per hour, how air draws it."""

    start: float
    incoming: float
    added_per_h: float = 0.0
    air_per_h: float = 0.0
    goals: Sequence[float] = ()


def _followed(looks: Sequence[_Look], what: _Substance) -> tuple[list[float], list[float]]:
    """The amount at each look, and the least on the way from it to the next.

    Minute by minute x' = (Q/V)(x_in − x) + k (goal − x) + added/V, each minute solved exactly with its own middle.
    """
    values, least, x = [], [], what.start
    for number, here in enumerate(looks):
        values.append(x)
        after = looks[number + 1] if number + 1 < len(looks) else here
        low = x
        if here.replaced:
            x += here.replaced * (what.incoming - x)
        elif here.hours:
            goals = (what.goals[number], what.goals[min(number + 1, len(looks) - 1)]) if what.goals else (0.0, 0.0)
            x, low = _passed(x, here, after.volume_l, what, goals)
        least.append(min(low, x))
    return values, least


def _passed(
    x: float, here: _Look, volume_after: float, what: _Substance, goals: tuple[float, float]
) -> tuple[float, float]:
    parts = max(1, round(here.hours * 60))
    step, low = here.hours / parts, x
    for part in range(parts):
        share = (part + 0.5) / parts
        volume = here.volume_l + (volume_after - here.volume_l) * share
        turned = here.flow_l_per_h / volume
        gain = turned * what.incoming + what.air_per_h * (goals[0] + (goals[1] - goals[0]) * share)
        gain += what.added_per_h / volume
        loss = turned + what.air_per_h
        x = gain / loss + (x - gain / loss) * math.exp(-loss * step) if loss > 0 else x + gain * step
        low = min(low, x)
    return x, low


def filled_rows(
    drafts: Sequence[Draft], bag: BagWater, vat: VatWater, load: Load | None = None, tub: Tub | None = None
) -> tuple[tuple[Step, ...], tuple[Peak, ...]]:
    """Rows with their pH, ammonia and oxygen, and what the tub holds at and between them.

    Parameters
    ----------
    load
        The animals of one tub; none breathe where it is not given.
    tub
        Its gas transfer.

    Raises
    ------
    OutOfRange
        Outside the oxygen formula, and the carbonate constants where a pH was given.

    References
    ----------
    Mass balance of oxygen, ammonia, alkalinity and carbon in a well-mixed tub; Benson & Krause 1984;
    :mod:`intake.water.speciation`.  The
    excess carbon over balance with the air leaves at ``Tub.co2_per_h``, which is at least as fast as the gas itself can
    (only CO2 crosses the surface, and it is a part of the excess): cautious for ammonia.
    """
    tub = tub or Tub()
    both, looks = bag_and_vat(bag, vat), _looks(drafts)
    entry = next((draft for draft in drafts if draft.bag_share is not None), None)
    share = 0.0 if entry is None or entry.bag_share is None else entry.bag_share
    breathed = 0.0 if load is None else load.mg_o2_per_h
    given_off = 0.0 if load is None else load.mg_n_per_h
    held = [oxygen_mg_per_l(look.temperature_c, look.salinity_psu) for look in looks]
    of_vat = UNREAD_SATURATION * oxygen_mg_per_l(vat.temperature_c, vat.salinity_psu)
    clean = UNREAD_SATURATION * held[0] if held else 0.0
    opened = share * bag_oxygen_mg_per_l(bag) + (1 - share) * clean if held else 0.0
    oxygen, low = _followed(looks, _Substance(opened, of_vat, -breathed, tub.oxygen_per_h, held))
    made_up = vat.tan_n_mg_per_l
    tan, _ = _followed(
        looks, _Substance(share * bag.tan_n_mg_per_l + (1 - share) * made_up, vat.tan_n_mg_per_l, given_off)
    )
    chemistry: dict[int, SeaWater] = {}
    if both is not None and looks:
        chemistry = _solved(looks, tan, (share, breathed, given_off), both, tub)
    peaks = tuple(
        Peak(look.minute, min(oxygen[n], low[n]), chemistry[n].nh3_n_mg_per_l if chemistry else None)
        for n, look in enumerate(looks)
    )
    inside = {look.row: n for n, look in enumerate(looks) if look.row is not None}
    sealed = _sealed(drafts, bag, both)
    rows: list[_Inside] = []
    for number, draft in enumerate(drafts):
        if draft.water == "tub":
            n = inside[number]
            rows.append((chemistry.get(n), oxygen[n], tan[n], share))
        elif draft.water == "vat":
            rows.append((None if both is None else both[1], of_vat, vat.tan_n_mg_per_l, 0.0))
        else:
            rows.append((sealed.get(number), bag.o2_mg_per_l, bag.tan_n_mg_per_l, 1.0))
    return tuple(_step(drafts, number, row) for number, row in enumerate(rows)), peaks


_Inside = tuple[SeaWater | None, float | None, float, float]
"""Water solved, oxygen, total ammonia and bag share of one row."""


def _sealed(drafts: Sequence[Draft], bag: BagWater, both: tuple[SeaWater, SeaWater] | None) -> dict[int, SeaWater]:
    """A shut bag keeps its carbon: its pH moves with the temperature only."""
    rows = [number for number, draft in enumerate(drafts) if draft.water == "sealed"]
    if both is None or not rows:
        return {}
    inside = both[0]
    known = [
        KnownWater(drafts[number].temperature_c, bag.salinity_psu, inside.alkalinity_umol_per_kg,
                   inside.dic_umol_per_kg, "dic", inside.tan_umol_per_kg)
        for number in rows
    ]  # fmt: skip
    return dict(zip(rows, solve_many(known), strict=True))


def _solved(
    looks: Sequence[_Look],
    tan: Sequence[float],
    animals: tuple[float, float, float],
    both: tuple[SeaWater, SeaWater],
    tub: Tub,
) -> dict[int, SeaWater]:
    """Water at every look: alkalinity and ammonia first, then the carbon against balance with the air."""
    share, breathed, given_off = animals
    bag, vat = both
    litre: Callable[[SeaWater], float] = lambda water: density(water.temperature_c, water.salinity_psu) / 1000.0  # noqa: E731
    first = looks[0]
    diluted = first.salinity_psu / vat.salinity_psu if vat.salinity_psu > 0 else 1.0
    clean_alkalinity = vat.alkalinity_umol_per_kg * diluted
    clean = solve_many(
        [
            KnownWater(
                first.temperature_c, first.salinity_psu, clean_alkalinity, vat.pco2_uatm, "pco2", vat.tan_umol_per_kg
            )
        ]
    )[0]
    alkalinity, _ = _followed(
        looks,
        _Substance(
            share * bag.alkalinity_umol_per_kg * litre(bag) + (1 - share) * clean_alkalinity * litre(clean),
            vat.alkalinity_umol_per_kg * litre(vat),
            1000.0 * given_off / _N_MG_PER_MMOL,
        ),
    )
    per_kg = [
        (look, a / look.kg_per_l, 1000.0 * n / _N_MG_PER_MMOL / look.kg_per_l)
        for look, a, n in zip(looks, alkalinity, tan, strict=True)
    ]
    settled = solve_many(
        [KnownWater(look.temperature_c, look.salinity_psu, a, AIR_PCO2_UATM, "pco2", n) for look, a, n in per_kg]
    )
    carbon, _ = _followed(
        looks,
        _Substance(
            share * bag.dic_umol_per_kg * litre(bag) + (1 - share) * clean.dic_umol_per_kg * litre(clean),
            vat.dic_umol_per_kg * litre(vat),
            1000.0 * CO2_PER_O2 * breathed / _O2_MG_PER_MMOL,
            tub.co2_per_h,
            [water.dic_umol_per_kg * look.kg_per_l for look, water in zip(looks, settled, strict=True)],
        ),
    )
    known = [
        KnownWater(look.temperature_c, look.salinity_psu, a, c / look.kg_per_l, "dic", n)
        for (look, a, n), c in zip(per_kg, carbon, strict=True)
    ]
    return dict(enumerate(solve_many(known)))


def _step(drafts: Sequence[Draft], number: int, inside: _Inside) -> Step:
    draft = drafts[number]
    water, o2_mg_per_l, tan_n_mg_per_l, share = inside
    before = drafts[number - 1] if number else None
    added = draft.poured_l - (before.poured_l if before is not None else 0.0)
    removed = 0.0
    if before is not None and before.water == draft.water == "tub":
        removed = max(0.0, before.volume_l + added - draft.volume_l)
    return Step(
        draft.minute,
        draft.action,
        draft.volume_l,
        draft.temperature_c,
        draft.salinity_psu,
        None if water is None else water.ph_nbs,
        None if water is None else water.nh3_n_mg_per_l,
        draft.poured_l,
        o2_mg_per_l,
        tan_n_mg_per_l,
        added,
        removed if removed > 1e-9 else 0.0,
        draft.water,
        share,
    )
