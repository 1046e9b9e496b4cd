"""Animals sent free beside those that are paid: a column of them asked about, and entered as lines of their own."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from intake.errors import quoted
from intake.packing.asking import Inquiry, Question
from intake.packing.columns import ColumnMap, Header
from intake.packing.counts import count_in
from intake.packing.fields import plain_heading
from intake.packing.figures import DecimalMark
from intake.packing.grid import Cell, Sheet, column_letters
from intake.packing.line import Line

__all__ = ["free_column", "says_free", "with_free"]

_FREE = re.compile(
    r"\b(free|foc|f o c|bonus|extras?|gratis|gratuits?|gratuites?|offerts?|regalos?|sin cargo|brindes?|omaggi?o?|zugaben?|"
    r"kostenlos|mien phi)\b|赠送|免费|免費|無料|サービス|مجاني"
)
"""Headings over animals that are not charged (general vocabulary, from memory)."""
_NOT_FREE = re.compile(r"\b(tax|duty|price|amount|value|charge|kg|weight|water|ice)\b(?<!of charge)")


def says_free(label: str) -> bool:
    """Whether a heading says that the animals below it are not charged."""
    plain = plain_heading(label)
    return bool(_FREE.search(plain)) and not _NOT_FREE.search(plain)


_CHOICES = ("beside-the-count", "in-the-count")


def _plus(cell: Cell, mark: DecimalMark) -> int:
    """Animals behind the plus sign of a count."""
    found = count_in(cell, mark)
    return found.plus if found is not None else 0


def free_column(
    facts: tuple[Sheet, Header, ColumnMap, DecimalMark], rows: Sequence[int], inquiry: Inquiry
) -> tuple[int, bool]:
    """The column of animals sent free, 0 where there is none, and whether they come beside the count: asked, as lists differ.

    Where counts are written ``50+2`` it is the column of the count.
    """
    sheet, header, columns, mark = facts
    counts = columns.column("count")
    pluses = [cell for row in rows if counts and _plus(cell := sheet.cell(row, counts), mark)]
    if pluses:
        shown = ", ".join(f"{cell.address} {cell.text[:20]}" for cell in pluses[:4])
        what = f"{shown}: are the animals behind the plus sign sent beside the count?"
        return counts, inquiry.ask(Question("free-animals", what, _CHOICES, where=pluses[0].address)) == _CHOICES[0]
    taken = {each.column for each in columns.columns}
    for column, label in enumerate(header.labels, start=1):
        if column in taken or not says_free(label):
            continue
        cells = [cell for row in rows if (cell := sheet.cell(row, column)).value is not None]
        found = [counted for cell in cells if (counted := count_in(cell, mark)) is not None]
        if not found or len(found) < len(cells) or not any(each.animals for each in found):
            continue
        shown = ", ".join(f"{cell.address} {cell.text[:20]}" for cell in cells[:4])
        what = f"Column {column_letters(column)} {quoted(label, 40)} holds {shown}. Are these animals beside the count?"
        return column, inquiry.ask(Question("free-animals", what, _CHOICES)) == _CHOICES[0]
    return 0, False


def with_free(
    line: Line, facts: tuple[Sheet, DecimalMark], place: tuple[int, int], *, plus: bool = False
) -> tuple[Line, ...]:
    """A line, and behind it one of the animals sent free with it at no price.

    Parameters
    ----------
    place
        Row and column of their number.
    plus
        Whether that is the count, and they stand behind its plus sign.
    """
    sheet, mark = facts
    found = count_in(sheet.cell(*place), mark)
    if plus:  # in the unit the count is in: pairs, dozens
        free = found.plus * line.count / found.units if found and found.units else Decimal(0)
    else:
        free = found.animals if found else Decimal(0)
    if free <= 0 or free % 1:
        return (line,)
    price = None if line.unit_price is None else Decimal(0)
    return line, replace(line, number=line.number + 1, count=int(free), unit_price=price, bags="")
