"""The exact model, one variable per batch, stage and vat: every rule of the plan as linear rows.

Load in a vat or a system can only peak on a day someone enters, so rows stand for those days alone, and of two days
the one whose occupants include the other's; that is exact and replaces a row per day.  Where a batch may leave quarantine
on several days there is a variable for each, so days stay fixed and only what joins them is new.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence

from intake.plan.model.occupancy import Occupancy, Occupant, Spot
from intake.plan.model.program import Choice, Item, Load, Model, Need, pieces_of
from intake.plan.model.separation import (
    area,
    keep_company,
    leave_together,
    one_lot_at_a_time,
    oxygen,
    suppliers_apart,
    wait_for_someone,
    waters_apart,
)

__all__ = ["build", "may_stand"]


def build(
    occupancy: Occupancy,
    batches: Iterable[int],
    only: Collection[Spot] | None = None,
    *,
    tight: bool = True,
    skip: Collection[tuple[int, int]] = (),
    ends: Mapping[int, Sequence[int]] | None = None,
) -> Model:
    """Model the named batches and the loose movable stock of an occupancy; whoever else is in it is fixed.

    Parameters
    ----------
    only
        The spots to choose from; every suited vat if not given.
    tight
        Whether to add rows that no plan needs but that let the solver see more of what is impossible.
    skip
        Batches and stages not to be looked at: the model is then looser than the rules.
    ends
        For each batch the days on which its quarantine may end; its own end, or the one it is dated by, if not given.
    """
    model = Model(occupancy, tuple(sorted(batches)), only, tight=tight, skip=skip)
    given = ends or {}
    model.modes = {owner: tuple(given.get(owner) or (occupancy.ends[owner],)) for owner in model.batches}
    model.items = [[] for _ in occupancy.problem.vats]
    for owner in model.batches:
        _place_all_or_leave(model, owner)
    for standing in occupancy.loose:
        _stay_or_move(model, standing)
    for vat, items in enumerate(model.items):
        if items:
            _fit_in_vat(model, vat)
            one_lot_at_a_time(model, vat)
            keep_company(model, vat)
    for system in range(len(occupancy.problem.systems)):
        if any(model.items[vat] for vat in occupancy.vats_of[system]):
            _filter_ammonia(model, system)
            suppliers_apart(model, system)
            waters_apart(model, system)
            leave_together(model, system)
    wait_for_someone(model)
    return model


def _place_all_or_leave(model: Model, owner: int) -> None:
    """Each animal stands somewhere in every stage, or is left out of all; portions are few and not too small."""
    occupancy, rows = model.occupancy, model.rows
    batch = occupancy.problem.batches[owner]
    looked_at = [place for place in range(len(batch.stages)) if (owner, place) not in model.skip]
    rooms = {end: {place: _rooms(model, owner, place, end) for place in looked_at} for end in model.modes[owner]}
    rooms = {end: fits for end, fits in rooms.items() if all(fits.values())}
    left = model.left[owner] = rows.variable(0 if rooms else batch.count, batch.count)
    placed: dict[int, list[list[int]]] = {place: [] for place in looked_at}
    for end, fits in rooms.items():
        for place, some in fits.items():
            placed[place].append([_offer(model, (owner, place, vat, end), most) for vat, most in some.items()])
    for number, place in enumerate(looked_at if rooms else ()):
        choices = [choice for one in placed[place] for choice in one]
        if number == 0 or len(rooms) == 1:
            rows.row([*((animals, 1) for animals in choices), (left, 1)], batch.count, batch.count)
        else:
            for here, first in zip(placed[place], placed[looked_at[0]], strict=True):
                rows.row([*((animals, 1) for animals in here), *((animals, -1) for animals in first)], 0, 0)
        if len(choices) > batch.max_vats:
            rows.row([(animals + 1, 1) for animals in choices], None, batch.max_vats)
    if len(rooms) > 1:
        rows.at_most_one(rows.any_of(animals + 1 for animals in one) for one in placed[looked_at[0]])


def _rooms(model: Model, owner: int, place: int, end: int) -> dict[int, int]:
    """Vats with room for the smallest portion of a batch in a stage, when its quarantine ends on a day."""
    occupancy = model.occupancy
    least = occupancy.problem.batches[owner].min_portion
    offered = [
        vat for vat in occupancy.stage_vats[owner][place] if model.only is None or (owner, place, vat) in model.only
    ]
    return {vat: room for vat in offered if (room := occupancy.most((owner, place, vat), end)) >= least}


def _offer(model: Model, choice: Choice, most: int) -> int:
    """Animals of a batch in a vat, and directly after it the literal that any are there."""
    rows, (owner, place, vat, end) = model.rows, choice
    animals = model.animals[choice] = rows.variable(0, most)
    literal = model.present[choice] = rows.variable(0, 1)
    rows.row([(animals, 1), (literal, -most)], None, 0)
    rows.row([(animals, 1), (literal, -model.occupancy.problem.batches[owner].min_portion)], 0, None)
    one = model.occupancy.tenant((owner, place, vat), 1, end)
    model.items[vat].append(_item(one, animals, most, literal, owner))
    return animals


def _item(one: Occupant, amount: int, most: int, literal: int, owner: int, *, home: bool = False) -> Item:
    return Item(
        one.vat, one.start, one.end, one.group, one.supplier, one.lot, one.area, one.oxygen, one.ammonia,
        amount, most, literal, owner, home, one.free, one.own, one.later,
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
        model.items[vat].append(_item(stay, literal, 1, literal, -1 - standing, home=vat == home))
    model.homes[standing] = choices


def may_stand(occupancy: Occupancy, stay: Occupant) -> bool:
    """Whether current stock may come to be in a vat beside those already there."""
    return not occupancy.barred(stay) and all(_carries(occupancy, piece) for piece in stay.pieces())


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
        active = tuple(index for index in there if need(items[index]) or (idle and not items[index].home))
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
    """Σ need × animals + fixed ≤ capacity; stock that overfills its own vat may stay while no one else comes in."""
    rows = model.rows
    terms = [(item.amount, need(item)) for item in items if need(item)]
    room = max(0, capacity - fixed)
    own = sum(need(item) for item in items if item.home)
    newcomers = tuple(item.literal for item in items if not item.home)
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
    fixed, offer = model.occupancy.inside[vat], model.occupancy.problem.vats[vat]
    items = pieces_of(model.items[vat])
    for active, capacity, load in _peaks(items, fixed, area, lambda _: offer.area_mm2, idle=True):
        _budget(model, active, area, capacity, load, kind="area")
    for active, capacity, load in _peaks(items, fixed, oxygen, lambda _: offer.oxygen_ug_per_h, idle=True):
        _budget(model, active, oxygen, capacity, load, kind="oxygen")


def _filter_ammonia(model: Model, system: int) -> None:
    """The filter of a system takes up the ammonia of all its vats, less while it is new."""
    occupancy = model.occupancy
    items = pieces_of(item for vat in occupancy.vats_of[system] for item in model.items[vat])
    fixed = [one for vat in occupancy.vats_of[system] for one in occupancy.inside[vat]]
    offer = occupancy.problem.systems[system]
    for active, capacity, load in _peaks(items, fixed, _ammonia, offer.ammonia_on):
        _budget(model, active, _ammonia, capacity, load, kind="ammonia")


def _ammonia(one: Item | Occupant) -> int:
    return one.ammonia
