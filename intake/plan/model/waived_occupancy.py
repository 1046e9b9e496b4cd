"""Occupancy in which single facts are waived for newcomers: what would fit if this or that did not stand in the way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from intake.plan.model.occupancy import Occupancy, Occupant
from intake.plan.problem import Problem

__all__ = ["BARS", "RESOURCES", "Fact", "WaivedOccupancy"]

Fact = tuple[str, int]
"""A kind of obstacle and the system, by its place in the problem, in whose vats or water it stands."""

RESOURCES = ("area", "oxygen", "ammonia")
"""Kinds that leave room for fewer animals."""

BARS = ("closed", "lot", "fallow", "company", "supplier", "water", "release")
"""Kinds that keep every newcomer out: no service, another lot, fallow days after it, animals kept apart in the vat, another
supplier's lots in the water, animals kept apart in the water, lots that leave the water on another day."""


class WaivedOccupancy(Occupancy):
    """As :class:`Occupancy`, asked as though some facts were gone.

    Parameters
    ----------
    problem, homes
        As for :class:`Occupancy`.
    """

    def __init__(self, problem: Problem, *, homes: Sequence[int] | None = None) -> None:
        self.waived: frozenset[Fact] = frozenset()
        super().__init__(problem, homes=homes)

    def waive(self, facts: frozenset[Fact]) -> None:
        """Take just these facts for gone from now on."""
        if facts != self.waived:
            self.waived = facts
            for known in self._known:
                known.clear()

    def barred(self, newcomer: Occupant) -> str:
        """The first bar that is not waived; empty when none is left."""
        system = self.system_of[newcomer.vat]
        return next((kind for kind in self.bars(newcomer) if (kind, system) not in self.waived), "")

    def bars(self, newcomer: Occupant) -> Iterator[str]:
        """Every bar that keeps a newcomer out of its vat, waived or not."""
        offer = self.problem.vats[newcomer.vat]
        if any(first < newcomer.end and newcomer.start < last for first, last in offer.closed):
            yield "closed"
        yield from self._bars_in_vat(newcomer)
        yield from self._bars_in_water(newcomer)

    def _bars_in_vat(self, newcomer: Occupant) -> Iterator[str]:
        quarantine = self.quarantine[newcomer.vat]
        gap = self.problem.vats[newcomer.vat].fallow_days if quarantine else 0
        for other in self.inside[newcomer.vat]:
            if other.start >= newcomer.end + gap or newcomer.start >= other.end + gap:
                continue
            meet = other.start < newcomer.end and newcomer.start < other.end
            if meet and self._stranger(newcomer, other):
                continue  # one fact, reported for the whole water
            if quarantine and other.lot != newcomer.lot:
                yield "lot" if meet else "fallow"
            if meet and self.clash(newcomer.vat, newcomer.group, other.group):
                yield "company"

    def _stranger(self, newcomer: Occupant, other: Occupant) -> bool:
        """Whether another's animals are of a supplier that may not share the newcomer's water."""
        return self.separate[self.system_of[newcomer.vat]] and other.supplier != newcomer.supplier

    def _bars_in_water(self, newcomer: Occupant) -> Iterator[str]:
        for other in (one for vat in self.vats_of[self.system_of[newcomer.vat]] for one in self.inside[vat]):
            meet = other.start < newcomer.end and newcomer.start < other.end
            apart = self._leave_apart(newcomer, other)
            if (meet or apart) and self._stranger(newcomer, other):
                yield "supplier"
            elif meet and self.wet and self.problem.kept_apart(newcomer.group, other.group) == "water":
                yield "water"
            elif apart:
                yield "release"

    def spare(self, one: Occupant, most: int) -> int:
        """Animals that the resources not waived allow where one would be."""
        return min((room for _, room in self.rooms(one, most)), default=most)

    def rooms(self, one: Occupant, most: int) -> Iterator[tuple[str, int]]:
        """Each resource not waived with the animals such as one, ``most`` at best, that it has room for where it would be."""
        least: dict[str, int] = {}
        for piece in one.pieces():
            for kind, room in self._rooms(piece, most):
                least[kind] = min(room, least.get(kind, most))
        yield from least.items()

    def _rooms(self, one: Occupant, most: int) -> Iterator[tuple[str, int]]:
        offer, system = self.problem.vats[one.vat], self.system_of[one.vat]
        area, oxygen = self.loads(one.vat, one.start, one.end)
        budgets = (
            ("area", offer.area_mm2 - area, one.area),
            ("oxygen", offer.oxygen_ug_per_h - oxygen, one.oxygen),
            ("ammonia", self.spare_ammonia(system, one.start, one.end), one.ammonia),
        )
        for kind, free, each in budgets:
            if (kind, system) not in self.waived:
                if kind != "ammonia" and free < 0:
                    yield kind, 0  # no one joins stock that overfills its vat
                elif each:
                    yield kind, max(0, min(most, free // each))

    def singly(self, vat: int, group: str) -> bool:
        """Whether the group is kept one animal to the vat, unless that is waived."""
        return ("company", self.system_of[vat]) not in self.waived and super().singly(vat, group)
