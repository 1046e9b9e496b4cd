"""Release dates of a plan: when each lot may leave quarantine, for the last lot to enter its water sets the date.

Days are whole, so an entry on the day of an end counts as before it.  A plan keeps one further rule, which makes every
water easy to follow and the dates linear: lots that are in one water together leave it on one day (a cohort).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from intake.plan.model.occupancy import Layout, Occupancy, Occupant
from intake.plan.problem import BatchNeed, Problem, StageNeed
from intake.plan.tuning import LOT_WATER_DAYS
from intake.rules.last_lot import shared_end

__all__ = [
    "Held",
    "candidate_ends",
    "dates_hold",
    "held_days",
    "held_lots",
    "relaxed_days",
    "true_end",
    "waiting_cost",
]


@dataclass(frozen=True, slots=True)
class Held:
    """A batch that stays in quarantine longer than its own clock asks, and the lot that sets the day."""

    batch: str
    count: int
    until_day: int
    days: int
    because: str


@dataclass(frozen=True, slots=True)
class _Lot:
    """A lot in quarantine with the waters it may be in; ``owner`` is -1 for present and promised stock."""

    start: int
    own: int
    supplier: str
    waters: frozenset[int]
    owner: int


def candidate_ends(problem: Problem) -> tuple[tuple[int, ...], ...]:
    """For each batch the days on which it might leave quarantine, its own end first; empty without quarantine.

    An end is the own end of some lot that a chain of entries, each no later than the end before it, can bring about in waters
    the batch may be in.  Ends later than the problem's most days held are left out.
    """
    occupancy = Occupancy(replace(problem, standing=()))
    lots = _lots(problem, occupancy)
    found: list[tuple[int, ...]] = []
    for owner, batch in enumerate(problem.batches):
        mine = next((lot for lot in lots if lot.owner == owner), None)
        if mine is None or not problem.together:
            found.append((batch.own_end,) if batch.quarantine >= 0 else ())
            continue
        near = [lot for lot in lots if lot.owner != owner and _may_meet(mine, lot, occupancy)]
        ends = [mine.own]
        for end in ends:
            ends += sorted(
                {lot.own for lot in near if lot.start <= end < lot.own <= mine.own + problem.most_days_held} - {*ends}
            )
        found.append(tuple(sorted(ends)))
    return tuple(found)


def _lots(problem: Problem, occupancy: Occupancy) -> list[_Lot]:
    lots = []
    for owner, batch in enumerate(problem.batches):
        if batch.quarantine >= 0:
            stage = batch.stages[batch.quarantine]
            waters = frozenset(occupancy.system_of[vat] for vat in occupancy.stage_vats[owner][batch.quarantine])
            lots.append(_Lot(stage.start_day, stage.end_day, batch.supplier, waters, owner))
    for stock in problem.standing:
        if stock.stage == "quarantine":
            water = occupancy.system_of[occupancy.vat_index[stock.vat]]
            lots.append(_Lot(stock.from_day, stock.until_day, stock.supplier, frozenset((water,)), -1))
    return lots


def _may_meet(one: _Lot, other: _Lot, occupancy: Occupancy) -> bool:
    return any(not occupancy.separate[water] or one.supplier == other.supplier for water in one.waters & other.waters)


def true_end(occupancy: Occupancy, owner: int, waters: Iterable[int]) -> tuple[int, str]:
    """Day on which release will let a batch go that is in some waters, and the lot that sets it ('' if it is its own)."""
    own = occupancy.problem.batches[owner].own_end
    if not occupancy.problem.together:
        return own, ""
    return shared_end(own, [(one.start - 1, one.own, one.name) for one in _chained(occupancy, waters)])


def _chained(occupancy: Occupancy, waters: Iterable[int]) -> list[Occupant]:
    return [
        one
        for water in sorted(set(waters))
        for vat in occupancy.vats_of[water]
        for one in occupancy.inside[vat]
        if one.free is not None
    ]


def _waters(occupancy: Occupancy, layout: Layout) -> dict[int, set[int]]:
    """For each batch in quarantine the waters it is in."""
    found: dict[int, set[int]] = {}
    for (owner, position, vat), count in layout.counts.items():
        if count and position == occupancy.problem.batches[owner].quarantine:
            found.setdefault(owner, set()).add(occupancy.system_of[vat])
    return found


def dates_hold(occupancy: Occupancy, layout: Layout) -> bool:
    """Whether every batch of a layout is dated as release will date it; ``occupancy`` is filled with the layout."""
    return all(
        true_end(occupancy, owner, waters)[0] == occupancy.ends[owner]
        for owner, waters in _waters(occupancy, layout).items()
    )


def held_days(problem: Problem, layout: Layout) -> int:
    """Animal-days in quarantine beyond what the batches' own clocks ask."""
    batches = problem.batches
    return sum(
        count * (layout.ends[owner] - batches[owner].own_end)
        for (owner, position, _), count in layout.counts.items()
        if owner in layout.ends and position == batches[owner].quarantine
    )


