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
    """Something that is drawn by amount: drip lines, mixed water; ``None`` is not limiting.

    What is used in each minute is kept digit by digit of the binary number, each digit as the bits of all minutes, so that
    drawing is one addition and "is so much there" one comparison for the whole day.
    """

    amount: int | None
    used: tuple[int, ...] = ()
    _rooms: dict[int, int] = field(default_factory=dict)

    def draw(self, start: int, end: int, amount: int) -> None:
        """Use so much in these minutes, whether it is there or not."""
        if self.amount is None or end <= max(start, 0):
            return
        span = ((1 << (end - max(start, 0))) - 1) << max(start, 0)
        digits, carry, place = list(self.used), 0, 0
        while amount >> place or carry:
            if place == len(digits):
                digits.append(0)
            old, added = digits[place], span if amount >> place & 1 else 0
            digits[place] = old ^ added ^ carry
            carry = old & added | carry & (old | added)
            place += 1
        self.back(tuple(digits))

    def back(self, used: tuple[int, ...]) -> None:
        """As it was when ``used`` was this."""
        self.used = used
        self._rooms.clear()

    def room(self, amount: int) -> int:
        """Bits of the minutes in which so much is still there."""
        if amount <= 0 or self.amount is None:
            return -1
        if amount > self.amount:
            return 0
        if amount not in self._rooms:
            self._rooms[amount] = self._at_most(self.amount - amount)
        return self._rooms[amount]

    def _at_most(self, most: int) -> int:
        less, same = 0, -1
        for place in range(max(len(self.used), most.bit_length()) - 1, -1, -1):
            digit = self.used[place] if place < len(self.used) else 0
            if most >> place & 1:
                less, same = less | same & ~digit, same & digit
            else:
                same &= ~digit
        return less | same

    def fits(self, start: int, end: int, amount: int) -> bool:
        """Whether so much is there all that time."""
        full = (1 << max(0, end - start)) - 1
        return (self.room(amount) >> start) & full == full


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
