"""Partial aggregation: quarantine in numbers of vats, every other stage vat by vat; nearly exact, and solved to its end.

Counting knows neither the vats of growing out nor, within quarantine, which animals share one.  The former are named
here from the start, the latter only for lots whose count turned out not to fit vat by vat.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from intake.plan.model.exact_model import build
from intake.plan.model.mip import Rows, Terms
from intake.plan.model.occupancy import Layout, Occupancy, Spot
from intake.plan.model.overlap import together
from intake.plan.model.program import Model
from intake.plan.model.release_dates import relaxed_days
from intake.plan.problem import Problem
from intake.plan.relaxations.aggregated_quarantine import BatchCount, Lot, Waters, counts, quarantined, rooms_in
from intake.plan.relaxations.disaggregation import claims_aggregated, disaggregated
from intake.plan.solvers.interface import Limits, Runner
from intake.plan.tuning import PACKING_SECONDS

__all__ = [
    "Packing",
    "PartialAggregation",
    "Slots",
    "batch_counts_of",
    "lots_of",
    "packed",
    "packing",
    "partially_aggregated",
    "slots",
]


@dataclass(slots=True)
class PartialAggregation:
    """Rows that every plan satisfies, with the meaning of their variables.

    Attributes
    ----------
    named
        The exact model of the stages that are not counted.
    numbers
        For each of its variables the number in ``rows``.
    told_apart
        Vats modelled one by one in quarantine, by vat class and lot.
    """

    waters: Waters
    named: Model
    numbers: Sequence[int]
    individual_vats: dict[tuple[int, Lot], Slots] = field(default_factory=dict)

    @property
    def rows(self) -> Rows:
        """All rows."""
        return self.waters.rows

    @property
    def terms(self) -> Terms:
        """Animals left over, each times its weight."""
        return self.waters.terms()

    def write(self, layout: Layout) -> list[int]:
        """Values of all variables for a sound plan, whose later ends of quarantine these rows do not know."""
        layout = replace(layout, ends={})
        named = self.named.write(layout)
        values = {self.numbers[variable]: value for variable, value in enumerate(named)}
        values |= self.waters.write(layout)
        for (vat_class, _), one in self.individual_vats.items():
            values |= one.write(_vat_by_vat(self.waters, layout, vat_class, one))
        return self.rows.complete(values)

    def spots(self, values: Sequence[int]) -> set[Spot]:
        """The places that values give: named ones as they are, in quarantine whatever vats the counts come to."""
        found = {choice[:3] for choice, variable in self.named.present.items() if values[self.numbers[variable]]}
        given = disaggregated(self.waters.occupancy, claims_aggregated(self.waters, values))
        for vat_class in self.waters.vat_classes:
            for batch_count in vat_class.batch_counts:
                mine = given.get(batch_count.owner, set())
                found.update((batch_count.owner, batch_count.position, vat) for vat in vat_class.vats if vat in mine)
        return found


def _vat_by_vat(model: Waters, layout: Layout, vat_class: int, one: Slots) -> list[dict[int, int]]:
    vats: dict[int, dict[int, int]] = {}
    for place, batch_count in enumerate(one.batch_counts):
        for vat, count in model.inside(layout, batch_count, vat_class).items():
            vats.setdefault(vat, {})[place] = count
    return [vats[vat] for vat in sorted(vats)]


def partially_aggregated(problem: Problem, lots: Collection[Lot] = ()) -> PartialAggregation:
    """Build the model.

    Parameters
    ----------
    lots
        Lots whose vats are modelled one by one in quarantine as well.
    """
    problem = relaxed_days(problem)
    occupancy = Occupancy(problem, loose=True)
    rooms = rooms_in(occupancy)
    waters = quarantined(occupancy, range(len(problem.batches)), rooms)
    counted = {
        (owner, position)
        for owner, batch in enumerate(problem.batches)
        for position in range(len(batch.stages))
        if counts(occupancy, rooms(owner, position))
    }
    named = build(occupancy, range(len(problem.batches)), skip=counted)
    same = {variable: waters.left[owner] for owner, variable in named.left.items()}
    found = PartialAggregation(waters, named, waters.rows.graft(named.rows, same))
    for vat_class in waters.counting:
        for lot in lots_of(waters, vat_class):
            if lot in lots:
                found.individual_vats[vat_class, lot] = slots(waters, vat_class, lot)
    return found


def packed(model: Waters, values: Sequence[int], run: Runner) -> tuple[list[int], set[Lot]]:
    """Fit what values count into vats one by one, lot after lot.

    Returns
    -------
    list of int
        The values, with as many vats as were found to be needed.
    set
        Lots whose animals do not fit, whatever is to spare in their vat classes.
    """
    found, loose = list(values), set[Lot]()
    for lot in dict.fromkeys(lot for vat_class in model.counting for lot in lots_of(model, vat_class)):
        pack = packing(model, lot, found)
        if not pack.counts:
            continue
        answer = run(pack.rows, pack.terms, Limits(PACKING_SECONDS, workers=1, brief=True))
        if not answer.values:
            loose.add(lot)
            continue
        for batch_count, variable in pack.vats.items():
            found[batch_count] = answer.values[variable]
        for vat_class, variable in pack.counts.items():
            for party, counted in model.counting[vat_class].counted.items():
                if party[0].lot == lot:
                    found[counted] = answer.values[variable]
    return found, loose


@dataclass(slots=True)
class Slots:
    """Variables for one lot in one vat class.

    Attributes
    ----------
    used
        For each of the lot's vats here, 1 when any of it is there; those used come first.
    animals, present
        For each batch count, the animals in each of these vats and whether there are any.
    """

    batch_counts: tuple[BatchCount, ...]
    used: list[int]
    animals: list[list[int]] = field(default_factory=list)
    present: list[list[int]] = field(default_factory=list)

    def write(self, vats: Sequence[Mapping[int, int]]) -> dict[int, int]:
        """Values of the variables where each vat holds so many animals of each batch count, by the batch count's place."""
        order = sorted(vats, key=lambda vat: (-vat.get(0, 0), sorted(vat.items())))
        values = {variable: int(number < len(order)) for number, variable in enumerate(self.used)}
        for place in range(len(self.batch_counts)):
            for number, variable in enumerate(self.animals[place]):
                count = order[number].get(place, 0) if number < len(order) else 0
                values[variable] = count
                values[self.present[place][number]] = int(count > 0)
        return values