def waiting_cost(problem: Problem, layout: Layout) -> int:
    """The second aim: animal-days held, and some days of a lot's animals for each quarantine water beyond its first."""
    animals: dict[tuple[str, int], int] = {}
    for batch in problem.batches:
        if batch.quarantine >= 0:
            animals[batch.lot] = animals.get(batch.lot, 0) + batch.count
    waters: dict[tuple[str, int], set[str]] = {}
    for (owner, position, vat), count in layout.counts.items():
        batch = problem.batches[owner]
        if count and position == batch.quarantine:
            waters.setdefault(batch.lot, set()).add(problem.vats[vat].system)
    apart = sum((len(some) - 1) * animals[lot] for lot, some in waters.items())
    return held_days(problem, layout) + LOT_WATER_DAYS * apart


def held_lots(occupancy: Occupancy, layout: Layout) -> tuple[Held, ...]:
    """Batches that wait for others, in the order of the problem; ``occupancy`` is filled with the layout."""
    found = []
    for owner, waters in sorted(_waters(occupancy, layout).items()):
        batch = occupancy.problem.batches[owner]
        end, setter = true_end(occupancy, owner, waters)
        if end > batch.own_end:
            found.append(Held(batch.id, layout.placed(owner), end, end - batch.own_end, setter))
    return tuple(found)


def relaxed_days(problem: Problem) -> Problem:
    """A problem whose bound holds for every plan of this one, with days that do not move.

    Quarantine lasts as long as the batch's own clock asks, which is never too long.  Later stages move with the end, so they
    load only the days that all their possible ends have in common; where there are none, they ask for a vat and no room.
    Waters whose standing lots a batch would prolong, or that would hold it too long, are not offered: no plan uses them.
    """
    if not problem.together:
        return problem
    ends = candidate_ends(problem)
    batches = tuple(_relaxed(problem, batch, mine) for batch, mine in zip(problem.batches, ends, strict=True))
    return replace(problem, batches=batches, together=False)


def _relaxed(problem: Problem, batch: BatchNeed, ends: tuple[int, ...]) -> BatchNeed:
    if not ends or batch.excluded:
        return batch
    stages: list[StageNeed] = []
    for place, stage in enumerate(batch.stages):
        if place < batch.quarantine:
            stages.append(stage)
        elif place == batch.quarantine:
            open_to = _open_to(problem, batch, ends)
            stages.append(replace(stage, vats=tuple(vat for vat in stage.vats if vat in open_to)))
        elif stage.start_day + ends[-1] - batch.own_end < stage.end_day:
            stages.append(replace(stage, start_day=stage.start_day + ends[-1] - batch.own_end))
        else:
            break
    return replace(batch, stages=tuple(stages))


def _open_to(problem: Problem, batch: BatchNeed, ends: tuple[int, ...]) -> set[str]:
    """Quarantine vats in whose water a batch prolongs no present or promised lot, and is not held too long by one."""
    water = {vat.id: vat.system for vat in problem.vats}
    start = batch.stages[batch.quarantine].start_day
    shut = {
        water[stock.vat]
        for stock in problem.standing
        if stock.stage == "quarantine"
        and start <= stock.until_day
        and (stock.until_day < batch.own_end or (stock.from_day <= batch.own_end and stock.until_day > ends[-1]))
    }
    return {vat.id for vat in problem.vats if vat.system not in shut}
