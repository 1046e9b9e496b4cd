"""Puts boxes one after another at the earliest minute at which everything they need is free.

A box is placed whole: table and person, then a tub at once, then whoever takes it out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from intake.receiving.box import BoxNeed
from intake.receiving.placed import Placed
from intake.receiving.problem import DIP_PLACE, TABLE, TUB, DayProblem, Underway, joined_tubs, tub_names
from intake.receiving.solving.free_minutes import Store, Unit, hold, lowest, release, runs, starts, units_of

__all__ = ["AIMS", "Board", "aims", "place_in_order"]

AIMS = ("opened and urgent boxes", "hours past red", "hours past amber", "hours in bag", "finish")


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


State = tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...]]
"""Free minutes of every place and person, and what is used of drip lines and water."""
_Want = tuple[frozenset[str], str, int, int]
"""What a unit must be able to do, its name, from and to which minute."""


class Board:
    """What is taken so far; started work is on it from the beginning.

    Parameters
    ----------
    problem
        A completed day.
    as_before
        Box → how it was placed in the plan before: what is left of started work keeps those minutes where they hold.
    """

    def __init__(self, problem: DayProblem, as_before: Mapping[str, Placed] | None = None) -> None:
        self.problem = problem
        self.as_before = as_before or {}
        self.boxes = {box.box: box for box in problem.boxes}
        self.lanes = units_of(problem.places, [lane.id for lane in problem.lanes])
        self.people = units_of(problem.crew, [hand.id for hand in problem.people])
        self.units = (*self.lanes, *self.people)
        self.drips, self.water = Store(problem.drip_lines), Store(problem.whole_litres)
        self.able: dict[frozenset[str], list[Unit]] = {}
        self.company: dict[int, int] = {}
        for one in problem.taken:
            hold([*self.people, *self.lanes], one.name, one.start, one.end)
        begun = sorted(problem.underway, key=lambda work: (work.tub_at is None, work.opened_at, work.box))
        for work in begun:
            self._hold(self.boxes[work.box], work)
        exact = {work.box: self._as_planned(self.boxes[work.box], work) for work in begun}
        self.started = tuple(exact[work.box] or self._go_on(self.boxes[work.box], work) for work in begun)

    def state(self) -> State:
        """What is taken, to come back to with :meth:`back`."""
        return tuple(unit.free for unit in self.units), self.drips.used, self.water.used

    def back(self, state: State) -> None:
        """Take back everything placed since a state."""
        free, drips, water = state
        for unit, bits in zip(self.units, free, strict=True):
            unit.free = bits
        self.drips.back(drips)
        self.water.back(water)

    def _able(self, need: frozenset[str]) -> list[Unit]:
        """Lanes or people that can do something, those of fewest skills first so that the others stay free."""
        if need not in self.able:
            units = self.lanes if need in (TABLE, TUB, DIP_PLACE) else self.people
            self.able[need] = sorted((unit for unit in units if need <= unit.serves), key=lambda unit: len(unit.serves))
        return self.able[need]

    def put(self, name: str, not_before: int = 0) -> Placed:
        """Place a closed box at the earliest minute at which it can go all the way to its vat."""
        box = self.boxes[name]
        length = box.opening_minutes
        may = starts(self._able(TABLE), length) & starts(self._able(box.opening_skills), length)
        may &= self._company(length)
        may &= self._tub_starts(box) >> length
        ends = self._finish_starts(box)
        ready = max(self.problem.ready(box), not_before)
        may = (may >> ready) << ready
        while may:
            start = lowest(may)
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

    def put_as(self, was: Placed) -> Placed | None:
        """Place a closed box at the minutes, places and people it had before, or ``None`` where they no longer hold."""
        box = self.boxes[was.box]
        tub_at, end = was.open_at + box.opening_minutes, was.finish_at + box.finishing_minutes
        was = replace(was, counted_at=tub_at, tub_at=tub_at, placed_at=end)
        soaked = was.finish_at >= tub_at + box.tub_minutes and was.open_at >= self.problem.ready(box)
        places = len(tub_names(was.tub)) == box.tubs and bool(was.dip_place) == bool(box.dip_minutes)
        if not soaked or not places:
            return None
        company = Unit("", frozenset(), self.problem.company)
        opening = [(TABLE, was.table, was.open_at, tub_at), (box.opening_skills, was.opener, was.open_at, tub_at)]
        if not company.fits(was.open_at, tub_at) or not self._claimed(box, was, [*opening, *self._tub_wants(box, was)]):
            return None
        return was

    def _as_planned(self, box: BoxNeed, work: Underway) -> Placed | None:
        """What is left to do of a started box, exactly as the plan before had it; ``None`` where that does not hold."""
        was, minute = self.as_before.get(box.box), self.problem.minute
        if was is None or work.finish_at is not None:
            return None
        counted = minute(work.counted_at)
        tub_at = was.tub_at if work.tub_at is None else minute(work.tub_at)
        waits = work.tub_at is None and tub_at < max(counted, self.problem.now, 0)
        if waits or was.finish_at < max(tub_at + box.tub_minutes, self.problem.now):
            return None
        tub, setter = (was.tub, was.setter) if work.tub_at is None else (work.tub, work.setter)
        rest = replace(
            was,
            open_at=minute(work.opened_at),
            counted_at=counted,
            tub_at=tub_at,
            placed_at=was.finish_at + box.finishing_minutes,
            table=work.table,
            opener=work.opener,
            tub=tub,
            setter=setter,
        )
        wants = self._tub_wants(box, rest)
        if work.tub_at is not None:
            wants = wants[len(tub_names(tub)) + 1 :]
        if not self._claimed(box, rest, wants):
            return None
        for name in tub_names(tub) if work.tub_at is not None else ():
            release(self.lanes, name, rest.finish_at, self.problem.places)
        return rest

    def _tub_wants(self, box: BoxNeed, was: Placed) -> list[_Want]:
        """Tubs, who sets them up, who takes out and places, and the dip place, at their minutes."""
        wants: list[_Want] = [(TUB, tub, was.tub_at, was.finish_at) for tub in tub_names(was.tub)]
        wants.append((box.setup_skills, was.setter, was.tub_at, was.tub_at + box.setup_minutes))
        wants.append((box.finishing_skills, was.finisher, was.finish_at, was.finish_at + box.finishing_minutes))
        if box.dip_minutes:
            wants.append((DIP_PLACE, was.dip_place, was.finish_at, was.finish_at + box.dip_minutes))
        return wants

    def _claimed(self, box: BoxNeed, was: Placed, wants: Iterable[_Want]) -> bool:
        """Take all of this, or nothing; also its drip lines and mixed water, and two people for a dip."""
        before = self.state()
        company = Unit("", frozenset(), self.problem.company)
        held = company.fits(was.finish_at, was.finish_at + box.dip_minutes) and self._in_store(box, was)
        if not held or not all(self._grab(*want) for want in wants):
            self.back(before)
            return False
        self._draw(box, was.tub_at, was.finish_at)
        return True

    def _in_store(self, box: BoxNeed, was: Placed) -> bool:
        """Whether its drip lines and mixed water are there."""
        drips = self.drips.fits(was.tub_at, was.finish_at, box.drip_lines)
        return drips and self.water.fits(was.tub_at, was.finish_at + self.problem.remake_minutes, box.whole_litres)

    def _grab(self, need: frozenset[str], identity: str, start: int, end: int) -> bool:
        """Take this one unit, if it is able and free."""
        unit = next((unit for unit in self._able(need) if unit.id == identity), None)
        if unit is None or not unit.fits(start, end):
            return False
        unit.take(start, end)
        return True

    def _hold(self, box: BoxNeed, work: Underway) -> None:
        """Take what started work has taken; a tub in use, to the end of the day until someone empties it."""
        minute = self.problem.minute
        opened, counted = minute(work.opened_at), minute(work.counted_at)
        hold(self.lanes, work.table, opened, counted)
        hold(self.people, work.opener, opened, counted)
        if work.tub_at is None:
            return
        tub_at = minute(work.tub_at)
        hold(self.people, work.setter, tub_at, tub_at + box.setup_minutes)
        until = self.problem.horizon if work.finish_at is None else minute(work.finish_at)
        for tub in tub_names(work.tub):
            hold(self.lanes, tub, tub_at, until)
        if work.finish_at is not None:
            finish, end = self._ending(box, work)
            hold(self.lanes, work.dip_place, finish, min(end, finish + box.dip_minutes))
            hold(self.people, work.finisher, finish, end)

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
            finish = self._finish(box, lowest(may), ends)
            if finish is not None:
                return self._rest(box, table, lowest(may), finish)
            may &= may - 1
        msg = f"box {box.box}: no free tub before the horizon"
        raise AssertionError(msg)

    def _from_tub(self, box: BoxNeed, work: Underway, table: tuple[int, int, str, str]) -> Placed:
        assert work.tub_at is not None  # noqa: S101  # _go_on has handled boxes not yet in a tub
        tub_at = self.problem.minute(work.tub_at)
        if work.finish_at is None:
            earliest = max(tub_at + box.tub_minutes, self.problem.now, 0)
            finish = lowest((self._finish_starts(box) >> earliest) << earliest)
            end = finish + box.finishing_minutes
            place = self._dip_place(box, finish)
            finisher = self._take(box.finishing_skills, finish, end)
            for tub in tub_names(work.tub):
                release(self.lanes, tub, finish, self.problem.places)
        else:
            finish, end = self._ending(box, work)
            place, finisher = work.dip_place, work.finisher
        self._draw(box, tub_at, finish)
        return Placed(box.box, *table[:2], tub_at, finish, end, *table[2:], work.tub, work.setter, place, finisher)

    def _rest(self, box: BoxNeed, table: tuple[int, int, str, str], tub_at: int, finish: int) -> Placed:
        tub = joined_tubs([self._take(TUB, tub_at, finish) for _ in range(box.tubs)])
        setter = self._take(box.setup_skills, tub_at, tub_at + box.setup_minutes)
        self._draw(box, tub_at, finish)
        place = self._dip_place(box, finish)
        end = finish + box.finishing_minutes
        finisher = self._take(box.finishing_skills, finish, end)
        return Placed(box.box, *table[:2], tub_at, finish, end, *table[2:], tub, setter, place, finisher)

    def _tub_starts(self, box: BoxNeed) -> int:
        tubs = starts(self._able(TUB), box.tub_minutes, box.tubs)
        stored = runs(self.drips.room(box.drip_lines), box.tub_minutes)
        stored &= runs(self.water.room(box.whole_litres), box.tub_minutes + self.problem.remake_minutes)
        return tubs & stored & starts(self._able(box.setup_skills), box.setup_minutes)

    def _finish_starts(self, box: BoxNeed) -> int:
        ends = starts(self._able(box.finishing_skills), box.finishing_minutes)
        if box.dip_minutes:
            ends &= starts(self._able(DIP_PLACE), box.dip_minutes)
            ends &= self._company(box.dip_minutes)
        return ends

    def _company(self, length: int) -> int:
        """Bits at which two people are in for so many minutes."""
        if length not in self.company:
            self.company[length] = runs(self.problem.company, length)
        return self.company[length]

    def _finish(self, box: BoxNeed, tub_at: int, ends: int) -> int | None:
        """When a box put into a tub then can be taken out, or None if no tub is free so long."""
        earliest = tub_at + box.tub_minutes
        later = (ends >> earliest) << earliest
        if not later:
            return None
        finish = lowest(later)
        fits = (
            sum(unit.fits(tub_at, finish) for unit in self._able(TUB)) >= box.tubs
            and self.drips.fits(tub_at, finish, box.drip_lines)
            and self.water.fits(tub_at, finish + self.problem.remake_minutes, box.whole_litres)
        )
        return finish if fits else None

    def _draw(self, box: BoxNeed, tub_at: int, finish: int) -> None:
        self.drips.draw(tub_at, finish, box.drip_lines)
        self.water.draw(tub_at, finish + self.problem.remake_minutes, box.whole_litres)

    def _dip_place(self, box: BoxNeed, finish: int) -> str:
        if not box.dip_minutes:
            return ""
        return self._take(DIP_PLACE, finish, finish + box.dip_minutes)

    def _take(self, need: frozenset[str], start: int, end: int) -> str:
        unit = next(unit for unit in self._able(need) if unit.fits(start, end))
        unit.take(start, end)
        return unit.id
