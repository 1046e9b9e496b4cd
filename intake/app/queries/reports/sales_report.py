"""What was sold, when, out of which vat, at which price and under which order of the customer."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.ledger import Movement, Record, netted, standing, vat_id

__all__ = ["sales"]

Row = dict[str, Any]


def sales(house: House, since: date | None = None, until: date | None = None) -> dict[str, Any]:
    """Sales as they stand after corrections, and their sums in each currency.

    Parameters
    ----------
    since, until
        First and last farm day; all when left out.

    Returns
    -------
    dict
        ``sales``: rows in the order they happened, ``price`` and ``amount`` as decimal text, empty without a price;
        ``totals``: animals and amount by currency, the unpriced under an empty one.

    Raises
    ------
    BadInput
        ``until`` before ``since``.
    """
    if since and until and until < since:
        raise BadInput(Finding("--until", until.isoformat(), f"{since.isoformat()} or later"))
    rows = [
        row for row in _rows(house) if (since or date.min).isoformat() <= row["day"] <= (until or date.max).isoformat()
    ]
    totals: dict[str, tuple[int, Decimal]] = {}
    for row in rows:
        animals, amount = totals.get(row["currency"], (0, Decimal(0)))
        totals[row["currency"]] = (animals + row["count"], amount + Decimal(row["amount"] or 0))
    summed = [
        {"currency": currency, "animals": animals, "amount": str(amount) if currency else ""}
        for currency, (animals, amount) in sorted(totals.items())
    ]
    return {"sales": rows, "totals": summed}


def _rows(house: House) -> Iterator[Row]:
    entries = house.stream(*house.floor().batches)
    terms = {str(one.payload.get("movement")): one for one in standing(entries, "sale")}
    names: dict[str, str] = {}
    for batch in standing(entries, "batch"):
        names[batch.subject] = str(batch.payload.get("name") or "")
    for move in netted(entries):
        if move.target == "sold" and move.happened_at <= house.now:
            yield _row(house, move, terms.get(move.key), names)


def _row(house: House, move: Movement, told: Record | None, names: dict[str, str]) -> Row:
    payload = told.payload if told is not None else {}
    price = Decimal(str(payload["price"])) if payload.get("price") else None
    return {
        "day": move.happened_at.astimezone(house.site.farm.zone).date().isoformat(),
        "batch": move.batch,
        "name": names.get(move.batch, ""),
        "vat": vat_id(move.source) or move.source,
        "count": move.count,
        "price": "" if price is None else str(price),
        "amount": "" if price is None else str(price * move.count),
        "currency": str(payload.get("currency") or "") if price is not None else "",
        "reference": str(payload.get("reference") or ""),
        "who": move.who,
    }
