"""No one opens boxes or handles chemicals alone: who is the second person when, and which boxes wait for one.

Common practice, no source: two people are at the landing, free of other work, whenever a box is opened or a dip is made.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from intake.receiving.box import BoxNeed
from intake.receiving.placed import Placed
from intake.receiving.problem import SECOND, DayProblem, Hand

__all__ = ["Company", "Wait", "binding", "box_binding", "company_of", "waits_for_company"]


@dataclass(frozen=True, slots=True)
class Wait:
    """Minutes ``start`` to ``end`` with one person at the landing, and the boxes ready to be opened or dipped meanwhile."""

    start: int
    end: int
    person: str
    boxes: tuple[str, ...]


def waits_for_company(problem: DayProblem, placed: Iterable[Placed]) -> tuple[Wait, ...]:
    """Every stretch in which someone able is alone at the landing while boxes wait, by start.

    Parameters
    ----------
    problem
        A completed day.
    placed
        Its plan: what is opened or dipped before, or in work, does not wait.
    """
    puts = {put.box: put for put in placed}
    last = max((max(put.open_at, put.finish_at) for put in puts.values()), default=0)
    found: list[Wait] = []
    for minute in range(max(0, problem.now), last):
        there = _there(problem, minute) if not problem.company >> minute & 1 else []
        if len(there) == 1:
            boxes = tuple(box.box for box in problem.boxes if _waits(problem, box, puts[box.box], minute, there[0]))
            if boxes:
                _add(found, Wait(minute, minute + 1, there[0].id, boxes))
    return tuple(found)


def _add(found: list[Wait], one: Wait) -> None:
    """Join a minute to the stretch before it."""
    if found and found[-1].end == one.start and found[-1].person == one.person:
        boxes = dict.fromkeys((*found[-1].boxes, *one.boxes))
        found[-1] = Wait(found[-1].start, one.end, one.person, tuple(boxes))
    else:
        found.append(one)


def _there(problem: DayProblem, minute: int) -> list[Hand]:
    """Who is at the landing in a minute and has no other work."""
    names = {name for pool in problem.crew if pool.opens <= minute < pool.closes for name in pool.members}
    names -= {one.name for one in problem.taken if one.start <= minute < one.end}
    return [hand for hand in problem.people if hand.id in names]


def _waits(problem: DayProblem, box: BoxNeed, put: Placed, minute: int, hand: Hand) -> bool:
    """Whether a box is there to be opened, or its animals to be dipped, by someone who may and is alone."""
    if box.box not in problem.begun and problem.ready(box) <= minute < put.open_at:
        return box.opening_skills <= hand.skills
    ready = put.tub_at + box.tub_minutes
    return bool(box.dip_minutes) and ready <= minute < put.finish_at and box.finishing_skills <= hand.skills


def binding(problem: DayProblem, placed: Iterable[Placed]) -> list[str]:
    """Where a second person lacks, as sentences that say what binds and what would help."""
    rows = []
    for one in waits_for_company(problem, placed):
        few = f"box {one.boxes[0]} waits" if len(one.boxes) == 1 else f"{len(one.boxes)} boxes wait"
        words = _alone(problem, one)
        rows.append(f"{words[0].upper()}{words[1:]}: {few}. This is what binds: call in a second person.")
    return rows


def box_binding(problem: DayProblem, placed: Iterable[Placed]) -> Mapping[str, str]:
    """Box → why it is not opened earlier, or by whom it cannot be opened, where a second person lacks."""
    if any(hand.id == SECOND for hand in problem.people):
        words = "cannot be staffed: no one opens boxes alone, a second person is to be found"
        return {box.box: words for box in problem.boxes if box.box not in problem.begun}
    return {box: f"waits: {_alone(problem, one)}" for one in waits_for_company(problem, placed) for box in one.boxes}


def _alone(problem: DayProblem, one: Wait) -> str:
    start, end = problem.at(one.start), problem.at(one.end)
    return (
        f"from {start:%H:%M} to {end:%H:%M} only {problem.called(one.person)} is free at the landing, and no one opens boxes "
        "or handles chemicals alone"
    )


@dataclass(frozen=True, slots=True)
class Company:
    """Who is the second person of a box's opening (``open``) or dip (``place``), where no one else works beside, and when."""

    box: str
    part: str
    person: str
    start: int
    end: int


def company_of(problem: DayProblem, placed: Iterable[Placed]) -> tuple[Company, ...]:
    """The second people of a day, by start: held for it, so that no other work takes them away.

    Nobody is named where someone else has work at the landing all the while, nor for what is over.
    """
    rows = list(placed)
    busy = _busy(problem, rows)
    found: list[Company] = []
    for start, end, box, part, worker in sorted(_never_alone(problem, rows)):
        beside = [(one, other) for name, one, other in busy if name != worker]
        beside += [(one.start, one.end) for one in found if one.person != worker]
        bare = [at for at in range(start, end) if not any(one <= at < other for one, other in beside)]
        if bare:
            first, last = bare[0], bare[-1] + 1
            person = _second(problem, worker, first, last, {one.person for one in found} | {name for name, *_ in busy})
            found += [Company(box, part, person.id, first, last)] if person is not None else []
    return tuple(found)


def _busy(problem: DayProblem, placed: Iterable[Placed]) -> list[tuple[str, int, int]]:
    """Whose hands are at the landing, from when to when."""
    needs = {box.box: box for box in problem.boxes}
    rows = []
    for put in placed:
        rows.append((put.opener, put.open_at, put.counted_at))
        rows.append((put.setter, put.tub_at, put.tub_at + needs[put.box].setup_minutes))
        rows.append((put.finisher, put.finish_at, put.placed_at))
    return [row for row in rows if row[0]]


def _never_alone(problem: DayProblem, placed: Iterable[Placed]) -> Iterable[tuple[int, int, str, str, str]]:
    """Openings and dips not over: from, to, box, part, who does it."""
    needs = {box.box: box for box in problem.boxes}
    for put in placed:
        dipped = min(put.placed_at, put.finish_at + needs[put.box].dip_minutes)
        spans = ((put.open_at, put.counted_at, "open", put.opener), (put.finish_at, dipped, "place", put.finisher))
        for start, end, part, who in spans:
            if end > max(start, problem.now):
                yield start, end, put.box, part, who


def _second(problem: DayProblem, worker: str, start: int, end: int, here: Collection[str]) -> Hand | None:
    """Someone in and free all the while; those still in their own hours first, then those at the landing anyway."""
    taken = {one.name for one in problem.taken if one.start < end and one.end > start}
    there = {name for pool in problem.crew if pool.opens <= start and end <= pool.closes for name in pool.members}
    able = [hand for hand in problem.people if hand.id in there - taken - {worker}]
    return min(able, key=lambda hand: (hand.ends < end, hand.id not in here, -hand.ends, hand.id), default=None)
