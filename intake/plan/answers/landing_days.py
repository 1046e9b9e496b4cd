"""The landing day on which most of a shipment finds a place, by search over every day on which anything changes."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from intake.plan.model.occupancy import Occupancy
from intake.plan.problem import Problem
from intake.plan.search.first_fit import first_plan
from intake.plan.tuning import DELAY_MOST_DAYS, DELAY_NEARLY_ALL, DELAY_PLACES_TRIED

__all__ = ["change_days", "promising_days"]


def change_days(problem: Problem, shipment: str) -> list[int]:
    """Waits, in days, after which something is otherwise for a shipment: the only ones that can be the shortest to gain anything.

    Room grows only on a day on which someone has left a vat the shipment suits, its fallow days are over, a closed vat opens,
    a water is free of hosts or a filter has matured; what is already so stays so until the next of these days.
    """
    gap = {vat.id: vat.fallow_days for vat in problem.vats}
    water = {vat.id: vat.system for vat in problem.vats}
    matured = {system.id: system.matured_day for system in problem.systems}
    others = [batch for batch in problem.batches if batch.shipment != shipment]
    closed = {vat.id: vat.closed for vat in problem.vats}
    waits: set[int] = set()
    for batch in (one for one in problem.batches if one.shipment == shipment):
        for stage in batch.stages:
            waters = {water[vat] for vat in stage.vats}
            free = [
                one.until_day + extra
                for one in problem.standing
                if water[one.vat] in waters
                for extra in (0, 1, gap[one.vat])
            ]
            free += [
                last.end_day + extra
                for one in others
                for last in one.stages
                if last.stage == stage.stage
                for extra in (0, 1, _longest(gap, stage.vats))
            ]
            free += [until for vat in stage.vats for _, until in closed[vat]]
            free += [matured[one] for one in waters]
            free += [one.day for one in stage.opening]
            waits.update(day - stage.start_day for day in free)
    return sorted(wait for wait in waits if 0 < wait <= DELAY_MOST_DAYS)


def _longest(gap: dict[str, int], vats: Iterable[str]) -> int:
    return max((gap[vat] for vat in vats), default=0)


def promising_days(problem: Problem, shipment: str, after: Callable[[int], Problem]) -> list[int]:
    """Waits worth planning in full, best first: the one on which most is placed, and the first that places nearly as much.

    Parameters
    ----------
    after
        The problem with the shipment landing so many days later; every candidate is tried by first fit.
    """
    waits = change_days(problem, shipment)
    places = sum(len(stage.vats) for batch in problem.batches for stage in batch.stages)
    most = max(6, DELAY_PLACES_TRIED // max(1, places))
    if len(waits) > most:
        step = len(waits) / most
        waits = [waits[int(number * step)] for number in range(most)]
    reached = {wait: _placed(after(wait)) for wait in waits}
    if not reached:
        return []
    before = _placed(problem)
    best = max(reached.values())
    if best <= before:
        return waits[-1:]
    nearly = before + DELAY_NEARLY_ALL * (best - before)
    first = next(wait for wait, placed in reached.items() if placed >= nearly)
    top = next(wait for wait, placed in reached.items() if placed == best)
    return list(dict.fromkeys((top, first)))


def _placed(problem: Problem) -> int:
    layout = first_plan(Occupancy(problem))
    return sum(layout.placed(owner) * batch.weight for owner, batch in enumerate(problem.batches))
