"""Simple rules a crew could follow by hand for the order of opening; the day's plan is never worse than the best."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from intake.receiving.box import BoxNeed
from intake.receiving.placed import Placed
from intake.receiving.problem import DayProblem
from intake.receiving.solving.box_placing import aims, place_in_order

__all__ = ["RULES", "best_rule", "in_order", "run_rule"]

Key = Callable[[DayProblem, BoxNeed], Any]


def _by_arrival(problem: DayProblem, box: BoxNeed) -> Any:
    return problem.trucks[box.shipment]


def _by_hours(problem: DayProblem, box: BoxNeed) -> Any:
    return -problem.age[box.box]


def _by_sensitivity(_problem: DayProblem, box: BoxNeed) -> Any:
    return -box.weight


def _by_weighed_hours(problem: DayProblem, box: BoxNeed) -> Any:
    return -box.weight * (problem.age[box.box] + problem.ready(box))


def _by_red(problem: DayProblem, box: BoxNeed) -> Any:
    return round(box.red_h * 60) - problem.age[box.box]


def _by_short_work(_problem: DayProblem, box: BoxNeed) -> Any:
    return box.opening_minutes


def _by_sensitivity_per_minute(_problem: DayProblem, box: BoxNeed) -> Any:
    return -box.weight / box.opening_minutes


def _by_tub_time(_problem: DayProblem, box: BoxNeed) -> Any:
    return box.tub_minutes


RULES: Mapping[str, Key] = {
    "as they came": _by_arrival,
    "longest in the bag first": _by_hours,
    "most sensitive first": _by_sensitivity,
    "sensitivity × hours first": _by_weighed_hours,
    "nearest to red first": _by_red,
    "shortest on the table first": _by_short_work,
    "sensitivity per minute of work first": _by_sensitivity_per_minute,
    "shortest in the tub first": _by_tub_time,
}
"""Rule in words → what boxes are sorted by, smallest first; leaking and off-temperature ones always before the rest."""


def natural(box: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts box 2 before box 10."""
    return tuple((0, int(part), "") if part.isdigit() else (1, 0, part) for part in re.split(r"(\d+)", box) if part)


def in_order(problem: DayProblem, rule: str) -> list[str]:
    """Closed boxes in the order of a rule."""
    key = RULES[rule]
    closed = [box for box in problem.boxes if box.box not in problem.begun]
    closed.sort(key=lambda box: (not box.urgent, key(problem, box), problem.trucks[box.shipment], natural(box.box)))
    return [box.box for box in closed]


def run_rule(problem: DayProblem, rule: str) -> tuple[Placed, ...]:
    """The day run by one rule of :data:`RULES`, each box at the earliest minute that is free for it."""
    return place_in_order(problem, in_order(problem, rule))


def best_rule(problem: DayProblem) -> tuple[str, tuple[Placed, ...]]:
    """The rule that does best on the day's aims, and its day; the first named of equals."""
    runs = {rule: run_rule(problem, rule) for rule in RULES}
    best = min(runs, key=lambda rule: aims(problem, runs[rule]))
    return best, runs[best]
