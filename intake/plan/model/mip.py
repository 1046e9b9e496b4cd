"""A mixed-integer model as plain arrays, so that any solver can be handed it and any answer checked against it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

__all__ = ["Rows", "Terms"]

Terms = Sequence[tuple[int, int]]
"""Variable and coefficient, pair by pair."""


class Rows:
    """Bounded integer variables and linear rows, filled while a model is built.

    ``derived`` variables are the greatest of other 0/1 variables; knowing them makes a hint complete.
    """

    def __init__(self) -> None:
        self.low: list[int] = []
        self.high: list[int] = []
        self.row_vars: list[list[int]] = []
        self.row_coefs: list[list[int]] = []
        self.row_low: list[int | None] = []
        self.row_high: list[int | None] = []
        self.derived: list[tuple[int, tuple[int, ...]]] = []
        self.tops: dict[int, list[tuple[Terms, int, int]]] = {}
        self.pairs: list[tuple[int, tuple[int, ...], tuple[int, ...]]] = []
        self._literals: dict[tuple[int, ...], int] = {}

    def variable(self, low: int, high: int) -> int:
        """Add a variable with both its bounds and return its number."""
        self.low.append(low)
        self.high.append(high)
        return len(self.low) - 1

    def row(self, terms: Terms, low: int | None, high: int | None) -> None:
        """Add ``low ≤ Σ coefficient × variable ≤ high``; ``None`` leaves a side open."""
        self.row_vars.append([variable for variable, _ in terms])
        self.row_coefs.append([coefficient for _, coefficient in terms])
        self.row_low.append(low)
        self.row_high.append(high)

    def at_most_one(self, literals: Iterable[int]) -> None:
        """Add: no two of these 0/1 variables are 1."""
        members = list(literals)
        if len(members) > 1:
            self.row([(literal, 1) for literal in members], None, 1)

    def any_of(self, literals: Iterable[int]) -> int:
        """A 0/1 variable that is 1 whenever one of these is; the same members always give the same variable."""
        members = tuple(sorted(set(literals)))
        if len(members) == 1:
            return members[0]
        known = self._literals.get(members)
        if known is not None:
            return known
        literal = self.variable(0, 1)
        for member in members:
            self.row([(member, 1), (literal, -1)], None, 0)
        self.derived.append((literal, members))
        self._literals[members] = literal
        return literal

    def some_of_each(self, ones: Sequence[int], others: Sequence[int]) -> int:
        """A 0/1 variable that is 1 only when one of these is and one of those; in hints whenever that is so."""
        literal = self.variable(0, 1)
        for members in (ones, others):
            self.row([(literal, 1), *((member, -1) for member in members)], None, 0)
        self.pairs.append((literal, tuple(ones), tuple(others)))
        return literal

    def at_least(self, top: int, terms: Terms, constant: int, divisor: int) -> None:
        """Add: ``divisor × top ≥ Σ coefficient × variable + constant``, and let hints know it."""
        self.row([*terms, (top, -divisor)], None, -constant)
        self.tops.setdefault(top, []).append((terms, constant, divisor))

    def graft(self, other: Rows, same: Mapping[int, int]) -> list[int]:
        """Add another model's variables and rows; ``same`` names those of its variables that are here already.

        Returns
        -------
        list of int
            For each of its variables the number here.
        """
        bounds = enumerate(zip(other.low, other.high, strict=True))
        numbers = [same[one] if one in same else self.variable(low, high) for one, (low, high) in bounds]
        for one, here in same.items():
            self.low[here] = max(self.low[here], other.low[one])
            self.high[here] = min(self.high[here], other.high[one])
        for row, members in enumerate(other.row_vars):
            terms = [(numbers[one], coef) for one, coef in zip(members, other.row_coefs[row], strict=True)]
            self.row(terms, other.row_low[row], other.row_high[row])
        for literal, others in other.derived:
            self.derived.append((numbers[literal], tuple(numbers[member] for member in others)))
        for literal, *sides in other.pairs:
            ones, both = (tuple(numbers[member] for member in side) for side in sides)
            self.pairs.append((numbers[literal], ones, both))
        for top, floors in other.tops.items():
            self.tops[numbers[top]] = [
                ([(numbers[one], coef) for one, coef in terms], constant, divisor)
                for terms, constant, divisor in floors
            ]
        return numbers

    def complete(self, values: dict[int, int]) -> list[int]:
        """Values for all variables from those of the deciding ones; the derived ones follow from their members."""
        full = [values.get(index, low) for index, low in enumerate(self.low)]
        for literal, members in self.derived:
            if literal not in values:
                full[literal] = max(full[member] for member in members)
        for literal, ones, both in self.pairs:
            if literal not in values:
                full[literal] = min(max(full[one] for one in ones), max(full[one] for one in both))
        for top, floors in self.tops.items():
            if top not in values:
                needs = [sum(full[var] * coef for var, coef in terms) + constant for terms, constant, _ in floors]
                full[top] = max(0, *(-(-need // floor[2]) for need, floor in zip(needs, floors, strict=True)))
        return full

    def broken(self, values: Sequence[int]) -> list[int]:
        """Numbers of the rows that these values do not satisfy; bounds count as row -1."""
        wrong = [-1 for value, low, high in zip(values, self.low, self.high, strict=True) if not low <= value <= high]
        for number, (members, coefs) in enumerate(zip(self.row_vars, self.row_coefs, strict=True)):
            total = sum(coef * values[member] for member, coef in zip(members, coefs, strict=True))
            low, high = self.row_low[number], self.row_high[number]
            if (low is not None and total < low) or (high is not None and total > high):
                wrong.append(number)
        return wrong
