"""One line of a packing list as it was understood."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

__all__ = ["SOURCE_CODES", "Line"]

SOURCE_CODES = {
    "W": "wild",
    "R": "ranched",
    "F": "born in captivity",
    "C": "bred in captivity",
    "D": "registered operation or propagated",
    "A": "propagated plant",
    "X": "marine area beyond national control",
    "I": "confiscated",
    "O": "before the convention",
    "U": "unknown",
}
"""Source codes of trade permits (the air-cargo data model that mirrors the permit form; letters only)."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the packing list.

    Attributes
    ----------
    number
        Counted from 1 in the order of the list.
    row, sheet
        Where it stands.
    written, common_written
        Name and common name as written.
    name, group
        Name for the ledger and husbandry group; the group is empty while name or size is open.
    size_min_mm, size_max_mm
        Size class in mm; 0 while it is open.
    count
        Animals; 0 while it is open.
    raw
        Address → text of every filled cell of the row, kept for claims.
    how
        How the name was settled.
    """

    number: int
    row: int
    sheet: str
    written: str
    name: str
    group: str
    size_min_mm: float
    size_max_mm: float
    count: int
    boxes: tuple[str, ...] = ()
    bags: str = ""
    unit_price: Decimal | None = None
    currency: str = ""
    origin: str = ""
    source_code: str = ""
    permit: str = ""
    listing: str = ""
    packed_at: datetime | None = None
    note: str = ""
    common_written: str = ""
    how: str = ""
    raw: Mapping[str, str] = field(default_factory=dict)

    def as_dict(self) -> dict[str, object]:
        """The line as plain data, for ``--json``; money as text, moments in ISO form."""
        return {
            "line": self.number,
            "row": self.row,
            "sheet": self.sheet,
            "written": self.written,
            "common_written": self.common_written,
            "name": self.name,
            "group": self.group,
            "size_min_mm": self.size_min_mm,
            "size_max_mm": self.size_max_mm,
            "count": self.count,
            "boxes": list(self.boxes),
            "bags": self.bags,
            "unit_price": None if self.unit_price is None else str(self.unit_price),
            "currency": self.currency,
            "origin": self.origin,
            "source_code": self.source_code,
            "permit": self.permit,
            "listing": self.listing,
            "packed_at": self.packed_at.isoformat() if self.packed_at else None,
            "note": self.note,
            "how": self.how,
            "raw": dict(self.raw),
        }
