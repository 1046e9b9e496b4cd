"""A relaxation in which vats that cannot be told apart are counted, not named: its optimum bounds every plan's.

Whatever plan is made, counting its vats by class satisfies these rows, so no plan leaves fewer animals over than the
relaxation does.  It is far smaller than the exact model and has no symmetry, which is why it proves what that cannot.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from intake.plan.model.mip import Rows, Terms
from intake.plan.model.occupancy import Occupant, Scene
from intake.plan.model.overlap import cliques, together

__all__ = ["Relaxation", "relaxed"]


@dataclass(frozen=True, slots=True)
class Crowd:
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
    crowds: list[Crowd]


@dataclass(slots=True)
class Relaxation:
    """Rows with the meaning of their variables."""

    scene: Scene
    rows: Rows = field(default_factory=Rows)
    left: dict[int, int] = field(default_factory=dict)
    classes: list[Class] = field(default_factory=list)

    def terms(self) -> Terms:
        """Animals left over, each times its weight."""
        return [(variable, self.scene.problem.batches[owner].weight) for owner, variable in self.left.items()]


def relaxed(scene: Scene, *, company: bool = True, stage: str = "") -> Relaxation:
    """Build the relaxation of a scene in which movable stock is loose.

    Parameters
    ----------
    company
        Whether to count vats by groups that may not meet; most of the rows say that, so large farms go without.
    stage
        Look at this stage alone; what the others need is then left out as well.
    """
    model = Relaxation(scene)
    rooms = _rooms(scene)
    model.classes = [Class(vats, []) for vats in _alike(scene, rooms)]
    where = {vat: number for number, one in enumerate(model.classes) for vat in one.vats}
    for owner in range(len(scene.problem.batches)):
        _batch(model, owner, rooms, where, stage)
    for standing in scene.loose:
        _stay(model, standing, where)
    for one in model.classes:
        if one.crowds:
            _bench(model, one)
            _lots(model, one)
            if company:
                _company(model, one)
    for system in range(len(scene.problem.systems)):
        here = [one for one in model.classes if one.crowds and scene.system_of[one.vats[0]] == system]
        if here:
            _waters(model, system, [crowd for one in here for crowd in one.crowds])
    return model


def _rooms(scene: Scene) -> list[dict[tuple[int, int], int]]:
    """Per vat, the batches and stages it could take and how many animals of each."""
    rooms: list[dict[tuple[int, int], int]] = [{} for _ in scene.problem.vats]
    for owner, batch in enumerate(scene.problem.batches):
        for position, vats in enumerate(scene.stage_vats[owner]):
            for vat in vats:
                most = scene.most((owner, position, vat))
                if most >= batch.min_portion:
                    rooms[vat][owner, position] = most
    return rooms


def _alike(scene: Scene, rooms: Sequence[dict[tuple[int, int], int]]) -> list[tuple[int, ...]]:
    homes = {scene.vat_index[scene.problem.standing[index].vat] for index in scene.loose}
    targets = [set(scene.problem.standing[index].move_to) for index in scene.loose]
    classes: dict[object, list[int]] = {}
    for vat, offer in enumerate(scene.problem.vats):
        inside = tuple(
            sorted(
                (one.start, one.end, one.area, one.oxygen, one.ammonia, one.group, one.lot) for one in scene.inside[vat]
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
    scene, rows = model.scene, model.rows
    batch = scene.problem.batches[owner]
    stages: list[dict[int, int]] = []
    for position, vats in enumerate(scene.stage_vats[owner]):
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
            one = scene.tenant((owner, position, model.classes[number].vats[0]), 1)
            model.classes[number].crowds.append(_crowd(one, amount, used, owner))
            amounts.append((amount, 1))
            uses.append((used, 1))
        rows.row([*amounts, (left, 1)], batch.count, batch.count)
        rows.row(uses, None, batch.max_vats)


def _crowd(one: Occupant, amount: int, used: int, owner: int, *, own: bool = False) -> Crowd:
    return Crowd(
        one.start, one.end, one.group, one.supplier, one.lot, one.area, one.oxygen, one.ammonia,
        amount, used, owner, own,
    )  # fmt: skip


def _stay(model: Relaxation, standing: int, where: dict[int, int]) -> None:
    """Movable stock stands in one vat of some class it may go to, or at home."""
    scene, rows = model.scene, model.rows
    stock = scene.problem.standing[standing]
    if stock.until_day <= stock.move_day:
        return
    home = scene.vat_index[stock.vat]
    choices: dict[int, int] = {where[home]: home}
    for name in stock.move_to:
        vat = scene.vat_index[name]
        if vat != home and not scene.barred(scene.stay(stock, vat, stock.move_day, stock.until_day)):
            choices.setdefault(where[vat], vat)
    literals = {number: rows.variable(0, 1) for number in choices}
    rows.row([(literal, 1) for literal in literals.values()], 1, 1)
    for number, literal in literals.items():
        stay = scene.stay(stock, choices[number], stock.move_day, stock.until_day)
        own = choices[number] == home
        model.classes[number].crowds.append(_crowd(stay, literal, literal, -1 - standing, own=own))


def _fixed(scene: Scene, vats: Iterable[int], day: int, need: Callable[[Occupant], int]) -> int:
    return sum(need(one) for vat in vats for one in scene.inside[vat] if one.start <= day < one.end)


def _bench(model: Relaxation, one: Class) -> None:
    """Area and oxygen of all the vats of a class together; a class whose own loose stock may overfill it is let off."""
    scene, offer = model.scene, model.scene.problem.vats[one.vats[0]]
    days = {crowd.start for crowd in one.crowds} | {o.start for vat in one.vats for o in scene.inside[vat]}
    seen: set[tuple[tuple[int, ...], int, int]] = set()
    for day in sorted(days):
        active = [crowd for crowd in one.crowds if crowd.start <= day < crowd.end]
        area = len(one.vats) * offer.area_mm2 - _fixed(scene, one.vats, day, lambda o: o.area)
        oxygen = len(one.vats) * offer.oxygen_ug_per_h - _fixed(scene, one.vats, day, lambda o: o.oxygen)
        key = (tuple(crowd.amount for crowd in active), area, oxygen)
        if not active or key in seen:
            continue
        seen.add(key)
        _within(model, active, [crowd.area for crowd in active], area)
        _within(model, active, [crowd.oxygen for crowd in active], oxygen)


def _within(model: Relaxation, active: Sequence[Crowd], needs: Sequence[int], room: int) -> None:
    own = sum(need for crowd, need in zip(active, needs, strict=True) if crowd.own)
    terms = [(crowd.amount, need) for crowd, need in zip(active, needs, strict=True) if need]
    most = sum(need * model.rows.high[variable] for variable, need in terms)
    if terms and own <= max(0, room) < most:
        model.rows.row(terms, None, max(0, room))


def _count(model: Relaxation, one: Class, crowds: Sequence[Crowd]) -> int:
    """How many vats of a class these animals use at least: as many as any batch of them, and as their needs fill."""
    rows, offer = model.rows, model.scene.problem.vats[one.vats[0]]
    if len(crowds) == 1:
        return crowds[0].vats
    used = rows.variable(0, len(one.vats))
    for crowd in crowds:
        rows.row([(crowd.vats, 1), (used, -1)], None, 0)
    if all(crowd.owner >= 0 for crowd in crowds):
        rows.row([*((crowd.amount, crowd.area) for crowd in crowds), (used, -offer.area_mm2)], None, 0)
        rows.row([*((crowd.amount, crowd.oxygen) for crowd in crowds), (used, -offer.oxygen_ug_per_h)], None, 0)
    _split_by_company(model, one, crowds, used)
    return used


def _split_by_company(model: Relaxation, one: Class, crowds: Sequence[Crowd], used: int) -> None:
    """Groups that may not meet in a vat use different ones of those counted."""
    scene = model.scene
    for clique in cliques(sorted({crowd.group for crowd in crowds}), lambda a, b: scene.clash(one.vats[0], a, b)):
        chosen = [
            max(
                (crowd for crowd in crowds if crowd.group == group and crowd.owner >= 0),
                key=lambda c: c.area,
                default=None,
            )
            for group in clique
        ]
        terms = [(crowd.vats, 1) for crowd in chosen if crowd is not None]
        if len(terms) > 1:
            model.rows.row([*terms, (used, -1)], None, 0)


def _lots(model: Relaxation, one: Class) -> None:
    """Quarantine vats in use by lots, fallow days included, are no more than there are."""
    if not model.scene.quarantine[one.vats[0]]:
        return
    for active in together(one.crowds, model.scene.problem.vats[one.vats[0]].fallow_days):
        parties: dict[object, list[Crowd]] = {}
        for crowd in active:
            parties.setdefault("own" if crowd.own else crowd.lot, []).append(crowd)
        counts = [_count(model, one, party) for name, party in parties.items() if name != "own"]
        if len(parties.get("own", [])) == 1:
            counts.append(parties["own"][0].vats)
        if sum(model.rows.high[count] for count in counts) > len(one.vats):
            model.rows.row([(count, 1) for count in counts], None, len(one.vats))


def _company(model: Relaxation, one: Class) -> None:
    """Vats used by groups that may not meet are no more than there are."""
    scene = model.scene
    names = sorted({crowd.group for crowd in one.crowds})
    apart = cliques(names, lambda a, b: scene.clash(one.vats[0], a, b))
    if not apart:
        return
    for active in together([crowd for crowd in one.crowds if not crowd.own]):
        for clique in apart:
            counts = []
            for group in clique:
                members = [crowd for crowd in active if crowd.group == group]
                if members:
                    counts.append(_count(model, one, members))
            if len(counts) > 1:
                model.rows.row([(count, 1) for count in counts], None, len(one.vats))


def _waters(model: Relaxation, system: int, crowds: Sequence[Crowd]) -> None:
    """Ammonia, suppliers and waters of a system, as in the exact model with presence for vats used."""
    scene, rows = model.scene, model.rows
    offer = scene.problem.systems[system]
    vats = scene.vats_of[system]
    days = {crowd.start for crowd in crowds} | {one.start for vat in vats for one in scene.inside[vat]}
    seen: set[tuple[tuple[int, ...], int]] = set()
    for day in sorted(days):
        active = [crowd for crowd in crowds if crowd.start <= day < crowd.end]
        room = offer.ammonia_on(day) - _fixed(scene, vats, day, lambda one: one.ammonia)
        key = (tuple(crowd.amount for crowd in active), room)
        if active and key not in seen:
            seen.add(key)
            _within(model, active, [crowd.ammonia for crowd in active], room)
    if not scene.separate[system]:
        return
    there = {id(crowd): _there(rows, crowd) for crowd in crowds}
    for active in together([crowd for crowd in crowds if not crowd.own]):
        parties: dict[str, dict[object, list[int]]] = {}
        for crowd in active:
            lots = parties.setdefault(crowd.supplier, {})
            lots.setdefault((crowd.lot, crowd.end), []).append(there[id(crowd)])
        rows.at_most_one(rows.any_of(rows.any_of(lot) for lot in lots.values()) for lots in parties.values())


def _there(rows: Rows, crowd: Crowd) -> int:
    """1 when the animals use any vat of their class."""
    if rows.high[crowd.vats] == 1:
        return crowd.vats
    literal = rows.variable(0, 1)
    rows.row([(crowd.vats, 1), (literal, -rows.high[crowd.vats])], None, 0)
    return literal
