"""What blocks animals without a place, in numbers: rule by rule and system by system."""

from __future__ import annotations

from intake.plan.model.occupancy import Layout, Occupancy, full_occupancy
from intake.plan.problem import BatchNeed, Problem
from intake.plan.solution import Binding, Short

__all__ = ["shortages"]


_BARS = {
    "closed": "vats in service",
    "lot": "quarantine vats free of other lots (fallow included)",
    "company": "vats with no incompatible animals",
    "supplier": "quarantine systems not used by another supplier",
    "water": "systems with no incompatible animals",
    "release": "quarantine systems whose lots leave on the same day",
}


def shortages(problem: Problem, layout: Layout) -> tuple[Short, ...]:
    """Every batch with animals left over and what binds it.

    A resource binds when what is still free of it in the vats that suit the batch, over the days of the stage, is less
    than the animals left over need.  When every resource by itself would do, the smallest portion or the number of vats
    per batch binds.
    """
    occupancy = full_occupancy(problem, layout)
    short = []
    for owner, batch in enumerate(problem.batches):
        left = batch.count - layout.placed(owner)
        if left:
            short.append(Short(batch.id, left, _binding(occupancy, layout, owner, left)))
    return tuple(short)


def _binding(occupancy: Occupancy, layout: Layout, owner: int, left: int) -> tuple[Binding, ...]:
    batch = occupancy.problem.batches[owner]
    structural = [
        Binding(one.resource, one.where, one.need, one.have)
        for stage in batch.stages
        if not stage.vats
        for one in stage.excluded
    ]
    if structural:
        return tuple(structural)
    found: list[Binding] = []
    for position in range(len(batch.stages)):
        found += _of_stage(occupancy, layout, owner, position)
    return tuple(found) or (Binding("free places that fit together", "whole farm", left, 0),)


def _of_stage(occupancy: Occupancy, layout: Layout, owner: int, position: int) -> list[Binding]:
    batch = occupancy.problem.batches[owner]
    vats = occupancy.stage_vats[owner][position]
    mine = [vat for vat in vats if (owner, position, vat) in layout.counts]
    for vat in mine:
        occupancy.take(occupancy.tenant((owner, position, vat), layout.counts[owner, position, vat]))
    reasons = {vat: occupancy.barred(occupancy.tenant((owner, position, vat), 0)) for vat in vats}
    open_vats = [vat for vat in vats if not reasons[vat]]
    where = f"{batch.stages[position].stage} in {_names(occupancy, vats)}"
    found = _resources(occupancy, batch, position, open_vats, where)
    for bar, words in _BARS.items():
        shut = [vat for vat in vats if reasons[vat] == bar]
        if shut:
            names = ", ".join(occupancy.problem.vats[vat].id for vat in shut)
            found.append(Binding(words, f"{where}: {names}", len(vats), len(vats) - len(shut)))
    found += _portions(occupancy, owner, position, open_vats, where)
    for vat in mine:
        occupancy.put(occupancy.tenant((owner, position, vat), layout.counts[owner, position, vat]))
    return found


def _resources(occupancy: Occupancy, batch: BatchNeed, position: int, vats: list[int], where: str) -> list[Binding]:
    """Area, oxygen and ammonia that the whole batch needs against what its open vats have left."""
    problem = occupancy.problem
    start, end = occupancy.days(occupancy.batch_index[batch.id], position)
    loads = {vat: occupancy.loads(vat, start, end) for vat in vats}
    area = sum(_whole(problem.vats[vat].area_mm2 - loads[vat][0], batch.footprint_mm2) for vat in vats)
    oxygen = sum(_whole(problem.vats[vat].oxygen_ug_per_h - loads[vat][1], batch.oxygen_ug_per_h) for vat in vats)
    systems = sorted({occupancy.system_of[vat] for vat in vats})
    spare = {system: occupancy.spare_ammonia(system, start, end) for system in systems}
    ammonia = sum(max(0, room) for room in spare.values())
    found = []
    for resource, each, have, scale in (
        ("bench area m²", batch.footprint_mm2, area, 1e6),
        ("oxygen mg/h", batch.oxygen_ug_per_h, oxygen, 1e3),
        ("ammonia budget mg N/h", batch.ammonia_ug_per_h, ammonia, 1e3),
    ):
        need = each * batch.count
        if need > have:
            found.append(Binding(resource, where, round(need / scale, 3), round(have / scale, 3)))
    return found


def _whole(free: int, each: int) -> int:
    """Of what is free, what whole animals can use."""
    return max(0, free) // each * each if each else max(0, free)


def _portions(occupancy: Occupancy, owner: int, position: int, vats: list[int], where: str) -> list[Binding]:
    batch = occupancy.problem.batches[owner]
    rooms = sorted((occupancy.most((owner, position, vat)) for vat in vats), reverse=True)
    best = sum(rooms[: batch.max_vats])
    if sum(rooms) >= batch.count > best:
        return [Binding("vats per batch", where, sum(room > 0 for room in rooms), batch.max_vats)]
    if rooms and 0 < rooms[0] < batch.min_portion:
        return [Binding("smallest portion, animals", where, batch.min_portion, rooms[0])]
    return []


def _names(occupancy: Occupancy, vats: list[int]) -> str:
    names = sorted({occupancy.problem.systems[occupancy.system_of[vat]].id for vat in vats})
    return ", ".join(names)
