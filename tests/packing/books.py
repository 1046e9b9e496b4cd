"""Invented packing lists for the tests, built as suppliers send them; no supplier, farm or price here is real."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Any

import openpyxl
from openpyxl.worksheet.worksheet import Worksheet

from intake.farm.site import Supplier
from intake.library import load
from intake.library.names import Names, load_names
from intake.packing import ColumnMap, Understanding, read, understand

LANDS = datetime(2026, 4, 5, 10, 0, tzinfo=UTC)
SUPPLIER = Supplier(id="lagoon", currency="EUR", time_zone="Asia/Jakarta", claim_window_h=24)

CLEAN = """Box No,Scientific name,Size (cm),Qty,Unit price (EUR),Amount
1,Tridacna maxima,4-5,120,4.50,540.00
2,Tridacna crocea,3-4,60,3.85,231.00
3,Acropora tenuis,6,10,12.00,120.00
,Total,,190,,891.00
"""


def csv_of(rows: Sequence[Sequence[object]], delimiter: str = ",") -> bytes:
    """Rows as CSV bytes; cells that hold the delimiter are quoted."""
    lines = []
    for row in rows:
        cells = [f'"{cell}"' if delimiter in str(cell) else str(cell) for cell in row]
        lines.append(delimiter.join(cells))
    return "\n".join(lines).encode()


def xlsx_of(rows: Sequence[Sequence[Any]], also: Callable[[Worksheet], None] | None = None) -> bytes:
    """Rows as an XLSX workbook of one sheet; ``also`` may merge or hide before it is saved."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    sheet.title = "List"
    for row in rows:
        sheet.append(list(row))
    if also is not None:
        also(sheet)
    return saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    """The bytes of a workbook."""
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def ods_of(rows: Sequence[Sequence[Any]], spans: dict[tuple[int, int], tuple[int, int]] | None = None) -> bytes:
    """Rows as an ODS workbook; ``spans`` maps row and column (from 1) to rows and columns spanned."""
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import CoveredTableCell, Table, TableCell, TableRow
    from odf.text import P

    document = OpenDocumentSpreadsheet()
    table = Table(name="List")
    hidden = {
        (row + down, column + across)
        for (row, column), (rows_down, columns_across) in (spans or {}).items()
        for down in range(rows_down)
        for across in range(columns_across)
        if (down, across) != (0, 0)
    }
    for number, row in enumerate(rows, start=1):
        line = TableRow()
        for position, value in enumerate(row, start=1):
            if (number, position) in hidden:
                line.addElement(CoveredTableCell())
                continue
            attributes: dict[str, Any] = {}
            if (number, position) in (spans or {}):
                attributes["numberrowsspanned"], attributes["numbercolumnsspanned"] = (spans or {})[number, position]
            if value in (None, ""):
                line.addElement(TableCell(**attributes))
            elif isinstance(value, (int, float)):
                line.addElement(TableCell(valuetype="float", value=value, **attributes))
            else:
                cell = TableCell(valuetype="string", **attributes)
                cell.addElement(P(text=str(value)))
                line.addElement(cell)
        table.addElement(line)
    document.spreadsheet.addElement(table)
    buffer = io.BytesIO()
    document.write(buffer)
    return buffer.getvalue()


def repacked(data: bytes, member: str, content: bytes) -> bytes:
    """A workbook with one of its parts replaced."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new:
        for each in old.infolist():
            new.writestr(each.filename, content if each.filename == member else old.read(each.filename))
    return buffer.getvalue()


def understood(
    data: bytes | str,
    answers: dict[str, str] | None = None,
    *,
    file: str = "list",
    remembered: ColumnMap | None = None,
    supplier: Supplier = SUPPLIER,
    names: Names | None = None,
) -> Understanding:
    """A list read and understood for the invented supplier, landing on 5 April 2026, 10:00 UTC."""
    return understand(
        read(data.encode() if isinstance(data, str) else data, file),
        supplier=supplier,
        library=load(),
        names=names or load_names(),
        remembered=remembered,
        answers=answers,
        lands=LANDS,
        shipment_id="S1",
    )


def keys(understanding: Understanding) -> list[str]:
    """Keys of the open questions."""
    return [question.key for question in understanding.questions]


def dollars(currency: str) -> Supplier:
    """The invented supplier with terms in another currency."""
    return SUPPLIER.model_copy(update={"currency": currency})
