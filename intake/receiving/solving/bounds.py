"""How good a receiving day could be at best, by arguments that hold for every plan.

Three kinds, the best of them reported:

- Each box alone.
- Hours in the bag: every table (tub, pair of hands, drip line, liter of mixed water) may work on all boxes at once and cut them
  into minutes.  Then always working on the box with most weight per minute is best, and its mean working time bounds the
  opening times of any real day (Goemans, 1997, and Schulz and Skutella, 2002, on mean busy times; from memory).
- Finish: work cut and shared at will still waits until its box is there and leaves what follows to be done: Jackson's preemptive
  schedule with heads and tails (Carlier, 1982, Eur. J. Oper. Res. 11:42-47, one machine; Carlier & Pinson, 2004, Discrete
  Applied Math. 145:80-94, several; here over every part of the work that begins after one head and ends before one tail; from
  memory).

:func:`kept_bound` searches for prices of all resources at once (:mod:`~intake.receiving.solving.resource_prices`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import TYPE_CHECKING

from intake.receiving.box import BoxNeed
from intake.receiving.placed import Placed
from intake.receiving.problem import DIP_PLACE, TABLE, TUB, DayProblem, Underway
from intake.receiving.solving.box_placing import place_in_order
from intake.receiving.solving.day_stock import Stock

if TYPE_CHECKING:
    from intake.receiving.solving.resource_prices import Kept, Prices, Table

__all__ = ["alone", "kept_bound", "lower_bounds"]


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


def _mean_busy(shares: Sequence[_Share], capacity: Sequence[int]) -> float:
    """Least Σ weight × opening minute if the work could be cut and shared at will."""
    shares = [share for share in shares if share.work]
    left = {number: share.work for number, share in enumerate(shares)}
    order = sorted(left, key=lambda number: (-shares[number].weight / shares[number].work, number))
    total = -sum(share.weight * share.lag for share in shares)
    minute = min((share.release for share in shares), default=len(capacity))
    while left and minute < len(capacity):
        room = capacity[minute]
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


def _bottlenecks(
    stock: Stock, boxes: Sequence[BoxNeed], first: Mapping[str, Placed]
) -> Iterable[tuple[list[_Share], Sequence[int]]]:
    """The shares of the boxes at the tables, of the people at them, in the tubs, and of all who open and set up."""

    def at_table(box: BoxNeed, work: int) -> _Share:
        return _Share(box.weight, work, first[box.box].open_at, work / 2)

    def in_tub(box: BoxNeed, amount: int, minutes: int) -> _Share:
        after = box.opening_minutes
        return _Share(box.weight, amount * minutes, first[box.box].open_at + after, after + minutes / 2)

    opening = [at_table(box, box.opening_minutes) for box in boxes]
    yield opening, stock.lanes(TABLE)
    yield opening, stock.people(_joined(stock, {box.opening_skills for box in boxes}))
    yield [in_tub(box, box.tubs, box.tub_minutes) for box in boxes], stock.lanes(TUB)
    both = [at_table(box, box.opening_minutes + box.setup_minutes) for box in boxes]
    needs = {need for box in boxes for need in (box.opening_skills, box.setup_skills)}
    yield both, stock.people(_joined(stock, needs))


def _joined(stock: Stock, needs: Iterable[frozenset[str]]) -> frozenset[str]:
    return frozenset[str]().union(*(stock.able(need) for need in needs))


def _opening(stock: Stock, boxes: Sequence[BoxNeed], first: Mapping[str, Placed]) -> int:
    """Bound on Σ weight × opening minute of these closed boxes."""
    least = sum(box.weight * first[box.box].open_at for box in boxes)
    if not boxes:
        return 0
    shared = max(_mean_busy(shares, there) for shares, there in _bottlenecks(stock, boxes, first))
    return max(least, ceil(shared - 1e-6))


def lower_bounds(problem: DayProblem, placed: Iterable[Placed]) -> tuple[int, int, int, int, int]:
    """Bounds on the five aims of :func:`~intake.receiving.solving.box_placing.aims` that no plan of this day can beat.

    Parameters
    ----------
    problem
        A completed day.
    placed
        Some plan of it: it shows which boxes a bound past red or amber is worth taking over.
    """
    first = alone(problem)
    stock = Stock(problem, problem.horizon)
    closed = [box for box in problem.boxes if box.box in first]
    puts = {put.box: put for put in placed}
    begun = [(box, problem.age[box.box] + puts[box.box].open_at) for box in problem.boxes if box.box not in first]
    urgent = [box for box in closed if box.urgent]

    def past(limit_h: Callable[[BoxNeed], float]) -> int:
        gone = sum(box.weight * max(0, minutes - round(limit_h(box) * 60)) for box, minutes in begun)
        over = {box.box: problem.age[box.box] - round(limit_h(box) * 60) for box in closed}
        single = sum(box.weight * max(0, over[box.box] + first[box.box].open_at) for box in closed)
        late = [box for box in closed if over[box.box] + puts[box.box].open_at > 0]
        several = _opening(stock, late, first) + sum(box.weight * over[box.box] for box in late)
        return gone + max(single, several)

    def in_bag(boxes: Sequence[BoxNeed]) -> int:
        return _opening(stock, boxes, first) + sum(box.weight * problem.age[box.box] for box in boxes)

    finish = max(
        [put.placed_at for put in first.values()]
        + _ends(stock, closed, first)
        + [_soonest_end(problem, box) for box in problem.boxes if box.box in problem.begun],
        default=0,
    )
    total = sum(box.weight * minutes for box, minutes in begun) + in_bag(closed)
    return in_bag(urgent), past(lambda box: box.red_h), past(lambda box: box.amber_h), total, finish


Piece = tuple[int, int, int]
"""Work in resource-minutes, its head (the minute it can begin) and its tail (minutes from its end to the last placing)."""


def _ends(stock: Stock, boxes: Sequence[BoxNeed], first: Mapping[str, Placed]) -> list[int]:
    """Minutes before which no day can end, one for each resource that all closed boxes share."""
    return [_least_end(pieces, there) for pieces, there in _work(stock, boxes, first) if pieces]


def _work(
    stock: Stock, boxes: Sequence[BoxNeed], first: Mapping[str, Placed]
) -> Iterable[tuple[list[Piece], Sequence[int]]]:
    """The closed boxes' work on each resource, and how much of it is there in each minute."""
    rows = [(box, first[box.box].open_at, first[box.box].open_at + box.opening_minutes) for box in boxes]
    after = {box.box: box.tub_minutes + box.finishing_minutes for box in boxes}
    yield [(box.opening_minutes, head, after[box.box]) for box, head, _ in rows], stock.lanes(TABLE)
    yield [(box.tubs * box.tub_minutes, tub, box.finishing_minutes) for box, _, tub in rows], stock.lanes(TUB)
    dips = [(box.dip_minutes, tub + box.tub_minutes, box.place_minutes) for box, _, tub in rows if box.dip_minutes]
    yield dips, stock.lanes(DIP_PLACE)
    if (drips := stock.drips()) is not None:
        lines = [(box.drip_lines * box.tub_minutes, tub, box.finishing_minutes) for box, _, tub in rows]
        yield [piece for piece in lines if piece[0]], drips
    if (water := stock.water()) is not None:
        more = stock.problem.remake_minutes
        drawn = [
            (box.whole_litres * (box.tub_minutes + more), tub, box.finishing_minutes - more) for box, _, tub in rows
        ]
        yield [piece for piece in drawn if piece[0]], water
    for who in stock.crowds():
        pieces: list[Piece] = []
        for box, head, tub in rows:
            left = after[box.box]
            done = (
                (box.opening_skills, box.opening_minutes, head, left),
                (box.setup_skills, box.setup_minutes, tub, left - box.setup_minutes),
                (box.finishing_skills, box.finishing_minutes, tub + box.tub_minutes, 0),
            )
            pieces += [(minutes, begin, tail) for need, minutes, begin, tail in done if stock.able(need) <= who]
        yield pieces, stock.people(who)


