"""A few animals that stand alone in a quarantine water, moved to lots of their kind in another, so that their water empties."""

from __future__ import annotations

from dataclasses import dataclass, replace

from intake.plan.model.exact_model import may_stand
from intake.plan.model.occupancy import Occupancy
from intake.plan.problem import Problem, Standing
from intake.plan.solution import Relief
from intake.plan.tuning import DAY_MINUTES, STRAY_PERCENT, STRAYS_MOVE_DAY

__all__ = ["Gathering", "gathering"]


@dataclass(frozen=True, slots=True)
class Gathering:
    """The strays of one water brought elsewhere, as a relief; ``problem`` is the question once they have moved."""

    relief: Relief
    problem: Problem


def gathering(problem: Problem, system: str) -> Gathering | None:
    """How a quarantine water could be emptied of the few who stand in it; ``None`` where nobody can take them in.

    They may join a water whose lots all leave on one day, their own end or later, so that no one there is held longer; a vat
    is empty and dry, or holds their own lot. Water that a finding closes to them takes none, and who carries a finding stays.
    """
    strays = _strays(problem, system)
    if not strays:
        return None
    there = {vat.id: vat.system for vat in problem.vats}
    for water in problem.systems:
        ends = {one.until_day for one in _inside(problem, water.id) if there[one.vat] == water.id}
        if water.id == system or water.role != "quarantine" or len(ends) != 1:
            continue
        end = ends.pop()
        if any(one.until_day > end for one in strays):
            continue
        moves = _places(problem, strays, water.id, end)
        if moves:
            return Gathering(_relief(system, moves, end), _moved(problem, moves, end))
    return None


def _relief(system: str, moves: tuple[tuple[Standing, str], ...], end: int) -> Relief:
    """The act in words: what it costs is the handling, and the days the strays wait for the lots they join."""
    who = ", ".join(f"{one.count} of {one.batch} to {vat}" for one, vat in moves)
    longer = max(end - one.until_day for one, _ in moves)
    wait = f" and keep them there {longer} days longer" if longer else ""
    minutes = sum(one.count * one.handling_seconds for one, _ in moves) / 60.0
    return Relief(
        f"gather strays: move {who}{wait}, so that {system} empties", "gather",
        sum(one.count * one.footprint_mm2 for one, _ in moves) / 1e6, minutes + DAY_MINUTES * longer, 0, 0,
        proved=False, vat=system, count=sum(one.count for one, _ in moves),
        disturbs=f"{sum(one.count for one, _ in moves)} animals in quarantine are moved",
        risk="what the strays or the lots they join carry is then in one water; a finding holds both",
    )  # fmt: skip


def _inside(problem: Problem, system: str) -> list[Standing]:
    """Lots that stand in a quarantine water now."""
    there = {vat.id: vat.system for vat in problem.vats}
    return [
        one
        for one in problem.standing
        if one.stage == "quarantine" and there[one.vat] == system and one.from_day <= 0 < one.until_day and one.count
    ]


def _strays(problem: Problem, system: str) -> list[Standing]:
    """All who stand in a quarantine water, where they are few for it and nobody else has a place there."""
    vats = {vat.id: vat.area_mm2 for vat in problem.vats if vat.system == system}
    here = [one for one in problem.standing if one.vat in vats and one.until_day > STRAYS_MOVE_DAY]
    inside = _inside(problem, system)
    used = sum(one.count * one.footprint_mm2 for one in inside)
    few = 100 * used <= STRAY_PERCENT * sum(vats.values())
    return inside if few and len(here) == len(inside) else []


def _places(problem: Problem, strays: list[Standing], water: str, end: int) -> tuple[tuple[Standing, str], ...]:
    """A vat of a water for each stray, first fit; nothing unless all find one."""
    left = tuple(one for one in problem.standing if one not in strays)
    occupancy = Occupancy(replace(problem, standing=left))
    moves = []
    for one in sorted(strays, key=lambda stray: -stray.count * stray.footprint_mm2):
        for index in occupancy.vats_of[occupancy.system_index[water]]:
            stay = occupancy.stay(one, index, STRAYS_MOVE_DAY, end)
            known = one.gather_to is None or problem.vats[index].id in one.gather_to
            if known and may_stand(occupancy, stay):
                occupancy.put(stay)
                moves.append((one, problem.vats[index].id))
                break
        else:
            return ()
    return tuple(moves)


def _moved(problem: Problem, moves: tuple[tuple[Standing, str], ...], end: int) -> Problem:
    """The question once the strays have moved; places kept for them after quarantine move along."""
    target = dict(moves)
    longer = {one.batch: end - one.until_day for one, _ in moves}
    standing: list[Standing] = []
    for one in problem.standing:
        if one in target:
            served = max(one.served_day, STRAYS_MOVE_DAY)
            standing.append(replace(one, until_day=STRAYS_MOVE_DAY, movable=False, served_day=served))
            standing.append(
                replace(
                    one,
                    vat=target[one],
                    from_day=STRAYS_MOVE_DAY,
                    until_day=end,
                    movable=False,
                    served_day=max(one.served_day, end),
                )
            )
        elif one.from_day > 0 and one.batch in longer:
            days = longer[one.batch]
            standing.append(replace(one, from_day=one.from_day + days, until_day=one.until_day + days))
        else:
            standing.append(one)
    return replace(problem, standing=tuple(standing))
