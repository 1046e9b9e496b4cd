"""When each quarantine water empties, and whether at the present rhythm of shipments it ever will."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import ceil

from intake.plan.model.occupancy import Occupant, full_occupancy
from intake.plan.problem import Problem
from intake.plan.solution import Solution, layout_of
from intake.plan.tuning import BEYOND_EVERY_PLAN, FEWEST_LANDINGS

__all__ = ["Rhythm", "WaterForecast", "forecast", "rhythm"]


@dataclass(frozen=True, slots=True)
class WaterForecast:
    """One quarantine water as a plan leaves it.

    Attributes
    ----------
    empties
        Day on which no lot is left in it, counted from the plan's day zero: 0 where it is empty now, ``None`` while a lot in
        it has no day.
    lots
        Those in it until then, in the order of entry.
    next_entry
        First day after that on which a lot enters; ``None`` without one.
    """

    system: str
    empties: int | None
    lots: tuple[str, ...]
    next_entry: int | None

    def words(self, day_zero: date) -> str:
        """The forecast in a sentence."""
        if self.empties is None:
            return f"{self.system} has no day: {', '.join(self.lots)} cannot be dated yet, so no newcomers enter it"
        if not self.lots:
            return f"{self.system} is empty" + self._until(day_zero)
        return f"{self.system} empties on {day_zero + timedelta(self.empties)} ({', '.join(self.lots)})" + self._until(
            day_zero
        )

    def _until(self, day_zero: date) -> str:
        return "" if self.next_entry is None else f", next lot on {day_zero + timedelta(self.next_entry)}"

    def as_dict(self, day_zero: date) -> dict[str, object]:
        """The forecast as plain data, with the sentence."""
        days = [
            None if day is None else (day_zero + timedelta(day)).isoformat() for day in (self.empties, self.next_entry)
        ]
        return {
            "system": self.system,
            "empties": days[0],
            "lots": list(self.lots),
            "next": days[1],
            "words": self.words(day_zero),
        }


@dataclass(frozen=True, slots=True)
class Rhythm:
    """Whether quarantine waters are enough for shipments at a steady rhythm.

    Attributes
    ----------
    every_days
        Mean days from one landing to the next.
    busy_days
        Days a shipment keeps a water, fallow included.
    needed
        Waters so many shipments keep at a time; never emptying where this is more than ``waters``.
    """

    every_days: float
    busy_days: int
    waters: int
    needed: int

    @property
    def words(self) -> str:
        """The warning in a sentence; empty where the waters are enough."""
        if self.needed <= self.waters:
            return ""
        return (
            f"Quarantine will not empty at this rhythm: a shipment every {self.every_days:.0f} d, each {self.busy_days} d in "
            f"quarantine, needs {self.needed} waters; the farm has {self.waters}. Space shipments at least "
            f"{ceil(self.busy_days / self.waters)} d apart."
        )


def forecast(problem: Problem, solution: Solution) -> tuple[WaterForecast, ...]:
    """When each quarantine water of a problem empties with a plan carried out, in the order of the problem."""
    occupancy = full_occupancy(problem, layout_of(problem, solution))
    return tuple(
        _of_water(system.id, [one for vat in occupancy.vats_of[number] for one in occupancy.inside[vat]])
        for number, system in enumerate(problem.systems)
        if system.role == "quarantine"
    )


def _of_water(system: str, inside: Sequence[Occupant]) -> WaterForecast:
    lots = sorted(
        (one for one in inside if one.free is not None and one.end > 0), key=lambda one: (one.start, one.name)
    )
    empties, here = 0, list[str]()
    for one in lots:
        if one.start > empties:
            break
        empties = max(empties, one.end)
        here.append(one.name)
    ahead = [one.start for one in lots if one.start > empties]
    known = None if empties >= BEYOND_EVERY_PLAN else empties
    return WaterForecast(system, known, tuple(dict.fromkeys(here)), ahead[0] if ahead and known is not None else None)


def rhythm(problem: Problem, landings: Iterable[date]) -> Rhythm | None:
    """What shipments at the rhythm of these landings need; ``None`` with fewer than three, which are no rhythm."""
    days = sorted({moment.date() if isinstance(moment, datetime) else moment for moment in landings})
    waters = sum(system.role == "quarantine" for system in problem.systems)
    lengths = [
        batch.own_end - batch.stages[batch.quarantine].start_day for batch in problem.batches if batch.quarantine >= 0
    ]
    lengths += [one.until_day - one.from_day for one in problem.standing if _dated(one.stage, one.until_day)]
    if len(days) < FEWEST_LANDINGS or not waters or not lengths:
        return None
    role = {system.id: system.role for system in problem.systems}
    fallow = max((vat.fallow_days for vat in problem.vats if role[vat.system] == "quarantine"), default=0)
    every = (days[-1] - days[0]).days / (len(days) - 1)
    busy = max(lengths) + fallow
    return Rhythm(every, busy, waters, ceil(busy / every))


def _dated(stage: str, until_day: int) -> bool:
    return stage == "quarantine" and until_day < BEYOND_EVERY_PLAN
