"""What rows come to when most of their variables are held at known values: often few enough to be solved in a blink."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from intake.plan.rows import Rows

__all__ = ["Held", "Part"]

_OPEN = 2**62
"""Stands for a side of a row that is open; no row comes near it."""


@dataclass(frozen=True, slots=True)
class Part:
    """Rows about the variables that are free, and for each of these its number among all."""

    rows: Rows
    numbers: tuple[int, ...]


class Held:
    """Takes parts out of rows, which may not be changed any more.

    Parameters
    ----------
    rows
        Coefficients times values, without their signs, must come to less than 2⁵³ in each row, as sums are made in double
        precision.
    """

    def __init__(self, rows: Rows) -> None:
        import numpy as np  # heavy, and only needed on a farm of some size

        self._np: Any = np
        lengths = [len(members) for members in rows.row_vars]
        row = np.repeat(np.arange(len(lengths)), lengths)
        variable = np.fromiter((one for some in rows.row_vars for one in some), dtype=np.int64)
        coef = np.fromiter((one for some in rows.row_coefs for one in some), dtype=np.int64)
        by_variable = np.argsort(variable, kind="stable")
        self._row, self._variable, self._coef = row[by_variable], variable[by_variable], coef[by_variable]
        self._first = np.searchsorted(self._variable, np.arange(len(rows.low) + 1))
        self._least = np.array([-_OPEN if one is None else one for one in rows.row_low], dtype=np.int64)
        self._most = np.array([_OPEN if one is None else one for one in rows.row_high], dtype=np.int64)
        self._low, self._high = np.array(rows.low, dtype=np.int64), np.array(rows.high, dtype=np.int64)

    def part(self, values: Sequence[int], free: Iterable[int]) -> Part:
        """The rows that restrict some variables while all others keep their values.

        Whatever satisfies them and the bounds of the free variables satisfies, together with the values held, all rows,
        given that the values do.

        Raises
        ------
        ValueError
            No variable is free.
        """
        np, known = self._np, self._np.asarray(values)
        numbers = sorted(set(free))
        mine = np.concatenate([np.arange(self._first[one], self._first[one + 1]) for one in numbers])
        mine = mine[np.argsort(self._row[mine], kind="stable")]
        row, variable, coef = self._row[mine], self._variable[mine], self._coef[mine]
        whole = self._summed(self._row, self._coef * known[self._variable])
        fixed = whole - self._summed(row, coef * known[variable])
        ends = coef * self._low[variable], coef * self._high[variable]
        least, most = self._least - fixed, self._most - fixed
        binds = self._summed(row, np.minimum(*ends)) < least
        binds |= self._summed(row, np.maximum(*ends)) > most
        kept = binds[row]
        place = np.searchsorted(numbers, variable[kept])
        return Part(self._rows(row[kept], place, coef[kept], least, most, numbers), tuple(numbers))

    def _summed(self, row: Any, amounts: Any) -> Any:
        return self._np.rint(self._np.bincount(row, amounts, len(self._least))).astype(self._np.int64)

    def _rows(self, row: Any, variable: Any, coef: Any, least: Any, most: Any, numbers: Sequence[int]) -> Rows:
        np, rows = self._np, Rows()
        rows.low, rows.high = self._low[numbers].tolist(), self._high[numbers].tolist()
        firsts = np.flatnonzero(np.diff(row, prepend=-1))
        bounds = [*firsts.tolist(), len(row)]
        variables, coefs, found = variable.tolist(), coef.tolist(), row[firsts]
        rows.row_vars = [variables[first:last] for first, last in pairwise(bounds)]
        rows.row_coefs = [coefs[first:last] for first, last in pairwise(bounds)]
        half = _OPEN // 2
        rows.row_low = [one if one > -half else None for one in least[found].tolist()]
        rows.row_high = [one if one < half else None for one in most[found].tolist()]
        return rows
