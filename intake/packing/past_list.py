"""A table of past shipments: supplier, date, group or name, announced, missing, DOA, dead by day 7, hours in the bag."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final, Literal

from intake.errors import BadInput, Finding
from intake.packing.figures import moment_of, number_of, orders_of
from intake.packing.grid import Cell, Grid, Sheet
from intake.packing.read import read

__all__ = ["PastRow", "read_past"]

DateOrder = Literal["dmy", "mdy", "ymd"]

_COLUMNS: Final[Mapping[str, re.Pattern[str]]] = {
    "supplier": re.compile(r"supplier|vendor|exporter|sender|shipper", re.IGNORECASE),
    "date": re.compile(r"\b(date|received|landed|arriv\w*|lands)\b", re.IGNORECASE),
    "group": re.compile(r"\bgroup\b", re.IGNORECASE),
    "name": re.compile(r"species|\bname\b|animal", re.IGNORECASE),
    "dead_day_7": re.compile(r"(day|d)\W*7\b|7\W*d\b|first week|dead after|\bdaa\b", re.IGNORECASE),
    "doa": re.compile(r"\bdoa\b|dead on arrival|dead at opening", re.IGNORECASE),
    "missing": re.compile(r"missing|short", re.IGNORECASE),
    "hours": re.compile(r"hours|\bh\b|time in (the )?bag", re.IGNORECASE),
    "announced": re.compile(r"announced|ordered|invoiced|\bsent\b|quantity|\bqty\b|count|pieces", re.IGNORECASE),
}
"""Columns by their heading, looked for in this order; each column is taken once."""

_NEEDED: Final = ("date", "announced", "doa")
_HEADED_WITHIN: Final = 20
_MOST_FAULTS: Final = 20
_MOST_ROWS: Final = 20_000
_LONGEST_BAG_H: Final = 200
_MOST_ANIMALS: Final = 10**6


@dataclass(frozen=True, slots=True)
class PastRow:
    """One line of a past shipment; counts are animals.

    Attributes
    ----------
    row
        Number of the row in the file, from 1.
    supplier, group, name
        As written, empty when the table does not say.
    missing, dead_day_7, hours
        ``None`` when the table does not say: then nothing is known, which is not none.
    """

    row: int
    supplier: str
    day: date
    group: str
    name: str
    announced: int
    doa: int
    missing: int | None
    dead_day_7: int | None
    hours: float | None


def read_past(data: bytes, file: str, *, dates: str = "") -> tuple[PastRow, ...]:
    """Read a table of past shipments.

    Parameters
    ----------
    data
        CSV, XLSX or ODS.
    file
        Its name, for messages only.
    dates
        Order of day, month and year where it cannot be reported: ``dmy``, ``mdy`` or ``ymd``; empty: from the file.

    Raises
    ------
    BadInput
        No such table, or rows that cannot be read: every fault with its row, twenty at most.
    """
    sheet, header, columns = _table(read(data, file), file)
    rows = [number for number in sheet.numbers() if number > header and sheet.filled(number)]
    if len(rows) > _MOST_ROWS:
        raise BadInput(Finding(file, f"{len(rows)} rows", f"at most {_MOST_ROWS:,} rows", "Split the file."))
    order = _order([sheet.cell(row, columns["date"]) for row in rows], file, dates)
    reader = _Reader(sheet, columns, order)
    found = [one for row in rows if (one := reader.row(row)) is not None]
    if reader.faults:
        raise BadInput(reader.faults[:_MOST_FAULTS])
    if not found:
        raise BadInput(Finding(file, "no row below the headings", "a row for each line of a past shipment"))
    return tuple(found)


def _table(grid: Grid, file: str) -> tuple[Sheet, int, dict[str, int]]:
    """The first sheet with headings that name a date, a number announced and the dead on arrival."""
    best: dict[str, int] = {}
    for sheet in grid.sheets:
        for row in [number for number in sheet.numbers() if sheet.filled(number)][:_HEADED_WITHIN]:
            columns = _headings(sheet.filled(row))
            if all(name in columns for name in _NEEDED):
                return sheet, row, columns
            best = max(best, columns, key=len)
    missing = ", ".join(name for name in _NEEDED if name not in best)
    words = "Name the columns supplier, date, group or name, announced, missing, DOA, dead by day 7, hours."
    raise BadInput(Finding(file, f"no column for {missing}", "a table of past shipments", words))


def _headings(cells: tuple[Cell, ...]) -> dict[str, int]:
    free = [cell for cell in cells if cell.kind == "text"]
    found: dict[str, int] = {}
    for name, pattern in _COLUMNS.items():
        cell = next((one for one in free if pattern.search(one.text)), None)
        if cell is not None:
            found[name] = cell.column
            free.remove(cell)
    return found


def _order(cells: list[Cell], file: str, dates: str) -> DateOrder:
    known: tuple[DateOrder, ...] = ("dmy", "mdy", "ymd")
    if dates:
        for one in known:
            if dates == one:
                return one
        raise BadInput(Finding("--dates", dates, "dmy, mdy or ymd"))
    told = [orders for cell in cells if (orders := orders_of(cell))]
    left = [one for one in known if all(one in orders for orders in told)]
    if len(left) > 1 and told:
        example = next(cell.text for cell in cells if orders_of(cell))
        words = "Say --dates dmy for day first, --dates mdy for month first."
        raise BadInput(Finding(f"{file}, dates", example, "dates whose order the list shows", words))
    return left[0] if left else "ymd"


class _Reader:
    """Reads row by row and keeps every fault."""

    def __init__(self, sheet: Sheet, columns: Mapping[str, int], order: DateOrder) -> None:
        self.sheet, self.columns, self.order = sheet, columns, order
        self.faults: list[Finding] = []

    def row(self, row: int) -> PastRow | None:
        """One row, or ``None`` when something in it cannot be read."""
        before = len(self.faults)
        moment = moment_of(self._cell(row, "date"), self.order)
        if moment is None:
            self._fault(row, "date", "a date")
        counts = {name: self._count(row, name) for name in ("announced", "missing", "doa", "dead_day_7")}
        hours = self._number(row, "hours", lambda value: 0 <= value <= _LONGEST_BAG_H, f"0 to {_LONGEST_BAG_H} hours")
        announced, doa = counts["announced"], counts["doa"]
        for name, value in (("announced", announced), ("doa", doa)):
            if value is None and not any(f"{name}" in fault.where for fault in self.faults[before:]):
                self._fault(row, name, "a number of animals")
        if len(self.faults) > before or moment is None or announced is None or doa is None:
            return None
        came = announced - (counts["missing"] or 0)
        lost = doa + (counts["dead_day_7"] or 0)
        if announced < 1 or came < 0 or lost > came:
            where = f"row {row}"
            met = f"{announced} announced, {counts['missing'] or 0} missing, {lost} dead"
            self.faults.append(Finding(where, met, "1 or more announced, and no more missing and dead than announced"))
            return None
        return PastRow(
            row, self._text(row, "supplier"), moment.date(), self._text(row, "group"), self._text(row, "name"),
            announced, doa, counts["missing"], counts["dead_day_7"], None if hours is None else float(hours),
        )  # fmt: skip

    def _cell(self, row: int, name: str) -> Cell:
        return self.sheet.cell(row, self.columns[name]) if name in self.columns else Cell(row, 0)

    def _text(self, row: int, name: str) -> str:
        return self._cell(row, name).text.strip()[:120]

    def _count(self, row: int, name: str) -> int | None:
        def fits(value: Decimal) -> bool:
            return value == int(value) and 0 <= value <= _MOST_ANIMALS

        found = self._number(row, name, fits, "a whole number of animals, 0 or more")
        return None if found is None else int(found)

    def _number(self, row: int, name: str, fits: Callable[[Decimal], bool], expected: str) -> Decimal | None:
        cell = self._cell(row, name)
        if cell.kind == "empty" or not cell.text.strip():
            return None
        value = number_of(cell, ".")
        if value is None or not fits(value):
            self._fault(row, name, expected)
            return None
        return value

    def _fault(self, row: int, name: str, expected: str) -> None:
        self.faults.append(Finding(f"row {row}, {name}", self._cell(row, name).text[:40], expected))
