"""Rows of the exact program on who may not be together: lots in a vat, groups, suppliers, and lots that leave on two days."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from intake.plan.model.occupancy import Occupant
from intake.plan.model.overlap import together
from intake.plan.model.program import Item, Model, Need

__all__ = ["keep_company", "leave_together", "one_lot_at_a_time", "suppliers_apart", "wait_for_someone", "waters_apart"]


def area(one: Item | Occupant) -> int:
    """Bench area of one animal, or of all of an occupant."""
    return one.area


def oxygen(one: Item | Occupant) -> int:
    """Oxygen of one animal, or of all of an occupant."""
    return one.oxygen


def _by(items: Iterable[Item], key: Callable[[Item], object]) -> list[list[Item]]:
    groups: dict[object, list[Item]] = {}
    for item in items:
        groups.setdefault(key(item), []).append(item)
    return list(groups.values())


def one_lot_at_a_time(model: Model, vat: int) -> None:
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
    needs: tuple[tuple[Need, int], ...] = ((area, offer.area_mm2), (oxygen, offer.oxygen_ug_per_h))
    for active in together([item for item in lot if not item.home]):
        for need, capacity in needs:
            terms = [(item.amount, need(item)) for item in active if need(item)]
            most = sum(need(item) * item.most for item in active)
            if len(terms) > 1 and most > capacity:
                model.rows.row([*terms, (_stays(model, active), -capacity)], None, 0)


def _at_most_one_party(model: Model, parties: Sequence[Sequence[Item]]) -> list[int]:
    """No two parties at once, but stock that stands together already may go on standing together."""
    rows = model.rows
    if not any(item.home for party in parties for item in party):
        literals = [_stays(model, party) for party in parties]
        rows.at_most_one(literals)
        return literals
    new = [[item for item in party if not item.home] for party in parties]
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


def keep_company(model: Model, vat: int) -> None:
    """Groups that may not share a vat never be in it on the same day."""
    occupancy = model.occupancy
    _exclude(model, model.items[vat], lambda one, other: occupancy.clash(vat, one, other))


def waters_apart(model: Model, system: int) -> None:
    """Groups that may not share water never be in one system on the same day."""
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


def suppliers_apart(model: Model, system: int) -> None:
    """Quarantine water is never shared by animals of two suppliers on the same day."""
    occupancy = model.occupancy
    if not occupancy.separate[system]:
        return
    items = [item for vat in occupancy.vats_of[system] for item in model.items[vat]]
    for active in together(items):
        model.waters.update(_at_most_one_party(model, _by(active, lambda item: item.supplier)))


def leave_together(model: Model, system: int) -> None:
    """Lots that are in one quarantine water together, or on the day one of them leaves, leave it on one day."""
    occupancy = model.occupancy
    if not occupancy.problem.together:
        return
    items = [item for vat in occupancy.vats_of[system] for item in model.items[vat] if item.free is not None]
    for active in together(items, 1):
        cohorts = _by(active, lambda item: item.free)
        if len(cohorts) > 1:
            model.rows.at_most_one(_stays(model, cohort) for cohort in cohorts)


def wait_for_someone(model: Model) -> None:
    """A batch leaves later than its own clock asks only where another lot keeps it: without these rows it could choose to.

    In some water of the batch there must be a lot that entered by the batch's own end, ends later itself and leaves with it.
    That lot, if it waits as well, has one of its own, and so on to the lot whose own end is the day.
    """
    late: dict[tuple[int, int], dict[int, list[Item]]] = {}
    by_water: dict[tuple[int, int], list[Item]] = {}
    for vat, items in enumerate(model.items):
        water = model.occupancy.system_of[vat]
        for item in items:
            if item.free is not None and item.owner >= 0:
                by_water.setdefault((water, item.free), []).append(item)
                if item.free > item.own:
                    late.setdefault((item.owner, item.free), {}).setdefault(water, []).append(item)
    for (_, end), waters in late.items():
        _someone(model, end, waters, {water: by_water[water, end] for water in waters})


def _someone(model: Model, end: int, waters: dict[int, list[Item]], near: dict[int, list[Item]]) -> None:
    """Let a batch leave late only if it waits for someone in one of its waters."""
    rows, occupancy = model.rows, model.occupancy
    reasons: list[int] = []
    for water, mine in waters.items():
        own, owner, here = mine[0].own, mine[0].owner, [item.literal for item in mine]
        fixed = (one for vat in occupancy.vats_of[water] for one in occupancy.inside[vat])
        others = [one.literal for one in near[water] if one.owner != owner and one.start <= own < one.own]
        if any(one.free == end and one.start <= own < one.own for one in fixed):
            reasons += here
        elif others and len(waters) == 1:
            reasons += others
        elif others:
            reasons.append(rows.some_of_each(here, others))
    stays = rows.any_of(_stays(model, mine) for mine in waters.values())
    rows.row([(stays, 1), *((reason, -1) for reason in dict.fromkeys(reasons))], None, 0)
