"""The XML and binary parts of a workbook as they stream past: how far cells reach, what is hidden, struck or unsaved."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol
from xml.parsers import expat

from intake.errors import BadInput, Finding
from intake.packing.grid import Merge, column_number

__all__ = [
    "MAX_CELLS",
    "MAX_COLUMNS",
    "MAX_ROWS",
    "NARROW",
    "READ_KINDS",
    "SAVE",
    "SPLIT",
    "Part",
    "Shape",
    "Walker",
    "walker_for",
]

MAX_ROWS = 50_000
MAX_COLUMNS = 400
MAX_CELLS = 2_000_000
READ_KINDS = "a list as XLSX, XLSB, XLS, ODS, CSV, PDF with text or web table"
SPLIT = "Ask for one list for each shipment, or delete what is no list."
NARROW = "Delete what stands right of the list, save it, and try again."
SAVE = "Save it from the spreadsheet program as .xlsx, .ods or .csv and try again."


@dataclass(slots=True)
class Part:
    """What one sheet holds beside its values.

    Attributes
    ----------
    hidden
        Rows not shown.
    unsaved
        Row and column of cells with a formula whose result was never saved; they read as empty.
    styled
        Style of a cell → rows in which a filled cell has it.
    merges
        ODS only: merged ranges.
    """

    hidden: set[int] = field(default_factory=set)
    unsaved: set[tuple[int, int]] = field(default_factory=set)
    styled: dict[str, set[int]] = field(default_factory=dict)
    merges: list[Merge] = field(default_factory=list)

    def style(self, name: str, row: int) -> None:
        """Note the style of a filled cell."""
        if name:
            self.styled.setdefault(name, set()).add(row)


@dataclass(slots=True)
class Shape:
    """What the walk through a workbook brought to light: parts by file name (ODS: by position), styles struck out."""

    parts: dict[str, Part] = field(default_factory=dict)
    struck_styles: set[str] = field(default_factory=set)
    order: list[str] = field(default_factory=list)
    targets: dict[str, str] = field(default_factory=dict)

    def part(self, position: int) -> Part:
        """The sheet at a position, from 0; empty where nothing is known of it."""
        if str(position) in self.parts:
            return self.parts[str(position)]
        name = self.targets.get(self.order[position], "") if position < len(self.order) else ""
        ends = name.lstrip("/")
        return next((part for file, part in self.parts.items() if ends and file.endswith(ends)), Part())

    def struck(self, position: int) -> frozenset[int]:
        """Rows of a sheet with text struck out."""
        styled = self.part(position).styled
        return frozenset(row for style in self.struck_styles for row in styled.get(style, ()))


class Walker(Protocol):
    """Takes in a part piece by piece."""

    def feed(self, piece: bytes) -> None:
        """Walk the next piece."""

    def end(self) -> None:
        """Walk to the end."""


def corrupt(file: str) -> BadInput:
    """The refusal of a damaged workbook."""
    return BadInput(Finding(file, "a damaged workbook", "a workbook that opens", "Ask the supplier to send it again."))


class _Walker:
    """Counts what a sheet holds while its XML streams past."""

    def __init__(self, file: str, shape: Shape) -> None:
        self.file, self.shape = file, shape
        self.row = self.column = self.cells = 0
        self.parser = expat.ParserCreate()
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.stop
        self.parser.StartDoctypeDeclHandler = self.doctype
        self.parser.buffer_text = True

    def feed(self, piece: bytes) -> None:
        """Walk the next piece."""
        try:
            self.parser.Parse(piece, False)
        except BadInput:
            raise
        except (expat.ExpatError, ValueError) as error:
            raise corrupt(self.file) from error

    def end(self) -> None:
        """Walk to the end; an XML that stops early is damaged."""
        try:
            self.parser.Parse(b"", True)
        except BadInput:
            raise
        except (expat.ExpatError, ValueError) as error:
            raise corrupt(self.file) from error

    def doctype(self, *_: object) -> None:
        """Refuse entities: no spreadsheet program writes them."""
        raise BadInput(Finding(self.file, "a document type inside the workbook", "a plain workbook", SAVE))

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Take in the start of an element."""
        raise NotImplementedError

    def stop(self, tag: str) -> None:
        """Take in the end of an element."""
        raise NotImplementedError

    def reach(self, row: int, column: int, cells: int = 1) -> None:
        """Note a filled cell and stop at once when the sheet is larger than any packing list."""
        self.cells += cells
        if row > MAX_ROWS:
            raise BadInput(
                Finding(self.file, f"row {row:,}", f"at most {MAX_ROWS:,} rows", "Delete what is below the list.")
            )
        if column > MAX_COLUMNS:
            raise BadInput(Finding(self.file, f"column {column:,}", f"at most {MAX_COLUMNS} columns", NARROW))
        if self.cells > MAX_CELLS:
            raise BadInput(Finding(self.file, f"more than {MAX_CELLS:,} cells", f"at most {MAX_CELLS:,} cells", SAVE))


