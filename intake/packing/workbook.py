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

from intake.errors import BadInput, Finding, quoted
from intake.packing.grid import Kind
from intake.packing.workbook_walk import (
    MAX_CELLS,
    MAX_COLUMNS,
    MAX_ROWS,
    READ_KINDS,
    SAVE,
    SPLIT,
    Shape,
    Walker,
    corrupt,
    walker_for,
)

__all__ = ["MAX_BYTES", "MAX_CELLS", "MAX_COLUMNS", "MAX_ROWS", "Shape", "checked_workbook", "kind_of"]

MAX_BYTES = 50_000_000
"""Largest file taken, as it comes."""
MAX_INFLATED = 300_000_000
MAX_RATIO = 200
"""Largest growth on inflating of a member above a megabyte; real sheets stay below about 40 (measured on our own)."""
MAX_ENTRIES = 2_000
_TARGET = re.compile(rb"""Target\s*=\s*["']([^"']*)["']""")
_CHUNK = 1 << 18
_SMALL = 1_000_000

_MAGIC = (
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"II*\x00", "a picture"),
    (b"MM\x00*", "a picture"),
    (b"{\\rtf", "a text document"),
    (b"\x1f\x8b", "a compressed file"),
    (b"7z\xbc\xaf", "a compressed file"),
    (b"Rar!", "a compressed file"),
    (b"SQLite format 3", "a database"),
)
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


def kind_of(data: bytes, file: str) -> Kind:
    """What a file is, by its content and not by its name.

    Raises
    ------
    BadInput
        It is empty, too large, encrypted, or of a kind that holds no table.
    """
    if not data.strip(b"\x00 \r\n\t\xef\xbb\xbf\xff\xfe"):
        raise BadInput(Finding(file, "0 filled bytes", "a packing list", "Ask the supplier to send it again."))
    if len(data) > MAX_BYTES:
        raise BadInput(Finding(file, f"{len(data):,} bytes", f"at most {MAX_BYTES:,} bytes", SPLIT))
    if data.startswith(_OLE):
        if "EncryptedPackage".encode("utf-16-le") in data:
            raise _locked(file)
        return "xls"
    head = data[:512].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    for magic, what in _MAGIC:
        if head.startswith(magic.lower()):
            raise BadInput(Finding(file, what, READ_KINDS, SAVE))
    if head.startswith(b"%pdf"):
        return "pdf"
    if head.startswith((b"<!doctype html", b"<html", b"<table", b"<meta", b"<head")):
        return "html"
    if head.startswith(b"<"):
        raise BadInput(Finding(file, "an XML file", READ_KINDS, SAVE))
    return _zip_kind(data, file) if data.startswith(b"PK") else "csv"


def _zip_kind(data: bytes, file: str) -> Kind:
    archive = _opened(data, file)
    names = set(archive.namelist())
    if "xl/workbook.xml" in names:
        return "xlsx"
    if "xl/workbook.bin" in names:
        return "xlsb"
    if "content.xml" in names and "mimetype" in names:
        for _, piece in _inflated(data, archive.getinfo("mimetype"), file):
            if b"opendocument.spreadsheet" in piece:
                return "ods"
    raise BadInput(Finding(file, "an archive without a spreadsheet in it", READ_KINDS, SAVE))


def checked_workbook(data: bytes, kind: Kind, file: str) -> Shape:
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
        raise BadInput(Finding(file, f"{len(members):,} parts inside", f"at most {MAX_ENTRIES:,}", SAVE))
    if sum(member.compress_size for member in members) > len(data):
        raise BadInput(Finding(file, "parts that overlap", "a sound workbook", SAVE))
    shape = Shape()
    total = 0
    for member in members:
        if member.flag_bits & 1:
            raise _locked(file)
        walker = walker_for(member.filename, kind, file, shape)
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
                raise corrupt(file)
            text += piece
        for target in _TARGET.findall(text):
            if not target.lower().endswith((b".xml", b"/vbaproject.bin")) and target.lower() != b"vbaproject.bin":
                part = quoted(target.decode("utf-8", "replace"))
                raise BadInput(Finding(file, f"a sheet stored as {part}", "sheets in .xml parts", SAVE))


def _walked(data: bytes, member: zipfile.ZipInfo, walker: Walker | None, file: str, total: int) -> int:
    before = total
    for size, piece in _inflated(data, member, file):
        total = before + size
        if total > MAX_INFLATED or (size > _SMALL and size > MAX_RATIO * max(member.compress_size, 1)):
            raise BadInput(
                Finding(file, f"{size:,} bytes in {quoted(member.filename)}", "a workbook of ordinary size", SAVE)
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
        raise corrupt(file) from error


def _inflated(data: bytes, member: zipfile.ZipInfo, file: str) -> Iterator[tuple[int, bytes]]:
    """Bytes so far and the next piece, from the compressed bytes themselves, whatever the directory says of sizes."""
    head = data[member.header_offset : member.header_offset + 30]
    if len(head) < 30 or not head.startswith(b"PK\x03\x04"):
        raise corrupt(file)
    start = member.header_offset + 30 + int.from_bytes(head[26:28], "little") + int.from_bytes(head[28:30], "little")
    packed = memoryview(data)[start : start + member.compress_size]
    if member.compress_type == zipfile.ZIP_STORED:
        yield len(packed), bytes(packed)
        return
    if member.compress_type != zipfile.ZIP_DEFLATED:
        raise BadInput(Finding(file, "an unusual way of compressing", "a workbook compressed by deflate", SAVE))
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
        raise corrupt(file) from error


def _locked(file: str) -> BadInput:
    return BadInput(Finding(file, "protected by a password", "a file that opens without one", SAVE))