def lots_of(model: Waters, vat_class: int) -> list[Lot]:
    """Lots that may be in a vat class."""
    return list(dict.fromkeys(batch_count.lot for batch_count in model.vat_classes[vat_class].batch_counts))


def batch_counts_of(model: Waters, vat_class: int, lot: Lot) -> tuple[BatchCount, ...]:
    """A lot's batch counts in one vat class."""
    return tuple(batch_count for batch_count in model.vat_classes[vat_class].batch_counts if batch_count.lot == lot)


def slots(model: Waters, vat_class: int, lot: Lot) -> Slots:
    """Model the vats of a lot in one vat class one by one, in the model's own rows."""
    batch_counts = batch_counts_of(model, vat_class, lot)
    count = model.counting[vat_class].used(batch_counts)
    amounts = [(batch_count.amount, batch_count.vats) for batch_count in batch_counts]
    return _individual(model, model.rows, vat_class, batch_counts, amounts, count)


@dataclass(frozen=True, slots=True)
class Packing:
    """Rows that can be satisfied just when what is counted for a lot fits its vats one by one.

    Attributes
    ----------
    counts
        By vat class, the vats the lot has there.
    vats
        For each variable of the counted model that shows a batch count's vats, the variable here.
    """

    rows: Rows
    counts: dict[int, int]
    vats: dict[int, int]

    @property
    def terms(self) -> Terms:
        """Vats and portions in all."""
        return [(variable, 1) for variable in (*self.counts.values(), *self.vats.values())]


