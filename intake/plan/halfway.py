"""Quarantine counted and every other stage named: nearly the exact model, and solved to its end where that is not.

Counting knows neither the vats of growing out nor, within quarantine, which animals share one.  The former are named
here from the start, the latter only for lots whose count turned out not to fit vat by vat.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from intake.plan.exact import Model, build
from intake.plan.problem import Problem
from intake.plan.rows import Rows, Terms
from intake.plan.runs import Limits, Runner
from intake.plan.scene import Layout, Scene, Spot
from intake.plan.seating import claims_counted, seated
from intake.plan.slots import Slots, lots_of, packing, slots
from intake.plan.waters import Lot, Waters, counts, quarantined, rooms_in

__all__ = ["Halfway", "halfway", "packed"]

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
