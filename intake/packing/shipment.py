"""A grid of cells to an understood shipment: lines, open questions, faults, totals and the evidence for all of it."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from decimal import Decimal

from intake.errors import BadInput, Finding, quoted
from intake.farm.site import Supplier
from intake.library import Library
from intake.library.names import Names
from intake.packing.account import Account, accounted, other_sheets, unread_columns, unsaved_refused
from intake.packing.animal_lines import Reader, read_line
from intake.packing.arithmetic import decimal_mark
from intake.packing.asking import Inquiry, Question
from intake.packing.box_column import box_column_decided
from intake.packing.columns import ColumnMap, samples
from intake.packing.deciding import count_decided, name_rows, price_decided, proved_by_money
from intake.packing.encodings import LANGUAGES
from intake.packing.figures import DecimalMark
from intake.packing.free_animals import free_column, with_free
from intake.packing.grid import Grid
from intake.packing.legends import legend_of
from intake.packing.line import Line
from intake.packing.list_names import Open, match
from intake.packing.list_prices import Purse
from intake.packing.list_tables import Table, ask_missing, table_in
from intake.packing.list_zones import zone_of_heading
from intake.packing.moments import date_order, typed_dates_swapped
from intake.packing.preamble import preamble
from intake.packing.reconcile import duplicates, reconciled
from intake.packing.rows import Row, sorted_rows
from intake.packing.sizes import SizeReading
from intake.packing.stated import Stated, stated_in
from intake.packing.understanding import Totals, Understanding
from intake.units import length_unit_in

__all__ = ["understand"]

_THIN = 3  # filled cells up to which a row below the header may be a remark


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
    told: Callable[[int, int], None] | None = None,
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
    told
        Called every thousand lines with how many are read of how many.

    Raises
    ------
    BadInput
        No table can be found at all, a column override is wrong, or ``lands`` has no time zone.
    """
    if lands.tzinfo is None:
        raise BadInput(Finding("--lands", lands.isoformat(), "a time with its time zone"))
    inquiry = Inquiry(dict(answers or {}))
    inquiry.evidence.extend(grid.evidence)
    if len(grid.encodings) > 1:
        read_as = _samples(grid.encodings, grid.samples)
        what = f"The text reads {read_as}. Which is right?"
        inquiry.ask(Question("encoding", what, grid.encodings, where=grid.file))
    table = _decided(table_in(grid, remembered, names, inquiry), inquiry)
    sheet, header, columns = table.sheet, table.header, table.columns
    columns = ask_missing(columns, header, sheet, inquiry)
    table = dataclasses.replace(table, columns=columns)
    mark = decimal_mark(sheet, header, columns, inquiry)
    facts = (sheet, header, columns, mark)
    rows = sorted_rows(sheet, header, columns, mark)
    account = accounted(rows, facts, names, inquiry)
    unsaved_refused(sheet, header, inquiry)
    others = other_sheets(table.others, names, inquiry)
    reader = _reader(table, account, (supplier, library, names, lands), inquiry, mark)
    free, beside = free_column(facts, [row.number for row in account.lines], inquiry)
    lines = _lines(reader, account, told, free if beside else 0)
    if not lines and "columns" not in inquiry.open:
        inquiry.fault(Finding(f"{grid.file}, {sheet.name}", "no line of animals", "lines below the header"))
    settled = table.remembered or proved_by_money(sheet, header, columns, mark)
    unread_columns(facts, account.lines, table.read | {free}, settled, inquiry)
    if "box-column" not in inquiry.open:  # without their boxes, lines in two boxes look identical
        duplicates(lines, inquiry)
    stated = stated_in(sheet, header, account.texts, mark)
    reconciled(lines, stated, (account, rows), facts, inquiry)
    titles = sum(bool(sheet.filled(row)) for row in range(1, header.bottom + 1))
    inquiry.evidence.insert(0, account.told(titles + others))
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
        totals=_totals(lines, rows, stated),
        evidence=tuple(inquiry.evidence),
        samples=tuple(samples(sheet, header, position) for position in range(1, len(header.labels) + 1)),
    )


def _samples(encodings: Sequence[str], samples: Sequence[str]) -> str:
    """What each encoding makes of the text; those that make the same of it together."""
    alike: dict[str, list[str]] = {}
    for encoding, sample in zip(encodings, samples, strict=True):
        alike.setdefault(sample, []).append(
            f"{encoding} ({LANGUAGES[encoding]})" if encoding in LANGUAGES else encoding
        )
    return "; ".join(f"{quoted(sample)} by {', '.join(names)}" for sample, names in alike.items())


