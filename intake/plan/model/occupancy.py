"""Who occupies which vat on which days, and how many more animals would fit: the plan's rules in plain Python.

The greedy, the choice of variables for the solver and the account of what binds all ask here, so a rule stands once.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from intake.plan.problem import AWAY, BatchNeed, Grown, Problem, Standing

__all__ = ["Layout", "Occupancy", "Occupant", "Spot", "full_occupancy"]


_WATERS = ("", "supplier", "water", "release")
"""Why a system's water keeps newcomers out."""

Spot = tuple[int, int, int]
"""Batch, stage and vat, each by its place in the problem."""


@dataclass(frozen=True, slots=True)
class Layout:
    """A plan in numbers: animals per spot, the vat each present stay ends up in, and later ends of quarantine.

    ``ends`` gives, for batches that wait for others in their water, the day they leave quarantine; the rest leave on their own.
    """

    counts: Mapping[Spot, int]
    homes: tuple[int, ...]
    ends: Mapping[int, int] = field(default_factory=dict)

    def placed(self, batch: int) -> int:
        """Animals of a batch that have a place in every stage."""
        return sum(count for (owner, stage, _), count in self.counts.items() if owner == batch and stage == 0)


@dataclass(frozen=True, slots=True)
class Occupant:
    """Animals in one vat for half-open days, with their total needs on the first.

    ``later`` gives, for days within, the area, oxygen and ammonia from that day on.
    ``free`` is the day release lets them go, ``None`` outside quarantine; ``own`` that of their own clock.
    """

    vat: int
    start: int
    end: int
    area: int
    oxygen: int
    ammonia: int
    group: str
    supplier: str
    lot: tuple[str, int]
    count: int = 0
    free: int | None = None
    own: int = 0
    name: str = ""
    later: tuple[tuple[int, int, int, int], ...] = ()

    def pieces(self) -> tuple[Occupant, ...]:
        """The stay as stays of one need each, as animals grow and some are sold: load can then only peak on a day one begins."""
        if not self.later:
            return (self,)
        days = [self.start, *(day for day, *_ in self.later), self.end]
        needs = [(self.area, self.oxygen, self.ammonia), *(some for _, *some in self.later)]
        return tuple(
            replace(self, start=first, end=last, area=area, oxygen=oxygen, ammonia=ammonia, later=())
            for (first, last), (area, oxygen, ammonia) in zip(pairwise(days), needs, strict=True)
        )


