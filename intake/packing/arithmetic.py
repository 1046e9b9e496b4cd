"""What the numbers themselves prove: which decimal mark was meant, and which rows are sums of the rows above them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from intake.packing.asking import Inquiry, Question
from intake.packing.columns import ColumnMap, Header
from intake.packing.fields import plain_heading
from intake.packing.figures import DecimalMark, number_of, readings_of
from intake.packing.grid import Cell, Sheet

__all__ = ["Row", "amount_agrees", "decimal_mark", "sorted_rows"]

_SUM_WORD = re.compile(
    r"^\W*((grand|sub|page|box|sheet)[\s-]*)?(totals?|subtotal|sum|summe|gesamt|totaal|totale|"
    r"(carried|brought) forward|[cb]/f)\b",
    re.IGNORECASE,
)
_STATED = re.compile(
    r"(?:pcs|pieces|qty|quantity|animals|specimens|heads)\W*(\d{1,7})\b|(\d{1,7})\s*(?:pcs|pieces|animals|heads)\b",
    re.IGNORECASE | re.ASCII,
)
_MONEY_FIELDS = ("unit_price", "amount")
MARK_WORDS: dict[DecimalMark, str] = {".": "decimal-point", ",": "decimal-comma"}


@dataclass(frozen=True, slots=True)
class Row:
    """A filled row below the header and what it was taken for.

    Attributes
    ----------
    kind
        ``line`` animals; ``sum`` a subtotal or total; ``heading`` a row that only names a section; ``header`` the
        header repeated; ``remark`` text without figures; ``unsure`` a sum by its word whose figure does not fit.
    text
        First text of the row.
    stated, summed
        For sums: animals the row states, and the sum of the lines above it.
    """

    number: int
    kind: Literal["line", "sum", "heading", "header", "remark", "unsure"]
    stated: Decimal | None = None
    summed: Decimal | None = None
    grand: bool = False
    why: str = ""
    text: str = ""


@dataclass(slots=True)
class _Above:
    """Animals in the lines above a row: since the last sum, and in all."""

    section: Decimal = Decimal(0)
    whole: Decimal = Decimal(0)
    lines: int = 0

    def add(self, count: Decimal) -> None:
        """Count a line in."""
        self.section += count
        self.whole += count
        self.lines += 1

    @property
    def sums(self) -> tuple[Decimal, Decimal]:
        """What a sum row may state here."""
        return self.section, self.whole


def decimal_mark(sheet: Sheet, header: Header, columns: ColumnMap, inquiry: Inquiry) -> DecimalMark:
    """The decimal mark of a list, by arithmetic; asked when arithmetic cannot tell.

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
                f"{MARK_WORDS[mark]}: {len(only[mark])} cells, such as {first.address} {first.text!r}, "
                "allow no other reading"
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
        inquiry.note(f"{MARK_WORDS[mark]}: {best} rows balance so, {worse} the other way")
        inquiry.learned["numbers"] = mark
        return mark
    if columns.numbers and "numbers" not in inquiry.answers:
        inquiry.note(f"{MARK_WORDS[columns.numbers]}, as remembered for this supplier")
        return columns.numbers
    cell = differing[0]
    what = (
        f"{cell.address}: is {cell.text!r} {number_of(cell, '.')} (decimal-point) or {number_of(cell, ',')} "
        "(decimal-comma)? The list does not show which"
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
        count, price, amount = (_at(sheet, row, columns, field, mark) for field in ("count", "unit_price", "amount"))
        if count and price and amount:
            balanced += amount_agrees(count, price, amount)
    sums = [row for row in sorted_rows(sheet, header, columns, mark) if row.kind == "sum"]
    return balanced + len(sums)


def amount_agrees(count: Decimal, price: Decimal, amount: Decimal) -> bool:
    """Whether count × price is the amount, within the rounding of a price shown to the cent."""
    return abs(count * price - amount) <= Decimal("0.01") + abs(count) * Decimal("0.005")


def _at(sheet: Sheet, row: int, columns: ColumnMap, field: str, mark: DecimalMark) -> Decimal | None:
    column = columns.column(field)
    return number_of(sheet.cell(row, column), mark) if column else None


def sorted_rows(sheet: Sheet, header: Header, columns: ColumnMap, mark: DecimalMark) -> list[Row]:
    """Every filled row below the header, sorted into lines, sums and the rest.

    A row is a sum by its word *and* its figure; without a name, by its figure alone if at least two lines stand above.
    """
    rows: list[Row] = []
    above = _Above()
    for number in range(header.bottom + 1, len(sheet.rows) + 1):
        filled = sheet.filled(number)
        if not filled:
            continue
        row = _sorted(sheet, header, columns, mark, (number, filled, above))
        rows.append(row)
        if row.kind == "line":
            count = _at(sheet, number, columns, "count", mark)
            if count is not None:
                above.add(count)
        elif row.kind == "sum":
            above.section = Decimal(0)
    return rows


def _sorted(
    sheet: Sheet,
    header: Header,
    columns: ColumnMap,
    mark: DecimalMark,
    here: tuple[int, tuple[Cell, ...], _Above],
) -> Row:
    number, filled, above = here
    if _repeats(filled, header):
        return Row(number, "header", why="the header repeated")
    count = _at(sheet, number, columns, "count", mark)
    named = [cell for cell in filled if cell.column in (columns.column("name"), columns.column("common_name"))]
    word = next((cell.text for cell in filled if cell.kind == "text" and _SUM_WORD.match(cell.text)), "")
    if word:
        return _by_word(number, word, count, above)
    if count is not None and not named:
        if above.lines >= 2 and count in above.sums and count > 0:
            return Row(number, "sum", count, count, count == above.whole, "no name, and the sum of the lines above")
        return Row(number, "line")
    figures = ("count", "size", "unit_price", "amount")
    if any(cell.column == columns.column(field) for cell in filled for field in figures):
        return Row(number, "line")
    if named and len(filled) == 1:
        return Row(number, "heading", why=f"{named[0].text[:40]!r} stands alone in its row", text=named[0].text)
    if named and count is None and any(cell.column == columns.column("boxes") for cell in filled):
        return Row(number, "line")
    return Row(number, "remark", why=f"{filled[0].text[:40]!r} has no figures")


def _by_word(number: int, word: str, count: Decimal | None, above: _Above) -> Row:
    if count is None:
        found = _STATED.search(word)
        if found is None:
            return Row(number, "remark", why=f"{word[:40]!r} states no number of animals")
        count = Decimal(found[1] or found[2])
    if above.lines and count in above.sums:
        return Row(number, "sum", count, count, count == above.whole, f"{word[:40]!r} and the sum of the lines above")
    nearest = min(above.sums, key=lambda total: abs(total - count))
    return Row(number, "unsure", count, nearest, why=word[:40])


def _repeats(filled: tuple[Cell, ...], header: Header) -> bool:
    known = {plain_heading(label) for label in header.labels if label}
    return len(filled) >= 2 and all(cell.kind == "text" and plain_heading(cell.text) in known for cell in filled)
