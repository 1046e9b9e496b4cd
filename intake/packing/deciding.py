"""Which column counts the animals and what a price is for, by what the figures prove; headings are the second hint."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from intake.errors import quoted
from intake.packing.asking import Inquiry, Question
from intake.packing.columns import Column, ColumnMap, Header, samples
from intake.packing.counts import count_in
from intake.packing.fields import field_of, plain_heading, role_of
from intake.packing.figures import DecimalMark, number_of
from intake.packing.grid import Sheet, column_letters
from intake.packing.row_words import sum_word
from intake.packing.rows import amount_agrees

__all__ = ["count_decided", "name_rows", "price_decided", "proved_by_money"]

_SHIPPED = re.compile(
    r"\b(packed|verpackt|shipped|sent|delivered|actual|geliefert|livre|expedie|enviad[oa]s?|spedit[oi]|dikirim)\b|出荷|发货|實發"
)
_SAMPLE = 3_000
_MOSTLY = 0.8
_HUNDRED = Decimal(100)
_LEAST_ROWS = 3  # rows from which a product under unknown headings proves anything
_MOST_TRIED = 15


@dataclass(frozen=True, slots=True)
class _Candidate:
    column: int
    label: str
    by_heading: bool
    values: dict[int, Decimal]

    @property
    def shown(self) -> str:
        """Heading, or letter where there is none."""
        return self.label or f"column {column_letters(self.column)}"


def count_decided(
    sheet: Sheet, header: Header, columns: ColumnMap, facts: tuple[DecimalMark, Sequence[Decimal]], inquiry: Inquiry
) -> ColumnMap:
    """The map with the column that counts the animals, by arithmetic, by its heading, or by an answer.

    ``facts`` are the decimal mark and the totals of animals that the list states in words.
    """
    mark, stated = facts
    rows = name_rows(sheet, header, columns)
    found = _candidates(sheet, header, columns, rows, mark)
    now = columns.column("count")
    proved = _by_money(sheet, columns, found, mark) or _by_total(found, stated)
    if proved:
        chosen = next((each for each in proved if each.column == now), proved[0])
        if len({tuple(sorted(each.values.items())) for each in proved}) == 1:
            if chosen.column != now:
                inquiry.note(
                    f"{quoted(chosen.shown)} counts the animals: its figures give the amounts or the stated total"
                )
            return _with(sheet, header, columns, chosen)
    rivals = [each for each in found if each.by_heading and role_of(each.label) != "ordered"]
    sent = [each for each in rivals if _SHIPPED.search(plain_heading(each.label))]
    rivals = sent if len(sent) == 1 else rivals
    distinct = {tuple(sorted(each.values.items())) for each in rivals}
    if not rivals:
        return _by_product(sheet, header, columns, found, mark)
    if len(distinct) <= 1:
        return _with(sheet, header, columns, next((each for each in rivals if each.column == now), rivals[0]))
    shown = "; ".join(f"{each.shown}: {_few(each.values.values())}" for each in rivals)
    choices = tuple(dict.fromkeys(each.shown for each in rivals))
    answer = inquiry.ask(Question("count-column", f"Which column counts the animals in the bags? {shown}", choices))
    return _with(sheet, header, columns, next((each for each in rivals if each.shown == answer), rivals[0]))


def proved_by_money(sheet: Sheet, header: Header, columns: ColumnMap, mark: DecimalMark) -> bool:
    """Whether count × price is the amount in every row that has all three."""
    count, price, amount = (columns.column(name) for name in ("count", "unit_price", "amount"))
    if not (count and price and amount):
        return False
    cells = {row: sheet.cell(row, count) for row in name_rows(sheet, header, columns)}
    values = {row: found.units for row, cell in cells.items() if (found := count_in(cell, mark)) is not None}
    return bool(_balances(sheet, values, (price, amount), mark))


def _few(values: Iterable[Decimal]) -> str:
    return ", ".join(format(value, "f") for value in list(values)[:3])


def name_rows(sheet: Sheet, header: Header, columns: ColumnMap) -> list[int]:
    """Rows that may be lines: with a name and without the word of a sum."""
    names = [column for column in (columns.column("name"), columns.column("common_name")) if column]
    last = min(len(sheet.rows), header.bottom + _SAMPLE)
    return [
        row
        for row in range(header.bottom + 1, last + 1)
        if any(sheet.cell(row, column).text for column in names)
        and not any(sum_word(cell.text) for cell in sheet.filled(row)[:4] if cell.kind == "text")
    ]


def _candidates(
    sheet: Sheet, header: Header, columns: ColumnMap, rows: list[int], mark: DecimalMark
) -> list[_Candidate]:
    taken = {each.column for each in columns.columns if each.field not in ("count", "bags")}
    found = []
    for column, label in enumerate(header.labels, start=1):
        if column in taken or role_of(label) == "ignored":
            continue
        cells = {row: cell for row in rows if (cell := sheet.cell(row, column)).value is not None}
        values = {row: counted.animals for row, cell in cells.items() if (counted := count_in(cell, mark)) is not None}
        whole = [value for value in values.values() if value == value.to_integral_value() and value >= 0]
        heading = (
            column == columns.column("count") or header.fields[column - 1] == "count" or field_of(label) == "count"
        )
        if not whole or len(whole) < _MOSTLY * len(cells) or (not heading and _runs_on(list(values.values()))):
            continue
        found.append(_Candidate(column, label, heading, values))
    return found


def _runs_on(values: list[Decimal]) -> bool:
    """Whether numbers only count the rows, one after the other."""
    return len(values) > 1 and all(after - before == 1 for before, after in pairwise(values))


def _by_money(sheet: Sheet, columns: ColumnMap, found: list[_Candidate], mark: DecimalMark) -> list[_Candidate]:
    price, amount = columns.column("unit_price"), columns.column("amount")
    if not price or not amount:
        return []
    return [each for each in found if _balances(sheet, each.values, (price, amount), mark)]


def _balances(sheet: Sheet, values: dict[int, Decimal], money: tuple[int, int], mark: DecimalMark) -> Decimal:
    """Animals a price is for (1 or 100) when it balances in every row with both figures; 0 when it does not."""
    told = [
        (count, each, whole)
        for row, count in values.items()
        if (each := number_of(sheet.cell(row, money[0]), mark)) is not None
        and (whole := number_of(sheet.cell(row, money[1]), mark)) is not None
    ]
    for per in (Decimal(1), _HUNDRED):
        fit = [amount_agrees(count / per, each, whole) for count, each, whole in told]
        if told and all(fit) and any(whole for _, _, whole in told):
            return per
    return Decimal(0)


def _by_total(found: list[_Candidate], stated: Sequence[Decimal]) -> list[_Candidate]:
    return [each for each in found if sum(each.values.values(), Decimal(0)) in stated and len(each.values) > 1]


def _by_product(
    sheet: Sheet, header: Header, columns: ColumnMap, found: list[_Candidate], mark: DecimalMark
) -> ColumnMap:
    """The one column of whole numbers that times a second is a third, under headings no one knows; otherwise as it was."""
    price, amount = columns.column("unit_price"), columns.column("amount")
    if price and amount:
        return columns
    fit: list[tuple[_Candidate, int, int, DecimalMark]] = []
    known = {each.column for each in columns.columns}
    marks: tuple[DecimalMark, ...] = (mark, "," if mark == "." else ".")  # no heading says which columns hold figures
    for each in found[:_MOST_TRIED]:
        if len(each.values) < _LEAST_ROWS:
            continue
        others = [
            n
            for n in range(1, min(sheet.width, _MOST_TRIED) + 1)
            if n not in {each.column, *known} and not (n <= len(header.labels) and role_of(header.labels[n - 1]))
        ]
        prices, amounts = [price] if price else others, [amount] if amount else others
        fit += [
            (each, p, a, read)
            for p in prices
            for a in amounts
            for read in marks
            if p != a and _balances(sheet, each.values, (p, a), read) and _in_most(sheet, each.values, (p, a), read)
        ]
    if len({each.column for each, *_ in fit}) != 1:
        return _by_own_sum(sheet, header, columns, found, mark) if not fit else columns
    chosen = _with(sheet, header, columns, fit[0][0])
    return _money_found(sheet, header, chosen, fit[0][0].values, fit[0][3])


def _in_most(sheet: Sheet, values: dict[int, Decimal], money: tuple[int, int], mark: DecimalMark) -> bool:
    """Whether most rows have both figures: what balances in a few of many rows proves nothing."""
    told = sum(all(number_of(sheet.cell(row, column), mark) is not None for column in money) for row in values)
    return told >= max(_LEAST_ROWS, _MOSTLY * len(values))


def _by_own_sum(
    sheet: Sheet, header: Header, columns: ColumnMap, found: list[_Candidate], mark: DecimalMark
) -> ColumnMap:
    """The one column of whole numbers below which a row without a name states their sum; otherwise as it was.

    Every other column of whole numbers must count from 1 without a gap, as boxes and lines do: another may be the count.
    """
    name = columns.column("name")
    last = min(len(sheet.rows), header.bottom + _SAMPLE)
    nameless = [
        row
        for row in range(header.bottom + 1, last + 1)
        if sheet.filled(row) and (not sheet.cell(row, name).text or len(sheet.filled(row)) <= 2)
    ]
    fit = []
    for each in found:
        below = [row for row in nameless if row > max(each.values) and row not in each.values]
        whole = sum((value for row, value in each.values.items() if row not in below), Decimal(0))
        if len(each.values) > 2 and any(number_of(sheet.cell(row, each.column), mark) == whole for row in below):
            fit.append(each)
    rest = [each for each in found if each not in fit and set(each.values.values()) != _from_one(each)]
    if len(fit) != 1 or rest:
        return columns
    return _with(sheet, header, columns, fit[0])


def _from_one(each: _Candidate) -> set[Decimal]:
    return {Decimal(number) for number in range(1, int(max(each.values.values())) + 1)} if each.values else set()


def _with(sheet: Sheet, header: Header, columns: ColumnMap, chosen: _Candidate) -> ColumnMap:
    if chosen.column == columns.column("count"):
        return columns
    others = [each for each in columns.columns if each.field != "count" and each.column != chosen.column]
    new = Column(
        field="count",
        column=chosen.column,
        label=chosen.label,
        why="by its figures",
        samples=samples(sheet, header, chosen.column),
    )
    return columns.model_copy(update={"columns": (*others, new)})


def price_decided(sheet: Sheet, header: Header, columns: ColumnMap, mark: DecimalMark, inquiry: Inquiry) -> ColumnMap:
    """The map with what a price is for: one animal, a hundred, or the whole line."""
    rows = name_rows(sheet, header, columns)
    count = columns.column("count")
    values = {
        row: found.units for row in rows if count and (found := count_in(sheet.cell(row, count), mark)) is not None
    }
    columns = _without_repeated_count(sheet, columns, values, mark)
    columns = _money_found(sheet, header, columns, values, mark)
    price, amount = columns.column("unit_price"), columns.column("amount")
    per = ""
    if price and amount:
        if _balances(sheet, values, (price, amount), mark) == _HUNDRED:
            per = "hundred"
    elif price and re.search(
        r"\b100\b|hundred|hundert|cent\b|cento|ratus|百", plain_heading(columns.label("unit_price"))
    ):
        per = "hundred"
    elif price and _sums_to_total(sheet, header, price, values, mark):
        per = "line"
    if per:
        inquiry.note(f"prices are for {'a hundred animals' if per == 'hundred' else 'the whole line'}, by the figures")
    return columns.model_copy(update={"price_per": per})


def _without_repeated_count(
    sheet: Sheet, columns: ColumnMap, values: dict[int, Decimal], mark: DecimalMark
) -> ColumnMap:
    """The map without a column of amounts that says the count again in each row, beside no price: it is no money."""
    amount = columns.column("amount")
    if not amount or columns.column("unit_price") or len(values) < 2:
        return columns
    if any(number_of(sheet.cell(row, amount), mark) != count for row, count in values.items()):
        return columns
    kept = tuple(each for each in columns.columns if each.field != "amount")
    return columns.model_copy(update={"columns": kept})


def _sums_to_total(sheet: Sheet, header: Header, price: int, values: dict[int, Decimal], mark: DecimalMark) -> bool:
    """Whether a total row states the sum of the price column, and not count times price."""
    prices = {row: number for row in values if (number := number_of(sheet.cell(row, price), mark)) is not None}
    whole = sum(prices.values(), Decimal(0))
    product = sum((values[row] * each for row, each in prices.items()), Decimal(0))
    stated = {
        number
        for row in range(header.bottom + 1, len(sheet.rows) + 1)
        if any(sum_word(cell.text) for cell in sheet.filled(row)[:4] if cell.kind == "text")
        and (number := number_of(sheet.cell(row, price), mark)) is not None
    }
    return len(prices) > 1 and whole in stated and product not in stated


def _money_found(
    sheet: Sheet, header: Header, columns: ColumnMap, values: dict[int, Decimal], mark: DecimalMark
) -> ColumnMap:
    """Price and amount under headings no one knows: two columns of which count × one is the other, or one of them."""
    known = columns.column("unit_price"), columns.column("amount")
    if all(known) or len(values) < 2:
        return columns
    taken = {each.column for each in columns.columns}
    free = [n for n, label in enumerate(header.labels, start=1) if n not in taken and not role_of(label)]
    prices, amounts = ([one] if one else free for one in known)
    for price in prices:
        for amount in amounts:
            if price != amount and _balances(sheet, values, (price, amount), mark):
                told = [
                    Column(field=name, column=column, label=header.labels[column - 1], why="by its figures",
                           samples=samples(sheet, header, column))
                    for name, column in (("unit_price", price), ("amount", amount)) if column in free
                ]  # fmt: skip
                return columns.model_copy(update={"columns": (*columns.columns, *told)})
    return columns
