"""Prices and their currency: one code to a price, never guessed from a sign that several currencies share."""

from __future__ import annotations

import re
from decimal import Decimal

from intake.errors import Finding, quoted
from intake.packing.asking import Inquiry, Question
from intake.packing.columns import ColumnMap, Header
from intake.packing.counts import Counted
from intake.packing.figures import CODES, DecimalMark, currency_of, number_of
from intake.packing.grid import Cell, Sheet
from intake.packing.row_words import bare, says_free
from intake.packing.rows import amount_agrees

__all__ = ["Purse", "price_of"]

_SHARED = {
    "$": ("USD", "AUD", "CAD", "SGD", "HKD", "NZD", "FJD"),
    "¥": ("JPY", "CNY"),
}


_SAID = re.compile(
    r"\b(price|prices|currency|amount|total|value|invoice|payable|all in|preise?|"
    r"wahrung|betrag|prix|devise|montant|precios?|moneda|"
    r"importe|precos?|moeda|valor|prezz[io]|valuta|importo|harga|mata uang|gia|"
    r"tien)\b|価格|通貨|金額|价格|货币|金额|السعر|العملة|المبلغ",
    re.IGNORECASE,
)


def _told_above(cell: Cell) -> str:
    """The currency a title names as such: alone in its cell, beside a figure, or beside a word for money."""
    if cell.kind != "text":
        return ""
    code = currency_of(cell.text)
    alone = cell.text.strip(" ()") in CODES
    beside = re.search(r"\b[A-Z]{3}\s?\d|\d\s?[A-Z]{3}\b", cell.text)
    told = (
        alone
        or beside
        or _SAID.search(cell.text)
        or _SAID.search(bare(cell.text))
        or not re.search(r"\b[A-Z]{3}\b", cell.text)
    )
    return code if told else ""


def price_of(
    place: str,
    counted: Counted | None,
    cells: tuple[Cell, Cell],
    reading: tuple[DecimalMark, str],
    inquiry: Inquiry,
) -> Decimal | None:
    """Price of one animal from the cells of price and amount; what does not agree is asked, once for the list.

    ``reading`` is the decimal mark and what a price is for (see :attr:`ColumnMap.price_per`).
    """
    mark, per = reading
    price, amount = (_sum_of_money(place, what, cell, mark, inquiry) for what, cell in zip(_MONEY, cells, strict=True))
    if counted is None:
        return price
    if price is None:
        return None if amount is None else _each(amount, counted.animals)
    if per == "line":
        return _each(price, counted.animals)
    if per == "hundred":
        price = price / 100
    if amount is None:
        return _of_unit(price, counted, cells[0], inquiry)
    if amount_agrees(counted.animals, price, amount):
        return price
    if counted.factor > 1 and amount_agrees(counted.units, price, amount):
        return _each(price, Decimal(counted.factor))
    if "numbers" not in inquiry.open:
        what = "count × unit price is not the amount; keep count and unit price as they are listed?"
        case = f"{place}: {counted.animals} × {price} is {counted.animals * price}, {cells[1].address} says {amount}"
        answer = inquiry.ask_alike(Question("amounts", what, ("as-listed", "by-amount"), where=cells[1].address), case)
        if answer == "by-amount":
            return _each(amount, counted.animals)
    return price


_MONEY = ("unit price", "amount")


def _sum_of_money(place: str, what: str, cell: Cell, mark: DecimalMark, inquiry: Inquiry) -> Decimal | None:
    if cell.value is None:
        return None
    if cell.kind == "text" and says_free(cell.text):
        inquiry.note(f"{cell.address} {quoted(cell.text)}: no charge")
        return Decimal(0)
    value = number_of(cell, mark)
    if value is None or value < 0:
        inquiry.fault(
            Finding(f"{place}, {cell.address}, {what}", cell.text, "a sum of money, not below zero, such as 12.50")
        )
        return None
    return value


def _each(whole: Decimal, animals: Decimal) -> Decimal:
    """A sum shared by animals, to the hundredth of a cent."""
    share = (whole / animals).quantize(Decimal("0.0001"))
    return share.quantize(Decimal("0.01")) if share == share.quantize(Decimal("0.01")) else share


def _of_unit(price: Decimal, counted: Counted, cell: Cell, inquiry: Inquiry) -> Decimal:
    """The price of one animal where it may be that of a pair or a dozen."""
    if counted.factor == 1 or price == 0:
        return price
    unit = f"one unit of {counted.factor}"
    what = f"{cell.address}: {quoted(cell.text)} is the price of one animal, or of {unit}?"
    answer = inquiry.ask(Question("price-unit", what, ("one-animal", "one-unit"), where=cell.address))
    return _each(price, Decimal(counted.factor)) if answer == "one-unit" else price


class Purse:
    """The currency of each price of one list.

    A code or sign in the cell or its currency column comes first, then the heading, then what stands above the table,
    then the currency agreed with the supplier.  A shared sign is settled by the supplier's terms if they name one of
    its currencies, and asked otherwise.
    """

    def __init__(self, sheet: Sheet, header: Header, columns: ColumnMap, agreed: str, inquiry: Inquiry) -> None:
        self.inquiry, self.agreed = inquiry, agreed
        heading = currency_of(columns.label("unit_price")) or currency_of(columns.label("amount"))
        told = {code for row in range(1, header.top) for cell in sheet.filled(row) if (code := _told_above(cell))}
        firm = {code for code in told if code not in _SHARED}
        above = next(iter(firm or told)) if len(firm or told) == 1 else ""
        if len(firm) > 1 and not heading:
            what = f"the titles name {' and '.join(sorted(firm))}; which currency are the prices in?"
            above = inquiry.ask(Question("currency", what, tuple(sorted(firm))))
        self.general = heading or above

    def code(self, *cells: Cell) -> str:
        """ISO 4217 code of a price, from its own cells first; empty while it is open."""
        named = next((code for cell in cells if cell.kind == "text" and (code := currency_of(cell.text))), "")
        if named in _SHARED and self.general in _SHARED[named]:
            named = self.general
        code = self._settled(named or self.general, cells[0])
        if code and code != self.agreed:
            self.inquiry.note(f"prices are in {code}; the terms agreed with the supplier are in {self.agreed}")
        return code

    def _settled(self, named: str, cell: Cell) -> str:
        if not named:
            self.inquiry.note(f"the list names no currency; taken as {self.agreed}, agreed with the supplier")
            return self.agreed
        if named not in _SHARED:
            return named
        if self.agreed in _SHARED[named]:
            self.inquiry.note(f"{quoted(named)} taken as {self.agreed}, the currency agreed with the supplier")
            return self.agreed
        what = f"{quoted(named)} stands for several currencies ({cell.address}: {quoted(cell.text)}). Which is meant?"
        return self.inquiry.ask(Question("currency", what, _SHARED[named], where=cell.address))
