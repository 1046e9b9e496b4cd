"""A relaxation in which vats that cannot be modelled one by one are counted, not named: its optimum bounds every plan's.

Whatever plan is made, counting its vats by class satisfies these rows, so no plan leaves fewer animals over than the
relaxation does.  It is far smaller than the exact model and has no symmetry, which is why it proves what that cannot.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from intake.plan.model.mip import Rows, Terms
from intake.plan.model.occupancy import Occupancy, Occupant
from intake.plan.model.overlap import cliques, together

__all__ = ["Relaxation", "relaxed"]


@dataclass(frozen=True, slots=True)
class BatchCount:
    """Animals of one batch (or one stay) in the vats of one class, and how many of those vats they use."""

    start: int
    end: int
    group: str
    supplier: str
    lot: tuple[str, int]
    area: int
    oxygen: int
    ammonia: int
    amount: int
    vats: int
    owner: int
    own: bool


@dataclass(frozen=True, slots=True)
class Class:
    """Vats that are alike in everything a newcomer can notice."""

    vats: tuple[int, ...]
    batch_counts: list[BatchCount]


@dataclass(slots=True)
class Relaxation:
    """Rows with the meaning of their variables."""

    occupancy: Occupancy
    rows: Rows = field(default_factory=Rows)
    left: dict[int, int] = field(default_factory=dict)
    classes: list[Class] = field(default_factory=list)

    def terms(self) -> Terms:
        """Animals left over, each times its weight."""
        return [(variable, self.occupancy.problem.batches[owner].weight) for owner, variable in self.left.items()]


def relaxed(occupancy: Occupancy, *, company: bool = True, stage: str = "") -> Relaxation:
    """Build the relaxation of an occupancy in which movable stock is loose.

    Parameters
    ----------
    company
        Whether to count vats by groups that may not meet; most of the rows say that, so large farms go without.
    stage
        Look at this stage alone; what the others need is then left out as well.
    """
    model = Relaxation(occupancy)
    rooms = _rooms(occupancy)
    model.classes = [Class(vats, []) for vats in _alike(occupancy, rooms)]
    where = {vat: number for number, one in enumerate(model.classes) for vat in one.vats}
    for owner in range(len(occupancy.problem.batches)):
        _batch(model, owner, rooms, where, stage)
    for standing in occupancy.loose:
        _stay(model, standing, where)
    for one in model.classes:
        if one.batch_counts:
            _bench(model, one)
            _lots(model, one)
            if company:
                _company(model, one)
    for system in range(len(occupancy.problem.systems)):
        here = [one for one in model.classes if one.batch_counts and occupancy.system_of[one.vats[0]] == system]
        if here:
            _waters(model, system, [batch_count for one in here for batch_count in one.batch_counts])
    return model


def _rooms(occupancy: Occupancy) -> list[dict[tuple[int, int], int]]:
    """Per vat, the batches and stages it could take and how many animals of each."""
    rooms: list[dict[tuple[int, int], int]] = [{} for _ in occupancy.problem.vats]
    for owner, batch in enumerate(occupancy.problem.batches):
        for position, vats in enumerate(occupancy.stage_vats[owner]):
            for vat in vats:
                most = occupancy.most((owner, position, vat))
                if most >= batch.min_portion:
                    rooms[vat][owner, position] = most
    return rooms


def _alike(occupancy: Occupancy, rooms: Sequence[dict[tuple[int, int], int]]) -> list[tuple[int, ...]]:
    homes = {occupancy.vat_index[occupancy.problem.standing[index].vat] for index in occupancy.loose}
    targets = [set(occupancy.problem.standing[index].move_to) for index in occupancy.loose]
    classes: dict[object, list[int]] = {}
    for vat, offer in enumerate(occupancy.problem.vats):
        inside = tuple(
            sorted(
                (one.start, one.end, one.area, one.oxygen, one.ammonia, one.group, one.lot)
                for one in occupancy.inside[vat]
            )
        )
        takes = tuple(number for number, names in enumerate(targets) if offer.id in names)
        key: object = (
            vat
            if vat in homes
            else (
                offer.system, offer.area_mm2, offer.oxygen_ug_per_h, offer.fallow_days, offer.divided, offer.closed,
                inside, tuple(sorted(rooms[vat].items())), takes,
            )
        )  # fmt: skip
        classes.setdefault(key, []).append(vat)
    return [tuple(vats) for vats in classes.values()]


def _batch(
    model: Relaxation, owner: int, rooms: Sequence[dict[tuple[int, int], int]], where: dict[int, int], only: str
) -> None:
    """As many animals in every stage; each class takes what the vats used of it can hold."""
    occupancy, rows = model.occupancy, model.rows
    batch = occupancy.problem.batches[owner]
    stages: list[dict[int, int]] = []
    for position, vats in enumerate(occupancy.stage_vats[owner]):
        stages.append({where[vat]: rooms[vat][owner, position] for vat in vats if (owner, position) in rooms[vat]})
    hopeless = any(not rooms_of for rooms_of in stages)
    left = model.left[owner] = rows.variable(batch.count if hopeless else 0, batch.count)
    for position, rooms_of in enumerate([] if hopeless else stages):
        if only and batch.stages[position].stage != only:
            continue
        amounts, uses = [], []
        for number, room in rooms_of.items():
            most_vats = min(len(model.classes[number].vats), batch.max_vats)
            amount = rows.variable(0, min(batch.count, room * most_vats))
            used = rows.variable(0, most_vats)
            rows.row([(amount, 1), (used, -room)], None, 0)
            rows.row([(amount, 1), (used, -batch.min_portion)], 0, None)
            one = occupancy.tenant((owner, position, model.classes[number].vats[0]), 1)
            model.classes[number].batch_counts.append(_batch_count(one, amount, used, owner))
            amounts.append((amount, 1))
            uses.append((used, 1))
        rows.row([*amounts, (left, 1)], batch.count, batch.count)
        rows.row(uses, None, batch.max_vats)


def _batch_count(one: Occupant, amount: int, used: int, owner: int, *, own: bool = False) -> BatchCount:
    return BatchCount(
        one.start, one.end, one.group, one.supplier, one.lot, one.area, one.oxygen, one.ammonia,
        amount, used, owner, own,
    )  # fmt: skip


def _stay(model: Relaxation, standing: int, where: dict[int, int]) -> None:
    """Movable stock stands in one vat of some class it may go to, or at home."""
    occupancy, rows = model.occupancy, model.rows
    stock = occupancy.problem.standing[standing]
    if stock.until_day <= stock.move_day:
        return
    home = occupancy.vat_index[stock.vat]
    choices: dict[int, int] = {where[home]: home}
    for name in stock.move_to:
        vat = occupancy.vat_index[name]
        if vat != home and not occupancy.barred(occupancy.stay(stock, vat, stock.move_day, stock.until_day)):
            choices.setdefault(where[vat], vat)
    literals = {number: rows.variable(0, 1) for number in choices}
    rows.row([(literal, 1) for literal in literals.values()], 1, 1)
    for number, literal in literals.items():
        stay = occupancy.stay(stock, choices[number], stock.move_day, stock.until_day)
        own = choices[number] == home
        model.classes[number].batch_counts.append(_batch_count(stay, literal, literal, -1 - standing, own=own))


def _fixed(occupancy: Occupancy, vats: Iterable[int], day: int, need: Callable[[Occupant], int]) -> int:
    return sum(need(one) for vat in vats for one in occupancy.inside[vat] if one.start <= day < one.end)


def _bench(model: Relaxation, one: Class) -> None:
    """Area and oxygen of all the vats of a class together; a class whose own loose stock may overfill it is let off."""
    occupancy, offer = model.occupancy, model.occupancy.problem.vats[one.vats[0]]
    days = {batch_count.start for batch_count in one.batch_counts} | {
        o.start for vat in one.vats for o in occupancy.inside[vat]
    }
    seen: set[tuple[tuple[int, ...], int, int]] = set()
    for day in sorted(days):
        active = [batch_count for batch_count in one.batch_counts if batch_count.start <= day < batch_count.end]
        area = len(one.vats) * offer.area_mm2 - _fixed(occupancy, one.vats, day, lambda o: o.area)
        oxygen = len(one.vats) * offer.oxygen_ug_per_h - _fixed(occupancy, one.vats, day, lambda o: o.oxygen)
        key = (tuple(batch_count.amount for batch_count in active), area, oxygen)
        if not active or key in seen:
            continue
        seen.add(key)
        _within(model, active, [batch_count.area for batch_count in active], area)
        _within(model, active, [batch_count.oxygen for batch_count in active], oxygen)


def _within(model: Relaxation, active: Sequence[BatchCount], needs: Sequence[int], room: int) -> None:
    own = sum(need for batch_count, need in zip(active, needs, strict=True) if batch_count.own)
    terms = [(batch_count.amount, need) for batch_count, need in zip(active, needs, strict=True) if need]
    most = sum(need * model.rows.high[variable] for variable, need in terms)
    if terms and own <= max(0, room) < most:
        model.rows.row(terms, None, max(0, room))


def _count(model: Relaxation, one: Class, batch_counts: Sequence[BatchCount]) -> int:
    """How many vats of a class these animals use at least: as many as any batch of them, and as their needs fill."""
    rows, offer = model.rows, model.occupancy.problem.vats[one.vats[0]]
    if len(batch_counts) == 1:
        return batch_counts[0].vats
    used = rows.variable(0, len(one.vats))
    for batch_count in batch_counts:
        rows.row([(batch_count.vats, 1), (used, -1)], None, 0)
    if all(batch_count.owner >= 0 for batch_count in batch_counts):
        rows.row(
            [*((batch_count.amount, batch_count.area) for batch_count in batch_counts), (used, -offer.area_mm2)],
            None,
            0,
        )
        rows.row(
            [
                *((batch_count.amount, batch_count.oxygen) for batch_count in batch_counts),
                (used, -offer.oxygen_ug_per_h),
            ],
            None,
            0,
        )
    _split_by_company(model, one, batch_counts, used)
    return used


def _split_by_company(model: Relaxation, one: Class, batch_counts: Sequence[BatchCount], used: int) -> None:
    """Groups that may not meet in a vat use different ones of those counted."""
    occupancy = model.occupancy
    for clique in cliques(
        sorted({batch_count.group for batch_count in batch_counts}), lambda a, b: occupancy.clash(one.vats[0], a, b)
    ):
        chosen = [
            max(
                (batch_count for batch_count in batch_counts if batch_count.group == group and batch_count.owner >= 0),
                key=lambda c: c.area,
                default=None,
            )
            for group in clique
        ]
        terms = [(batch_count.vats, 1) for batch_count in chosen if batch_count is not None]
        if len(terms) > 1:
            model.rows.row([*terms, (used, -1)], None, 0)


def _lots(model: Relaxation, one: Class) -> None:
    """Quarantine vats in use by lots, fallow days included, are no more than there are."""
    if not model.occupancy.quarantine[one.vats[0]]:
        return
    for active in together(one.batch_counts, model.occupancy.problem.vats[one.vats[0]].fallow_days):
        parties: dict[object, list[BatchCount]] = {}
        for batch_count in active:
            parties.setdefault("own" if batch_count.own else batch_count.lot, []).append(batch_count)
        counts = [_count(model, one, party) for name, party in parties.items() if name != "own"]
        if len(parties.get("own", [])) == 1:
            counts.append(parties["own"][0].vats)
        if sum(model.rows.high[count] for count in counts) > len(one.vats):
            model.rows.row([(count, 1) for count in counts], None, len(one.vats))


def _company(model: Relaxation, one: Class) -> None:
    """Vats used by groups that may not meet are no more than there are."""
    occupancy = model.occupancy
    names = sorted({batch_count.group for batch_count in one.batch_counts})
    apart = cliques(names, lambda a, b: occupancy.clash(one.vats[0], a, b))
    if not apart:
        return
    for active in together([batch_count for batch_count in one.batch_counts if not batch_count.own]):
        for clique in apart:
            counts = []
            for group in clique:
                members = [batch_count for batch_count in active if batch_count.group == group]
                if members:
                    counts.append(_count(model, one, members))
            if len(counts) > 1:
                model.rows.row([(count, 1) for count in counts], None, len(one.vats))


def _waters(model: Relaxation, system: int, batch_counts: Sequence[BatchCount]) -> None:
    """Ammonia, suppliers and waters of a system, as in the exact model with presence for vats used."""
    occupancy, rows = model.occupancy, model.rows
    offer = occupancy.problem.systems[system]
    vats = occupancy.vats_of[system]
    days = {batch_count.start for batch_count in batch_counts} | {
        one.start for vat in vats for one in occupancy.inside[vat]
    }
    seen: set[tuple[tuple[int, ...], int]] = set()
    for day in sorted(days):
        active = [batch_count for batch_count in batch_counts if batch_count.start <= day < batch_count.end]
        room = offer.ammonia_on(day) - _fixed(occupancy, vats, day, lambda one: one.ammonia)
        key = (tuple(batch_count.amount for batch_count in active), room)
        if active and key not in seen:
            seen.add(key)
            _within(model, active, [batch_count.ammonia for batch_count in active], room)
    if not occupancy.separate[system]:
        return
    there = {id(batch_count): _there(rows, batch_count) for batch_count in batch_counts}
    for active in together([batch_count for batch_count in batch_counts if not batch_count.own]):
        parties: dict[str, dict[object, list[int]]] = {}
        for batch_count in active:
            lots = parties.setdefault(batch_count.supplier, {})
            lots.setdefault((batch_count.lot, batch_count.end), []).append(there[id(batch_count)])
        rows.at_most_one(rows.any_of(rows.any_of(lot) for lot in lots.values()) for lots in parties.values())


def _there(rows: Rows, batch_count: BatchCount) -> int:
    """1 when the animals use any vat of their class."""
    if rows.high[batch_count.vats] == 1:
        return batch_count.vats
    literal = rows.variable(0, 1)
    rows.row([(batch_count.vats, 1), (literal, -rows.high[batch_count.vats])], None, 0)
    return literal
