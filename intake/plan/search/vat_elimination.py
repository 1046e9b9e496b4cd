"""Vat elimination: one vat after another is emptied of newcomers, and stays so if those in it find room elsewhere."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from intake.plan.model.occupancy import Layout
from intake.plan.problem import Problem
from intake.plan.search.destroy_and_repair import Steps
from intake.plan.search.neighbourhoods import improve
from intake.plan.solvers.interface import Crew
from intake.plan.tuning import ELIMINATION_TRY_SECONDS, LOT_WATER_PRICE, STRANGER_PRICE, WATER_PRICE

__all__ = ["Elimination", "eliminate_vats", "vats_and_splits"]


@dataclass(frozen=True, slots=True)
class Elimination:
    """The plan with the fewest vats and splits found, and what finding it took."""

    layout: Layout
    charged: float
    seconds: float
    cut: bool


def vats_and_splits(problem: Problem, layout: Layout) -> int:
    """The objective *vats and splits*: portions, vats with newcomers, and dearer what keeps waters from emptying."""
    used = [spot for spot, count in layout.counts.items() if count]
    role = {system.id: system.role for system in problem.systems}
    waters = {
        (owner, position, problem.vats[vat].system)
        for owner, position, vat in used
        if role[problem.vats[vat].system] == "quarantine"
    }
    further = len(waters) - len({(owner, position) for owner, position, _ in waters})
    by_lot = {
        (problem.batches[owner].lot, problem.batches[owner].stages[position].stage, water)
        for owner, position, water in waters
    }
    divided = len(by_lot) - len({one[:2] for one in by_lot})
    systems = {system.id: system for system in problem.systems}
    strangers = {(owner, water) for owner, _, water in waters if systems[water].stranger(problem.batches[owner])}
    water_prices = WATER_PRICE * further + LOT_WATER_PRICE * divided + STRANGER_PRICE * len(strangers)
    return len(used) + len({vat for _, _, vat in used}) + water_prices


def eliminate_vats(problem: Problem, crew: Crew, seed: str, layout: Layout, seconds: float) -> Elimination:
    """Empty vats, the least used first, as long as no one loses a place and no current stock moves.

    Parameters
    ----------
    layout
        A sound plan; current stock stays where it ends up in it.
    """
    still = replace(problem, standing=tuple(replace(one, movable=False, move_to=()) for one in problem.standing))
    charged = clock = 0.0
    cut = False
    for vat in _least_used(problem, layout):
        if charged >= seconds:
            break
        used = {where for _, _, where in layout.counts}
        steps = Steps(_only_in(still, used - {vat}), crew, f"{seed}.close.{vat}", layout)
        least = steps.left_over()
        for owner in sorted({owner for owner, _, where in layout.counts if where == vat}):
            steps.remove(owner)
        improve(steps, lambda left, least=least: left <= least, seconds=min(ELIMINATION_TRY_SECONDS, seconds - charged))  # type: ignore[misc]
        charged, clock, cut = charged + steps.charged, clock + steps.seconds, cut or steps.cut
        found = steps.plan()
        if steps.left_over() <= least and vats_and_splits(problem, found) < vats_and_splits(problem, layout):
            layout = found
    return Elimination(layout, charged, clock, cut)


def _least_used(problem: Problem, layout: Layout) -> list[int]:
    """Vats with newcomers, in the order of the bench area they fill over all their days."""
    filled: dict[int, int] = {}
    for (owner, position, vat), count in layout.counts.items():
        batch = problem.batches[owner]
        days = batch.stages[position].end_day - batch.stages[position].start_day
        filled[vat] = filled.get(vat, 0) + count * batch.footprint_mm2 * days
    return sorted(filled, key=lambda vat: (filled[vat], vat))


def _only_in(problem: Problem, vats: Collection[int]) -> Problem:
    """The problem with no vats open to newcomers but these."""
    names = {problem.vats[vat].id for vat in vats}
    batches = tuple(
        replace(
            batch,
            stages=tuple(
                replace(stage, vats=tuple(vat for vat in stage.vats if vat in names)) for stage in batch.stages
            ),
        )
        for batch in problem.batches
    )
    return replace(problem, batches=batches)
