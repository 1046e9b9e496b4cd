"""Cells with addresses: what a spreadsheet of any kind becomes before anyone tries to understand it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from functools import cached_property
from typing import Literal

__all__ = ["Cell", "Grid", "Kind", "Merge", "Sheet", "column_letters", "column_number", "plain_digits"]

Kind = Literal["csv", "xlsx", "xlsb", "xls", "ods", "html", "pdf", "text"]
Value = str | Decimal | datetime | time | bool | None

_SPACES = re.compile(r"\s+")
# Control characters, zero-width signs, marks that turn the direction of writing, and the byte-order mark.
_UNSEEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff\ufff9-\ufffc]")
_MOST_MERGED = 200_000
_LONGEST_CELL = 2000  # characters kept of one cell


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell.

    Attributes
    ----------
    row, column
        Counted from 1, as on the sheet.
    text
        What a person sees, cleaned of control characters and doubled spaces; empty for an empty cell.
    value
        Typed content: text, number as ``Decimal``, moment, time of day, yes/no; ``None`` for an empty cell.
    at
        Address in the file where it differs from row and column: the cell was laid under another header.
    """

    row: int
    column: int
    text: str = ""
    value: Value = None
    at: str = ""

    @property
    def address(self) -> str:
        """Address as a spreadsheet writes it: ``B7``."""
        return self.at or f"{column_letters(self.column)}{self.row}"

    @property
    def kind(self) -> Literal["empty", "text", "number", "date", "other"]:
        """What the cell holds."""
        if self.value is None:
            return "empty"
        if isinstance(self.value, bool):
            return "other"
        if isinstance(self.value, str):
            return "text"
        if isinstance(self.value, Decimal):
            return "number"
        return "date"


@dataclass(frozen=True, slots=True)
class Merge:
    """Merged cells, rows and columns counted from 1, both ends included."""

    top: int
    left: int
    bottom: int
    right: int


@dataclass(frozen=True)
class Sheet:
    """One sheet of a workbook, or the whole of a CSV file.

    Attributes
    ----------
    rows
        Raw values row by row, ragged; cells are made from them when asked for.
    merges
        Merged ranges.
    visible
        Whether the sheet is shown to someone who opens the file.
    origins
        Sheet name and row of each row in the file, for a sheet put together from several; empty: its own.
    hidden, struck
        Rows hidden, and rows whose text is struck out.
    unsaved
        Cells with a formula whose result was never saved.
    turned
        Whether it lay on its side in the file: each row here is a column there.
    """

    name: str
    rows: tuple[tuple[object, ...], ...]
    merges: tuple[Merge, ...] = ()
    visible: bool = True
    origins: tuple[tuple[str, int], ...] = ()
    hidden: frozenset[int] = frozenset()
    struck: frozenset[int] = frozenset()
    unsaved: frozenset[tuple[int, int]] = frozenset()
    turned: bool = False

    def origin(self, row: int) -> tuple[str, int]:
        """Sheet name and row in the file of a row."""
        return self.origins[row - 1] if 0 < row <= len(self.origins) else (self.name, row)

    def place(self, row: int) -> str:
        """A row as messages name it: ``row 7``, with its sheet where there are several; ``column C`` of a turned one."""
        if self.turned:
            return f"column {column_letters(row)}"
        sheet, number = self.origin(row)
        return f"row {number}" if sheet == self.name or not self.origins else f"{sheet}, row {number}"

    @cached_property
    def _kept(self) -> dict[int, tuple[Cell, ...]]:
        """Rows whose cells were made once; a list is looked at many times."""
        return {}

    def _row(self, row: int) -> tuple[Cell, ...]:
        """The cells of a row as far as it is filled."""
        made = self._kept.get(row)
        if made is None:
            raw = self.rows[row - 1] if 1 <= row <= len(self.rows) else ()
            made = tuple(_cell(row, column, value) for column, value in enumerate(raw, start=1))
            self._kept[row] = made
        return made

    @cached_property
    def width(self) -> int:
        """Columns of the widest row."""
        return max((len(row) for row in self.rows), default=0)

    def cell(self, row: int, column: int) -> Cell:
        """The cell at a row and column counted from 1; empty outside the sheet."""
        cells = self._row(row)
        if 1 <= column <= len(cells) and cells[column - 1].value is not None:
            return cells[column - 1]
        moved = 0 < row <= len(self.origins) and self.origins[row - 1][1] != row
        found = cells[column - 1] if 1 <= column <= len(cells) else Cell(row, column)
        return (
            Cell(row, column, at=f"{column_letters(column)}{self.origins[row - 1][1]}")
            if moved and not found.at
            else found
        )

    def cells(self, row: int) -> tuple[Cell, ...]:
        """All cells of a row, empty ones too."""
        return tuple(self.cell(row, column) for column in range(1, self.width + 1))

    def filled(self, row: int) -> tuple[Cell, ...]:
        """The cells of a row that hold something."""
        return tuple(cell for cell in self._row(row) if cell.value is not None)

    def covered(self) -> dict[tuple[int, int], tuple[int, int]]:
        """Row and column of every cell a merge hides → row and column of the cell that shows instead."""
        hidden: dict[tuple[int, int], tuple[int, int]] = {}
        for merge in self.merges:
            for row in range(merge.top, min(merge.bottom, len(self.rows)) + 1):
                for column in range(merge.left, min(merge.right, merge.left + 20) + 1):
                    hidden[row, column] = (merge.top, merge.left)
            if len(hidden) > _MOST_MERGED:
                break
        return hidden

    def numbers(self) -> Iterator[int]:
        """Row numbers, from 1."""
        return iter(range(1, len(self.rows) + 1))


