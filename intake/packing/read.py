"""Bytes and a file name in, a plain grid of cells out; nothing here knows what a packing list means."""

from __future__ import annotations

import io
import re
from hashlib import sha256
from typing import Any

from intake.errors import BadInput, Finding, many_of
from intake.packing.encodings import samples_of
from intake.packing.fields import field_of
from intake.packing.grid import Grid, Kind, Merge, Sheet, unseen_in
from intake.packing.plaintext import decoded, delimiter_of, width_of
from intake.packing.textlike import columns_of_text, html_sheets, pdf_text
from intake.packing.workbook import MAX_CELLS, MAX_COLUMNS, MAX_ROWS, Shape, checked_workbook, kind_of

__all__ = ["read"]

_VISIBLE = "Visible"


def read(data: bytes, file: str = "packing list", *, encoding: str = "") -> Grid:
    """Read a list into cells with addresses: XLSX, XLSB, XLS, ODS, CSV, text in columns, a PDF with text, a web page.

    Parameters
    ----------
    data
        The whole file.
    file
        Its name, for messages only: what the file is, its content says.
    encoding
        Of a text file, where a person had to say it; empty: found from its content.

    Raises
    ------
    BadInput
        Empty, wrong kind, damaged, protected by a password, a zip bomb, or larger than 50,000 rows or 400 columns.
    """
    kind = kind_of(data, file)
    digest = sha256(data).hexdigest()
    others: tuple[str, ...] = ()
    if kind in ("csv", "html", "pdf"):
        kind, sheets, evidence, others = _text(data, kind, file, encoding)
    else:
        sheets, evidence = _workbook(data, kind, file)
    if not any(_filled(sheet) for sheet in sheets):
        raise BadInput(Finding(file, "no filled cell", "a packing list", "Ask the supplier to send it again."))
    unseen = sum(unseen_in(cell) for sheet in sheets for row in sheet.rows for cell in row if isinstance(cell, str))
    if unseen:
        evidence = (*evidence, f"{many_of(unseen, 'control or invisible character')} removed")
    return Grid(
        file=file,
        kind=kind,
        sha256=digest,
        sheets=sheets,
        evidence=evidence,
        encodings=others,
        samples=samples_of(data, others),
    )


def _text(
    data: bytes, kind: Kind, file: str, encoding: str
) -> tuple[Kind, tuple[Sheet, ...], tuple[str, ...], tuple[str, ...]]:
    if kind == "pdf":
        lines = pdf_text(data, file)
        rows = columns_of_text(lines) or tuple((line.strip(),) for line in lines)
        return kind, (Sheet("PDF", rows),), ("PDF, words placed where they stand on the page",), ()
    text, told, others = decoded(data, file, encoding)
    text = text.replace("\x00", "")
    fitting = (told, *others) if others else ()
    if kind == "html":
        return kind, html_sheets(text, file), (f"tables of a web page in {told}",), fitting
    sheets, evidence = _csv(text, told, file)
    if not any(_known(sheet) >= 2 for sheet in sheets):
        lines = text[:MAX_CELLS].splitlines()
        spread = columns_of_text(lines) if len(lines) <= MAX_ROWS else None
        if spread:
            return "text", (Sheet("text", spread),), (f"text in {told}, columns parted by blanks",), fitting
    return kind, sheets, evidence, fitting


def _known(sheet: Sheet) -> int:
    """Most headings we know in one of the first rows."""
    rows = [row for row in sheet.rows[:200] if len(row) > 1]
    return max((len({field for cell in row if (field := field_of(str(cell)))}) for row in rows), default=0)


def _no_csv(error: Exception, file: str) -> Finding:
    """What the reader of CSV stumbled over, in words; nearly always a quotation mark."""
    line = re.search(r"line (\d+)", str(error))
    where = f"{file}, line {line[1]}" if line else file
    met = f"a quotation mark without its pair ({str(error)[:80].rstrip('.')})"
    return Finding(where, met, "quotation marks in pairs", "Correct that line, or save the list again as XLSX.")


def _filled(sheet: Sheet) -> bool:
    return any(sheet.filled(row) for row in sheet.numbers())


