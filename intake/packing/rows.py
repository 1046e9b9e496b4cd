"""Every filled row below a header sorted: animals, sums, sections, goods that are no animals, titles and the rest."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from intake.errors import quoted
from intake.packing.columns import ColumnMap, Header
from intake.packing.counts import Counted, count_in
from intake.packing.fields import plain_heading
from intake.packing.figures import DecimalMark, number_of
from intake.packing.grid import Cell, Sheet, plain_digits
from intake.packing.row_words import NOTHING, goods_word, section_of, sum_word, waybill_in

__all__ = ["Row", "amount_agrees", "at", "sorted_rows"]

_STATED = re.compile(
    r"(?:pcs|pieces|qty|quantity|animals|specimens|heads)\W*(\d{1,7})\b|"
    r"(\d{1,7})\s*(?:pcs|pieces|animals|heads|st(?:ü|u)ck|ekor|con|piezas|peças|pezzi|匹|只|尾)(?![^\W\d])",
    re.IGNORECASE | re.ASCII,
)
_RULE = re.compile(r"[-=_:+|*–—]{2,}")
_TEXTS = 6  # texts of a row that are looked at for its words

Kind = Literal[
    "line", "sum", "heading", "header", "remark", "unsure", "section", "goods", "waybill", "not sent", "loose", "money"
]


@dataclass(frozen=True, slots=True)
class Row:
    """A filled row below the header and what it was taken for.

    Attributes
    ----------
    kind
        ``line`` animals; ``sum`` a subtotal or total; ``money`` a total of money or boxes only; ``heading`` a row that only
        names a section; ``section`` one that says box or permit of the lines below; ``header`` the header repeated;
        ``goods`` ice, freight, boxes; ``waybill`` a title with a waybill number; ``not sent`` a count of none; ``remark``
        text without figures; ``loose`` figures without a name or count; ``unsure`` a sum by its word that does not fit.
    text
        First text of the row.
    stated, summed
        For sums: animals the row states, and the sum of the lines above it.
    says
        For sections: field → text.
    """

    number: int
    kind: Kind
    stated: Decimal | None = None
    summed: Decimal | None = None
    grand: bool = False
    why: str = ""
    text: str = ""
    says: Mapping[str, str] = field(default_factory=dict)


@dataclass(slots=True)
class _Above:
    """Animals in the lines above a row: since the last sum, since the last section, and in all."""

    section: Decimal = Decimal(0)
    box: Decimal = Decimal(0)
    whole: Decimal = Decimal(0)
    lines: int = 0
    plus: Decimal = Decimal(0)

    def add(self, count: Decimal, plus: int = 0) -> None:
        """Count a line in; ``plus`` are the animals behind its plus sign."""
        self.section += count
        self.box += count
        self.whole += count
        self.plus += plus
        self.lines += 1

    @property
    def sums(self) -> tuple[Decimal, ...]:
        """What a sum row may state here: the whole with the animals behind plus signs or without."""
        return self.section, self.whole, self.box, self.whole + self.plus

    def is_all(self, count: Decimal) -> bool:
        """Whether a sum is that of all lines above."""
        return count in (self.whole, self.whole + self.plus)


def amount_agrees(count: Decimal, price: Decimal, amount: Decimal) -> bool:
    """Whether count × price is the amount, within the rounding of a price shown to the cent."""
    return abs(count * price - amount) <= Decimal("0.01") + abs(count) * Decimal("0.005")


def at(sheet: Sheet, row: int, columns: ColumnMap, name: str, mark: DecimalMark) -> Decimal | None:
    """The number in the cell of a field."""
    column = columns.column(name)
    if not column:
        return None
    cell = sheet.cell(row, column)
    if name != "count":
        return number_of(cell, mark)
    counted = _counted(sheet, row, columns, mark)
    return None if counted is None else counted.animals


def _counted(sheet: Sheet, row: int, columns: ColumnMap, mark: DecimalMark) -> Counted | None:
    counted = count_in(sheet.cell(row, columns.column("count")), mark)
    measure = columns.column("measure")
    if counted is None or not measure:
        return counted
    from intake.packing.counts import measure_of

    factor = measure_of(sheet.cell(row, measure).text)
    if factor <= 1 or counted.factor != 1:
        return counted
    return Counted(counted.units, factor, plus=counted.plus * factor)


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
            counted = _counted(sheet, number, columns, mark) if columns.column("count") else None
            if counted is not None:
                above.add(counted.animals, counted.plus)
        elif row.kind == "sum":
            above.section = Decimal(0)
        elif row.kind == "section":
            above.box = Decimal(0)
    return rows


def _sorted(
    sheet: Sheet,
    header: Header,
    columns: ColumnMap,
    mark: DecimalMark,
    here: tuple[int, tuple[Cell, ...], _Above],
) -> Row:
    number, filled, above = here
    if len(filled) > 1 and all(_RULE.fullmatch(cell.text) for cell in filled):
        return Row(number, "remark", why="a line ruled with signs", text=filled[0].text)
    if _repeats(filled, header):
        return Row(number, "header", why="the header repeated")
    count_cell = sheet.cell(number, columns.column("count")) if columns.column("count") else Cell(number, 1)
    counted = _counted(sheet, number, columns, mark) if count_cell.value is not None else None
    count = None if counted is None else counted.animals
    texts = [cell.text for cell in filled if cell.kind == "text"][:_TEXTS]
    word = next((text for text in texts if sum_word(text)), "")
    if word:
        return _by_word(number, word, count, above, filled, count_cell)
    named = [cell for cell in filled if cell.column in (columns.column("name"), columns.column("common_name"))]
    special = _without_count(number, filled, texts, count_cell) if count is None else None
    if special is not None:
        return special
    goods = next((found for cell in named[:1] if (found := goods_word(cell.text))), "")
    if goods:
        return Row(number, "goods", why=goods, text=named[0].text)
    if named and (count == 0 or NOTHING.match(count_cell.text)):
        return Row(number, "not sent", why=count_cell.text, text=named[0].text)
    return _plain(number, filled, named, (count, columns, above))


def _plain(
    number: int, filled: tuple[Cell, ...], named: list[Cell], facts: tuple[Decimal | None, ColumnMap, _Above]
) -> Row:
    count, columns, above = facts
    if count is not None and not named:
        if above.lines >= 2 and count in above.sums and count > 0:
            return Row(number, "sum", count, count, above.is_all(count), "no name, and the sum of the lines above")
        return Row(number, "line")
    figures = ("count", "size", "unit_price", "amount")
    if named and any(cell.column == columns.column(name) for cell in filled for name in figures):
        return Row(number, "line")
    if named and len(filled) == 1:
        return Row(number, "heading", why=f"{quoted(named[0].text[:40])} stands alone in its row", text=named[0].text)
    if named and count is None and any(cell.column == columns.column("boxes") for cell in filled):
        return Row(number, "line")
    if any(cell.kind in ("number", "date") for cell in filled) or _only_figures(filled):
        shown = next((cell for cell in filled if cell.kind != "text"), filled[0])
        return Row(number, "loose", why=f"{shown.address} {quoted(shown.text[:40])}", text=filled[0].text)
    return Row(number, "remark", why=f"{quoted(filled[0].text[:40])} has no figures", text=filled[0].text)


def _only_figures(filled: tuple[Cell, ...]) -> bool:
    return any(number_of(cell, ".") is not None or number_of(cell, ",") is not None for cell in filled)


def _without_count(number: int, filled: tuple[Cell, ...], texts: list[str], count_cell: Cell) -> Row | None:
    """A row that says something of the lines around it, or names goods that have no count."""
    if len(filled) <= 4 and (count_cell.value is None or len(filled) <= 3):
        says = section_of([cell.text for cell in filled])
        if says:
            return Row(number, "section", why=texts[0][:40] if texts else "", says=says)
    if len(filled) <= 4 and any(waybill_in(text) for text in texts):
        bills = [bill for text in texts if (bill := waybill_in(text))]
        return Row(number, "waybill", why=bills[0], text=texts[0])
    goods = next((word for text in texts[:2] if (word := goods_word(text))), "")
    if goods and any(cell.kind == "number" or number_of(cell, ".") is not None for cell in filled):
        return Row(number, "goods", why=goods, text=texts[0])
    return None


def _by_word(
    number: int, word: str, count: Decimal | None, above: _Above, filled: tuple[Cell, ...], count_cell: Cell
) -> Row:
    if count is None:
        found = _STATED.search(plain_digits(word))
        if found is None:
            money = any(number_of(cell, ".") is not None or number_of(cell, ",") is not None for cell in filled)
            if money or count_cell.value is not None:
                return Row(number, "money", why=word[:40], text=word)
            return Row(number, "remark", why=f"{quoted(word[:40])} states no number of animals", text=word)
        count = Decimal(found[1] or found[2])
    if above.lines and count in above.sums:
        return Row(
            number, "sum", count, count, above.is_all(count), f"{quoted(word[:40])} and the sum of the lines above"
        )
    nearest = min(above.sums, key=lambda total: abs(total - count))
    return Row(number, "unsure", count, nearest, why=word[:40], text=word)


def _repeats(filled: tuple[Cell, ...], header: Header) -> bool:
    if len(filled) < 2 or any(cell.kind != "text" for cell in filled):
        return False
    known = {plain_heading(label) for label in header.labels if label}
    return all(plain_heading(cell.text) in known for cell in filled)
