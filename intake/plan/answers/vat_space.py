"""Vat space as the plan leaves it: who is in which vat on which days, and how full vat and filter are by day."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from intake.plan.model.occupancy import Occupancy, Occupant, full_occupancy
from intake.plan.problem import Problem
from intake.plan.solution import Solution, layout_of

__all__ = ["Fullness", "Stay", "SystemSpace", "VatSpace", "space"]


@dataclass(frozen=True, slots=True)
class Stay:
    """Animals in a vat, or a vat that is fallow, for half-open days counted from the plan's day zero."""

    batch: str
    count: int
    start_day: int
    end_day: int
    kind: Literal["coming", "present", "promised", "fallow"]


@dataclass(frozen=True, slots=True)
class Fullness:
    """Percent in use of the resource that binds, for half-open days on which it does not change."""

    start_day: int
    end_day: int
    percent: float
    resource: Literal["area", "oxygen", "ammonia"]


@dataclass(frozen=True, slots=True)
class VatSpace:
    """One vat over time."""

    vat: str
    stays: tuple[Stay, ...]
    fullness: tuple[Fullness, ...]


@dataclass(frozen=True, slots=True)
class SystemSpace:
    """Vats that share water; fullness is that of their filter."""

    system: str
    vats: tuple[VatSpace, ...]
    fullness: tuple[Fullness, ...]


def space(problem: Problem, solution: Solution) -> tuple[SystemSpace, ...]:
    """Vat space by system, in the order of the problem."""
    occupancy = full_occupancy(problem, layout_of(problem, solution))
    stays = _stays(problem, solution)
    found = []
    for number, system in enumerate(problem.systems):
        vats = []
        for vat in occupancy.vats_of[number]:
            name = problem.vats[vat].id
            mine = stays.get(name, [])
            fallow = _fallow(occupancy, vat, mine)
            ordered = sorted([*mine, *fallow], key=lambda one: (one.start_day, one.batch))
            vats.append(VatSpace(name, tuple(ordered), _of_vat(occupancy, vat)))
        found.append(SystemSpace(system.id, tuple(vats), _of_filter(occupancy, number)))
    return tuple(found)


def _stays(problem: Problem, solution: Solution) -> dict[str, list[Stay]]:
    stays: dict[str, list[Stay]] = {}
    for one in solution.placements:
        stays.setdefault(one.vat, []).append(Stay(one.batch, one.count, one.from_day, one.until_day, "coming"))
    homes = layout_of(problem, solution).homes
    for standing, home in zip(problem.standing, homes, strict=True):
        kind: Literal["present", "promised"] = "present" if standing.from_day <= 0 else "promised"
        to = problem.vats[home].id
        until = min(standing.move_day, standing.until_day) if to != standing.vat else standing.until_day
        stays.setdefault(standing.vat, []).append(Stay(standing.batch, standing.count, standing.from_day, until, kind))
        if to != standing.vat:
            moved = Stay(standing.batch, standing.count, until, standing.until_day, "coming")
            stays.setdefault(to, []).append(moved)
    return stays


def _fallow(occupancy: Occupancy, vat: int, stays: Sequence[Stay]) -> list[Stay]:
    """Fallow days after each lot of a quarantine vat."""
    days = occupancy.problem.vats[vat].fallow_days
    if not occupancy.quarantine[vat] or not days:
        return []
    ends = {one.end_day for one in stays}
    taken = {end for end in ends if any(one.start_day < end < one.end_day for one in stays)}
    return [Stay("", 0, end, end + days, "fallow") for end in sorted(ends - taken) if end > 0]


def _of_vat(occupancy: Occupancy, vat: int) -> tuple[Fullness, ...]:
    offer, inside = occupancy.problem.vats[vat], occupancy.inside[vat]

    def share(day: int) -> tuple[float, Literal["area", "oxygen"]]:
        here = [one for one in inside if one.start <= day < one.end]
        area = 100.0 * sum(one.area for one in here) / max(1, offer.area_mm2)
        oxygen = 100.0 * sum(one.oxygen for one in here) / max(1, offer.oxygen_ug_per_h)
        return (area, "area") if area >= oxygen else (oxygen, "oxygen")

    return _steps(inside, share)


def _of_filter(occupancy: Occupancy, system: int) -> tuple[Fullness, ...]:
    offer = occupancy.problem.systems[system]
    inside = [one for vat in occupancy.vats_of[system] for one in occupancy.inside[vat]]

    def share(day: int) -> tuple[float, Literal["ammonia"]]:
        load = sum(one.ammonia for one in inside if one.start <= day < one.end)
        return 100.0 * load / max(1, offer.ammonia_on(day)), "ammonia"

    return _steps(inside, share, offer.matured_day)


def _steps(
    inside: Sequence[Occupant],
    share: Callable[[int], tuple[float, Literal["area", "oxygen", "ammonia"]]],
    *further: int,
) -> tuple[Fullness, ...]:
    """Days on which someone enters or leaves part the time; what is empty is left out."""
    days = sorted({max(0, day) for one in inside for day in (one.start, one.end)} | {day for day in further if day > 0})
    steps = [Fullness(first, last, *share(first)) for first, last in pairwise(days)]
    return tuple(step for step in steps if step.percent > 0)
