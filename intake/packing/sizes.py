"""The size of one animal as a packing list writes it, to millimetres; what is not certain is asked."""

from __future__ import annotations

import re
from typing import Literal

from intake.errors import BadInput, Finding
from intake.packing.asking import Inquiry, Question, slug
from intake.packing.figures import DecimalMark
from intake.packing.grid import Cell
from intake.units import length_range_mm

__all__ = ["SizeReading", "size_in_name", "size_of"]

SMALLEST_MM, LARGEST_MM = 1.0, 1500.0
"""Sizes beyond these are taken for a slip: nothing sold alive in bags is smaller or larger (common practice)."""

UNUSUAL_MM = 400.0
"""A bare size above this is confirmed once: millimetres under a heading in cm look like this (common practice)."""

_BARE = re.compile(r"[\d\s.,/½¼¾⅛⅜⅝⅞⅓⅔–—-]+|\d.*\bto\b[\s\d.,]*", re.IGNORECASE)
_IN_NAME = re.compile(
    r"\d[\d.,/½¼¾ ]*(?:\s*(?:mm|cm|in|inch|\")?\s*(?:-|–|to)\s*\d[\d.,/½¼¾ ]*)?\s*"
    r"(?:mm\b|cm\b|inch(?:es)?\b|in\b|[\"″”])",
    re.IGNORECASE,
)

Unit = Literal["", "mm", "cm", "m", "in", "ft"]


class SizeReading:
    """How sizes of one list are read: its unit where cells carry none, and its decimal mark.

    Parameters
    ----------
    unit
        Unit of the heading or remembered for the supplier, empty when neither says.
    mark
        Decimal mark found for the list; a size that allows only the other mark is read with the other.
    """

    def __init__(self, unit: str, mark: DecimalMark, inquiry: Inquiry, samples: tuple[str, ...] = ()) -> None:
        self.unit, self.mark, self.inquiry, self.samples = unit, mark, inquiry, samples

    def unit_of_bare(self, cell: Cell) -> str:
        """Unit of a size written without one; asked once for the whole list."""
        if self.unit:
            return self.unit
        shown = ", ".join(self.samples) or cell.text
        answer = self.inquiry.ask(
            Question("size-unit", f"sizes such as {shown} carry no unit", ("cm", "mm", "in"), where=cell.address)
        )
        self.unit = answer
        return answer

    def read(self, text: str, unit: str) -> tuple[float, float] | None:
        """Both ends in mm, or ``None`` when the text is no size."""
        marks: tuple[DecimalMark, ...] = (self.mark, "," if self.mark == "." else ".")
        for mark in marks:
            try:
                return length_range_mm(text, unit, mark)
            except BadInput:
                continue
        return None


def size_of(cell: Cell, written: str, reading: SizeReading) -> tuple[float, float] | None:
    """Both ends of a line's size in mm; ``None`` while something about it is open.

    Parameters
    ----------
    cell
        The size cell; when it is empty the name is searched for a size, and then the size is asked.
    written
        The name as written.
    """
    inquiry = reading.inquiry
    if cell.kind in ("date", "other"):
        inquiry.fault(
            Finding(
                cell.address,
                cell.text,
                "a size; the spreadsheet turned a value like 4-5 into a date",
                "Format the column as text and type the size again.",
            )
        )
        return None
    if cell.value is None:
        return _unwritten(cell, written, reading)
    bare = bool(_BARE.fullmatch(cell.text))
    unit = reading.unit_of_bare(cell) if bare else reading.unit
    if bare and not unit:
        return None
    size = reading.read(cell.text, unit if bare else "")
    if size is None:
        size = _asked(f"size:{slug(cell.text)}", f"{cell.text!r} as a size", cell, reading)
    if size is not None and bare and size[1] > UNUSUAL_MM:
        what = f"{cell.address} says {cell.text}, read as {size[1]:g} mm; is the unit {unit} right for sizes like this?"
        inquiry.ask(Question("large-sizes", what, ("as-read",), where=cell.address))
    return _sane(size, cell, inquiry)


def _unwritten(cell: Cell, written: str, reading: SizeReading) -> tuple[float, float] | None:
    named = size_in_name(written)
    if named:
        size = reading.read(named, "")
        if size is not None:
            reading.inquiry.note(f"size {named!r} taken from the name in row {cell.row}")
            return _sane(size, cell, reading.inquiry)
    what = f"no size for {written!r} (row {cell.row})"
    return _sane(_asked(f"size:{slug(written)}", what, cell, reading), cell, reading.inquiry)


def size_in_name(written: str) -> str:
    """A size with its unit that is in a name, such as ``Tridacna maxima 4-5 cm``; empty when there is none."""
    found = _IN_NAME.search(written[:200])
    return found[0] if found else ""


def _asked(key: str, what: str, cell: Cell, reading: SizeReading) -> tuple[float, float] | None:
    inquiry = reading.inquiry
    answer = inquiry.ask(
        Question(key, f"{what}: how large is one animal?", (), "a size with its unit, such as 4-5 cm", cell.address)
    )
    if not answer:
        return None
    size = reading.read(answer, "")
    if size is None:
        inquiry.fault(Finding(f"--answer {key}", answer, "a size with its unit, such as 4-5 cm"))
    return size


def _sane(size: tuple[float, float] | None, cell: Cell, inquiry: Inquiry) -> tuple[float, float] | None:
    if size is not None and not (size[0] >= SMALLEST_MM and size[1] <= LARGEST_MM):
        inquiry.fault(
            Finding(
                cell.address,
                f"{cell.text} ({size[1]:g} mm)",
                f"a size of {SMALLEST_MM:g} to {LARGEST_MM:g} mm",
                "Check the unit of the size.",
            )
        )
        return None
    return size