def _csv(text: str, encoding: str, file: str) -> tuple[tuple[Sheet, ...], tuple[str, ...]]:
    import pandas as pd

    delimiter, why = delimiter_of(text)
    width = max(width_of(text, delimiter, file), 1)
    try:
        frame = pd.read_csv(
            io.StringIO(text, newline=""),
            sep=delimiter,
            header=None,
            names=list(range(width)),
            dtype=object,
            index_col=False,
            keep_default_na=False,
            na_filter=False,
            skip_blank_lines=False,
            engine="python",
        )
    except (ValueError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise BadInput(_no_csv(error, file)) from error
    rows = tuple(_trimmed(row) for row in frame.itertuples(index=False, name=None))
    if text[:4].lower() == "sep=" and rows:
        rows = ((), *rows[1:])
    return (Sheet("CSV", rows),), (f"CSV in {encoding}, {why}",)


def _workbook(data: bytes, kind: Kind, file: str) -> tuple[tuple[Sheet, ...], tuple[str, ...]]:
    shape = checked_workbook(data, kind, file) if kind != "xls" else Shape()
    try:
        sheets = _sheets(data, kind, shape)
    except BadInput:
        raise
    except (Exception, BaseExceptionGroup) as error:
        raise _damaged(file, error) from error
    except BaseException as error:
        # The reader is compiled; when it panics Python sees a BaseException of its own kind.
        if type(error).__name__ != "PanicException":
            raise
        raise _damaged(file, error) from error
    for sheet in sheets:
        if len(sheet.rows) > MAX_ROWS or sheet.width > MAX_COLUMNS or len(sheet.rows) * sheet.width > 4 * MAX_CELLS:
            raise BadInput(
                Finding(
                    f"{file}, sheet {sheet.name}",
                    f"{len(sheet.rows):,} rows × {sheet.width} columns",
                    f"at most {MAX_ROWS:,} rows and {MAX_COLUMNS} columns",
                )
            )
    evidence = [f"{kind.upper()} workbook, {len(sheets)} sheet{'s' if len(sheets) != 1 else ''}"]
    if kind in ("xls", "xlsb"):
        evidence.append("hidden or struck-out rows cannot be seen in this kind of file: look at it once")
    return sheets, tuple(evidence)


def _damaged(file: str, error: BaseException) -> BadInput:
    text = str(error).splitlines()[0][:200] if str(error) else type(error).__name__
    return BadInput(Finding(file, text, "a workbook that opens", "Ask the supplier to send it again."))


def _sheets(data: bytes, kind: Kind, shape: Shape) -> tuple[Sheet, ...]:
    import pandas as pd
    from python_calamine import CalamineWorkbook

    frames: dict[str, Any] = pd.read_excel(
        io.BytesIO(data),
        engine="calamine",
        sheet_name=None,
        header=None,
        dtype=object,
        keep_default_na=False,
        na_filter=False,
    )
    book = CalamineWorkbook.from_filelike(io.BytesIO(data))
    shown = {each.name: str(each.visible).endswith(_VISIBLE) for each in book.sheets_metadata}
    sheets = []
    for position, (name, frame) in enumerate(frames.items()):
        if kind == "ods":
            merges = tuple(shape.part(position).merges)
        elif kind != "xlsx":
            merges = ()
        else:
            ranges = book.get_sheet_by_name(name).merged_cell_ranges or ()
            merges = tuple(Merge(top + 1, left + 1, bottom + 1, right + 1) for (top, left), (bottom, right) in ranges)
        rows = tuple(_trimmed(row) for row in frame.itertuples(index=False, name=None))
        part = shape.part(position)
        hidden, unsaved = frozenset(part.hidden), frozenset(part.unsaved)
        visible = shown.get(name, True)
        struck = shape.struck(position)
        sheets.append(Sheet(str(name), rows, merges, visible, hidden=hidden, struck=struck, unsaved=unsaved))
    return tuple(sheets)


def _trimmed(row: tuple[Any, ...]) -> tuple[Any, ...]:
    """A row without the empty cells at its end, so that a wide sheet of short rows stays small."""
    end = len(row)
    while end and (row[end - 1] is None or row[end - 1] == ""):
        end -= 1
    return tuple(row[:end])