def _lines(reader: Reader, account: Account, told: Callable[[int, int], None] | None, free: int) -> tuple[Line, ...]:
    lines: list[Line] = []
    for place, row in enumerate(account.lines):
        if told is not None and place % 1000 == 0:
            told(place, len(account.lines))
        line = read_line(reader, row.number, len(lines) + 1)
        if line is None:
            account.kinds["line"] -= 1
            account.kinds["goods"] += 1
            account.goods.append(row.number)
        else:
            plus = free == reader.columns.column("count")
            facts = (reader.sheet, reader.mark)
            found = with_free(line, facts, (row.number, free), plus=plus) if free else (line,)
            lines.extend(found)
    return tuple(lines)


def _decided(table: Table, inquiry: Inquiry) -> Table:
    """The table with the columns of count and price settled by what the figures prove."""
    sheet, header = table.sheet, table.header
    if not table.columns.column("name"):
        return table
    mark = decimal_mark(sheet, header, table.columns, Inquiry(inquiry.answers))
    thin = [row for row in range(header.bottom + 1, len(sheet.rows) + 1) if 0 < len(sheet.filled(row)) <= _THIN]
    stated = stated_in(sheet, header, thin, mark)
    totals = [each.figure for each in stated if each.kind == "animals"]
    columns, named = table.columns, inquiry.answers.get("columns", "")
    if not named.count("count="):
        if not table.remembered:
            columns = count_decided(sheet, header, columns, (mark, totals), inquiry)
            if not columns.column("count"):
                return table
        columns = price_decided(sheet, header, columns, mark, inquiry)
    read = table.read
    if not table.remembered and not named.count("boxes="):
        boxes = [int(each.figure) for each in stated if each.kind == "boxes"]
        rows = name_rows(sheet, header, columns)
        columns, others = box_column_decided(sheet, header, columns, (rows, boxes), inquiry)
        read |= others
    return dataclasses.replace(table, columns=columns, read=read)


def _reader(
    table: Table,
    account: Account,
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
    legend = legend_of(
        [(sheet, (*range(1, header.top), *account.texts)), *((other, other.numbers()) for other in table.others)]
    )
    general = preamble(sheet, header)
    for name, cell in general.items():
        inquiry.note(f"{name.replace('_', ' ')} {quoted(cell.text)} for all lines, from {cell.address}")
    reader = Reader(
        sheet=sheet,
        columns=columns,
        mark=mark,
        names=names,
        library=library,
        inquiry=inquiry,
        sizes=SizeReading(unit, mark, inquiry, samples, legend),
        purse=Purse(sheet, header, columns, supplier.currency, inquiry),
        order="ymd",
        exchanged=False,
        zone=zone_of_heading(columns.label("packed"), supplier.time_zone, inquiry),
        lands=lands,
        general=general,
        covered=sheet.covered(),
        sections=account.sections,
        kin=_kin([sheet.cell(row.number, columns.column("name") or 1).text for row in account.lines], names),
    )
    packed = [cell for row in account.lines if (cell := reader.cell(row.number, "packed")).value is not None]
    reader.order = date_order(packed, columns.dates, lands, inquiry)
    reader.exchanged = typed_dates_swapped(packed, inquiry)
    return reader


def _kin(written: Sequence[str], names: Names) -> Mapping[str, int]:
    """First word of the names nobody lists → how many different names begin with it."""
    different = {text for text in written if text[:1].isupper() and len(text.split()) > 1}
    unknown = [text.split()[0].casefold() for text in different if names.genus(text.split()[0]) is None]
    often = {word for word, number in Counter(unknown).items() if number > 2}
    kin = [text for text in different if text.split()[0].casefold() in often and isinstance(match(text, names), Open)]
    return Counter(text.split()[0].casefold() for text in kin)


def _totals(lines: tuple[Line, ...], rows: Sequence[Row], stated: Sequence[Stated]) -> Totals:
    value: dict[str, Decimal] = {}
    for line in lines:
        if line.unit_price is not None and line.currency:
            value[line.currency] = value.get(line.currency, Decimal(0)) + line.unit_price * line.count
    last = max((row.number for row in rows if row.kind == "line"), default=0)  # a sum above it is a section's
    whole = [row for row in rows if (row.grand and row.number > last) or row.kind == "unsure"]
    grand = [row.stated for row in whole if row.stated is not None]
    grand = grand or [each.figure for each in stated if each.kind == "animals"]
    boxes = dict.fromkeys(box for line in lines for box in line.boxes)
    return Totals(
        lines=len(lines),
        animals=sum(line.count for line in lines),
        stated=int(grand[-1]) if grand else None,
        boxes=tuple(boxes),
        value=value,
    )
