"""Prices and their currency: one code to a price, never guessed from a sign that several currencies share."""

from __future__ import annotations

from intake.packing.asking import Inquiry, Question
from intake.packing.columns import ColumnMap, Header
from intake.packing.figures import currency_of
from intake.packing.grid import Cell, Sheet

__all__ = ["Purse"]

_SHARED = {
    "$": ("USD", "AUD", "CAD", "SGD", "HKD", "NZD", "FJD"),
    "¥": ("JPY", "CNY"),
}


class Purse:
    """The currency of each price of one list.

    A code or sign in the cell or its currency column comes first, then the heading, then what stands above the table,
    then the currency agreed with the supplier.  A shared sign is settled by the supplier's terms if they name one of
    its currencies, and asked otherwise.
    """

    def __init__(self, sheet: Sheet, header: Header, columns: ColumnMap, agreed: str, inquiry: Inquiry) -> None:
        self.inquiry, self.agreed = inquiry, agreed
        heading = currency_of(columns.label("unit_price")) or currency_of(columns.label("amount"))
        above = next(
            (
                code
                for row in range(1, header.top)
                for cell in sheet.filled(row)
                if cell.kind == "text" and (code := currency_of(cell.text))
            ),
            "",
        )
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
            self.inquiry.note(f"{named!r} taken as {self.agreed}, the currency agreed with the supplier")
            return self.agreed
        what = f"{named!r} is used by several currencies ({cell.address}: {cell.text!r})"
        return self.inquiry.ask(Question("currency", what, _SHARED[named], where=cell.address))