class _XlsxWalker(_Walker):
    def __init__(self, file: str, shape: Shape, member: str) -> None:
        super().__init__(file, shape)
        self.part = shape.parts.setdefault(member, Part())
        self.formula = False
        self.style = ""

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Take in the start of an element."""
        name = tag.rpartition(":")[2]
        if name == "row":
            self.row = _whole(attributes.get("r")) or self.row + 1
            self.column = 0
            self.reach(self.row, 1, 0)
            if attributes.get("hidden") in ("1", "true"):
                self.part.hidden.add(self.row)
        elif name == "c":
            self._cell(attributes)
        elif name == "f":
            self.formula = True
        elif name == "v":
            self.part.style(self.style, self.row)
            if self.formula:
                self.parser.CharacterDataHandler = self.value
        elif name == "is":
            self.part.style(self.style, self.row)

    def _cell(self, attributes: dict[str, str]) -> None:
        letters = attributes.get("r", "").rstrip("0123456789")
        row = _whole(attributes.get("r", "")[len(letters) :]) or self.row
        self.column = column_number(letters) or (self.column + 1 if not letters else MAX_COLUMNS + 1)
        self.reach(row, self.column)
        self.formula = False
        self.style = attributes.get("s", "")

    def value(self, text: str) -> None:
        """Note that the formula of the cell has a saved result."""
        self.formula = self.formula and not text.strip()

    def stop(self, tag: str) -> None:
        """Take in the end of an element."""
        name = tag.rpartition(":")[2]
        if name == "v":
            self.parser.CharacterDataHandler = None
        elif name == "c" and self.formula:
            self.part.unsaved.add((self.row, self.column))


class _XlsxBook(_XlsxWalker):
    """The workbook part: names the sheets in order; it may itself be named as a sheet, so it is walked as one too."""

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Take in the start of an element."""
        super().start(tag, attributes)
        if tag.rpartition(":")[2] == "sheet":
            self.shape.order.append(next((value for key, value in attributes.items() if key.endswith(":id")), ""))


class _XlsxStyles(_XlsxWalker):
    """The styles: which cell styles strike their text out."""

    def __init__(self, file: str, shape: Shape, member: str) -> None:
        super().__init__(file, shape, member)
        self.font = self.style_number = -1
        self.struck_fonts: set[int] = set()
        self.inside = ""

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Take in the start of an element."""
        super().start(tag, attributes)
        name = tag.rpartition(":")[2]
        if name in ("fonts", "cellXfs", "cellStyleXfs", "dxfs"):
            self.inside = name
        elif name == "font" and self.inside == "fonts":
            self.font += 1
        elif name == "strike" and self.inside == "fonts" and attributes.get("val", "1") not in ("0", "false"):
            self.struck_fonts.add(self.font)
        elif name == "xf" and self.inside == "cellXfs":
            self.style_number += 1
            if _whole(attributes.get("fontId")) in self.struck_fonts:
                self.shape.struck_styles.add(str(self.style_number))


class _Relations(_XlsxWalker):
    """Which part each sheet of the workbook is."""

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Take in the start of an element."""
        super().start(tag, attributes)
        if tag.rpartition(":")[2] == "Relationship":
            self.shape.targets[attributes.get("Id", "")] = attributes.get("Target", "")


