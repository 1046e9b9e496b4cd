"""Vats told apart for some lots of the counted quarantine: which animals share a vat, though not yet which vat it is.

Counting lets a lot use its vats to the last square millimetre.  That min portions, whole animals and groups that may
not meet still fit is seen only vat by vat; and since alike vats are alike, a lot's first, second and third will do.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from intake.plan.meeting import together
from intake.plan.rows import Rows, Terms
from intake.plan.waters import Crowd, Lot, Waters

__all__ = ["Packing", "Slots", "crowds_of", "lots_of", "packing", "slots"]


@dataclass(slots=True)
class Slots:
    """Variables for one lot in one hall.

    Attributes
    ----------
    used
        For each of the lot's vats here, 1 when any of it is there; those used come first.
    animals, present
        For each crowd, the animals in each of these vats and whether there are any.
    """

    crowds: tuple[Crowd, ...]
    used: list[int]
    animals: list[list[int]] = field(default_factory=list)
    present: list[list[int]] = field(default_factory=list)

    def write(self, vats: Sequence[Mapping[int, int]]) -> dict[int, int]:
        """Values of the variables where each vat holds so many animals of each crowd, by the crowd's place."""
        order = sorted(vats, key=lambda vat: (-vat.get(0, 0), sorted(vat.items())))
        values = {variable: int(number < len(order)) for number, variable in enumerate(self.used)}
        for place in range(len(self.crowds)):
            for number, variable in enumerate(self.animals[place]):
                count = order[number].get(place, 0) if number < len(order) else 0
                values[variable] = count
                values[self.present[place][number]] = int(count > 0)
        return values


def lots_of(model: Waters, hall: int) -> list[Lot]:
    """Lots that may stand in a hall."""
    return list(dict.fromkeys(crowd.lot for crowd in model.halls[hall].crowds))


def crowds_of(model: Waters, hall: int, lot: Lot) -> tuple[Crowd, ...]:
    """A lot's crowds in one hall."""
    return tuple(crowd for crowd in model.halls[hall].crowds if crowd.lot == lot)


def slots(model: Waters, hall: int, lot: Lot) -> Slots:
    """Tell the vats of a lot in one hall apart, in the model's own rows."""
    crowds = crowds_of(model, hall, lot)
    count = model.counting[hall].used(crowds)
    amounts = [(crowd.amount, crowd.vats) for crowd in crowds]
    return _told_apart(model, model.rows, hall, crowds, amounts, count)


@dataclass(frozen=True, slots=True)
class Packing:
    """Rows that can be satisfied just when what is counted for a lot fits its vats one by one.

    Attributes
    ----------
    counts
        By hall, the vats the lot has there.
    vats
        For each variable of the counted model that tells a crowd's vats, the variable here.
    """

    rows: Rows
    counts: dict[int, int]
    vats: dict[int, int]

    @property
    def terms(self) -> Terms:
        """Vats and portions in all."""
        return [(variable, 1) for variable in (*self.counts.values(), *self.vats.values())]


def packing(model: Waters, lot: Lot, values: Sequence[int]) -> Packing:
    """Let the animals that values give to a lot be in vats of their halls, also in such as are to spare there."""
    found = Packing(Rows(), {}, {})
    rows, batches = found.rows, model.scene.problem.batches
    stays: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for hall, counting in model.counting.items():
        crowds = crowds_of(model, hall, lot)
        if not any(values[crowd.amount] for crowd in crowds):
            continue
        counts = [values[variable] for party, variable in counting.counted.items() if party[0].lot == lot]
        most = max([values[crowd.vats] for crowd in crowds] + counts) + counting.spare(lot, values)
        found.counts[hall] = rows.variable(0, most)
        amounts = []
        for crowd in crowds:
            found.vats[crowd.vats] = rows.variable(0, model.rows.high[crowd.vats])
            amounts.append((rows.variable(values[crowd.amount], values[crowd.amount]), found.vats[crowd.vats]))
            stays.setdefault((crowd.owner, crowd.position), []).append((found.vats[crowd.vats], 1))
        _told_apart(model, rows, hall, crowds, amounts, found.counts[hall])
    for (owner, _), terms in stays.items():
        rows.row(terms, None, batches[owner].max_vats)
    return found


def _told_apart(
    model: Waters, rows: Rows, hall: int, crowds: Sequence[Crowd], amounts: Sequence[tuple[int, int]], count: int
) -> Slots:
    """Write the rules of single vats, with the first crowd's fullest vat first, as alike vats may be put in any order."""
    offer, batches, scene = model.halls[hall], model.scene.problem.batches, model.scene
    number = min(len(offer.vats), rows.high[count])
    found = Slots(tuple(crowds), [rows.variable(0, 1) for _ in range(number)])
    rows.row([*((one, 1) for one in found.used), (count, -1)], None, 0)
    _in_order(rows, found.used)
    for crowd, (amount, vats) in zip(crowds, amounts, strict=True):
        least = batches[crowd.owner].min_portion
        animals = [rows.variable(0, min(crowd.most, rows.high[amount])) for _ in found.used]
        present = [rows.variable(0, 1) for _ in found.used]
        for many, any_there, used in zip(animals, present, found.used, strict=True):
            rows.row([(many, 1), (any_there, -crowd.most)], None, 0)
            rows.row([(many, 1), (any_there, -least)], 0, None)
            rows.row([(any_there, 1), (used, -1)], None, 0)
        rows.row([*((one, 1) for one in animals), (amount, -1)], 0, 0)
        rows.row([*((one, 1) for one in present), (vats, -1)], None, 0)
        found.animals.append(animals)
        found.present.append(present)
    _in_order(rows, found.animals[0])
    places = {crowd: place for place, crowd in enumerate(crowds)}
    for active in together(crowds):
        there = [places[crowd] for crowd in active]
        for slot, used in enumerate(found.used):
            areas = [(found.animals[one][slot], batches[crowds[one].owner].footprint_mm2) for one in there]
            oxygen = [(found.animals[one][slot], batches[crowds[one].owner].oxygen_ug_per_h) for one in there]
            rows.row([*areas, (used, -offer.area)], None, 0)
            rows.row([*oxygen, (used, -offer.oxygen)], None, 0)
            for first, one in enumerate(there):
                for other in there[first + 1 :]:
                    if scene.clash(offer.vats[0], crowds[one].group, crowds[other].group):
                        rows.at_most_one((found.present[one][slot], found.present[other][slot]))
    return found


def _in_order(rows: Rows, variables: Sequence[int]) -> None:
    for one, following in pairwise(variables):
        rows.row([(one, 1), (following, -1)], 0, None)
