"""Counts written into the cell of the name (``60 pcs Tridacna maxima``), put into a column of their own."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from intake.errors import quoted
from intake.library.names import Names
from intake.packing.columns import Header
from intake.packing.counts import MEASURES
from intake.packing.grid import Cell, Sheet, plain_digits
from intake.packing.row_words import bare, sum_word
from intake.packing.table_blocks import knows

__all__ = ["parted_counts"]

_NUMBER = r"\d{1,3}(?:[.,']\d{3})+|\d{1,6}"  # a blank parts a size from a count, never thousands
_FIRST = re.compile(rf"({_NUMBER})\s*([^\W\d_]+)?\.?\s*(?:of|x|×|de|di)?\s+(.+)", re.IGNORECASE)
_LAST = re.compile(rf"(.+?)(?:\s+[\-–x×]\s+|[\s,;:(]+)({_NUMBER})\s*([^\W\d_]+)\.?\s*\)?", re.IGNORECASE)
_TIMES = re.compile(rf"({_NUMBER})\s*[x×]\s+(.+)|(.+?)\s+[x×]\s*({_NUMBER})", re.IGNORECASE)
_LEAST = 0.6
_LOOKED_AT = 300


def parted_counts(sheet: Sheet, header: Header, names: Names) -> tuple[Sheet, Header, str]:
    """The table with counts and names of one column parted, and what was done; as it was where no column holds both.

    A number counts only with a unit of measure or a sign of multiplication beside it: a bare one may be a code or a size.
    """
    if "count" in header.fields:
        return sheet, header, ""
    rows = range(header.bottom + 1, len(sheet.rows) + 1)
    column = _column(sheet, header, rows[:_LOOKED_AT], names)
    if not column:
        return sheet, header, ""
    width = max(sheet.width, len(header.labels))
    new: list[tuple[object, ...]] = list(sheet.rows)
    shown = ""
    for number in rows:
        cell = sheet.cell(number, column)
        found = _parted(cell.text, names) or next(iter(_splits(cell.text)), None)  # an unknown name is asked about
        if found is None:
            continue
        count, name = found
        row = [*new[number - 1], *[None] * (width - len(new[number - 1]))]
        row[column - 1] = Cell(number, column, name, name, cell.address)
        new[number - 1] = (*row, Cell(number, width + 1, count, count, cell.address))
        shown = shown or f"{cell.address} {quoted(cell.text)} is {quoted(count)} of {quoted(name)}"
    label = header.labels[column - 1] if column <= len(header.labels) else ""
    labels = (*header.labels, *[""] * (width - len(header.labels)), f"count in {label or 'the name'}")
    fields = ["" if name == "name" else name for name in header.fields] + [""] * (width - len(header.fields))
    fields[column - 1] = "name"
    head = replace(header, labels=labels, fields=(*fields, "count"))
    return replace(sheet, rows=tuple(new)), head, f"counts stand beside the names: {shown}"


def _column(sheet: Sheet, header: Header, rows: Sequence[int], names: Names) -> int:
    """The column whose cells mostly hold a count and a known name; 0 where there is none."""
    for column in range(1, len(header.labels) + 1):
        texts = [
            cell.text for row in rows if (cell := sheet.cell(row, column)).kind == "text" and not sum_word(cell.text)
        ]
        if texts and sum(_parted(text, names) is not None for text in texts) >= _LEAST * len(texts):
            return column
    return 0


def _parted(text: str, names: Names) -> tuple[str, str] | None:
    """Count and name in one text; ``None`` unless both are there and the name is known."""
    for count, name in _splits(text):
        if knows(name, names):
            return count, name
    return None


def _splits(cell: str) -> list[tuple[str, str]]:
    """Counts and names a text may hold; no name begins with a figure: ``10 x 5 Tridacna maxima`` is for a person."""
    text, found = plain_digits(cell).strip(), []
    if (times := _TIMES.fullmatch(text)) is not None:
        found.append((times[1] or times[4], times[2] or times[3]))
    if (first := _FIRST.fullmatch(text)) is not None and _measures(first[2]):
        found.append((f"{first[1]} {first[2]}", first[3]))
    if (last := _LAST.fullmatch(text)) is not None and _measures(last[3]):
        found.append((f"{last[2]} {last[3]}", last[1]))
    parts = [(count, name.strip(" ,;:(-–")) for count, name in found]
    return [(count, name) for count, name in parts if name and not name[0].isdigit()]


def _measures(word: str | None) -> bool:
    return word is not None and bare(word).strip(" .()/").casefold() in MEASURES
