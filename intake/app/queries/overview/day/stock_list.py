"""What may be sold today: animals nothing keeps back, where they stand, since when they are released, at which price."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from intake.app.input_files import read_file
from intake.app.queries.biosecurity.release_status import kept_back
from intake.app.session import House
from intake.errors import BadInput, Finding

__all__ = ["COLUMNS", "ForSale", "stock_list", "table_of"]

COLUMNS = ("batch", "name", "size_mm", "count", "vat", "system", "released_since", "price", "currency")
_SOLD_FROM = frozenset({"grow-out", "released"})
_PRICES = "library/prices.csv"


@dataclass(frozen=True, slots=True)
class ForSale:
    """Animals of one batch in one vat that may be sold today; ``price`` is of one animal, ``None`` where none is set."""

    batch: str
    name: str
    size_mm: float
    count: int
    vat: str
    system: str
    released_since: date
    price: Decimal | None
    currency: str

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``; money as text."""
        return {
            "batch": self.batch,
            "name": self.name,
            "size_mm": self.size_mm,
            "count": self.count,
            "vat": self.vat,
            "system": self.system,
            "released_since": self.released_since.isoformat(),
            "price": None if self.price is None else str(self.price),
            "currency": self.currency,
        }


def stock_list(house: House) -> tuple[ForSale, ...]:
    """Every stay nothing keeps from a sale, by name, size and vat.

    Raises
    ------
    BadInput
        ``library/prices.csv`` cannot be read: every fault with its row.
    """
    floor, zone = house.floor(), house.site.farm.zone
    prices = _prices(house)
    rows = []
    for stay in floor.stays:
        if stay.stage not in _SOLD_FROM or not stay.count or kept_back(house, floor, stay.batch, stay.vat, "sold"):
            continue
        batch = floor.batches[stay.batch]
        price, currency = prices.get(batch.name.casefold(), (None, ""))
        rows.append(
            ForSale(
                stay.batch, batch.name, batch.size_mm, stay.count, stay.vat, house.site.vat(stay.vat).system,
                stay.since.astimezone(zone).date(), price, currency,
            )
        )  # fmt: skip
    return tuple(sorted(rows, key=lambda one: (one.name, one.size_mm, one.vat, one.batch)))


def table_of(rows: tuple[ForSale, ...]) -> list[list[str | int | float | date | None]]:
    """The rows as a table has them, in the order of :data:`COLUMNS`."""
    return [
        [one.batch, one.name, one.size_mm, one.count, one.vat, one.system, one.released_since,
         None if one.price is None else float(one.price), one.currency]
        for one in rows
    ]  # fmt: skip


def _prices(house: House) -> dict[str, tuple[Decimal, str]]:
    """Name → price and currency from the farm's own ``library/prices.csv`` (name, price, currency)."""
    path = house.folder / _PRICES
    if not path.is_file():
        return {}
    found: dict[str, tuple[Decimal, str]] = {}
    faults = []
    reader = csv.DictReader(
        io.StringIO(read_file(path, "a table of prices").decode("utf-8-sig", "replace"), newline="")
    )
    for number, row in enumerate(reader, start=2):
        try:
            price = Decimal(str(row.get("price") or "").strip())
        except InvalidOperation:
            price = Decimal(-1)
        name = str(row.get("name") or "").strip()
        if not name or not price.is_finite() or price < 0:
            faults.append(Finding(f"{_PRICES}, row {number}", str(row.get("price")), "a name, a price, a currency"))
        else:
            found[name.casefold()] = (price, str(row.get("currency") or "").strip())
    if faults:
        raise BadInput(faults)
    return found
