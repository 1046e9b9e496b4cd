"""The exact program as values: who may stand where, with the variables that say so, and how a plan is read and written."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from intake.plan.model.mip import Rows
from intake.plan.model.occupancy import Layout, Occupancy, Occupant, Spot

__all__ = ["Choice", "Item", "Load", "Model", "Need", "pieces_of"]

Need = Callable[["Item | Occupant"], int]

Choice = tuple[int, int, int, int]
"""Batch, stage and vat, each by its place in the problem, and the day quarantine ends."""


@dataclass(frozen=True, slots=True)
class Item:
    """Someone who may be in a vat for some days: ``amount`` × needs of one, present when ``literal`` is 1.

    ``free`` is the day quarantine ends with all who share its water, ``None`` outside quarantine; ``own`` its own end.
    ``later`` gives, for days within, the area, oxygen and ammonia of one from that day on.
    """

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
    home: bool = False
    free: int | None = None
    own: int = 0
    later: tuple[tuple[int, int, int, int], ...] = ()


def pieces_of(items: Iterable[Item]) -> list[Item]:
    """Items as items of one need each, as animals grow and some are sold."""
    found: list[Item] = []
    for item in items:
        days = [item.start, *(day for day, *_ in item.later), item.end]
        needs = [(item.area, item.oxygen, item.ammonia), *(some for _, *some in item.later)]
        found += (
            (
                replace(item, start=first, end=last, area=area, oxygen=oxygen, ammonia=ammonia, later=())
                for (first, last), (area, oxygen, ammonia) in zip(pairwise(days), needs, strict=True)
            )
            if item.later
            else (item,)
        )
    return found


@dataclass(frozen=True, slots=True)
class Load:
    """What one row carries: terms + fixed ≤ capacity; ``own`` is the most that loose current stock adds at home."""

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
    animals: dict[Choice, int] = field(default_factory=dict)
    present: dict[Choice, int] = field(default_factory=dict)
    modes: dict[int, tuple[int, ...]] = field(default_factory=dict)
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
        chosen = {choice: values[variable] for choice, variable in self.animals.items() if values[variable] > 0}
        counts = {choice[:3]: count for choice, count in sorted(chosen.items())}
        own = self.occupancy.own_ends
        ends = {owner: end for owner, _, _, end in sorted(chosen) if end > own[owner]}
        homes = [self.occupancy.vat_index[standing.vat] for standing in self.occupancy.problem.standing]
        for standing, choices in self.homes.items():
            homes[standing] = next(vat for vat, literal in choices.items() if values[literal])
        return Layout(counts, tuple(homes), ends)

    def write(self, layout: Layout) -> list[int]:
        """Values of all variables for a layout that satisfies the rows: a complete hint."""
        values: dict[int, int] = {}
        for choice, variable in self.animals.items():
            dated = choice[3] == layout.ends.get(choice[0], self.occupancy.own_ends[choice[0]])
            values[variable] = layout.counts.get(choice[:3], 0) if dated else 0
            values[self.present[choice]] = int(values[variable] > 0)
        for owner, variable in self.left.items():
            values[variable] = self.occupancy.problem.batches[owner].count - layout.placed(owner)
        for standing, choices in self.homes.items():
            for vat, literal in choices.items():
                values[literal] = int(layout.homes[standing] == vat)
        return self.rows.complete(values)