class _OdsWalker(_Walker):
    def __init__(self, file: str, shape: Shape) -> None:
        super().__init__(file, shape)
        self.sheet = -1
        self.repeat_rows = 1
        self.style = ""
        self.part = Part()

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Take in the start of an element."""
        name = tag.rpartition(":")[2]
        if name in ("table", "style", "text-properties"):
            self._section(name, attributes)
        elif name == "table-row":
            self.row += 1
            self.column = 0
            self.repeat_rows = _whole(attributes.get("table:number-rows-repeated")) or 1
            if attributes.get("table:visibility") in ("collapse", "filter"):
                self.part.hidden.update(range(self.row, min(self.row + self.repeat_rows, MAX_ROWS)))
        elif name in ("table-cell", "covered-table-cell"):
            self._cells(attributes)

    def _section(self, name: str, attributes: dict[str, str]) -> None:
        if name == "table":
            self.sheet += 1
            self.row = 0
            self.part = self.shape.parts.setdefault(str(self.sheet), Part())
        elif name == "style":
            self.style = attributes.get("style:name", "")
        elif attributes.get("style:text-line-through-style", "none") != "none":
            self.shape.struck_styles.add(self.style)

    def _cells(self, attributes: dict[str, str]) -> None:
        repeat = _whole(attributes.get("table:number-columns-repeated")) or 1
        if "office:value-type" in attributes or "table:formula" in attributes:
            bottom = self.row + self.repeat_rows - 1
            self.reach(bottom, self.column + repeat, repeat * self.repeat_rows)
            self.part.style(attributes.get("table:style-name", ""), self.row)
        self._merge(attributes)
        self.column += repeat

    def _merge(self, attributes: dict[str, str]) -> None:
        down = _whole(attributes.get("table:number-rows-spanned")) or 1
        across = _whole(attributes.get("table:number-columns-spanned")) or 1
        if down * across > 1:
            top, left = self.row, self.column + 1
            self.part.merges.append(Merge(top, left, top + down - 1, left + across - 1))

    def stop(self, tag: str) -> None:
        """Take in the end of an element."""
        if tag.rpartition(":")[2] == "table-row":
            self.row += self.repeat_rows - 1


class _BinaryWalker:
    """A binary sheet: records of a kind, a length and their bytes; row heads and cells say how far they reach."""

    def __init__(self, file: str) -> None:
        self.file, self.rest, self.cells = file, b"", 0

    def feed(self, piece: bytes) -> None:
        """Walk the next piece."""
        data, at = self.rest + piece, 0
        while True:
            record = self._record(data, at)
            if record is None:
                break
            kind, start, at = record
            number = int.from_bytes(data[start : start + 4], "little")
            if kind == 0 and number >= MAX_ROWS:
                raise BadInput(Finding(self.file, f"row {number + 1:,}", f"at most {MAX_ROWS:,} rows", SAVE))
            if 1 <= kind <= 11:
                self.cells += 1
                if number >= MAX_COLUMNS or self.cells > MAX_CELLS:
                    raise BadInput(
                        Finding(self.file, f"column {number + 1:,}", f"at most {MAX_COLUMNS} columns", NARROW)
                    )
        self.rest = data[at:]
        if len(self.rest) > MAX_CELLS:
            raise corrupt(self.file)

    @staticmethod
    def _record(data: bytes, at: int) -> tuple[int, int, int] | None:
        """Kind, start of the content and end of the record at a position; ``None`` while it is not whole."""
        numbers = []
        for longest in (2, 4):
            value = 0
            for place in range(longest):
                if at >= len(data):
                    return None
                value |= (data[at] & 0x7F) << (7 * place)
                at += 1
                if not data[at - 1] & 0x80:
                    break
            numbers.append(value)
        return (numbers[0], at, at + numbers[1]) if at + numbers[1] <= len(data) else None

    def end(self) -> None:
        """Nothing is left to do."""


def walker_for(name: str, kind: str, file: str, shape: Shape) -> Walker | None:
    """The walker of a member, or ``None`` for one that no reader opens as a sheet."""
    if kind == "ods":
        return _OdsWalker(file, shape) if name == "content.xml" else None
    lower = name.lower()
    if lower == "xl/_rels/workbook.xml.rels":
        return _Relations(file, shape, name)
    if kind == "xlsb" and lower.endswith(".bin"):
        return _BinaryWalker(file)
    if not lower.endswith(".xml"):
        return None
    # Any XML part can be named as a sheet by the workbook, wherever it lies; so all of them are walked.
    walkers = {"xl/workbook.xml": _XlsxBook, "xl/styles.xml": _XlsxStyles}
    return walkers.get(lower, _XlsxWalker)(file, shape, name)


def _whole(text: str | None) -> int:
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 12 else 0
