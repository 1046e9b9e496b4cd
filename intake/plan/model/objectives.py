"""The lexicographic objectives of the plan, as rows and terms to be made as small as possible."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from intake.plan.model.mip import Terms
from intake.plan.model.overlap import together
from intake.plan.model.program import Model, pieces_of
from intake.plan.tuning import LOT_WATER_DAYS, LOT_WATER_PRICE, STRANGER_PRICE, WATER_PRICE

__all__ = [
    "FULLEST",
    "HELD",
    "MOVES",
    "NAMES",
    "PEAKS",
    "PLACED",
    "SETTLED_FROM",
    "VATS",
    "ObjectiveTerms",
    "aim_parts",
    "held_terms",
    "objective_terms",
    "settle",
]

NAMES = (
    "animals placed",
    "animal-days held longer",
    "moves of current stock",
    "vats used and splits",
    "fullest vat used permille",
    "peak loads of all systems permille",
)

PLACED, HELD, MOVES, VATS, FULLEST, PEAKS = NAMES

SETTLED_FROM = 4
"""The aims from here on are pursued among the plans that use the vats already chosen, which takes no time at all."""


@dataclass(frozen=True, slots=True)
class ObjectiveTerms:
    """One aim: the terms whose sum is to be made small."""

    name: str
    terms: Terms


def settle(model: Model, values: Sequence[int]) -> None:
    """Hold every choice of vat as it is: the aims after this only shift animals between the vats chosen."""
    literals = [*model.present.values(), *(literal for choices in model.homes.values() for literal in choices.values())]
    for literal in literals:
        model.rows.low[literal] = model.rows.high[literal] = values[literal]


def objective_terms(model: Model, name: str) -> ObjectiveTerms:
    """Build one aim on a model; the last two add variables and rows of their own."""
    return ObjectiveTerms(name, [term for part in aim_parts(model, name) for term in part])


def aim_parts(model: Model, name: str) -> tuple[Terms, ...]:
    """The terms of an aim in parts; the first is what it is told as, and what was reached is held part by part.

    Animal-days held are weighed against further quarantine waters of a shipment, so that its lines wait some days for each
    other rather than keep one water more from everybody else.
    """
    if name == HELD:
        return held_terms(model), _apart_terms(model)
    makers = {PLACED: _left_over, MOVES: _moves, VATS: _vats, FULLEST: _fullest, PEAKS: _peaks}
    return (makers[name](model),)


def _left_over(model: Model) -> Terms:
    """Animals without a place, each times its weight."""
    return [(variable, model.occupancy.problem.batches[owner].weight) for owner, variable in model.left.items()]


def held_terms(model: Model) -> Terms:
    """Days that animals stay in quarantine longer than their own clock asks, because of other lots in their water."""
    own, places = model.occupancy.own_ends, model.occupancy.in_quarantine
    return [
        (variable, end - own[owner])
        for (owner, place, _, end), variable in model.animals.items()
        if place == places[owner] and end > own[owner]
    ]


def _moves(model: Model) -> Terms:
    """Moves of current stock: one for every stay that ends up elsewhere."""
    homes = [model.occupancy.vat_index[standing.vat] for standing in model.occupancy.problem.standing]
    return [
        (literal, 1)
        for standing, choices in model.homes.items()
        for vat, literal in choices.items()
        if vat != homes[standing]
    ]


def _vats(model: Model) -> Terms:
    """Portions, vats opened for newcomers, and what keeps waters from emptying.

    That is: waters beyond the first that one batch, or one lot, is divided over, and batches in waters meant for others.
    """
    opened = [
        model.rows.any_of(literals)
        for items in model.items
        if (literals := [item.literal for item in items if item.owner >= 0])
    ]
    count: dict[int, int] = {}
    for literal in (*model.present.values(), *opened):
        count[literal] = count.get(literal, 0) + 1
    return [
        *count.items(),
        *((further, WATER_PRICE) for further, _ in _further_waters(model, by_lot=False)),
        *((further, LOT_WATER_PRICE) for further, _ in _further_waters(model, by_lot=True)),
        *((literal, STRANGER_PRICE) for literal in _strangers(model)),
    ]


def _apart_terms(model: Model) -> Terms:
    """Further quarantine waters of each lot, each priced as days of waiting of all its animals."""
    return [(further, LOT_WATER_DAYS * animals) for further, animals in _further_waters(model, by_lot=True)]


def _further_waters(model: Model, *, by_lot: bool) -> list[tuple[int, int]]:
    """For each batch in quarantine, or each lot, a variable for the waters it is in beyond the first; and its animals."""
    occupancy, rows = model.occupancy, model.rows
    stays: dict[object, dict[int, list[int]]] = {}
    members: dict[object, set[int]] = {}
    for (owner, position, vat, _), literal in model.present.items():
        if occupancy.quarantine[vat]:
            who: object = (owner, position)
            if by_lot:
                batch = occupancy.problem.batches[owner]
                who = (batch.lot, batch.stages[position].stage)
            stays.setdefault(who, {}).setdefault(occupancy.system_of[vat], []).append(literal)
            members.setdefault(who, set()).add(owner)
    further = []
    for who, waters in stays.items():
        if len(waters) > 1:
            top = rows.variable(0, len(waters) - 1)
            rows.at_least(top, [(rows.any_of(literals), 1) for literals in waters.values()], -1, 1)
            further.append((top, sum(occupancy.problem.batches[owner].count for owner in members[who])))
    return further


def _strangers(model: Model) -> list[int]:
    """One for every batch in a quarantine water meant for others."""
    occupancy, problem = model.occupancy, model.occupancy.problem
    found: dict[tuple[int, int], list[int]] = {}
    for (owner, _, vat, _), literal in model.present.items():
        system = occupancy.system_of[vat]
        if problem.systems[system].stranger(problem.batches[owner]):
            found.setdefault((owner, system), []).append(literal)
    return [model.rows.any_of(literals) for literals in found.values()]


def _fullest(model: Model) -> Terms:
    """The fullest vat or filter that takes newcomers, in permille of its capacity."""
    rows = model.rows
    fullest = rows.variable(0, 1000)
    for load in model.loads:
        if load.literals and load.capacity > 0:
            terms = [(variable, 1000 * need) for variable, need in load.terms]
            slack = 1000 * (load.fixed + load.own)
            if slack:
                terms.append((rows.any_of(load.literals), slack))
            rows.at_least(fullest, terms, 1000 * load.fixed - slack, load.capacity)
    return [(fullest, 1)]


def _peaks(model: Model) -> Terms:
    """Every system's greatest bench load of newcomers on any day, in permille of its area, added up."""
    occupancy, rows = model.occupancy, model.rows
    tops = []
    for vats in occupancy.vats_of:
        items = pieces_of(item for vat in vats for item in model.items[vat] if not item.home)
        area = sum(occupancy.problem.vats[vat].area_mm2 for vat in vats)
        if items and area:
            top = rows.variable(0, 1000)
            for active in together(items):
                rows.at_least(top, [(item.amount, 1000 * item.area) for item in active], 0, area)
            tops.append((top, 1))
    return tops
