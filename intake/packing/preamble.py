"""What the title rows say once for all lines: origin, permit, packing time, source."""

from __future__ import annotations

from intake.packing.columns import Header
from intake.packing.fields import field_of
from intake.packing.grid import Cell, Sheet
from intake.packing.row_words import section_of

__all__ = ["preamble"]

_FOR_ALL = frozenset({"origin", "permit", "packed", "source_code", "listing"})


def preamble(sheet: Sheet, header: Header) -> dict[str, Cell]:
    """Field → cell for facts written above the table as ``Origin: somewhere``, in one cell or in two side by side."""
    found: dict[str, Cell] = {}
    for row in range(1, header.top):
        filled = sheet.filled(row)
        for position, cell in enumerate(filled):
            said = section_of([cell.text]).get("permit", "")
            if said and "permit" not in found:
                found["permit"] = Cell(cell.row, cell.column, said, said)
                continue
            label, colon, rest = cell.text.partition(":")
            field = field_of(label)
            if field not in _FOR_ALL or field in found:
                continue
            if colon and rest.strip():
                found[field] = Cell(cell.row, cell.column, rest.strip(), rest.strip())
            elif not rest.strip() and position + 1 < len(filled):
                found[field] = filled[position + 1]
    return found