@dataclass(frozen=True, slots=True)
class Grid:
    """A file read into cells.

    Attributes
    ----------
    file
        Name as it came, for messages.
    kind
        What the file is, by its content.
    sha256
        Digest of the bytes, by which a list seen before is known again.
    evidence
        How it was read: encoding, delimiter, control characters removed.
    encodings
        Of a text: encodings that fit equally well, when there are several.
    samples
        What the first foreign words of the text look like in each of them.
    """

    file: str
    kind: Kind
    sha256: str
    sheets: tuple[Sheet, ...]
    evidence: tuple[str, ...] = ()
    encodings: tuple[str, ...] = ()
    samples: tuple[str, ...] = ()


def column_letters(column: int) -> str:
    """Letters of a column counted from 1: 1 → ``A``, 27 → ``AA``."""
    letters = ""
    while column > 0:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def column_number(letters: str) -> int:
    """Number of a column, from 1: ``A`` → 1; 0 when the text is no column of one to three letters."""
    if not re.fullmatch(r"[A-Za-z]{1,3}", letters, re.ASCII):
        return 0
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - ord("A") + 1
    return number


def clean(text: str) -> str:
    """Text without control and zero-width characters, with single spaces."""
    if text.isascii() and text.isprintable() and "  " not in text and len(text) <= _LONGEST_CELL:
        return text.strip()
    return _SPACES.sub(" ", _UNSEEN.sub("", text[:_LONGEST_CELL])).strip()


def unseen_in(text: str) -> int:
    """How many control and zero-width characters a text holds (line ends and tabs are not counted)."""
    return len(_UNSEEN.findall(text.replace("\r", "")))


_DIGITS = {ord(sign): str(unicodedata.decimal(sign)) for sign in map(chr, range(0x660, 0x10000)) if sign.isdecimal()}
_DIGITS |= {0x66B: ".", 0x66C: ",", 0xFF0E: ".", 0xFF0C: ",", 0xFF0D: "-", 0x2212: "-"}


def plain_digits(text: str) -> str:
    """Digits of any script as 0 to 9, with the decimal marks and minus signs written beside them."""
    return text if text.isascii() else text.translate(_DIGITS)


def _cell(row: int, column: int, raw: object) -> Cell:
    if raw is None:
        return Cell(row, column)
    if isinstance(raw, Decimal):
        return Cell(row, column, format(raw, "f"), raw)
    if isinstance(raw, Cell):
        return Cell(row, column, raw.text, raw.value, raw.address)
    if isinstance(raw, bool):
        return Cell(row, column, "TRUE" if raw else "FALSE", raw)
    if isinstance(raw, int):
        return Cell(row, column, str(raw), Decimal(raw))
    if isinstance(raw, float):
        return _number(row, column, raw)
    if isinstance(raw, datetime):
        return Cell(row, column, raw.isoformat(" ", "minutes"), raw.replace(tzinfo=None))
    if isinstance(raw, date):
        return Cell(row, column, raw.isoformat(), datetime(raw.year, raw.month, raw.day))  # noqa: DTZ001  # as written
    if isinstance(raw, time):
        return Cell(row, column, raw.isoformat("minutes"), raw)
    text = clean(str(raw))
    return Cell(row, column, text, text or None)


def _number(row: int, column: int, raw: float) -> Cell:
    if raw != raw or raw in (float("inf"), float("-inf")):
        return Cell(row, column)
    # Spreadsheets keep fifteen significant digits; the binary tail beyond them is noise.
    number = Decimal(format(raw, ".15g"))
    if number == number.to_integral_value() and abs(number) < Decimal(10) ** 15:
        number = number.quantize(Decimal(1))
    return Cell(row, column, format(number, "f") if abs(number) < Decimal(10) ** 15 else str(number), number)
