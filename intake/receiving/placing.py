"""Puts boxes one after another at the earliest minute at which everything they need is free.

A box is placed whole: table and person, then a tub at once, then whoever takes it out.  The minutes at which a table, a
tub or a person is taken are the bits of one whole number, so "free for so long" is a handful of shifts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache

from intake.receiving.box import BoxNeed
from intake.receiving.problem import DIP_PLACE, TABLE, TUB, DayProblem, Pool, Underway

__all__ = ["AIMS", "Board", "Placed", "aims", "place_in_order"]

AIMS = ("opened and urgent boxes", "hours past red", "hours past amber", "hours in bag", "finish")


@dataclass(frozen=True, slots=True)
class Placed:
    """When one box is opened, put into its tub and taken out, in minutes from the origin, where and by whom."""

    box: str
    open_at: int
    counted_at: int
    tub_at: int
    finish_at: int
    placed_at: int
    table: str
    opener: str
    tub: str
    setter: str
    dip_place: str
    finisher: str


def aims(problem: DayProblem, placed: Iterable[Placed]) -> tuple[int, int, int, int, int]:
    """The five aims in their order, in whole numbers; smaller is better, the first difference decides.

    Hundredths of sensitivity × minutes: of opened boxes waiting for a tub and of urgent boxes in the bag; past red;
    past amber; in the bag, all boxes.  Then the minute at which the last animal is placed.
    """
    first = past_red = past_amber = in_bag = finish = 0
    for box, put in _paired(problem, placed):
        minutes = problem.age[box.box] + put.open_at
        if box.box in problem.begun:
            first += box.weight * (put.tub_at - put.counted_at)
        elif box.urgent:
            first += box.weight * minutes
        past_red += box.weight * max(0, minutes - round(box.red_h * 60))
        past_amber += box.weight * max(0, minutes - round(box.amber_h * 60))
        in_bag += box.weight * minutes
        finish = max(finish, put.placed_at)
    return first, past_red, past_amber, in_bag, finish


def _paired(problem: DayProblem, placed: Iterable[Placed]) -> list[tuple[BoxNeed, Placed]]:
    by_box = {put.box: put for put in placed}
    return [(box, by_box[box.box]) for box in problem.boxes]


def place_in_order(problem: DayProblem, order: Sequence[str]) -> tuple[Placed, ...]:
    """Place the boxes in this order, started work first; every box of the day is placed.

    Parameters
    ----------
    problem
        A completed day (:meth:`~intake.receiving.problem.DayProblem.completed`).
    order
        Ids of boxes, each at most once; those left out are not placed unless they are started.
    """
    board = Board(problem)
    return (*board.started, *(board.put(box) for box in order if box not in problem.begun))


@dataclass(slots=True)
class _Unit:
    """A lane or a person with the minutes still free as bits."""

    id: str
    serves: frozenset[str]
    free: int

    def take(self, start: int, end: int) -> None:
        if end > max(start, 0):
            self.free &= ~(((1 << (end - max(start, 0))) - 1) << max(start, 0))

    def fits(self, start: int, end: int) -> bool:
        length = end - start
        return length <= 0 or (self.free >> start) & ((1 << length) - 1) == (1 << length) - 1


@dataclass(slots=True)
class _Store:
    """Something that is drawn by amount: drip lines, mixed water."""

    amount: int | None
    drawn: list[tuple[int, int, int]] = field(default_factory=list)

    def fits(self, start: int, end: int, amount: int) -> bool:
        if amount <= 0 or self.amount is None:
            return True
        rows = [row for row in self.drawn if row[0] < end and row[1] > start]
        marks = [start, *(row[0] for row in rows if row[0] > start)]
        return all(amount + sum(row[2] for row in rows if row[0] <= mark < row[1]) <= self.amount for mark in marks)


@cache
def _shifts(length: int) -> tuple[int, ...]:
    """Shifts that leave the bits at which ``length`` set bits begin: 1, 2, 4 … and what is missing."""
    have, shifts = 1, []
    while have < length:
        shifts.append(min(have, length - have))
        have += shifts[-1]
    return tuple(shifts)


def _runs(free: int, length: int) -> int:
    """Bits at which ``length`` free minutes begin."""
    for shift in _shifts(length):
        free &= free >> shift
    return free


def _starts(units: Iterable[_Unit], length: int) -> int:
    """Bits at which one of the units has so many free minutes."""
    found = 0
    for unit in units:
        found |= _runs(unit.free, length)
    return found


def _lowest(bits: int) -> int:
    return (bits & -bits).bit_length() - 1


def _units(pools: Iterable[Pool], order: list[str]) -> list[_Unit]:
    units = [
        _Unit(member, pool.serves, ((1 << (pool.closes - pool.opens)) - 1) << pool.opens)
        for pool in pools
        for member in pool.members
    ]
    return sorted(units, key=lambda unit: order.index(unit.id))


class Board:
    """What is taken so far; started work is on it from the beginning.

    Parameters
    ----------
    problem
        A completed day.
    """

    def __init__(self, problem: DayProblem) -> None:
        self.problem = problem
        self.boxes = {box.box: box for box in problem.boxes}
        self.lanes = _units(problem.places, [lane.id for lane in problem.lanes])
        self.people = _units(problem.crew, [hand.id for hand in problem.people])
        self.drips, self.water = _Store(problem.drip_lines), _Store(problem.whole_litres)
        self.able: dict[frozenset[str], list[_Unit]] = {}
        begun = sorted(problem.underway, key=lambda work: (work.tub_at is None, work.opened_at, work.box))
        for work in begun:
            self._hold(self.boxes[work.box], work)
        self.started = tuple(self._go_on(self.boxes[work.box], work) for work in begun)

    def state(self) -> tuple[tuple[int, ...], int]:
        """What is taken, to come back to with :meth:`back`."""
        return tuple(unit.free for unit in (*self.lanes, *self.people)), len(self.water.drawn)

    def back(self, state: tuple[tuple[int, ...], int]) -> None:
        """Take back everything placed since a state."""
        free, drawn = state
        for unit, bits in zip((*self.lanes, *self.people), free, strict=True):
            unit.free = bits
        del self.water.drawn[drawn:], self.drips.drawn[drawn:]

    def _able(self, need: frozenset[str]) -> list[_Unit]:
        """Lanes or people that can do something, those of fewest skills first so that the others stay free."""
        if need not in self.able:
            units = self.lanes if need in (TABLE, TUB, DIP_PLACE) else self.people
            self.able[need] = sorted((unit for unit in units if need <= unit.serves), key=lambda unit: len(unit.serves))
        return self.able[need]

    def put(self, name: str) -> Placed:
        """Place a closed box at the earliest minute at which it can go all the way to its vat."""
        box = self.boxes[name]
        length = box.opening_minutes
        may = _starts(self._able(TABLE), length) & _starts(self._able(box.opening_skills), length)
        may &= self._tub_starts(box) >> length
        ends = self._finish_starts(box)
        ready = self.problem.ready(box)
        may = (may >> ready) << ready
        while may:
            start = _lowest(may)
            finish = self._finish(box, start + length, ends)
            if finish is not None:
                break
            may &= may - 1
        else:
            msg = f"box {box.box}: no free minute before the horizon"
            raise AssertionError(msg)
        table = self._take(TABLE, start, start + length)
        opener = self._take(box.opening_skills, start, start + length)
        return self._rest(box, (start, start + length, table, opener), start + length, finish)

    def _hold(self, box: BoxNeed, work: Underway) -> None:
        """Take what started work has taken; a tub in use, to the end of the day until somebody empties it."""
        minute = self.problem.minute
        opened, counted = minute(work.opened_at), minute(work.counted_at)
        _hold(self.lanes, work.table, opened, counted)
        _hold(self.people, work.opener, opened, counted)
        if work.tub_at is None:
            return
        tub_at = minute(work.tub_at)
        _hold(self.people, work.setter, tub_at, tub_at + box.setup_minutes)
        _hold(self.lanes, work.tub, tub_at, self.problem.horizon if work.finish_at is None else minute(work.finish_at))
        if work.finish_at is not None:
            finish, end = self._ending(box, work)
            _hold(self.lanes, work.dip_place, finish, min(end, finish + box.dip_minutes))
            _hold(self.people, work.finisher, finish, end)

    def _ending(self, box: BoxNeed, work: Underway) -> tuple[int, int]:
        assert work.finish_at is not None  # noqa: S101  # only asked of boxes taken out of their tub
        finish = self.problem.minute(work.finish_at)
        return finish, finish + box.finishing_minutes if work.placed_at is None else self.problem.minute(work.placed_at)

    def _go_on(self, box: BoxNeed, work: Underway) -> Placed:
        """Place what is left to do of a started box."""
        minute = self.problem.minute
        table = (minute(work.opened_at), minute(work.counted_at), work.table, work.opener)
        if work.tub_at is not None:
            return self._from_tub(box, work, table)
        earliest = max(table[1], self.problem.now, 0)
        may = (self._tub_starts(box) >> earliest) << earliest
        ends = self._finish_starts(box)
        while may:
            finish = self._finish(box, _lowest(may), ends)
            if finish is not None:
                return self._rest(box, table, _lowest(may), finish)
            may &= may - 1
        msg = f"box {box.box}: no free tub before the horizon"
        raise AssertionError(msg)

    def _from_tub(self, box: BoxNeed, work: Underway, table: tuple[int, int, str, str]) -> Placed:
        assert work.tub_at is not None  # noqa: S101  # _go_on has handled boxes not yet in a tub
        tub_at = self.problem.minute(work.tub_at)
        if work.finish_at is None:
            earliest = max(tub_at + box.tub_minutes, self.problem.now, 0)
            finish = _lowest((self._finish_starts(box) >> earliest) << earliest)
            end = finish + box.finishing_minutes
            place = self._dip_place(box, finish)
            finisher = self._take(box.finishing_skills, finish, end)
            _release(self.lanes, work.tub, finish, self.problem.places)
        else:
            finish, end = self._ending(box, work)
            place, finisher = work.dip_place, work.finisher
        self._draw(box, tub_at, finish)
        return Placed(box.box, *table[:2], tub_at, finish, end, *table[2:], work.tub, work.setter, place, finisher)

    def _rest(self, box: BoxNeed, table: tuple[int, int, str, str], tub_at: int, finish: int) -> Placed:
        tub = self._take(TUB, tub_at, finish)
        setter = self._take(box.setup_skills, tub_at, tub_at + box.setup_minutes)
        self._draw(box, tub_at, finish)
        place = self._dip_place(box, finish)
        end = finish + box.finishing_minutes
        finisher = self._take(box.finishing_skills, finish, end)
        return Placed(box.box, *table[:2], tub_at, finish, end, *table[2:], tub, setter, place, finisher)

    def _tub_starts(self, box: BoxNeed) -> int:
        tubs = _starts(self._able(TUB), box.tub_minutes)
        return tubs & _starts(self._able(box.setup_skills), box.setup_minutes)

    def _finish_starts(self, box: BoxNeed) -> int:
        ends = _starts(self._able(box.finishing_skills), box.finishing_minutes)
        if box.dip_minutes:
            ends &= _starts(self._able(DIP_PLACE), box.dip_minutes)
        return ends

    def _finish(self, box: BoxNeed, tub_at: int, ends: int) -> int | None:
        """When a box put into a tub then can be taken out, or None if no tub is free so long."""
        earliest = tub_at + box.tub_minutes
        later = (ends >> earliest) << earliest
        if not later:
            return None
        finish = _lowest(later)
        tub = any(unit.fits(tub_at, finish) for unit in self._able(TUB))
        drips = self.drips.fits(tub_at, finish, box.drip_lines)
        water = self.water.fits(tub_at, finish + self.problem.remake_minutes, box.whole_litres)
        return finish if tub and drips and water else None

    def _draw(self, box: BoxNeed, tub_at: int, finish: int) -> None:
        self.drips.drawn.append((tub_at, finish, box.drip_lines))
        self.water.drawn.append((tub_at, finish + self.problem.remake_minutes, box.whole_litres))

    def _dip_place(self, box: BoxNeed, finish: int) -> str:
        if not box.dip_minutes:
            return ""
        return self._take(DIP_PLACE, finish, finish + box.dip_minutes)

    def _take(self, need: frozenset[str], start: int, end: int) -> str:
        unit = next(unit for unit in self._able(need) if unit.fits(start, end))
        unit.take(start, end)
        return unit.id


def _hold(units: list[_Unit], identity: str, start: int, end: int) -> None:
    for unit in units:
        if unit.id == identity:
            unit.take(start, end)


def _release(units: list[_Unit], identity: str, start: int, pools: Iterable[Pool]) -> None:
    for unit in units:
        if unit.id == identity:
            closes = next(pool.closes for pool in pools if identity in pool.members)
            unit.free |= ((1 << max(0, closes - start)) - 1) << start
