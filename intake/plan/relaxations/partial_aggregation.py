"""Quarantine counted and every other stage named: nearly the exact model, and solved to its end where that is not.

Counting knows neither the vats of growing out nor, within quarantine, which animals share one.  The former are named
here from the start, the latter only for lots whose count turned out not to fit vat by vat.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from intake.plan.model.exact_model import Model, build
from intake.plan.model.mip import Rows, Terms
from intake.plan.model.occupancy import Layout, Scene, Spot
from intake.plan.model.overlap import together
from intake.plan.problem import Problem
from intake.plan.relaxations.aggregated_quarantine import Crowd, Lot, Waters, counts, quarantined, rooms_in
from intake.plan.relaxations.disaggregation import claims_counted, seated
from intake.plan.solvers.interface import Limits, Runner

__all__ = ["Halfway", "Packing", "Slots", "crowds_of", "halfway", "lots_of", "packed", "packing", "slots"]


_PACKING_SECONDS = 0.3
"""Time to fit what one lot was counted for into its vats."""


@dataclass(slots=True)
class Halfway:
    """Rows that every plan satisfies, with the meaning of their variables.

    Attributes
    ----------
    named
        The exact model of the stages that are not counted.
    numbers
        For each of its variables the number in ``rows``.
    told_apart
        Vats told apart in quarantine, by hall and lot.
    """

    waters: Waters
    named: Model
    numbers: Sequence[int]
    told_apart: dict[tuple[int, Lot], Slots] = field(default_factory=dict)

    @property
    def rows(self) -> Rows:
        """All rows."""
        return self.waters.rows

    @property
    def terms(self) -> Terms:
        """Animals left over, each times its weight."""
        return self.waters.terms()

    def write(self, layout: Layout) -> list[int]:
        """Values of all variables for a sound plan."""
        named = self.named.write(layout)
        values = {self.numbers[variable]: value for variable, value in enumerate(named)}
        values |= self.waters.write(layout)
        for (hall, _), one in self.told_apart.items():
            values |= one.write(_vat_by_vat(self.waters, layout, hall, one))
        return self.rows.complete(values)

    def spots(self, values: Sequence[int]) -> set[Spot]:
        """The places that values give: named ones as they are, in quarantine whatever vats the counts come to."""
        found = {spot for spot, variable in self.named.present.items() if values[self.numbers[variable]]}
        given = seated(self.waters.scene, claims_counted(self.waters, values))
        for hall in self.waters.halls:
            for crowd in hall.crowds:
                mine = given.get(crowd.owner, set())
                found.update((crowd.owner, crowd.position, vat) for vat in hall.vats if vat in mine)
        return found


def _vat_by_vat(model: Waters, layout: Layout, hall: int, one: Slots) -> list[dict[int, int]]:
    vats: dict[int, dict[int, int]] = {}
    for place, crowd in enumerate(one.crowds):
        for vat, count in model.inside(layout, crowd, hall).items():
            vats.setdefault(vat, {})[place] = count
    return [vats[vat] for vat in sorted(vats)]


def halfway(problem: Problem, lots: Collection[Lot] = ()) -> Halfway:
    """Build the model.

    Parameters
    ----------
    lots
        Lots whose vats are told apart in quarantine as well.
    """
    scene = Scene(problem, loose=True)
    rooms = rooms_in(scene)
    waters = quarantined(scene, range(len(problem.batches)), rooms)
    counted = {
        (owner, position)
        for owner, batch in enumerate(problem.batches)
        for position in range(len(batch.stages))
        if counts(scene, rooms(owner, position))
    }
    named = build(scene, range(len(problem.batches)), skip=counted)
    same = {variable: waters.left[owner] for owner, variable in named.left.items()}
    found = Halfway(waters, named, waters.rows.graft(named.rows, same))
    for hall in waters.counting:
        for lot in lots_of(waters, hall):
            if lot in lots:
                found.told_apart[hall, lot] = slots(waters, hall, lot)
    return found


def packed(model: Waters, values: Sequence[int], run: Runner) -> tuple[list[int], set[Lot]]:
    """Fit what values count into vats one by one, lot after lot.

    Returns
    -------
    list of int
        The values, with as many vats as were found to be needed.
    set
        Lots whose animals do not fit, whatever is to spare in their halls.
    """
    found, loose = list(values), set[Lot]()
    for lot in dict.fromkeys(lot for hall in model.counting for lot in lots_of(model, hall)):
        pack = packing(model, lot, found)
        if not pack.counts:
            continue
        answer = run(pack.rows, pack.terms, Limits(_PACKING_SECONDS, workers=1, brief=True))
        if not answer.values:
            loose.add(lot)
            continue
        for crowd, variable in pack.vats.items():
            found[crowd] = answer.values[variable]
        for hall, variable in pack.counts.items():
            for party, counted in model.counting[hall].counted.items():
                if party[0].lot == lot:
                    found[counted] = answer.values[variable]
    return found, loose


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
