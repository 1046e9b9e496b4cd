"""The exact model, one variable per batch, stage and vat: every rule of the plan as linear rows.

Load in a vat or a system can only peak on a day somebody enters, so rows stand for those days alone, and of two days
the one whose occupants include the other's; that is exact and replaces a row per day.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field

from intake.plan.model.mip import Rows
from intake.plan.model.occupancy import Layout, Occupancy, Occupant, Spot
from intake.plan.model.overlap import together

Need = Callable[["Item | Occupant"], int]

__all__ = ["Item", "Model", "build", "may_stand"]


@dataclass(frozen=True, slots=True)
class Item:
    """Somebody who may stand in a vat for some days: ``amount`` × needs of one, present when ``literal`` is 1."""

    vat: int
    start: int
    end: int
    group: str
    supplier: str
    lot: tuple[str, int]
    area: int
    oxygen: int
    ammonia: int
    amount: int
    most: int
    literal: int
    owner: int
    own: bool = False


@dataclass(frozen=True, slots=True)
class Load:
    """What one row carries: terms + fixed ≤ capacity; ``own`` is the most that loose present stock adds at home."""

    terms: tuple[tuple[int, int], ...]
    fixed: int
    capacity: int
    own: int
    literals: tuple[int, ...]
    kind: str
    vat: int


@dataclass(slots=True)
class Model:
    """Rows with the meaning of their variables."""

    occupancy: Occupancy
    batches: tuple[int, ...]
    only: Collection[Spot] | None = None
    rows: Rows = field(default_factory=Rows)
    animals: dict[Spot, int] = field(default_factory=dict)
    present: dict[Spot, int] = field(default_factory=dict)
    left: dict[int, int] = field(default_factory=dict)
    homes: dict[int, dict[int, int]] = field(default_factory=dict)
    items: list[list[Item]] = field(default_factory=list)
    loads: list[Load] = field(default_factory=list)
    lots: set[int] = field(default_factory=set)
    waters: set[int] = field(default_factory=set)
    tight: bool = True
    skip: Collection[tuple[int, int]] = ()

    def read(self, values: Sequence[int]) -> Layout:
        """The layout that values of the variables stand for."""
        counts = {spot: values[variable] for spot, variable in sorted(self.animals.items()) if values[variable] > 0}
        homes = [self.occupancy.vat_index[standing.vat] for standing in self.occupancy.problem.standing]
        for standing, choices in self.homes.items():
            homes[standing] = next(vat for vat, literal in choices.items() if values[literal])
        return Layout(counts, tuple(homes))

    def write(self, layout: Layout) -> list[int]:
        """Values of all variables for a layout that satisfies the rows: a complete hint."""
        values: dict[int, int] = {}
        for spot, variable in self.animals.items():
            values[variable] = layout.counts.get(spot, 0)
            values[self.present[spot]] = int(values[variable] > 0)
        for owner, variable in self.left.items():
            values[variable] = self.occupancy.problem.batches[owner].count - layout.placed(owner)
        for standing, choices in self.homes.items():
            for vat, literal in choices.items():
                values[literal] = int(layout.homes[standing] == vat)
        return self.rows.complete(values)


def build(
    occupancy: Occupancy,
    batches: Iterable[int],
    only: Collection[Spot] | None = None,
    *,
    tight: bool = True,
    skip: Collection[tuple[int, int]] = (),
) -> Model:
    """Model the named batches and the loose movable stock of an occupancy; whoever else stands in it is fixed.

    Parameters
    ----------
    only
        The spots to choose from; every suited vat if not given.
    tight
        Whether to add rows that no plan needs but that let the solver see more of what is impossible.
    skip
        Batches and stages not to be looked at: the model is then looser than the rules.
    """
    model = Model(occupancy, tuple(sorted(batches)), only, tight=tight, skip=skip)
    model.items = [[] for _ in occupancy.problem.vats]
    for owner in model.batches:
        _place_all_or_leave(model, owner)
    for standing in occupancy.loose:
        _stay_or_move(model, standing)
    for vat, items in enumerate(model.items):
        if items:
            _fit_in_vat(model, vat)
            _one_lot_at_a_time(model, vat)
            _keep_company(model, vat)
    for system in range(len(occupancy.problem.systems)):
        if any(model.items[vat] for vat in occupancy.vats_of[system]):
            _filter_ammonia(model, system)
            _suppliers_apart(model, system)
            _waters_apart(model, system)
    return model


def _place_all_or_leave(model: Model, owner: int) -> None:
    """Each animal stands somewhere in every stage, or is left out of all; portions are few and not too small."""
    occupancy, rows = model.occupancy, model.rows
    batch = occupancy.problem.batches[owner]
    rooms = {
        position: {
            vat: room
            for vat in vats
            if (model.only is None or (owner, position, vat) in model.only)
            and (room := occupancy.most((owner, position, vat))) >= batch.min_portion
        }
        for position, vats in enumerate(occupancy.stage_vats[owner])
        if (owner, position) not in model.skip
    }
    hopeless = any(not room for room in rooms.values())
    left = model.left[owner] = rows.variable(batch.count if hopeless else 0, batch.count)
    for position, fits in rooms.items() if not hopeless else ():
        spots = []
        for vat, most in fits.items():
            spot = (owner, position, vat)
            animals = model.animals[spot] = rows.variable(0, most)
            literal = model.present[spot] = rows.variable(0, 1)
            rows.row([(animals, 1), (literal, -most)], None, 0)
            rows.row([(animals, 1), (literal, -batch.min_portion)], 0, None)
            one = occupancy.tenant(spot, 1)
            model.items[vat].append(_item(one, animals, most, literal, owner))
            spots.append(spot)
        rows.row([*((model.animals[spot], 1) for spot in spots), (left, 1)], batch.count, batch.count)
        if len(spots) > batch.max_vats:
            rows.row([(model.present[spot], 1) for spot in spots], None, batch.max_vats)


def _item(one: Occupant, amount: int, most: int, literal: int, owner: int, *, own: bool = False) -> Item:
    return Item(
        one.vat, one.start, one.end, one.group, one.supplier, one.lot, one.area, one.oxygen, one.ammonia,
        amount, most, literal, owner, own,
    )  # fmt: skip


def _stay_or_move(model: Model, standing: int) -> None:
    """Movable stock stays, or all of it goes to one other vat on the day of its move.

    It may always stay where it is; once a plan has moved it, others may have taken its place.
    """
    occupancy, rows = model.occupancy, model.rows
    stock = occupancy.problem.standing[standing]
    if stock.until_day <= stock.move_day:
        return
    home = occupancy.vat_index[stock.vat]
    gone = occupancy.homes is not None and occupancy.homes[standing] != home
    choices: dict[int, int] = {}
    if not gone or may_stand(occupancy, occupancy.stay(stock, home, stock.move_day, stock.until_day)):
        choices[home] = rows.variable(0, 1)
    for name in stock.move_to:
        vat = occupancy.vat_index[name]
        if vat != home and may_stand(occupancy, occupancy.stay(stock, vat, stock.move_day, stock.until_day)):
            choices[vat] = rows.variable(0, 1)
    rows.row([(literal, 1) for literal in choices.values()], 1, 1)
    for vat, literal in choices.items():
        stay = occupancy.stay(stock, vat, stock.move_day, stock.until_day)
        model.items[vat].append(_item(stay, literal, 1, literal, -1 - standing, own=vat == home))
    model.homes[standing] = choices


def may_stand(occupancy: Occupancy, stay: Occupant) -> bool:
    """Whether present stock may come to stand in a vat beside those already there."""
    return not occupancy.barred(stay) and _carries(occupancy, stay)


def _carries(occupancy: Occupancy, stay: Occupant) -> bool:
    if stay.count > 1 and occupancy.singly(stay.vat, stay.group):
        return False
    offer = occupancy.problem.vats[stay.vat]
    area, oxygen = occupancy.loads(stay.vat, stay.start, stay.end)
    spare = occupancy.spare_ammonia(occupancy.system_of[stay.vat], stay.start, stay.end)
    return (
        area + stay.area <= offer.area_mm2
        and oxygen + stay.oxygen <= offer.oxygen_ug_per_h
        and (stay.ammonia <= max(0, spare))
    )


def _days(items: Sequence[Item], fixed: Sequence[Occupant]) -> list[int]:
    first = min(item.start for item in items)
    return sorted({item.start for item in items} | {one.start for one in fixed if one.start > first})


def _peaks(
    items: Sequence[Item],
    fixed: Sequence[Occupant],
    need: Need,
    capacity: Callable[[int], int],
    *,
    idle: bool = False,
) -> list[tuple[tuple[Item, ...], int, int]]:
    """Sets of items that may meet, with capacity and fixed load then; none inside a stricter one.

    Newcomers without a need count only if ``idle``: in a vat they may not join stock that overfills it.
    """
    days: dict[tuple[int, ...], tuple[int, int]] = {}
    for day in _days(items, fixed):
        there = (index for index, item in enumerate(items) if item.start <= day < item.end)
        active = tuple(index for index in there if need(items[index]) or (idle and not items[index].own))
        load = sum(need(one) for one in fixed if one.start <= day < one.end)
        entry = (capacity(day), load)
        if active and (active not in days or entry[0] - load < days[active][0] - days[active][1]):
            days[active] = entry
    kept: list[tuple[set[int], tuple[int, int]]] = []
    for active, entry in sorted(days.items(), key=lambda pair: (-len(pair[0]), pair[0])):
        room = entry[0] - entry[1]
        if not any(other.issuperset(active) and most[0] - most[1] <= room for other, most in kept):
            kept.append((set(active), entry))
    return [(tuple(items[index] for index in sorted(active)), *entry) for active, entry in kept]


def _budget(model: Model, items: Sequence[Item], need: Need, capacity: int, fixed: int, *, kind: str) -> None:
    """Σ need × animals + fixed ≤ capacity; stock that overfills its own vat may stay while nobody else comes in."""
    rows = model.rows
    terms = [(item.amount, need(item)) for item in items if need(item)]
    room = max(0, capacity - fixed)
    own = sum(need(item) for item in items if item.own)
    newcomers = tuple(item.literal for item in items if not item.own)
    model.loads.append(Load(tuple(terms), fixed, capacity, own, newcomers, kind, items[0].vat))
    if sum(need(item) * item.most for item in items) <= room:
        return
    excess = own - room
    if excess > 0 and newcomers:
        rows.row([*terms, (rows.any_of(newcomers), excess)], None, room + excess)
    elif excess <= 0:
        rows.row(terms, None, room)


def _fit_in_vat(model: Model, vat: int) -> None:
    """Bench area and oxygen of a vat are never exceeded."""
    items, fixed, offer = model.items[vat], model.occupancy.inside[vat], model.occupancy.problem.vats[vat]
    for active, capacity, load in _peaks(items, fixed, _area, lambda _: offer.area_mm2, idle=True):
        _budget(model, active, _area, capacity, load, kind="area")
    for active, capacity, load in _peaks(items, fixed, _oxygen, lambda _: offer.oxygen_ug_per_h, idle=True):
        _budget(model, active, _oxygen, capacity, load, kind="oxygen")


def _filter_ammonia(model: Model, system: int) -> None:
    """The filter of a system takes up the ammonia of all its vats, less while it is new."""
    occupancy = model.occupancy
    items = [item for vat in occupancy.vats_of[system] for item in model.items[vat]]
    fixed = [one for vat in occupancy.vats_of[system] for one in occupancy.inside[vat]]
    offer = occupancy.problem.systems[system]
    for active, capacity, load in _peaks(items, fixed, _ammonia, offer.ammonia_on):
        _budget(model, active, _ammonia, capacity, load, kind="ammonia")


def _area(one: Item | Occupant) -> int:
    return one.area


def _oxygen(one: Item | Occupant) -> int:
    return one.oxygen


def _ammonia(one: Item | Occupant) -> int:
    return one.ammonia


def _by(items: Iterable[Item], key: Callable[[Item], object]) -> list[list[Item]]:
    groups: dict[object, list[Item]] = {}
    for item in items:
        groups.setdefault(key(item), []).append(item)
    return list(groups.values())


def _one_lot_at_a_time(model: Model, vat: int) -> None:
    """A quarantine vat holds one lot from its first animal to the end of the fallow days after its last."""
    if not model.occupancy.quarantine[vat]:
        return
    if model.tight:
        for lot in _by(model.items[vat], lambda item: item.lot):
            _only_if_there(model, vat, lot)
    for active in together(model.items[vat], model.occupancy.problem.vats[vat].fallow_days):
        model.lots.update(_at_most_one_party(model, _by(active, lambda item: item.lot)))


def _only_if_there(model: Model, vat: int, lot: Sequence[Item]) -> None:
    """A lot uses no more of a vat than there is, and none unless it is there: implied, but not for fractions."""
    offer = model.occupancy.problem.vats[vat]
    needs: tuple[tuple[Need, int], ...] = ((_area, offer.area_mm2), (_oxygen, offer.oxygen_ug_per_h))
    for active in together([item for item in lot if not item.own]):
        for need, capacity in needs:
            terms = [(item.amount, need(item)) for item in active if need(item)]
            most = sum(need(item) * item.most for item in active)
            if len(terms) > 1 and most > capacity:
                model.rows.row([*terms, (_stays(model, active), -capacity)], None, 0)


def _at_most_one_party(model: Model, parties: Sequence[Sequence[Item]]) -> list[int]:
    """No two parties at once, but stock that stands together already may go on standing together."""
    rows = model.rows
    if not any(item.own for party in parties for item in party):
        literals = [_stays(model, party) for party in parties]
        rows.at_most_one(literals)
        return literals
    new = [[item for item in party if not item.own] for party in parties]
    for one, party in enumerate(parties):
        for other in range(len(parties)):
            if other != one and new[other]:
                rows.at_most_one([_stays(model, party), _stays(model, new[other])])
    return [_stays(model, party) for party in new if party]


def _stays(model: Model, items: Sequence[Item]) -> int:
    """1 when any of these items is there; one literal per lot and stay first, so that rows stay few."""
    owners = [
        model.rows.any_of(item.literal for item in same) for same in _by(items, lambda i: (i.lot, i.start, i.end))
    ]
    return model.rows.any_of(owners)


def _keep_company(model: Model, vat: int) -> None:
    """Groups that may not share a vat never stand in it on the same day."""
    occupancy = model.occupancy
    _exclude(model, model.items[vat], lambda one, other: occupancy.clash(vat, one, other))


def _waters_apart(model: Model, system: int) -> None:
    """Groups that may not share water never stand in one system on the same day."""
    occupancy = model.occupancy
    if occupancy.wet:
        items = [item for vat in occupancy.vats_of[system] for item in model.items[vat]]
        _exclude(model, items, lambda one, other: occupancy.problem.kept_apart(one, other) == "water")


def _exclude(model: Model, items: Sequence[Item], apart: Callable[[str, str], bool]) -> None:
    names = sorted({item.group for item in items})
    pairs = [(one, other) for n, one in enumerate(names) for other in names[n:] if apart(one, other)]
    if not pairs:
        return
    touched = {name for pair in pairs for name in pair}
    for active in together([item for item in items if item.group in touched]):
        members = {name: [item for item in active if item.group == name] for name in names}
        for one, other in pairs:
            if one == other:
                _at_most_one_party(model, [[item] for item in members[one]])
            elif members[one] and members[other]:
                _at_most_one_party(model, [members[one], members[other]])


def _suppliers_apart(model: Model, system: int) -> None:
    """Quarantine water is never shared by animals of two suppliers on the same day."""
    occupancy = model.occupancy
    if not occupancy.separate[system]:
        return
    items = [item for vat in occupancy.vats_of[system] for item in model.items[vat]]
    for active in together(items):
        model.waters.update(_at_most_one_party(model, _by(active, lambda item: item.supplier)))