def _least_end(pieces: Sequence[Piece], there: Sequence[int]) -> int:
    """The latest, over every head and tail, of when all pieces from that head on with that tail or more can be done."""
    import numpy as np  # heavy, and no count needs it

    supply = np.concatenate(([0], np.cumsum(np.array(there, np.int64))))
    work, heads, tails = (np.array(column, np.int64) for column in zip(*pieces, strict=True))
    best = 0
    for head in sorted(set(heads.tolist())):
        inside = heads >= head
        for tail in sorted(set(tails[inside].tolist())):
            needed = supply[head] + int(work[inside & (tails >= tail)].sum())
            best = max(best, min(int(np.searchsorted(supply, needed)), len(there)) + tail)
    return best


def _soonest_end(problem: DayProblem, box: BoxNeed) -> int:
    work = problem.begun[box.box]
    if work.placed_at is not None:
        return problem.minute(work.placed_at)
    if work.finish_at is not None:
        return problem.minute(work.finish_at) + box.finishing_minutes
    tub_at = max(problem.now, problem.minute(work.counted_at)) if work.tub_at is None else problem.minute(work.tub_at)
    return max(tub_at + box.tub_minutes, problem.now) + box.finishing_minutes


def kept_bound(prices: Prices, number: int, value: Sequence[int], rounds: int) -> int:
    """A bound on one of the first four aims that holds for every day in which the aims before it are no worse than reported.

    Parameters
    ----------
    prices
        Of the day; changed, so that the next question begins where this one ended.
    number
        Place of the aim, 0 to 3.
    value
        What some day reaches in all aims.
    rounds
        Effort.
    """
    begun = _of_begun(prices.problem)
    costs = [_costs(prices, aim) for aim in range(number + 1)]
    kept: Kept = [(costs[aim], value[aim] - begun[aim]) for aim in range(number)]
    return begun[number] + prices.bound(costs[number], value[number] - begun[number], rounds, kept)


def _costs(prices: Prices, aim: int) -> Table:
    """What opening each closed box in each minute adds to one of the first four aims."""
    import numpy as np

    minutes, age = np.arange(prices.opens, dtype=np.int64), prices.problem.age
    rows = []
    for box in prices.boxes:
        past = (0, round(box.red_h * 60), round(box.amber_h * 60), 0)[aim]
        weight = 0 if aim == 0 and not box.urgent else box.weight
        hours = age[box.box] + minutes - past
        rows.append(weight * (np.maximum(0, hours) if past else hours))
    return np.array(rows, np.int64).reshape(len(rows), prices.opens)


def _of_begun(problem: DayProblem) -> tuple[int, int, int, int]:
    """What started boxes add to the first four aims for certain; their wait for a tub may still grow."""
    red = amber = bag = 0
    for box in problem.boxes:
        if box.box in problem.begun:
            minutes = problem.age[box.box] + problem.minute(problem.begun[box.box].opened_at)
            red += box.weight * max(0, minutes - round(box.red_h * 60))
            amber += box.weight * max(0, minutes - round(box.amber_h * 60))
            bag += box.weight * minutes
    return 0, red, amber, bag