class Occupancy:
    """A problem by index, with its vats filled by whoever has been put there.

    Parameters
    ----------
    problem
        What is to be planned.
    loose
        Movable stock that is left out (its stay until the day of its move is always kept): the solver then decides
        where it stands.  True for all of it.
    homes
        Where the other stock ends up, by its place in the problem; where it stands now if not given.
    """

    def __init__(
        self, problem: Problem, *, loose: bool | Collection[int] = False, homes: Sequence[int] | None = None
    ) -> None:
        self.problem = problem
        self.vat_index = {vat.id: index for index, vat in enumerate(problem.vats)}
        self.system_index = {system.id: index for index, system in enumerate(problem.systems)}
        self.system_of = [self.system_index[vat.system] for vat in problem.vats]
        self.vats_of: list[list[int]] = [[] for _ in problem.systems]
        for index, system in enumerate(self.system_of):
            self.vats_of[system].append(index)
        self.quarantine = [problem.systems[system].role == "quarantine" for system in self.system_of]
        self.separate = [system.role == "quarantine" and not system.suppliers_share for system in problem.systems]
        self.wet = any(kind == "water" for kind in problem.apart.values())
        self.batch_index = {batch.id: index for index, batch in enumerate(problem.batches)}
        self.stage_vats = [
            [[self.vat_index[vat] for vat in stage.vats] for stage in batch.stages] for batch in problem.batches
        ]
        self.inside: list[list[Occupant]] = [[] for _ in problem.vats]
        self.own_ends = [batch.own_end for batch in problem.batches]
        self.ends = list(self.own_ends)
        self.in_quarantine = [batch.quarantine for batch in problem.batches]
        movable = [index for index, standing in enumerate(problem.standing) if standing.movable]
        self.loose = movable if loose is True else [index for index in movable if loose and index in loose]
        self.homes = homes
        self._known: list[dict[tuple[object, ...], int]] = [{} for _ in problem.systems]
        for index, standing in enumerate(problem.standing):
            self._settle(index, standing, None if homes is None else homes[index])

    def _settle(self, index: int, standing: Standing, home: int | None) -> None:
        for stay in self._stays(standing, home, loose=index in self.loose):
            self.put(stay)

    def _stays(self, standing: Standing, home: int | None, *, loose: bool) -> list[Occupant]:
        vat = self.vat_index[standing.vat]
        moved = home is not None and home != vat
        leaves = min(standing.move_day, standing.until_day) if moved or loose else standing.until_day
        stays = [self.stay(standing, vat, standing.from_day, leaves)]
        if moved and home is not None and not loose:
            stays.append(self.stay(standing, home, standing.move_day, standing.until_day))
        return stays

    def loosen(self, loose: Sequence[int], homes: Sequence[int]) -> None:
        """Leave out just this movable stock; ``homes`` says where the other ends up."""
        for index in sorted({*self.loose, *loose, *self._resettled(homes)}):
            standing = self.problem.standing[index]
            before = None if self.homes is None else self.homes[index]
            for stay in self._stays(standing, before, loose=index in self.loose):
                self.take(stay)
            for stay in self._stays(standing, homes[index], loose=index in loose):
                self.put(stay)
        self.loose, self.homes = list(loose), tuple(homes)

    def _resettled(self, homes: Sequence[int]) -> list[int]:
        before = self.homes or [self.vat_index[standing.vat] for standing in self.problem.standing]
        return [index for index, (old, new) in enumerate(zip(before, homes, strict=True)) if old != new]

    @staticmethod
    def stay(standing: Standing, vat: int, start: int, end: int) -> Occupant:
        """Current stock in a vat between two days."""
        resting = standing.stage == "quarantine"
        grown = () if resting else standing.grown
        course = _course(standing, grown, standing.count, standing.left, start, end)
        return Occupant(
            vat,
            start,
            end,
            *course[0][1:],
            standing.group,
            standing.supplier,
            standing.lot,
            standing.count,
            end if resting else None,
            end,
            standing.batch,
            course[1:],
        )

    def days(self, owner: int, position: int, end: int | None = None) -> tuple[int, int]:
        """Half-open days of a stage when quarantine ends on a day, or as the batch is dated now."""
        stage, quarantine = self.problem.batches[owner].stages[position], self.in_quarantine[owner]
        if quarantine < 0 or position < quarantine:
            return stage.start_day, stage.end_day
        later = (self.ends[owner] if end is None else end) - self.own_ends[owner]
        return stage.start_day + (later if position > quarantine else 0), stage.end_day + later

    def tenant(self, spot: Spot, count: int, end: int | None = None) -> Occupant:
        """Animals of a batch at a spot, dated by an end of quarantine or as they are dated now."""
        owner, position, vat = spot
        batch = self.problem.batches[owner]
        start, until = self.days(owner, position, end)
        course = _course(batch, batch.grown if position else (), count, (), start, until)
        return Occupant(
            vat,
            start,
            until,
            *course[0][1:],
            batch.group,
            batch.supplier,
            batch.lot,
            count,
            until if position == self.in_quarantine[owner] else None,
            self.own_ends[owner],
            batch.id,
            course[1:],
        )

    def put(self, occupant: Occupant) -> None:
        """Let animals in."""
        if occupant.end > occupant.start:
            self.inside[occupant.vat].extend(occupant.pieces())
            self._known[self.system_of[occupant.vat]].clear()

    def take(self, occupant: Occupant) -> None:
        """Let animals out again."""
        if occupant.end > occupant.start:
            for piece in occupant.pieces():
                self.inside[occupant.vat].remove(piece)
            self._known[self.system_of[occupant.vat]].clear()

    def clash(self, vat: int, one: str, other: str) -> bool:
        """Whether two groups may not be in this vat together."""
        kind = self.problem.kept_apart(one, other)
        return kind in {"vat", "water"} or (kind == "touch" and not self.problem.vats[vat].divided)

    def singly(self, vat: int, group: str) -> bool:
        """Whether the group is kept one animal to the vat (outside the farm no one is)."""
        return self.problem.systems[self.system_of[vat]].role != AWAY and self.clash(vat, group, group)

    def barred(self, newcomer: Occupant) -> str:
        """The rule that keeps a newcomer out of its vat whatever its number; empty when none does."""
        offer = self.problem.vats[newcomer.vat]
        if any(first < newcomer.end and newcomer.start < last for first, last in offer.closed):
            return "closed"
        gap = offer.fallow_days if self.quarantine[newcomer.vat] else 0
        for other in self.inside[newcomer.vat]:
            if other.start >= newcomer.end + gap or newcomer.start >= other.end + gap:
                continue
            if self.quarantine[newcomer.vat] and other.lot != newcomer.lot:
                return "lot"
            meet = other.start < newcomer.end and newcomer.start < other.end
            if meet and self.clash(newcomer.vat, newcomer.group, other.group):
                return "company"
        return self._barred_by_water(newcomer)

    def _barred_by_water(self, newcomer: Occupant) -> str:
        system = self.system_of[newcomer.vat]
        waits = self.problem.together and newcomer.free is not None
        if not (self.separate[system] or self.wet or waits):
            return ""
        key = (newcomer.start, newcomer.end, newcomer.supplier, newcomer.group, newcomer.free)
        known = self._known[system].get(key)
        if known is None:
            known = self._known[system][key] = _WATERS.index(self._water_against(newcomer, system))
        return _WATERS[known]

    def _water_against(self, newcomer: Occupant, system: int) -> str:
        for vat in self.vats_of[system]:
            for other in self.inside[vat]:
                if self._leave_apart(newcomer, other):
                    return "release"
                if other.start >= newcomer.end or newcomer.start >= other.end:
                    continue
                if self.separate[system] and other.supplier != newcomer.supplier:
                    return "supplier"
                if self.wet and self.problem.kept_apart(newcomer.group, other.group) == "water":
                    return "water"
        return ""

    def _leave_apart(self, one: Occupant, other: Occupant) -> bool:
        """Whether two quarantine lots would be in one water together, or on the day one leaves, and leave on two days."""
        if one.free is None or other.free is None or one.free == other.free or not self.problem.together:
            return False
        return other.start <= one.free and one.start <= other.free

    def loads(self, vat: int, start: int, end: int) -> tuple[int, int]:
        """Greatest bench area and greatest oxygen in use in a vat between two days."""
        mine = [one for one in self.inside[vat] if one.start < end and start < one.end]
        return _peak(mine, start, _area_of), _peak(mine, start, _oxygen_of)

    def spare_ammonia(self, system: int, start: int, end: int) -> int:
        """Least ammonia budget left in a system between two days."""
        known = self._known[system].get((start, end))
        if known is None:
            known = self._known[system][start, end] = self._spare_ammonia(system, start, end)
        return known

    def _spare_ammonia(self, system: int, start: int, end: int) -> int:
        offer = self.problem.systems[system]
        mine = [one for vat in self.vats_of[system] for one in self.inside[vat] if one.start < end and start < one.end]
        days = {start, *(one.start for one in mine if one.start > start)}
        return min(
            offer.ammonia_on(day) - sum(one.ammonia for one in mine if one.start <= day < one.end) for day in days
        )

    def by_lots(self, owner: int, position: int) -> bool:
        """Whether a batch spends a stage in vats of one lot each, whichever it gets."""
        vats = self.stage_vats[owner][position]
        return bool(vats) and all(self.quarantine[vat] for vat in vats)

    def most(self, spot: Spot, end: int | None = None) -> int:
        """Animals of the batch that still fit at a spot, before the minimum portion is asked; dated as in ``tenant``."""
        known = self._known[self.system_of[spot[2]]]
        key = (*spot, self.ends[spot[0]] if end is None else end)
        room = known.get(key)
        if room is None:
            room = self._most(spot, key[3])
            known[key] = room
        return room

    def _most(self, spot: Spot, end: int) -> int:
        owner, _, vat = spot
        batch = self.problem.batches[owner]
        newcomer = self.tenant(spot, 1, end)
        if self.barred(newcomer):
            return 0
        room = 1 if self.singly(vat, batch.group) else batch.count
        return max(0, min(room, *(self.spare(piece, batch.count) for piece in newcomer.pieces())))

    def spare(self, one: Occupant, most: int) -> int:
        """Animals such as one, ``most`` at best, that area, oxygen and ammonia allow where it would be, by arithmetic alone."""
        offer = self.problem.vats[one.vat]
        area, oxygen = self.loads(one.vat, one.start, one.end)
        if area > offer.area_mm2 or oxygen > offer.oxygen_ug_per_h:
            return 0  # no one joins stock that overfills its vat, not even who needs nothing
        room = most
        if one.area:
            room = min(room, (offer.area_mm2 - area) // one.area)
        if one.oxygen:
            room = min(room, (offer.oxygen_ug_per_h - oxygen) // one.oxygen)
        if one.ammonia and room > 0:
            spare = self.spare_ammonia(self.system_of[one.vat], one.start, one.end)
            room = min(room, spare // one.ammonia)
        return room

    def fill(self, layout: Layout, batches: Iterable[int] | None = None) -> None:
        """Put the animals of a layout (all batches, or those named) where it says."""
        wanted = None if batches is None else set(batches)
        for owner, end in layout.ends.items():
            if wanted is None or owner in wanted:
                self.ends[owner] = end
        for spot, count in layout.counts.items():
            if count and (wanted is None or spot[0] in wanted):
                self.put(self.tenant(spot, count))


def _course(
    first: BatchNeed | Standing,
    grown: tuple[Grown, ...],
    count: int,
    left: tuple[tuple[int, int], ...],
    start: int,
    end: int,
) -> tuple[tuple[int, int, int, int], ...]:
    """Total needs of so many animals from the first day of a stay, and from each day within it on which they change."""
    if not grown and not left:
        return ((start, count * first.footprint_mm2, count * first.oxygen_ug_per_h, count * first.ammonia_ug_per_h),)
    changes = {start, *(one.from_day for one in grown), *(day for day, _ in left)}
    found: list[tuple[int, int, int, int]] = []
    for day in sorted(day for day in changes if start <= day < max(end, start + 1)):
        each = next((one for one in reversed(grown) if one.from_day <= day), first)
        there = next((number for since, number in reversed(left) if since <= day), count)
        needs = there * each.footprint_mm2, there * each.oxygen_ug_per_h, there * each.ammonia_ug_per_h
        if not found or found[-1][1:] != needs:
            found.append((day, *needs))
    return tuple(found)


def _area_of(one: Occupant) -> int:
    return one.area


def _oxygen_of(one: Occupant) -> int:
    return one.oxygen


def _peak(occupants: list[Occupant], start: int, need: object) -> int:
    """Greatest sum of a need over the days from ``start``; it can only rise on a day someone enters."""
    value = _area_of if need is _area_of else _oxygen_of
    if not occupants:
        return 0
    days = {start, *(one.start for one in occupants if one.start > start)}
    return max(sum(value(one) for one in occupants if one.start <= day < one.end) for day in days)


def full_occupancy(problem: Problem, layout: Layout) -> Occupancy:
    """The farm as the plan leaves it: current stock where it ends up, newcomers where they are put."""
    occupancy = Occupancy(problem, homes=layout.homes)
    occupancy.fill(layout)
    return occupancy
