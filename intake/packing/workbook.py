"""Is this file a workbook that is safe to open: kind, password, size, shape, all found out before any parser runs.

A workbook is a zip of XML.  The sizes written in its directory can lie, so every member is inflated here once, counted
and thrown away, and the sheets' own XML is walked to see how far their cells reach.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal
from xml.parsers import expat

from intake.errors import BadInput, Finding
from intake.packing.grid import Merge, column_number

__all__ = ["MAX_BYTES", "MAX_COLUMNS", "MAX_ROWS", "Shape", "checked_workbook", "kind_of"]

MAX_BYTES = 50_000_000
"""Largest file taken, as it comes."""
MAX_ROWS = 200_000
MAX_COLUMNS = 400
MAX_CELLS = 2_000_000
MAX_INFLATED = 300_000_000
MAX_RATIO = 200
"""Largest growth on inflating of a member above a megabyte; real sheets stay below about 40 (measured on our own)."""
MAX_ENTRIES = 2_000
_TARGET = re.compile(rb"""Target\s*=\s*["']([^"']*)["']""")
_CHUNK = 1 << 18
_SMALL = 1_000_000

_MAGIC = (
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"II*\x00", "a picture"),
    (b"MM\x00*", "a picture"),
    (b"{\\rtf", "a text document"),
    (b"\x1f\x8b", "a compressed file"),
    (b"7z\xbc\xaf", "a compressed file"),
    (b"Rar!", "a compressed file"),
    (b"<!DOCTYPE", "a web page"),
    (b"<html", "a web page"),
    (b"<?xml", "an XML file"),
    (b"SQLite format 3", "a database"),
)
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_SAVE = "Save it from the spreadsheet program as .xlsx, .ods or .csv and try again."


@dataclass(slots=True)
class Shape:
    """What the walk through a workbook's XML brought to light.

    Attributes
    ----------
    merges
        ODS only: merged ranges by position of the sheet.
    formulas_without_value
        Cells holding a formula whose result was never saved; they read as empty.
    hidden_rows
        Rows hidden in a sheet; they are read like any other.
    """

    merges: dict[int, list[Merge]] = field(default_factory=dict)
    formulas_without_value: int = 0
    hidden_rows: int = 0


def kind_of(data: bytes, file: str) -> Literal["csv", "xlsx", "ods"]:
    """What a file is, told by its content and not by its name.

    Raises
    ------
    BadInput
        It is empty, too large, encrypted, or of a kind that holds no table.
    """
    if not data.strip(b"\x00 \r\n\t\xef\xbb\xbf\xff\xfe"):
        raise BadInput(Finding(file, "0 filled bytes", "a packing list", "Ask the supplier to send it again."))
    if len(data) > MAX_BYTES:
        raise BadInput(Finding(file, f"{len(data):,} bytes", f"at most {MAX_BYTES:,} bytes"))
    if data.startswith(_OLE):
        if "EncryptedPackage".encode("utf-16-le") in data:
            raise _locked(file)
        raise BadInput(Finding(file, "an old .xls workbook", "an XLSX, ODS or CSV file", _SAVE))
    head = data[:512].lstrip()
    for magic, what in _MAGIC:
        if head[: len(magic)].lower() == magic.lower():
            raise BadInput(Finding(file, what, "an XLSX, ODS or CSV file", _SAVE))
    if not data.startswith(b"PK"):
        return "csv"
    return _zip_kind(data, file)


def _zip_kind(data: bytes, file: str) -> Literal["xlsx", "ods"]:
    archive = _opened(data, file)
    names = set(archive.namelist())
    if "xl/workbook.xml" in names:
        return "xlsx"
    if "content.xml" in names and "mimetype" in names:
        for _, piece in _inflated(data, archive.getinfo("mimetype"), file):
            if b"opendocument.spreadsheet" in piece:
                return "ods"
    raise BadInput(Finding(file, "an archive without a spreadsheet in it", "an XLSX, ODS or CSV file", _SAVE))


def checked_workbook(data: bytes, kind: Literal["xlsx", "ods"], file: str) -> Shape:
    """Walk a workbook without keeping it.

    Raises
    ------
    BadInput
        A password, a corrupt member, a zip bomb, or more rows, columns or cells than a packing list has.
    """
    archive = _opened(data, file)
    members = archive.infolist()
    if kind == "xlsx":
        _only_xml_sheets(data, archive, file)
    if len(members) > MAX_ENTRIES:
        raise BadInput(Finding(file, f"{len(members):,} parts inside", f"at most {MAX_ENTRIES:,}"))
    if sum(member.compress_size for member in members) > len(data):
        raise BadInput(Finding(file, "parts that overlap", "a sound workbook", _SAVE))
    shape = Shape()
    total = 0
    for member in members:
        if member.flag_bits & 1:
            raise _locked(file)
        walker = _walker(member.filename, kind, file, shape)
        total = _walked(data, member, walker, file, total)
    return shape


def _only_xml_sheets(data: bytes, archive: zipfile.ZipFile, file: str) -> None:
    """Refuse a workbook that names a part which the walk would not see as one of its sheets."""
    for member in archive.infolist():
        if member.filename.lower() != "xl/_rels/workbook.xml.rels":
            continue
        text = b""
        for size, piece in _inflated(data, member, file):
            if size > _SMALL:
                raise _corrupt(file)
            text += piece
        for target in _TARGET.findall(text):
            if not target.lower().endswith((b".xml", b"/vbaproject.bin")) and target.lower() != b"vbaproject.bin":
                raise BadInput(Finding(file, target[:60].decode("utf-8", "replace"), "sheets in .xml parts", _SAVE))


def _walked(data: bytes, member: zipfile.ZipInfo, walker: _Walker | None, file: str, total: int) -> int:
    before = total
    for size, piece in _inflated(data, member, file):
        total = before + size
        if total > MAX_INFLATED or (size > _SMALL and size > MAX_RATIO * max(member.compress_size, 1)):
            raise BadInput(
                Finding(file, f"{size:,} bytes in {member.filename[:60]!r}", "a workbook of ordinary size", _SAVE)
            )
        if walker is not None:
            walker.feed(piece)
        elif member.filename == "META-INF/manifest.xml" and b"encryption-data" in piece:
            raise _locked(file)
    if walker is not None:
        walker.end()
    return total


def _opened(data: bytes, file: str) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, ValueError, OSError, OverflowError, NotImplementedError, EOFError) as error:
        raise _corrupt(file) from error


def _inflated(data: bytes, member: zipfile.ZipInfo, file: str) -> Iterator[tuple[int, bytes]]:
    """Bytes so far and the next piece, from the compressed bytes themselves, whatever the directory says of sizes."""
    head = data[member.header_offset : member.header_offset + 30]
    if len(head) < 30 or not head.startswith(b"PK\x03\x04"):
        raise _corrupt(file)
    start = member.header_offset + 30 + int.from_bytes(head[26:28], "little") + int.from_bytes(head[28:30], "little")
    packed = memoryview(data)[start : start + member.compress_size]
    if member.compress_type == zipfile.ZIP_STORED:
        yield len(packed), bytes(packed)
        return
    if member.compress_type != zipfile.ZIP_DEFLATED:
        raise BadInput(Finding(file, "an unusual way of compressing", "a workbook compressed by deflate", _SAVE))
    engine, size, rest = zlib.decompressobj(-15), 0, bytes(packed)
    try:
        while rest and not engine.eof:
            piece = engine.decompress(rest, _CHUNK)
            rest = engine.unconsumed_tail
            size += len(piece)
            yield size, piece
            if not piece and not rest:
                break
    except zlib.error as error:
        raise _corrupt(file) from error


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
            raise _corrupt(self.file) from error

    def end(self) -> None:
        """Walk to the end; an XML that stops early is damaged."""
        try:
            self.parser.Parse(b"", True)
        except BadInput:
            raise
        except (expat.ExpatError, ValueError) as error:
            raise _corrupt(self.file) from error

    def doctype(self, *_: object) -> None:
        """Refuse entities: no spreadsheet program writes them."""
        raise BadInput(Finding(self.file, "a document type inside the workbook", "a plain workbook", _SAVE))

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
            raise BadInput(Finding(self.file, f"row {row:,}", f"at most {MAX_ROWS:,} rows", "Delete what is below."))
        if column > MAX_COLUMNS:
            raise BadInput(Finding(self.file, f"column {column:,}", f"at most {MAX_COLUMNS} columns"))
        if self.cells > MAX_CELLS:
            raise BadInput(Finding(self.file, f"more than {MAX_CELLS:,} cells", f"at most {MAX_CELLS:,} cells"))


class _XlsxWalker(_Walker):
    def __init__(self, file: str, shape: Shape) -> None:
        super().__init__(file, shape)
        self.formula = False

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Take in the start of an element."""
        name = tag.rpartition(":")[2]
        if name == "row":
            self.row = _whole(attributes.get("r")) or self.row + 1
            self.column = 0
            self.reach(self.row, 1, 0)
            if attributes.get("hidden") in ("1", "true"):
                self.shape.hidden_rows += 1
        elif name == "c":
            letters = attributes.get("r", "").rstrip("0123456789")
            row = _whole(attributes.get("r", "")[len(letters) :]) or self.row
            self.column = column_number(letters) or (self.column + 1 if not letters else MAX_COLUMNS + 1)
            self.reach(row, self.column)
            self.formula = False
        elif name == "f":
            self.formula = True
        elif name == "v" and self.formula:
            self.parser.CharacterDataHandler = self.value

    def value(self, text: str) -> None:
        """Note that the formula of the cell has a saved result."""
        self.formula = self.formula and not text.strip()

    def stop(self, tag: str) -> None:
        """Take in the end of an element."""
        name = tag.rpartition(":")[2]
        if name == "v":
            self.parser.CharacterDataHandler = None
        elif name == "c" and self.formula:
            self.shape.formulas_without_value += 1


