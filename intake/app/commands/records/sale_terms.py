"""What animals were sold for, and the customer's own reference: a record beside the movement that takes them out."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Final

from intake.app.session import Act
from intake.errors import BadInput, Finding

__all__ = ["SaleTerms", "sale_terms"]

_CURRENCY: Final = re.compile(r"[A-Z]{3}")
_MOST: Final = Decimal(1_000_000)
_LONGEST: Final = 60


@dataclass(frozen=True, slots=True)
class SaleTerms:
    """Terms of one sale.

    Attributes
    ----------
    price
        Of one animal; ``None`` where it was not given.
    currency
        ISO 4217 code of the price, empty without one.
    reference
        The customer's own: an order number, as they write it.
    """

    price: Decimal | None = None
    currency: str = ""
    reference: str = ""

    def words(self, count: int) -> str:
        """The terms in words: ``12.50 EUR each, 125.00 EUR; reference PO-7``."""
        parts = []
        if self.price is not None:
            parts.append(f"{self.price} {self.currency} each, {self.price * count} {self.currency}")
        if self.reference:
            parts.append(f"reference {self.reference}")
        return "; ".join(parts)

    def keep(self, act: Act, batch: str, vat: str, count: int, movement: str, at: datetime | None) -> str:
        """Record them beside the movement of this key; gives the record's own key."""
        told = {
            "vat": vat,
            "count": count,
            "movement": movement,
            "price": None if self.price is None else str(self.price),
            "currency": self.currency,
            "reference": self.reference,
        }
        return act.note("sale", batch, told, at=at)


def sale_terms(target: str, price: str, currency: str, reference: str) -> SaleTerms | None:
    """The terms as typed; ``None`` where none were given.

    Raises
    ------
    BadInput
        Terms of a move that is no sale, no price, no currency, or a reference that cannot be printed; all at once.
    """
    if not (price or currency or reference):
        return None
    faults = []
    if target != "sold":
        faults.append(Finding("--to", target, "sold, with a price or a reference"))
    amount: Decimal | None = None
    if price:
        try:
            amount = Decimal(price)
        except InvalidOperation:
            amount = Decimal(-1)
        if not (amount.is_finite() and 0 <= amount <= _MOST):
            faults.append(Finding("--price", price[:40], "the price of one animal, such as 12.50"))
    if bool(price) != bool(currency) or (currency and not _CURRENCY.fullmatch(currency)):
        faults.append(Finding("--currency", currency[:40], "the currency of --price in three letters, such as EUR"))
    if len(reference) > _LONGEST or not reference.isprintable():
        faults.append(Finding("--reference", reference[:40], f"at most {_LONGEST} characters that can be printed"))
    if faults:
        raise BadInput(faults)
    return SaleTerms(amount, currency, reference.strip())
