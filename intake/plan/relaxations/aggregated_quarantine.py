"""Aggregated quarantine: a relaxation in which alike vats of a water form a vat class and lots take numbers of them.

What binds a large farm is seldom its bench area and often that a lot takes whole vats and a supplier whole waters.  So
only the stages in quarantine are looked at, and only as far as counting goes.  Every plan satisfies these rows: rules
are left out, none is added.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from intake.plan.model.mip import Rows, Terms
from intake.plan.model.occupancy import Layout, Occupancy
from intake.plan.model.overlap import cliques, together
from intake.plan.tuning import SIDES_MOST_GROUPS

__all__ = [
    "BatchCount",
    "Lot",
    "Rooms",
    "Stretch",
    "Waters",
    "counts",
    "quarantined",
    "rooms_in",
    "separately",
    "sides",
]

Lot = tuple[str, int]
"""A shipment and the day it came: the animals that may enter a quarantine vat together."""

Rooms = Callable[[int, int], Mapping[int, int]]
"""Vats with room for a batch in a stage, and how many of its animals each could take at most."""


@dataclass(frozen=True, slots=True)
class BatchCount:
    """Animals of one batch in one vat class, ``amount`` of them in ``vats`` of its vats, ``most`` of them in one vat."""

    owner: int
    position: int
    start: int
    end: int
    lot: tuple[str, int]
    group: str
    amount: int
    vats: int
    most: int


@dataclass(frozen=True, slots=True)
class Stretch:
    """Days on which a lot uses a water, if ``there`` is 1."""

    system: int
    start: int
    end: int
    lot: tuple[str, int]
    supplier: str
    there: int


@dataclass(frozen=True, slots=True)
class _VatClass:
    """Vats of one system that offer the same, with the batch counts that may be in them."""

    system: int
    area: int
    oxygen: int
    fallow: int
    vats: tuple[int, ...]
    batch_counts: list[BatchCount] = field(default_factory=list)


@dataclass(slots=True)
class Waters:
    """Rows with the meaning of their variables."""

    occupancy: Occupancy
    owners: tuple[int, ...]
    rows: Rows = field(default_factory=Rows)
    left: dict[int, int] = field(default_factory=dict)
    stretches: list[Stretch] = field(default_factory=list)
    vat_classes: list[_VatClass] = field(default_factory=list)
    counting: dict[int, Counting] = field(default_factory=dict)

    def terms(self) -> Terms:
        """Animals left over, each times its weight."""
        return [(variable, self.occupancy.problem.batches[owner].weight) for owner, variable in self.left.items()]

    def inside(self, layout: Layout, batch_count: BatchCount, vat_class: int) -> dict[int, int]:
        """Animals of a batch count in each vat of its vat class that has any."""
        spots = (
            (vat, layout.counts.get((batch_count.owner, batch_count.position, vat), 0))
            for vat in self.vat_classes[vat_class].vats
        )
        return {vat: count for vat, count in spots if count}

    def write(self, layout: Layout) -> dict[int, int]:
        """Values of the variables that decide, for a sound plan; the others follow from them."""
        values = {owner: self.occupancy.problem.batches[owner].count - layout.placed(owner) for owner in self.left}
        values = {self.left[owner]: count for owner, count in values.items()}
        for number, vat_class in enumerate(self.vat_classes):
            inside = {batch_count: self.inside(layout, batch_count, number) for batch_count in vat_class.batch_counts}
            for batch_count, vats in inside.items():
                values[batch_count.amount], values[batch_count.vats] = sum(vats.values()), len(vats)
            if number in self.counting:
                for party, variable in self.counting[number].counted.items():
                    values[variable] = len({vat for batch_count in party for vat in inside[batch_count]})
        for one in self.stretches:
            batch_counts = [
                batch_count
                for vat_class in self.vat_classes
                if vat_class.system == one.system
                for batch_count in vat_class.batch_counts
            ]
            mine = [
                batch_count
                for batch_count in batch_counts
                if (batch_count.lot, batch_count.start, batch_count.end) == (one.lot, one.start, one.end)
            ]
            values[one.there] = int(any(values[batch_count.vats] for batch_count in mine))
        return values


def rooms_in(occupancy: Occupancy) -> Rooms:
    """Rooms of an occupancy that no one else enters or leaves, each found once."""
    found: dict[tuple[int, int], dict[int, int]] = {}

    def rooms(owner: int, position: int) -> dict[int, int]:
        if (owner, position) not in found:
            least = occupancy.problem.batches[owner].min_portion
            vats = occupancy.stage_vats[owner][position]
            found[owner, position] = {
                vat: room for vat in vats if (room := occupancy.most((owner, position, vat))) >= least
            }
        return found[owner, position]

    return rooms


def separately(occupancy: Occupancy, owner: int, position: int) -> bool:
    """Whether a batch spends this stage in waters of one supplier each, whichever vat it gets."""
    vats = occupancy.stage_vats[owner][position]
    return bool(vats) and all(occupancy.separate[occupancy.system_of[vat]] for vat in vats)


def counts(occupancy: Occupancy, rooms: Mapping[int, int]) -> bool:
    """Whether a stage with room in these vats is one that is counted: quarantine in each of them."""
    return bool(rooms) and all(occupancy.quarantine[vat] for vat in rooms)


def quarantined(occupancy: Occupancy, owners: Iterable[int], rooms: Rooms, *, separate_only: bool = False) -> Waters:
    """Build the relaxation for some batches of an occupancy in which movable stock is loose.

    Parameters
    ----------
    rooms
        Of this occupancy, such as ``rooms_in`` gives.
    separate_only
        Leave out quarantine in waters that suppliers may share.
    """
    model = Waters(occupancy, tuple(sorted(owners)))
    where = _vat_classes(model)
    for owner in model.owners:
        _batch(model, owner, where, rooms, separate_only=separate_only)
    lots = {occupancy.problem.batches[owner].lot for owner in model.owners}
    for number, vat_class in enumerate(model.vat_classes):
        if vat_class.batch_counts:
            model.counting[number] = Counting(model, vat_class)
            model.counting[number].rows(lots)
    for system in sorted({vat_class.system for vat_class in model.vat_classes if vat_class.batch_counts}):
        _ammonia(model, system)
        _suppliers(model, system)
    return model


def _vat_classes(model: Waters) -> dict[int, int]:
    occupancy = model.occupancy
    alike: dict[tuple[int, int, int, int, bool], list[int]] = {}
    for vat, offer in enumerate(occupancy.problem.vats):
        if occupancy.quarantine[vat]:
            key = (occupancy.system_of[vat], offer.area_mm2, offer.oxygen_ug_per_h, offer.fallow_days, offer.divided)
            alike.setdefault(key, []).append(vat)
    model.vat_classes = [_VatClass(*key[:4], tuple(vats)) for key, vats in alike.items()]
    return {vat: number for number, vat_class in enumerate(model.vat_classes) for vat in vat_class.vats}


def _batch(model: Waters, owner: int, where: dict[int, int], rooms_of: Rooms, *, separate_only: bool) -> None:
    """What the vats that suit a batch could take of it at most is placed, and as much in every stage looked at."""
    occupancy, rows = model.occupancy, model.rows
    batch = occupancy.problem.batches[owner]
    rooms = [rooms_of(owner, position) for position in range(len(batch.stages))]
    most = min((sum(sorted(one.values(), reverse=True)[: batch.max_vats]) for one in rooms), default=0)
    left = model.left[owner] = rows.variable(max(0, batch.count - most), batch.count)
    for position, fits in enumerate(rooms if most else []):
        if not counts(occupancy, fits) or (separate_only and not separately(occupancy, owner, position)):
            continue
        stage = batch.stages[position]
        by_class: dict[int, list[int]] = {}
        for vat, room in fits.items():
            by_class.setdefault(where[vat], []).append(room)
        batch_counts = []
        for number, found in sorted(by_class.items()):
            best = sorted(found, reverse=True)[: batch.max_vats]
            amount, vats = rows.variable(0, min(batch.count, sum(best))), rows.variable(0, len(best))
            rows.row([(amount, 1), (vats, -best[0])], None, 0)
            rows.row([(amount, 1), (vats, -batch.min_portion)], 0, None)
            batch_count = BatchCount(
                owner, position, stage.start_day, stage.end_day, batch.lot, batch.group, amount, vats, best[0]
            )
            model.vat_classes[number].batch_counts.append(batch_count)
            batch_counts.append(batch_count)
        rows.row([*((one.amount, 1) for one in batch_counts), (left, 1)], batch.count, batch.count)
        rows.row([(one.vats, 1) for one in batch_counts], None, batch.max_vats)


class Counting:
    """Counts the vats of one vat class that lots use."""

    def __init__(self, model: Waters, vat_class: _VatClass) -> None:
        self.model, self.vat_class = model, vat_class
        self.counted: dict[tuple[BatchCount, ...], int] = {}
        self.limits: list[tuple[tuple[int, ...], int]] = []

    def rows(self, lots: set[tuple[str, int]]) -> None:
        """Lots, fallow days included, never use more vats of the vat class than there are without animals of others."""
        vat_class, rows = self.vat_class, self.model.rows
        for active in together(vat_class.batch_counts, vat_class.fallow):
            parties: dict[tuple[str, int], list[BatchCount]] = {}
            for batch_count in active:
                parties.setdefault(batch_count.lot, []).append(batch_count)
            counts = [self.used(tuple(party)) for party in parties.values()]
            free = len(vat_class.vats) - self._held(max(batch_count.start for batch_count in active), lots)
            self.limits.append((tuple(counts), free))
            if sum(rows.high[count] for count in counts) > free:
                rows.row([(count, 1) for count in counts], None, free)

    def spare(self, lot: tuple[str, int], values: Sequence[int]) -> int:
        """Vats more than values count that a lot might have here."""
        mine = {variable for party, variable in self.counted.items() if party[0].lot == lot}
        mine |= {batch_count.vats for batch_count in self.vat_class.batch_counts if batch_count.lot == lot}
        rooms = [free - sum(values[one] for one in some) for some, free in self.limits if not mine.isdisjoint(some)]
        return min(rooms, default=0)

    def _held(self, day: int, lots: set[tuple[str, int]]) -> int:
        """Vats that animals of other lots, or their fallow days, keep from whoever is there on this day."""
        inside, fallow = self.model.occupancy.inside, self.vat_class.fallow
        return sum(
            any(one.start <= day < one.end + fallow and one.lot not in lots for one in inside[vat])
            for vat in self.vat_class.vats
        )

    def used(self, party: tuple[BatchCount, ...]) -> int:
        """At least as many vats as any batch of a lot uses, as their needs fill, and as they may not share."""
        if len(party) == 1:
            return party[0].vats
        known = self.counted.get(party)
        if known is not None:
            return known
        rows, high = self.model.rows, self.model.rows.high
        count = rows.variable(0, min(len(self.vat_class.vats), sum(high[one.vats] for one in party)))
        self.counted[party] = count
        for batch_count in party:
            rows.row([(batch_count.vats, 1), (count, -1)], None, 0)
        for standing in together(party):
            self._filled(standing, count)
            self._company(standing, count)
        return count

    def _filled(self, batch_counts: Sequence[BatchCount], count: int) -> None:
        batches, rows = self.model.occupancy.problem.batches, self.model.rows
        areas = [(one.amount, batches[one.owner].footprint_mm2) for one in batch_counts]
        oxygen = [(one.amount, batches[one.owner].oxygen_ug_per_h) for one in batch_counts]
        rows.row([*areas, (count, -self.vat_class.area)], None, 0)
        rows.row([*oxygen, (count, -self.vat_class.oxygen)], None, 0)

    def _company(self, batch_counts: Sequence[BatchCount], count: int) -> None:
        """Sides of which no one may share a vat with anybody of another side need vats of their own, added up."""
        occupancy, rows = self.model.occupancy, self.model.rows
        names = sorted({one.group for one in batch_counts})
        for parted in sides(names, lambda one, other: occupancy.clash(self.vat_class.vats[0], one, other)):
            members = [tuple(one for one in batch_counts if one.group in side) for side in parted]
            rows.row([*((self.used(one), 1) for one in members), (count, -1)], None, 0)


def sides(names: Sequence[str], clash: Callable[[str, str], bool]) -> list[list[set[str]]]:
    """All largest ways of putting some names on two sides or more, each name against all on the other sides."""
    if len(names) > SIDES_MOST_GROUPS:
        return [[{name} for name in clique] for clique in cliques(names, clash)]
    found = []
    for number in range(2, len(names) + 1):
        for chosen in combinations(names, number):
            parted = _joined(chosen, clash)
            others = [name for name in names if name not in chosen]
            if len(parted) > 1 and not any(_joins(name, parted, clash) for name in others):
                found.append(parted)
    return found


def _joins(name: str, parted: Sequence[set[str]], clash: Callable[[str, str], bool]) -> bool:
    """Whether a name can be added to one side, or as one of its own, and the sides stay apart."""
    return sum(any(not clash(name, member) for member in side) for side in parted) < 2


def _joined(names: Sequence[str], clash: Callable[[str, str], bool]) -> list[set[str]]:
    """Groups such that batches that may share a vat stay together."""
    found: list[set[str]] = []
    for name in names:
        mine = [side for side in found if any(not clash(name, member) for member in side)]
        found = [side for side in found if side not in mine] + [{name}.union(*mine)]
    return found


def _batch_counts(model: Waters, system: int) -> list[BatchCount]:
    return [
        batch_count
        for vat_class in model.vat_classes
        if vat_class.system == system
        for batch_count in vat_class.batch_counts
    ]


def _ammonia(model: Waters, system: int) -> None:
    """The filter takes up what newcomers and the stock that stays there give off."""
    occupancy, rows, batches = model.occupancy, model.rows, model.occupancy.problem.batches
    batch_counts, offer, vats = (
        _batch_counts(model, system),
        occupancy.problem.systems[system],
        occupancy.vats_of[system],
    )
    tightest: dict[tuple[int, ...], int] = {}
    for day in sorted(
        {one.start for one in batch_counts} | {one.start for vat in vats for one in occupancy.inside[vat]}
    ):
        active = tuple(number for number, one in enumerate(batch_counts) if one.start <= day < one.end)
        fixed = sum(one.ammonia for vat in vats for one in occupancy.inside[vat] if one.start <= day < one.end)
        room = max(0, offer.ammonia_on(day) - fixed)
        tightest[active] = min(room, tightest.get(active, room))
    for active, room in tightest.items():
        terms = [(batch_counts[one].amount, batches[batch_counts[one].owner].ammonia_ug_per_h) for one in active]
        if sum(need * rows.high[variable] for variable, need in terms) > room:
            rows.row(terms, None, room)


def _suppliers(model: Waters, system: int) -> None:
    """Animals of two suppliers are never in a separate water on one day."""
    occupancy, rows = model.occupancy, model.rows
    if not occupancy.separate[system]:
        return
    spells: dict[tuple[tuple[str, int], int, int, str], list[BatchCount]] = {}
    for batch_count in _batch_counts(model, system):
        supplier = occupancy.problem.batches[batch_count.owner].supplier
        spells.setdefault((batch_count.lot, batch_count.start, batch_count.end, supplier), []).append(batch_count)
    mine = []
    for (lot, start, end, supplier), batch_counts in spells.items():
        there = rows.variable(0, 1)
        for batch_count in batch_counts:
            rows.row([(batch_count.vats, 1), (there, -rows.high[batch_count.vats])], None, 0)
            rows.row([(batch_count.amount, 1), (there, -rows.high[batch_count.amount])], None, 0)
        mine.append(Stretch(system, start, end, lot, supplier, there))
    model.stretches += mine
    for active in together(mine):
        parties: dict[str, list[Stretch]] = {}
        for one in active:
            parties.setdefault(one.supplier, []).append(one)
        held = [rows.any_of(one.there for one in party) for party in parties.values()]
        rows.at_most_one(held)
        for party, literal in zip(parties.values(), held, strict=True):
            _only_if_held(model, system, party, literal)


def _only_if_held(model: Waters, system: int, party: Sequence[Stretch], held: int) -> None:
    """A supplier's lots of one day fill no more of a water than there is, and nothing of one it does not hold."""
    occupancy, rows, batches = model.occupancy, model.rows, model.occupancy.problem.batches
    offers = [occupancy.problem.vats[vat] for vat in occupancy.vats_of[system]]
    spells = {(one.lot, one.start, one.end) for one in party}
    area: list[tuple[int, int]] = []
    oxygen: list[tuple[int, int]] = []
    counts: list[tuple[int, int]] = []
    for number, vat_class in enumerate(model.vat_classes):
        mine = (
            [one for one in vat_class.batch_counts if (one.lot, one.start, one.end) in spells]
            if vat_class.system == system
            else []
        )
        area += [(one.amount, batches[one.owner].footprint_mm2) for one in mine]
        oxygen += [(one.amount, batches[one.owner].oxygen_ug_per_h) for one in mine]
        for lot in dict.fromkeys(one.lot for one in mine):
            counts.append((model.counting[number].used(tuple(one for one in mine if one.lot == lot)), 1))
    rows.row([*area, (held, -sum(offer.area_mm2 for offer in offers))], None, 0)
    rows.row([*oxygen, (held, -sum(offer.oxygen_ug_per_h for offer in offers))], None, 0)
    rows.row([*counts, (held, -len(offers))], None, 0)
