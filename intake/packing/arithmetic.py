"""What the numbers themselves prove of the decimal mark a list was written with."""

from __future__ import annotations

from intake.errors import many_of, quoted
from intake.packing.asking import Inquiry, Question
from intake.packing.columns import ColumnMap, Header
from intake.packing.figures import DecimalMark, number_of, readings_of
from intake.packing.grid import Cell, Sheet
from intake.packing.rows import amount_agrees, at, sorted_rows

__all__ = ["MARK_WORDS", "decimal_mark"]

_MONEY_FIELDS = ("unit_price", "amount")
MARK_WORDS: dict[DecimalMark, str] = {".": "decimal-point", ",": "decimal-comma"}


def decimal_mark(sheet: Sheet, header: Header, columns: ColumnMap, inquiry: Inquiry) -> DecimalMark:
    """The decimal mark of a list, by arithmetic; asked when arithmetic cannot decide.

    A cell that can be read under one mark only settles it; then the rows that balance (count × price = amount); then
    the sum rows that fit.  Only a cell whose two readings differ makes it a question at all.
    """
    cells = [
        (sheet.cell(row, columns.column(field)), field)
        for row in range(header.bottom + 1, len(sheet.rows) + 1)
        for field in ("count", *_MONEY_FIELDS)
        if columns.column(field)
    ]
    readings = [(cell, read) for cell, _ in cells if cell.kind == "text" and (read := readings_of(cell))]
    only: dict[DecimalMark, list[Cell]] = {".": [], ",": []}
    differing: list[Cell] = []
    for cell, read in readings:
        if len(read) == 1:
            only[next(iter(read))].append(cell)
        elif read["."] != read[","]:
            differing.append(cell)
    pairs: tuple[tuple[DecimalMark, DecimalMark], ...] = ((".", ","), (",", "."))
    for mark, other in pairs:
        if only[mark] and not only[other]:
            first = only[mark][0]
            inquiry.note(
                f"{MARK_WORDS[mark]}: {many_of(len(only[mark]), 'cell')}, such as {first.address} {quoted(first.text)}, "
                f"{'allows' if len(only[mark]) == 1 else 'allow'} no other reading"
            )
            inquiry.learned["numbers"] = mark
            return mark
    if not differing and not only["."]:
        return "."
    return _by_balance(sheet, header, columns, inquiry, differing or only["."])


def _by_balance(
    sheet: Sheet, header: Header, columns: ColumnMap, inquiry: Inquiry, differing: list[Cell]
) -> DecimalMark:
    points = _score(sheet, header, columns, ".")
    commas = _score(sheet, header, columns, ",")
    if points != commas:
        mark: DecimalMark = "." if points > commas else ","
        best, worse = max(points, commas), min(points, commas)
        inquiry.note(
            f"{MARK_WORDS[mark]}: count × price is the amount in {many_of(best, 'row')}; the other way in {worse}"
        )
        inquiry.learned["numbers"] = mark
        return mark
    if columns.numbers and "numbers" not in inquiry.answers:
        inquiry.note(f"{MARK_WORDS[columns.numbers]}, as remembered for this supplier")
        return columns.numbers
    cell = differing[0]
    what = (
        f"{cell.address}: {quoted(cell.text)} may be {_read(cell, '.')} (decimal-point) or {_read(cell, ',')} "
        "(decimal-comma). The list does not show which. Which is meant?"
    )
    answer = inquiry.ask(Question("numbers", what, (MARK_WORDS["."], MARK_WORDS[","]), where=cell.address))
    told: DecimalMark = "," if answer == MARK_WORDS[","] else "."
    if answer:
        inquiry.learned["numbers"] = told
    return told


def _score(sheet: Sheet, header: Header, columns: ColumnMap, mark: DecimalMark) -> int:
    """Rows that balance under a mark: products of count and price, and sums."""
    balanced = 0
    for row in range(header.bottom + 1, len(sheet.rows) + 1):
        count, price, amount = (at(sheet, row, columns, field, mark) for field in ("count", "unit_price", "amount"))
        if count and price and amount:
            balanced += amount_agrees(count, price, amount)
    sums = [row for row in sorted_rows(sheet, header, columns, mark) if row.kind == "sum"]
    return balanced + len(sums)


def _read(cell: Cell, mark: DecimalMark) -> str:
    number = number_of(cell, mark)
    return "no number" if number is None else str(number)
