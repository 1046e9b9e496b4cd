"""The two binary kinds of workbook, written from the published record layouts for the tests: XLS (BIFF8) and XLSB."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Sequence
from typing import Any

_SECTOR = 512
_END, _FAT, _FREE = 0xFFFFFFFE, 0xFFFFFFFD, 0xFFFFFFFF


def xls_of(rows: Sequence[Sequence[Any]]) -> bytes:
    """Rows as an XLS workbook of one sheet."""
    start = struct.pack("<HHHHII", 0x0600, 0x0005, 0x0DBB, 0x07CC, 0, 6)
    name = b"\x04\x00List"
    opening = _record(0x0809, start)
    head = len(opening) + 4 + 4 + 2 + len(name) + 4
    sheet = _record(0x0809, struct.pack("<HHHHII", 0x0600, 0x0010, 0x0DBB, 0x07CC, 0, 6))
    for number, row in enumerate(rows):
        for column, value in enumerate(row):
            if isinstance(value, (int, float)):
                sheet += _record(0x0203, struct.pack("<HHHd", number, column, 0, float(value)))
            elif value:
                text = str(value).encode("utf-16-le")
                sheet += _record(0x0204, struct.pack("<HHHHB", number, column, 0, len(text) // 2, 1) + text)
    sheet += _record(0x000A, b"")
    bound = _record(0x0085, struct.pack("<IH", head, 0) + name)
    stream = opening + bound + _record(0x000A, b"") + sheet
    return _compound(stream.ljust(4096, b"\0"))


def _record(kind: int, body: bytes) -> bytes:
    return struct.pack("<HH", kind, len(body)) + body


def _compound(stream: bytes) -> bytes:
    """A compound file that holds one stream named Workbook."""
    stream += b"\0" * (-len(stream) % _SECTOR)
    sectors = len(stream) // _SECTOR
    fat = [_FAT, _END, *range(3, sectors + 2), _END]
    fat += [_FREE] * (_SECTOR // 4 - len(fat))
    assert len(fat) == _SECTOR // 4, "one sector of FAT is enough for the tests"
    head = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 16 + struct.pack("<HHHHH", 0x3E, 3, 0xFFFE, 9, 6) + b"\0" * 6
    head += struct.pack("<IIIIIIIII", 0, 1, 1, 0, 4096, _END, 0, _END, 0) + struct.pack("<I", 0) + b"\xff" * 432
    entries = _entry("Root Entry", 5, 1, _END, 0) + _entry("Workbook", 2, _FREE, 2, len(stream))
    entries += (b"\0" * 68 + b"\xff" * 12 + b"\0" * 48) * 2
    return head + struct.pack(f"<{len(fat)}I", *fat) + entries + stream


def _entry(name: str, kind: int, child: int, start: int, size: int) -> bytes:
    text = (name + "\0").encode("utf-16-le")
    body = text.ljust(64, b"\0") + struct.pack("<HBB", len(text), kind, 1) + struct.pack("<III", _FREE, _FREE, child)
    return body + b"\0" * 36 + struct.pack("<IQ", start, size)


def xlsb_of(rows: Sequence[Sequence[Any]]) -> bytes:
    """Rows as an XLSB workbook of one sheet."""
    sheet = (
        _binary(129, b"") + _binary(148, struct.pack("<IIII", 0, len(rows), 0, max(map(len, rows)))) + _binary(145, b"")
    )
    for number, row in enumerate(rows):
        sheet += _binary(0, struct.pack("<IIHBBBI", number, 0, 300, 0, 0, 0, 0))
        for column, value in enumerate(row):
            place = struct.pack("<II", column, 0)
            if isinstance(value, (int, float)):
                sheet += _binary(5, place + struct.pack("<d", float(value)))
            elif value:
                sheet += _binary(6, place + _text(str(value)))
    sheet += _binary(146, b"") + _binary(130, b"")
    book = (
        _binary(131, b"") + _binary(143, b"") + _binary(156, struct.pack("<II", 0, 1) + _text("rId1") + _text("List"))
    )
    book += _binary(144, b"") + _binary(132, b"")
    relations = (
        '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Id="rId1" Target="worksheets/sheet1.bin" '
        'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet"/></Relationships>'
    )
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.bin", book)
        archive.writestr("xl/_rels/workbook.bin.rels", relations)
        archive.writestr("xl/worksheets/sheet1.bin", sheet)
    return buffer.getvalue()


def _text(text: str) -> bytes:
    return struct.pack("<I", len(text)) + text.encode("utf-16-le")


def _binary(kind: int, body: bytes) -> bytes:
    head = bytes([kind]) if kind < 0x80 else bytes([kind & 0x7F | 0x80, kind >> 7])
    size, left = b"", len(body)
    while left > 0x7F:
        size += bytes([left & 0x7F | 0x80])
        left >>= 7
    return head + size + bytes([left]) + body
