"""A plan the crew holds in its hands: kept where it still holds, and what moving an unopened box must gain."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from intake.receiving.placed import Placed
from intake.receiving.problem import DayProblem, minutes_between
from intake.receiving.solution import DayPlan
from intake.receiving.solving import day_tuning as tuning
from intake.receiving.solving.box_placing import Board, aims

__all__ = ["Kept", "kept_plan", "pushed_back", "worth_moving"]


@dataclass(frozen=True, slots=True)
class Kept:
    """The plan before, carried over to the day as it is now.

    Attributes
    ----------
    before
        Box → how it was placed, in minutes of the day as it is now.
    placed
        The day with as little moved as can be.
    as_it_was
        Nothing had to move and nothing is new.
    """

    before: Mapping[str, Placed]
    placed: tuple[Placed, ...]
    as_it_was: bool


def kept_plan(problem: DayProblem, previous: DayPlan) -> Kept:
    """Keep what still holds; what does not goes to the first free place after its time, new urgent boxes to the first.

    Parameters
    ----------
    problem
        A completed day as it is now, started work in it.
    """
    before = _carried(problem, previous)
    was_urgent = {box.box for box in previous.problem.boxes if box.urgent}
    news = [box for box in problem.boxes if box.box not in problem.begun and box.urgent and box.box not in was_urgent]
    closed = [box.box for box in problem.boxes if box.box not in problem.begun and box not in news]
    board = Board(problem, before)
    puts = {put.box: put for put in board.started}
    for box in sorted(news, key=lambda box: (-box.weight, box.box)):
        puts[box.box] = board.put(box.box)
    left = []
    for name in sorted(closed, key=lambda name: (before[name].open_at if name in before else problem.horizon, name)):
        found = board.put_as(before[name]) if name in before else None
        if found is None:
            left.append(name)
        else:
            puts[name] = found
    for name in left:
        puts[name] = board.put(name, before[name].open_at if name in before else 0)
    placed = tuple(puts[box.box] for box in problem.boxes)
    same = not left and not news and all(puts[name] == before.get(name) for name in puts)
    return Kept(before, placed, same and _same_question(problem, previous.problem))


def pushed_back(problem: DayProblem, kept: Kept) -> tuple[Placed, ...]:
    """The order of the plan before, each box at the first free minute not before its own: nothing overtakes."""
    board = Board(problem, kept.before)
    puts = {put.box: put for put in board.started}
    closed = [box for box in problem.boxes if box.box not in problem.begun]
    last = problem.horizon
    order = sorted(
        closed,
        key=lambda box: (not box.urgent, kept.before[box.box].open_at if box.box in kept.before else last, box.box),
    )
    for box in order:
        was = kept.before.get(box.box)
        puts[box.box] = board.put(box.box, was.open_at if was and not box.urgent else 0)
    return tuple(puts[box.box] for box in problem.boxes)


def _carried(problem: DayProblem, previous: DayPlan) -> dict[str, Placed]:
    """The plan before in minutes of the day as it is now."""
    shift = minutes_between(problem.origin, previous.problem.origin)
    known = {box.box for box in problem.boxes}
    return {
        put.box: replace(
            put,
            open_at=put.open_at + shift,
            counted_at=put.counted_at + shift,
            tub_at=put.tub_at + shift,
            finish_at=put.finish_at + shift,
            placed_at=put.placed_at + shift,
        )
        for put in previous.placed
        if put.box in known
    }


def _same_question(now: DayProblem, before: DayProblem) -> bool:
    """Whether boxes, trucks, places, people and stocks are as they were."""
    names = ("boxes", "trucks", "lanes", "people", "drip_lines", "mixed_water_l", "taken")
    return all(getattr(now, name) == getattr(before, name) for name in names)


def _moves(problem: DayProblem, placed: Iterable[Placed], before: Mapping[str, Placed]) -> int:
    """Unopened boxes whose minute, table or person differs from the plan before."""
    return sum(
        (put.open_at, put.table, put.opener) != (was.open_at, was.table, was.opener)
        for put in placed
        if put.box not in problem.begun
        for was in [before.get(put.box)]
        if was is not None
    )


def worth_moving(
    problem: DayProblem, kept: Sequence[Placed], found: Sequence[Placed], before: Mapping[str, Placed]
) -> bool:
    """Whether another day gains more on the first aim that differs than its further moves cost."""
    more = _moves(problem, found, before) - _moves(problem, kept, before)
    scales = (1, 1, 1, 1, tuning.FINISH_SCALE)
    for old, new, scale in zip(aims(problem, kept), aims(problem, found), scales, strict=True):
        if old != new:
            return (old - new) * scale > tuning.MOVE_PRICE * more
    return more < 0
