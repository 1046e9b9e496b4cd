"""A grid of cells to an understood shipment: lines, open questions, faults, totals and the evidence for all of it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal

from intake.errors import BadInput, Finding
from intake.farm.site import Supplier
from intake.library import Library
from intake.library.names import Names
from intake.packing.arithmetic import Row, decimal_mark, sorted_rows
from intake.packing.asking import Inquiry, Question
from intake.packing.columns import ColumnMap
from intake.packing.figures import DecimalMark
from intake.packing.grid import Grid
from intake.packing.lines import Line, Reader, read_line
from intake.packing.moments import date_order, typed_dates_swapped
from intake.packing.money import Purse
from intake.packing.preamble import preamble
from intake.packing.sizes import SizeReading
from intake.packing.tables import Table, table_in
from intake.packing.understanding import Totals, Understanding
from intake.units import length_unit_in

__all__ = ["understand"]


def understand(
    grid: Grid,
    *,
    supplier: Supplier,
    library: Library,
    names: Names,
    remembered: ColumnMap | None = None,
    answers: Mapping[str, str] | None = None,
    lands: datetime,
    shipment_id: str,
) -> Understanding:
    """Understand a packing list; what cannot be reported is asked, what is wrong is named, nothing is guessed.

    Parameters
    ----------
    grid
        The file as cells, from :func:`intake.packing.read.read`.
    remembered
        Map saved for this supplier; used as long as the header is the same.
    answers
        Key → value of answers given now or remembered for this supplier; ``columns`` may hold an override such as
        ``name=B,count=Qty``.
    lands
        When the shipment lands, time-zone aware.

    Raises
    ------
    BadInput
        No table can be found at all, a column override is wrong, or ``lands`` has no time zone.
    """
    if lands.tzinfo is None:
        raise BadInput(Finding("--lands", lands.isoformat(), "a time with its time zone"))
    inquiry = Inquiry(dict(answers or {}))
    inquiry.evidence.extend(grid.evidence)
    table = table_in(grid, remembered, inquiry)
    sheet, header, columns = table.sheet, table.header, table.columns
    mark = decimal_mark(sheet, header, columns, inquiry)
    sorted_out = sorted_rows(sheet, header, columns, mark)
    rows = _lines_among(sorted_out, names, inquiry)
    reader = _reader(table, [row.number for row in rows], (supplier, library, names, lands), inquiry, mark)
    lines = tuple(read_line(reader, row.number, number) for number, row in enumerate(rows, start=1))
    if not lines:
        inquiry.fault(Finding(f"{grid.file}, {sheet.name}", "no line of animals", "lines below the header"))
    _duplicates(lines, inquiry)
    learned = columns.model_copy(update={**inquiry.learned, "size_unit": reader.sizes.unit})
    return Understanding(
        shipment=shipment_id,
        supplier=supplier.id,
        file=grid.file,
        sheet=sheet.name,
        sha256=grid.sha256,
        lines=lines,
        questions=tuple(inquiry.open.values()),
        problems=tuple(inquiry.problems),
        map=learned,
        totals=_totals(lines, sorted_out),
        evidence=tuple(inquiry.evidence),
    )


def _reader(
    table: Table,
    rows: list[int],
    known: tuple[Supplier, Library, Names, datetime],
    inquiry: Inquiry,
    mark: DecimalMark,
) -> Reader:
    supplier, library, names, lands = known
    sheet, header, columns = table.sheet, table.header, table.columns
    unit = length_unit_in(columns.label("size")) or columns.size_unit
    if "size-unit" in inquiry.answers and not length_unit_in(columns.label("size")):
        unit = ""
    samples = next((each.samples for each in columns.columns if each.field == "size"), ())
    general = preamble(sheet, header)
    for name, cell in general.items():
        inquiry.note(f"{name.replace('_', ' ')} {cell.text!r} for all lines, from {cell.address}")
    reader = Reader(
        sheet=sheet,
        columns=columns,
        mark=mark,
        names=names,
        library=library,
        inquiry=inquiry,
        sizes=SizeReading(unit, mark, inquiry, samples),
        purse=Purse(sheet, header, columns, supplier.currency, inquiry),
        order="ymd",
        exchanged=False,
        zone=supplier.time_zone,
        lands=lands,
        general=general,
        covered=sheet.covered(),
    )
    packed = [cell for row in rows if (cell := reader.cell(row, "packed")).value is not None]
    reader.order = date_order(packed, columns.dates, lands, inquiry)
    reader.exchanged = typed_dates_swapped(packed, inquiry)
    return reader


def _lines_among(rows: list[Row], names: Names, inquiry: Inquiry) -> list[Row]:
    """The rows that are lines of animals; sums are noted, and rows that could be either are asked."""
    kept: list[Row] = []
    for row in rows:
        if row.kind == "line" or _line_after_all(row, names, inquiry):
            kept.append(row)
        elif row.kind == "sum":
            inquiry.note(f"row {row.number} is a sum of {row.stated} animals: {row.why}")
        elif row.kind != "unsure":
            inquiry.note(f"row {row.number} left out as {row.kind}: {row.why}")
    return kept


def _line_after_all(row: Row, names: Names, inquiry: Inquiry) -> bool:
    where = f"row {row.number}"
    if row.kind == "unsure":
        off = (row.stated or Decimal(0)) - (row.summed or Decimal(0))
        what = f"{where} ({row.why!r}) states {row.stated} animals, the lines above add up to {row.summed} ({off:+f})"
        answer = inquiry.ask(Question(f"total:{row.number}", what, ("trust-the-lines", "line-of-animals"), where=where))
        return answer == "line-of-animals"
    if row.kind == "heading" and names.exact(row.text):
        what = f"{where}: {row.why}; is it a heading, or a line whose count is missing?"
        answer = inquiry.ask(Question(f"row:{row.number}", what, ("heading", "line"), where=where))
        return answer == "line"
    return False


def _duplicates(lines: tuple[Line, ...], inquiry: Inquiry) -> None:
    """Lines of the same animal, size and box are never merged; that they are two is confirmed by a person."""
    seen: dict[tuple[object, ...], Line] = {}
    for line in lines:
        if not line.written:
            continue
        key = (line.name.casefold(), line.size_min_mm, line.size_max_mm, line.boxes)
        first = seen.setdefault(key, line)
        if first is not line:
            what = (
                f"rows {first.row} and {line.row} look identical: {line.name}, "
                f"box {', '.join(line.boxes) or 'not stated'}, {first.count} and {line.count} animals; "
                "keep both lines, or correct the list?"
            )
            inquiry.ask(Question(f"duplicate:{line.row}", what, ("both",), where=f"row {line.row}"))


def _totals(lines: tuple[Line, ...], rows: list[Row]) -> Totals:
    value: dict[str, Decimal] = {}
    for line in lines:
        if line.unit_price is not None and line.currency:
            value[line.currency] = value.get(line.currency, Decimal(0)) + line.unit_price * line.count
    grand = [row.stated for row in rows if row.stated is not None and (row.grand or row.kind == "unsure")]
    boxes = dict.fromkeys(box for line in lines for box in line.boxes)
    return Totals(
        lines=len(lines),
        animals=sum(line.count for line in lines),
        stated=int(grand[-1]) if grand else None,
        boxes=tuple(boxes),
        value=value,
    )