class _OdsWalker(_Walker):
    def __init__(self, file: str, shape: Shape) -> None:
        super().__init__(file, shape)
        self.sheet = -1
        self.repeat_rows = 1

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Take in the start of an element."""
        name = tag.rpartition(":")[2]
        if name == "table":
            self.sheet += 1
            self.row = 0
        elif name == "table-row":
            self.row += 1
            self.column = 0
            self.repeat_rows = _whole(attributes.get("table:number-rows-repeated")) or 1
            if attributes.get("table:visibility") in ("collapse", "filter"):
                self.shape.hidden_rows += 1
        elif name in ("table-cell", "covered-table-cell"):
            repeat = _whole(attributes.get("table:number-columns-repeated")) or 1
            if "office:value-type" in attributes or "table:formula" in attributes:
                bottom = self.row + self.repeat_rows - 1
                self.reach(bottom, self.column + repeat, repeat * self.repeat_rows)
            self._merge(attributes)
            self.column += repeat

    def _merge(self, attributes: dict[str, str]) -> None:
        down = _whole(attributes.get("table:number-rows-spanned")) or 1
        across = _whole(attributes.get("table:number-columns-spanned")) or 1
        if down * across > 1:
            top, left = self.row, self.column + 1
            self.shape.merges.setdefault(self.sheet, []).append(Merge(top, left, top + down - 1, left + across - 1))

    def stop(self, tag: str) -> None:
        """Take in the end of an element."""
        if tag.rpartition(":")[2] == "table-row":
            self.row += self.repeat_rows - 1


def _walker(name: str, kind: str, file: str, shape: Shape) -> _Walker | None:
    if kind == "ods":
        return _OdsWalker(file, shape) if name == "content.xml" else None
    # Any XML part can be named as a sheet by the workbook, wherever it lies; so all of them are walked.
    return _XlsxWalker(file, shape) if name.lower().endswith(".xml") else None


def _whole(text: str | None) -> int:
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 12 else 0


def _locked(file: str) -> BadInput:
    return BadInput(Finding(file, "protected by a password", "a file that opens without one", _SAVE))


def _corrupt(file: str) -> BadInput:
    return BadInput(Finding(file, "a damaged workbook", "a workbook that opens", "Ask the supplier to send it again."))
