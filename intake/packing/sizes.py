"""The size of one animal as a packing list writes it, to millimetres; what is not certain is asked."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Literal

from intake.errors import BadInput, Finding, quoted
from intake.library.names import Taxon
from intake.packing.asking import Inquiry, Question, slug
from intake.packing.figures import DecimalMark
from intake.packing.grid import Cell, plain_digits
from intake.packing.legends import size_word
from intake.units import length_range_mm

__all__ = ["SizeReading", "size_in_name", "size_of"]

SMALLEST_MM, LARGEST_MM = 1.0, 1500.0
"""Sizes beyond these are taken for a slip: nothing sold alive in bags is smaller or larger (common practice)."""

_SOLD_AT: Mapping[str, tuple[float, float]] = {
    "Tridacna crocea": (8, 160),
    "Tridacna maxima": (8, 420),
    "Tridacna gigas": (8, 1400),
    "clam": (8, 650),
    "stony": (8, 600),
    "soft": (5, 600),
    "zoanthid": (5, 400),
    "corallimorph": (5, 400),
    "anemone": (10, 600),
    "decapod": (3, 400),
    "grazing": (3, 160),
    "echinoderm": (5, 500),
    "fish": (8, 900),
}
"""Sizes in mm at which animals are sold, by name or by the first word of their group (common practice, no source)."""

_BARE = re.compile(r"[\d\s.,/½¼¾⅛⅜⅝⅞⅓⅔–—-]+|\d.*\bto\b[\s\d.,]*", re.IGNORECASE)
_IN_NAME = re.compile(
    r"\d[\d.,/½¼¾ ]*(?:\s*(?:mm|cm|in|inch|\")?\s*(?:-|–|to)\s*\d[\d.,/½¼¾ ]*)?\s*"
    r"(?:mm\b|cm\b|inch(?:es)?\b|in\b|[\"″”])",
    re.IGNORECASE,
)

_LABELLED = re.compile(r"\s*([^\W\d_]{1,8}(?:/[^\W\d_])?)\W+(\d.*?)\)?\s*")
_SLASH = re.compile(r"(\d{1,4})\s*/\s*(\d{1,4})\s*(mm|cm|m|in|inch|inches|[\"″])?\.?", re.IGNORECASE)
_INCH_PARTS = (2, 4, 8, 16)

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

    def __init__(
        self,
        unit: str,
        mark: DecimalMark,
        inquiry: Inquiry,
        samples: tuple[str, ...] = (),
        legend: Mapping[str, tuple[float, float]] | None = None,
    ) -> None:
        self.unit, self.mark, self.inquiry, self.samples = unit, mark, inquiry, samples
        self.legend = legend or {}

    def confirmed(
        self, size: tuple[float, float] | None, cell: Cell, taxon: Taxon | None
    ) -> tuple[float, float] | None:
        """The size, after asking once for all sizes far outside what their kind of animal is sold at."""
        if size is None or taxon is None:
            return size
        low, high = _sold_at(taxon)
        if low <= size[0] and size[1] <= high:
            return size
        what = "These sizes are far from what such animals are sold at. How are they meant?"
        shown = cell.text or "its name"
        case = f"{cell.address} {taxon.accepted} {quoted(shown)} read as {size[1]:g} mm"
        answer = self.inquiry.ask_alike(
            Question("odd-sizes", what, ("as-read", "in-mm", "in-cm"), where=cell.address), case
        )
        if answer in ("in-mm", "in-cm") and cell.value is not None and _BARE.fullmatch(cell.text):
            return self.read(cell.text, answer[3:])
        return size

    def unit_of_bare(self, cell: Cell) -> str:
        """Unit of a size written without one; asked once for the whole list."""
        if self.unit:
            return self.unit
        shown = ", ".join(self.samples) or cell.text
        answer = self.inquiry.ask(
            Question(
                "size-unit",
                f"sizes such as {shown} carry no unit. Which is meant?",
                ("cm", "mm", "in"),
                where=cell.address,
            )
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
                f"{cell.address}, size",
                cell.text,
                "a size; the spreadsheet turned a value like 4-5 into a date",
                "Format the column as text and type the size again.",
            )
        )
        return None
    if cell.value is None:
        return _unwritten(cell, written, reading)
    text = plain_digits(cell.text)
    word = size_word(text)
    if word in reading.legend:
        inquiry.note(
            f"{quoted(cell.text)} is {reading.legend[word][0]:g} to {reading.legend[word][1]:g} mm, as the list says"
        )
        return reading.legend[word]
    labelled = _LABELLED.fullmatch(text)
    if labelled and size_word(labelled[1]):
        text = labelled[2]
    bare = bool(_BARE.fullmatch(text))
    unit = reading.unit_of_bare(cell) if bare else reading.unit
    if bare and not unit:
        return None
    slash = _SLASH.fullmatch(text)
    if slash and int(slash[1]) < int(slash[2]):
        size = _parted_by_slash(slash, unit, cell, reading)
        return _sane(size, cell, inquiry)
    size = reading.read(text, unit if bare else "")
    if size is None:
        size = _asked(f"size:{slug(cell.text)}", f"{quoted(cell.text)} is no size", cell, reading)
    return _sane(size, cell, inquiry)


def _parted_by_slash(found: re.Match[str], unit: str, cell: Cell, reading: SizeReading) -> tuple[float, float] | None:
    """``35/45mm`` is a range; ``3/4`` of a metric unit may be a range or a fraction, and is asked."""
    own = (found[3] or unit or "").lower()
    if own in ("in", "inch", "inches", '"', "″") and int(found[2]) in _INCH_PARTS:
        return reading.read(f"{found[1]}/{found[2]} in", "")
    if int(found[2]) in _INCH_PARTS:
        return _asked(f"size:{slug(found[0])}", f"{quoted(found[0])} may be a fraction or a range", cell, reading)
    return reading.read(f"{found[1]}-{found[2]} {own}", "")


def _sold_at(taxon: Taxon) -> tuple[float, float]:
    kind = taxon.group.split("_")[0]
    return _SOLD_AT.get(taxon.accepted) or _SOLD_AT.get(kind) or (SMALLEST_MM, LARGEST_MM)


def _unwritten(cell: Cell, written: str, reading: SizeReading) -> tuple[float, float] | None:
    named = size_in_name(written)
    if named:
        size = reading.read(named, "")
        if size is not None:
            reading.inquiry.note(f"size {quoted(named)} taken from the name in row {cell.row}")
            return _sane(size, cell, reading.inquiry)
    what = f"no size for {quoted(written)} (row {cell.row})"
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
                f"{cell.address}, size",
                cell.text,
                f"a size of {SMALLEST_MM:g} to {LARGEST_MM:g} mm; it reads as {size[1]:g} mm",
                "Check the unit of the size.",
            )
        )
        return None
    return size
