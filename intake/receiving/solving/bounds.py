"""How good a receiving day could be at best, by arguments that need no search and hold for every plan.

One bound places each box alone.  The other lets every table (tub, pair of hands) work on all boxes at once and cut them
into minutes: then always working on the box with most weight per minute is best, and its mean working time bounds the
opening times of any real day (Goemans, 1997, and Schulz and Skutella, 2002, on mean busy times; from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil

from intake.receiving.box import BoxNeed
from intake.receiving.placed import Placed
from intake.receiving.problem import TABLE, TUB, DayProblem, Pool, Underway
from intake.receiving.solving.placing import place_in_order

__all__ = ["alone", "lower_bounds"]


def alone(problem: DayProblem) -> Mapping[str, Placed]:
    """Each closed box placed as if it were the only one left, started work taking only what it holds already."""
    free = replace(
        problem,
        drip_lines=None,
        mixed_water_l=None,
        underway=tuple(_out_of_the_way(problem, work) for work in problem.underway),
    )
    closed = [box.box for box in problem.boxes if box.box not in problem.begun]
    return {box: place_in_order(free, [box])[-1] for box in closed}


def _out_of_the_way(problem: DayProblem, work: Underway) -> Underway:
    if work.finish_at is not None:
        return work
    if work.tub_at is None:
        done = work.counted_at
        return replace(work, tub_at=done, finish_at=done, placed_at=done)
    box = next(box for box in problem.boxes if box.box == work.box)
    out = problem.at(max(problem.minute(work.tub_at) + box.tub_minutes, problem.now))
    return replace(work, finish_at=out, placed_at=out)


@dataclass(frozen=True, slots=True)
class _Share:
    """Work of one box on one kind of resource: it is centred ``lag`` minutes after the box is opened."""

    weight: int
    work: int
    release: int
    lag: float


def _mean_busy(shares: Sequence[_Share], capacity: Callable[[int], int], until: int) -> float:
    """Least Σ weight × opening minute if the work could be cut and shared at will."""
    left = {number: share.work for number, share in enumerate(shares)}
    order = sorted(left, key=lambda number: (-shares[number].weight / shares[number].work, number))
    total = -sum(share.weight * share.lag for share in shares)
    minute = min((share.release for share in shares), default=until)
    while left and minute < until:
        room = capacity(minute)
        for number in order:
            if room <= 0:
                break
            share = shares[number]
            if number in left and share.release <= minute:
                done = min(room, left[number])
                room -= done
                left[number] -= done
                total += share.weight * done / share.work * (minute + 0.5)
                if not left[number]:
                    del left[number]
        minute += 1
    return total


def _capacity(problem: DayProblem, pools: Iterable[Pool], needs: Iterable[frozenset[str]]) -> Callable[[int], int]:
    wanted = tuple(needs)
    rows = [pool for pool in pools if any(need <= pool.serves for need in wanted)]
    held = [
        (problem.minute(work.opened_at), problem.minute(work.counted_at), frozenset((work.table, work.opener)))
        for work in problem.underway
    ]
    held += [(one.start, one.end, frozenset((one.name,))) for one in problem.taken]

    def at(minute: int) -> int:
        there = {member for pool in rows if pool.opens <= minute < pool.closes for member in pool.members}
        for start, end, taken in held:
            if start <= minute < end:
                there -= taken
        return len(there)

    return at


def _bottlenecks(
    problem: DayProblem, boxes: Sequence[BoxNeed], first: Mapping[str, Placed]
) -> Iterable[tuple[list[_Share], Callable[[int], int]]]:
    """The shares of the boxes at the tables, of the people at them, in the tubs, and of all who open and set up."""
    opening = [
        _Share(box.weight, box.opening_minutes, first[box.box].open_at, box.opening_minutes / 2) for box in boxes
    ]
    yield opening, _capacity(problem, problem.places, [TABLE])
    yield opening, _capacity(problem, problem.crew, {box.opening_skills for box in boxes})
    tubs = [
        _Share(
            box.weight,
            box.tub_minutes * box.tubs,
            first[box.box].open_at + box.opening_minutes,
            box.opening_minutes + box.tub_minutes / 2,
        )
        for box in boxes
    ]
    yield tubs, _capacity(problem, problem.places, [TUB])
    both = [
        _Share(
            box.weight,
            box.opening_minutes + box.setup_minutes,
            first[box.box].open_at,
            (box.opening_minutes + box.setup_minutes) / 2,
        )
        for box in boxes
    ]
    needs = {need for box in boxes for need in (box.opening_skills, box.setup_skills)}
    yield both, _capacity(problem, problem.crew, needs)


def _opening(problem: DayProblem, boxes: Sequence[BoxNeed], first: Mapping[str, Placed]) -> int:
    """Bound on Σ weight × opening minute of these closed boxes."""
    least = sum(box.weight * first[box.box].open_at for box in boxes)
    if not boxes:
        return 0
    shared = max(_mean_busy(shares, at, problem.horizon) for shares, at in _bottlenecks(problem, boxes, first))
    return max(least, ceil(shared - 1e-6))


def lower_bounds(problem: DayProblem, placed: Iterable[Placed]) -> tuple[int, int, int, int, int]:
    """Bounds on the five aims of :func:`~intake.receiving.solving.placing.aims` that no plan of this day can beat.

    Parameters
    ----------
    problem
        A completed day.
    placed
        Some plan of it: it shows which boxes a bound past red or amber is worth taking over.
    """
    first = alone(problem)
    closed = [box for box in problem.boxes if box.box in first]
    puts = {put.box: put for put in placed}
    begun = [(box, problem.age[box.box] + puts[box.box].open_at) for box in problem.boxes if box.box not in first]
    urgent = [box for box in closed if box.urgent]

    def past(limit_h: Callable[[BoxNeed], float]) -> int:
        gone = sum(box.weight * max(0, minutes - round(limit_h(box) * 60)) for box, minutes in begun)
        over = {box.box: problem.age[box.box] - round(limit_h(box) * 60) for box in closed}
        single = sum(box.weight * max(0, over[box.box] + first[box.box].open_at) for box in closed)
        late = [box for box in closed if over[box.box] + puts[box.box].open_at > 0]
        several = _opening(problem, late, first) + sum(box.weight * over[box.box] for box in late)
        return gone + max(single, several)

    def in_bag(boxes: Sequence[BoxNeed]) -> int:
        return _opening(problem, boxes, first) + sum(box.weight * problem.age[box.box] for box in boxes)

    finish = max(
        [put.placed_at for put in first.values()]
        + _ends(problem, closed, first)
        + [_soonest_end(problem, box) for box in problem.boxes if box.box in problem.begun],
        default=0,
    )
    total = sum(box.weight * minutes for box, minutes in begun) + in_bag(closed)
    return in_bag(urgent), past(lambda box: box.red_h), past(lambda box: box.amber_h), total, finish


def _ends(problem: DayProblem, boxes: Sequence[BoxNeed], first: Mapping[str, Placed]) -> list[int]:
    """Minutes before which the hands, the tables and the tubs together cannot have done all closed boxes."""
    if not boxes:
        return []
    begin = min(first[box.box].open_at for box in boxes)
    tail = min(box.finishing_minutes for box in boxes)
    soak = min(box.tub_minutes for box in boxes)
    hands = sum(box.opening_minutes + box.setup_minutes + box.finishing_minutes for box in boxes)
    tables, tubs = sum(box.opening_minutes for box in boxes), sum(box.tub_minutes * box.tubs for box in boxes)
    start = min(first[box.box].tub_at for box in boxes)
    return [
        _spent(hands, begin, _capacity(problem, problem.crew, problem.needs()), problem.horizon),
        _spent(tables, begin, _capacity(problem, problem.places, [TABLE]), problem.horizon) + soak + tail,
        _spent(tubs, start, _capacity(problem, problem.places, [TUB]), problem.horizon) + tail,
    ]


def _spent(work: int, begin: int, capacity: Callable[[int], int], until: int) -> int:
    """The first minute by which so much work can have been done from ``begin`` on."""
    minute = begin
    while work > 0 and minute < until:
        work -= capacity(minute)
        minute += 1
    return minute


def _soonest_end(problem: DayProblem, box: BoxNeed) -> int:
    work = problem.begun[box.box]
    if work.placed_at is not None:
        return problem.minute(work.placed_at)
    if work.finish_at is not None:
        return problem.minute(work.finish_at) + box.finishing_minutes
    tub_at = max(problem.now, problem.minute(work.counted_at)) if work.tub_at is None else problem.minute(work.tub_at)
    return max(tub_at + box.tub_minutes, problem.now) + box.finishing_minutes
