"""Bags that would stay closed too long: the day is refused for them, with what would help, each tried on the day itself."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from intake.receiving.box import BoxNeed
from intake.receiving.placed import Placed
from intake.receiving.problem import DayProblem, Hand, Lane
from intake.receiving.solution import DayPlan
from intake.receiving.solving.opening_rules import best_rule

__all__ = ["OVERTIME_MINUTES", "ClosedTooLong", "Relief", "closed_too_long", "reliefs"]

OVERTIME_MINUTES = 120
"""Minutes after closing time in which a box may still be opened by who stays; later its bags count as closed overnight
(design default)."""
_NIGHT = 24 * 60


@dataclass(frozen=True, slots=True)
class ClosedTooLong:
    """One box whose bags would stay closed past the hours its animals bear, or over night.

    Attributes
    ----------
    rule
        ``bag-hours`` (past the group's red hours) or ``bags-overnight`` (after the team has gone home).
    hours, limit_h
        In the bag at opening, and the group's red hours.
    opens
        When it would be opened, in words of the day: ``HH:MM``.
    """

    rule: str
    box: str
    hours: float
    limit_h: float
    opens: str

    @property
    def words(self) -> str:
        """The refusal as a sentence."""
        if self.rule == "bag-hours":
            return f"Box {self.box} would be opened at {self.opens} after {self.hours:.1f} h; {self.limit_h:g} h is the limit."
        return f"Box {self.box} would stay closed until {self.opens}, after the team has gone home."

    def as_dict(self) -> dict[str, Any]:
        """The refusal in the form every refusal has."""
        return {
            "id": self.rule,
            "severity": "needs a reason",
            "what": self.words,
            "where": self.box,
            "need": f"at most {self.limit_h:g} h in the bag, opened on the day it lands",
            "have": f"{self.hours:.1f} h at {self.opens}",
            "source": "red hours of the husbandry group",
        }


@dataclass(frozen=True, slots=True)
class Relief:
    """What would help, and how many boxes would still stay closed too long."""

    do: str
    left: int

    def as_dict(self) -> dict[str, Any]:
        """The relief as plain data."""
        return {"do": self.do, "left": self.left}


def closed_too_long(plan: DayPlan) -> tuple[ClosedTooLong, ...]:
    """Unopened boxes that would stay closed too long, the longest first."""
    return _too_long(plan.problem, plan.placed)


def _too_long(problem: DayProblem, placed: Iterable[Placed]) -> tuple[ClosedTooLong, ...]:
    puts = {put.box: put for put in placed}
    found = []
    for box in problem.boxes:
        if box.box in problem.begun:
            continue
        minute = puts[box.box].open_at
        hours = (problem.age[box.box] + minute) / 60
        rule = ""
        if hours > box.red_h:
            rule = "bag-hours"
        elif minute > problem.closes + OVERTIME_MINUTES:
            rule = "bags-overnight"
        if rule:
            found.append(ClosedTooLong(rule, box.box, hours, box.red_h, f"{problem.at(minute):%a %H:%M}"))
    return tuple(sorted(found, key=lambda one: (-one.hours, one.box)))


def reliefs(plan: DayPlan) -> tuple[Relief, ...]:
    """What would help, tried on the day with the best simple rule, what helps most first; empty where nothing is refused.

    A relief says how many boxes would still stay closed too long with it.
    """
    problem = plan.problem
    if not closed_too_long(plan):
        return ()
    skills = frozenset().union(*problem.needs())
    found = []
    for number in (1, 2, 4):
        more = tuple(Hand(f"one more person {n + 1}", skills, 0, problem.closes) for n in range(number))
        words = "1 more person who may do it all" if number == 1 else f"{number} more people who may do it all"
        found.append(Relief(f"call in {words}", _left(replace(problem, people=(*problem.people, *more)))))
        if not found[-1].left:
            break
    tubs = [lane for lane in problem.lanes if lane.kind == "acclimation"]
    more_tubs = tuple(Lane(f"one more tub {n + 1}", "acclimation") for n in range(max(1, len(tubs))))
    found.append(
        Relief(
            f"set up {len(more_tubs)} more tubs as large", _left(replace(problem, lanes=(*problem.lanes, *more_tubs)))
        )
    )
    stays = tuple(replace(hand, ends=max(hand.ends, problem.closes + 240)) for hand in problem.people)
    longer = replace(problem, people=stays, closes=problem.closes + 240)
    found.append(Relief("overtime: everybody stays 4 h longer", _left(longer)))
    found.append(_sensitive_only(problem))
    found += _later_flight(problem)
    return tuple(sorted(found, key=lambda one: one.left))


def _left(problem: DayProblem) -> int:
    """Boxes that stay closed too long by the best simple rule."""
    day = problem.completed()
    return len(_too_long(day, best_rule(day)[1]))


def _sensitive_only(problem: DayProblem) -> Relief:
    """Today only the boxes that cannot wait until the next morning; the rest is opened then, within its hours."""

    def waits(box: BoxNeed) -> bool:
        return problem.age[box.box] + _NIGHT < box.red_h * 60

    urgent = tuple(box for box in problem.boxes if box.box in problem.begun or not waits(box))
    later = len(problem.boxes) - len(urgent)
    if not later:
        return Relief("open only the sensitive boxes today: all of them are", _left(problem))
    names = ", ".join(box.box for box in problem.boxes if box not in urgent)
    if not urgent:
        return Relief(f"open all of them, {names}, at opening time tomorrow, within their hours", 0)
    words = (
        f"open only the {len(urgent)} sensitive boxes today and {names} at opening time tomorrow, within their hours"
    )
    return Relief(words, _left(replace(problem, boxes=urgent)))


def _later_flight(problem: DayProblem) -> list[Relief]:
    """Packed and landed so much later that the team is in when the boxes come."""
    if any(box.box in problem.begun for box in problem.boxes):
        return []
    last = max(problem.trucks.values(), default=0)
    wait = max(0, _NIGHT - last)
    if last < problem.closes - 240 or not wait:
        return []
    trucks = {name: max(0, minute + wait - _NIGHT) for name, minute in problem.trucks.items()}
    boxes = tuple(
        replace(box, packed_at=problem.at(problem.minute(box.packed_at) + wait - _NIGHT)) for box in problem.boxes
    )
    hours = wait / 60
    return [
        Relief(
            f"delay the flight by {hours:.0f} h, packed as much later",
            _left(replace(problem, trucks=trucks, boxes=boxes)),
        )
    ]
