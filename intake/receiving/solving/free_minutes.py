"""Minutes in which a place, a person or a stock is free, as the bits of one whole number: "free for so long" is a few shifts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache

from intake.receiving.problem import Pool

__all__ = ["Store", "Unit", "hold", "lowest", "release", "runs", "starts", "units_of"]


@dataclass(slots=True)
class Unit:
    """A lane or a person with the minutes still free as bits."""

    id: str
    serves: frozenset[str]
    free: int

    def take(self, start: int, end: int) -> None:
        """Mark these minutes as taken."""
        if end > max(start, 0):
            self.free &= ~(((1 << (end - max(start, 0))) - 1) << max(start, 0))

    def fits(self, start: int, end: int) -> bool:
        """Whether all these minutes are free."""
        length = end - start
        return length <= 0 or (self.free >> start) & ((1 << length) - 1) == (1 << length) - 1


@dataclass(slots=True)
class Store:
    """Something that is drawn by amount: drip lines, mixed water."""

    amount: int | None
    drawn: list[tuple[int, int, int]] = field(default_factory=list)

    def fits(self, start: int, end: int, amount: int) -> bool:
        """Whether so much is there all that time."""
        if amount <= 0 or self.amount is None:
            return True
        rows = [row for row in self.drawn if row[0] < end and row[1] > start]
        if amount + sum(row[2] for row in rows) <= self.amount:
            return True  # even all at once
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


def runs(free: int, length: int) -> int:
    """Bits at which ``length`` free minutes begin."""
    for shift in _shifts(length):
        free &= free >> shift
    return free


def starts(units: Iterable[Unit], length: int, count: int = 1) -> int:
    """Bits at which so many of the units have so many free minutes."""
    if count == 1:
        one = 0
        for free in {unit.free for unit in units}:
            one |= runs(free, length)
        return one
    found = [-1, *[0] * count]
    for unit in units:
        bits = runs(unit.free, length)
        for number in range(count, 0, -1):
            found[number] |= found[number - 1] & bits
    return found[count]


def lowest(bits: int) -> int:
    """The first minute of some bits."""
    return (bits & -bits).bit_length() - 1


def units_of(pools: Iterable[Pool], order: list[str]) -> list[Unit]:
    """The members of pools in an order, each with its own free minutes."""
    units = [
        Unit(member, pool.serves, ((1 << (pool.closes - pool.opens)) - 1) << pool.opens)
        for pool in pools
        for member in pool.members
    ]
    return sorted(units, key=lambda unit: order.index(unit.id))


def hold(units: list[Unit], identity: str, start: int, end: int) -> None:
    """Take minutes of one unit by name; an unknown name takes nothing."""
    for unit in units:
        if unit.id == identity:
            unit.take(start, end)


def release(units: list[Unit], identity: str, start: int, pools: Iterable[Pool]) -> None:
    """Give one unit back from a minute to the end of its day."""
    for unit in units:
        if unit.id == identity:
            closes = next(pool.closes for pool in pools if identity in pool.members)
            unit.free |= ((1 << max(0, closes - start)) - 1) << start