def packing(model: Waters, lot: Lot, values: Sequence[int]) -> Packing:
    """Let the animals that values give to a lot be in vats of their vat classes, also in such as are to spare there."""
    found = Packing(Rows(), {}, {})
    rows, batches = found.rows, model.occupancy.problem.batches
    stays: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for vat_class, counting in model.counting.items():
        batch_counts = batch_counts_of(model, vat_class, lot)
        if not any(values[batch_count.amount] for batch_count in batch_counts):
            continue
        counts = [values[variable] for party, variable in counting.counted.items() if party[0].lot == lot]
        most = max([values[batch_count.vats] for batch_count in batch_counts] + counts) + counting.spare(lot, values)
        found.counts[vat_class] = rows.variable(0, most)
        amounts = []
        for batch_count in batch_counts:
            found.vats[batch_count.vats] = rows.variable(0, model.rows.high[batch_count.vats])
            amounts.append(
                (rows.variable(values[batch_count.amount], values[batch_count.amount]), found.vats[batch_count.vats])
            )
            stays.setdefault((batch_count.owner, batch_count.position), []).append((found.vats[batch_count.vats], 1))
        _individual(model, rows, vat_class, batch_counts, amounts, found.counts[vat_class])
    for (owner, _), terms in stays.items():
        rows.row(terms, None, batches[owner].max_vats)
    return found


def _individual(
    model: Waters,
    rows: Rows,
    vat_class: int,
    batch_counts: Sequence[BatchCount],
    amounts: Sequence[tuple[int, int]],
    count: int,
) -> Slots:
    """Write the rules of single vats, with the first batch count's fullest vat first, as alike vats may be put in any order."""
    offer, batches, occupancy = model.vat_classes[vat_class], model.occupancy.problem.batches, model.occupancy
    number = min(len(offer.vats), rows.high[count])
    found = Slots(tuple(batch_counts), [rows.variable(0, 1) for _ in range(number)])
    rows.row([*((one, 1) for one in found.used), (count, -1)], None, 0)
    _in_order(rows, found.used)
    for batch_count, (amount, vats) in zip(batch_counts, amounts, strict=True):
        least = batches[batch_count.owner].min_portion
        animals = [rows.variable(0, min(batch_count.most, rows.high[amount])) for _ in found.used]
        present = [rows.variable(0, 1) for _ in found.used]
        for many, any_there, used in zip(animals, present, found.used, strict=True):
            rows.row([(many, 1), (any_there, -batch_count.most)], None, 0)
            rows.row([(many, 1), (any_there, -least)], 0, None)
            rows.row([(any_there, 1), (used, -1)], None, 0)
        rows.row([*((one, 1) for one in animals), (amount, -1)], 0, 0)
        rows.row([*((one, 1) for one in present), (vats, -1)], None, 0)
        found.animals.append(animals)
        found.present.append(present)
    _in_order(rows, found.animals[0])
    places = {batch_count: place for place, batch_count in enumerate(batch_counts)}
    for active in together(batch_counts):
        there = [places[batch_count] for batch_count in active]
        for slot, used in enumerate(found.used):
            areas = [(found.animals[one][slot], batches[batch_counts[one].owner].footprint_mm2) for one in there]
            oxygen = [(found.animals[one][slot], batches[batch_counts[one].owner].oxygen_ug_per_h) for one in there]
            rows.row([*areas, (used, -offer.area)], None, 0)
            rows.row([*oxygen, (used, -offer.oxygen)], None, 0)
            for first, one in enumerate(there):
                for other in there[first + 1 :]:
                    if occupancy.clash(offer.vats[0], batch_counts[one].group, batch_counts[other].group):
                        rows.at_most_one((found.present[one][slot], found.present[other][slot]))
    return found


def _in_order(rows: Rows, variables: Sequence[int]) -> None:
    for one, following in pairwise(variables):
        rows.row([(one, 1), (following, -1)], 0, None)
