"""Lots in a quarantine water held longer, so that newcomers may join them: what that changes in the question."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from intake.plan.problem import Problem, Standing

__all__ = ["days_to_hold", "held_until", "lots_held"]


def days_to_hold(problem: Problem, system: str, short: Mapping[str, int]) -> list[int]:
    """Own ends of short batches that would prolong lots in a water, by no more than a plan may hold a lot."""
    vats = {vat.id for vat in problem.vats if vat.system == system}
    days = set()
    for batch in problem.batches:
        if batch.id in short and batch.quarantine >= 0 and vats.intersection(batch.stages[batch.quarantine].vats):
            held = lots_held(problem, system, batch.own_end)
            start = batch.stages[batch.quarantine].start_day
            if any(start <= one.until_day for one in held) and all(
                batch.own_end - one.until_day <= problem.most_days_held for one in held
            ):
                days.add(batch.own_end)
    return sorted(days)[:2]


def lots_held(problem: Problem, system: str, day: int) -> list[Standing]:
    """Lots in quarantine in a water that would be released before a day."""
    water = {vat.id: vat.system for vat in problem.vats}
    return [
        one
        for one in problem.standing
        if one.stage == "quarantine" and water[one.vat] == system and one.until_day < day and one.from_day <= day
    ]


def held_until(problem: Problem, system: str, day: int) -> Problem:
    """The problem with the lots of a quarantine water held until a day, and the places saved for them after it moved along."""
    longer = {one.batch: day - one.until_day for one in lots_held(problem, system, day)}
    standing = tuple(
        replace(one, until_day=day, served_day=max(one.served_day, day))
        if one in lots_held(problem, system, day)
        else _later(one, longer.get(one.batch, 0))
        for one in problem.standing
    )
    return replace(problem, standing=standing)


def _later(standing: Standing, days: int) -> Standing:
    """A place kept for a lot after quarantine, so many days later."""
    if not days or standing.from_day <= 0:
        return standing
    return replace(standing, from_day=standing.from_day + days, until_day=standing.until_day + days)
