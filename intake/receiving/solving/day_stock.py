"""How much of each resource of a day there is in each minute: tables, tubs, dip places, people, drip lines and mixed water."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations
from typing import Final

from intake.receiving.problem import DayProblem, Pool, Underway, tub_names
from intake.receiving.solving.day_tuning import MOST_SETS

__all__ = ["FAR", "Stock"]

FAR: Final = 1 << 55
"""Dearer than any day."""


@dataclass(frozen=True)
class Stock:
    """Amounts by minute, less what recorded and published work holds for certain; a plan can use no more.

    Attributes
    ----------
    problem
        A completed day.
    minutes
        So many minutes from the origin on.
    """

    problem: DayProblem
    minutes: int

    def lanes(self, need: frozenset[str]) -> list[int]:
        """Places of one kind."""
        return self._there(self.problem.places, _able(self.problem.places, need))

    def people(self, names: frozenset[str]) -> list[int]:
        """How many of these people are in and free of other work."""
        return self._there(self.problem.crew, names)

    def crowds(self) -> tuple[frozenset[str], ...]:
        """Sets of people that bound the work only they can do (Hall's condition): who is able for a need, and unions."""
        able = sorted({self.able(need) for need in self.problem.needs()}, key=lambda who: (len(who), sorted(who)))
        sizes = range(1, len(able) + 1) if len(able) <= MOST_SETS else (1, len(able))
        joined = {frozenset[str]().union(*some) for size in sizes for some in combinations(able, size)}
        return tuple(sorted(joined, key=lambda who: (len(who), sorted(who))))

    def able(self, need: frozenset[str]) -> frozenset[str]:
        """Who can do something, at whatever hour."""
        return _able(self.problem.crew, need)

    def drips(self) -> list[int] | None:
        """Drip lines; ``None``: not limiting."""
        return self._store(self.problem.drip_lines, [(box, 0) for box in self._drawn()], "drip_lines")

    def water(self) -> list[int] | None:
        """Liters of mixed water; ``None``: not limiting."""
        rows = [(box, self.problem.remake_minutes) for box in self._drawn()]
        return self._store(self.problem.whole_litres, rows, "whole_litres")

    def _drawn(self) -> list[Underway]:
        return [work for work in self.problem.underway if work.tub_at is not None]

    def _store(self, amount: int | None, rows: Iterable[tuple[Underway, int]], name: str) -> list[int] | None:
        if amount is None:
            return None
        left = [amount] * self.minutes
        needs = {box.box: box for box in self.problem.boxes}
        for work, more in rows:
            start, end = self._in_tub(work)
            for minute in range(max(0, start), min(self.minutes, end + more)):
                left[minute] = max(0, left[minute] - getattr(needs[work.box], name))
        return left

    def _in_tub(self, work: Underway) -> tuple[int, int]:
        """From when, and at least until when, a box that was put into its tub is in it."""
        assert work.tub_at is not None  # noqa: S101  # asked of such boxes only
        start = self.problem.minute(work.tub_at)
        if work.finish_at is not None:
            return start, self.problem.minute(work.finish_at)
        box = next(box for box in self.problem.boxes if box.box == work.box)
        return start, max(start + box.tub_minutes, self.problem.now, 0)

    def _there(self, pools: Iterable[Pool], names: frozenset[str]) -> list[int]:
        held: dict[str, list[tuple[int, int]]] = {}
        for name, start, end in self._held():
            held.setdefault(name, []).append((start, end))
        count = [0] * self.minutes
        for pool in pools:
            for name in names & set(pool.members):
                free = [pool.opens <= minute < pool.closes for minute in range(self.minutes)]
                for start, end in held.get(name, ()):
                    for minute in range(max(0, start), min(end, self.minutes)):
                        free[minute] = False
                count = [before + one for before, one in zip(count, free, strict=True)]
        return count

    def _held(self) -> Iterable[tuple[str, int, int]]:
        """Who and what is taken for certain, from when to when."""
        minute = self.problem.minute
        for one in self.problem.taken:
            yield one.name, one.start, one.end
        needs = {box.box: box for box in self.problem.boxes}
        for work in self.problem.underway:
            box = needs[work.box]
            for name in (work.table, work.opener):
                yield name, minute(work.opened_at), minute(work.counted_at)
            if work.tub_at is not None:
                start, end = self._in_tub(work)
                yield work.setter, start, start + box.setup_minutes
                yield from ((tub, start, end) for tub in tub_names(work.tub))
            if work.finish_at is not None:
                out = minute(work.finish_at)
                end = out + box.finishing_minutes if work.placed_at is None else minute(work.placed_at)
                yield work.dip_place, out, min(end, out + box.dip_minutes)
                yield work.finisher, out, end


def _able(pools: Iterable[Pool], need: frozenset[str]) -> frozenset[str]:
    return frozenset(member for pool in pools if need <= pool.serves for member in pool.members)
