"""Which tables a file holds, under which headers, and which columns of them: proposed, remembered or given."""

from __future__ import annotations

import re
from dataclasses import dataclass

from intake.errors import BadInput, Finding, quoted
from intake.library.names import Names
from intake.packing.asking import Inquiry, Question
from intake.packing.columns import (
    Column,
    ColumnMap,
    Header,
    apply,
    find_header,
    header_at,
    header_row_in,
    overridden,
    propose,
    samples,
)
from intake.packing.fields import plain_heading, role_of
from intake.packing.grid import Grid, Sheet, column_letters
from intake.packing.reshaped import reshaped
from intake.packing.table_blocks import (
    Block,
    blocks_of,
    continued,
    header_by_content,
    header_less,
    laid_out,
    stood_up,
    taxa_column,
)
from intake.units import length_range_mm, length_unit_in

__all__ = ["ONE_EACH", "Table", "ask_missing", "table_in"]

ONE_EACH = "one-each"
"""The answer where no column counts: every line is one animal, as lists with a picture of each are."""


@dataclass(frozen=True, slots=True)
class Table:
    """A sheet, its header and the columns its fields are read from.

    Attributes
    ----------
    others
        Shown sheets that hold no table.
    remembered
        Whether the columns are those remembered for the supplier.
    read
        Columns that were taken in when the table was reshaped.
    """

    sheet: Sheet
    header: Header
    columns: ColumnMap
    others: tuple[Sheet, ...] = ()
    remembered: bool = False
    read: frozenset[int] = frozenset()


def table_in(grid: Grid, remembered: ColumnMap | None, names: Names, inquiry: Inquiry) -> Table:
    """Find the tables of a packing list, lay them under one header and settle its columns.

    Raises
    ------
    BadInput
        No sheet has a header row that can be recognised and the user named none.
    """
    words = inquiry.answers.get("columns", "").strip()
    override = words if "=" in words else ""
    blocks, others = _blocks(grid, override, names, inquiry)
    sheet, header = laid_out(blocks)
    if len(blocks) > 1:
        inquiry.note(f"{len(blocks)} tables read together: " + ", ".join(_told(block) for block in blocks[:8]))
    shape = reshaped(sheet, header, names)
    for sentence in shape.told:
        inquiry.note(sentence)
    sheet, header = shape.sheet, shape.header
    proposal = propose(sheet, header)
    columns = _named_by_content(sheet, header, proposal.map, names, inquiry)
    columns = _sized_by_content(sheet, header, columns, inquiry)
    again = False
    if override:
        columns = overridden(sheet, header, columns, override)
        inquiry.note(f"columns named by the user: {override}")
    else:
        known = _remembered_or_proposed(sheet, header, columns, remembered, inquiry) if header.written else None
        again = header.written and remembered is not None and remembered.fingerprint == header.fingerprint
        columns = known or columns
        if not again:
            _settle(columns, proposal.doubts, inquiry)
    return Table(sheet, header, columns, others, again, shape.read)


def _told(block: Block) -> str:
    return f"{block.sheet.name} row {block.header.bottom}" if block.first > 1 else block.sheet.name


def ask_missing(columns: ColumnMap, header: Header, sheet: Sheet, inquiry: Inquiry) -> ColumnMap:
    """Ask for the columns of name and count where neither headings nor figures decide; the map with the count answered."""
    missing = [field for field in ("name", "count") if not columns.column(field)]
    if not missing:
        return columns
    labels = ", ".join(label for label in header.labels if label)
    has = f"row {header.bottom} has {labels}" if header.written else _first_line(sheet, header)
    what = f"no column was recognized for {' and '.join(missing)}; {has}"
    where = f"{sheet.name}, row {header.bottom if header.written else header.bottom + 1}"
    if missing != ["count"] or not header.written:
        example = "name=B,count=Qty" if header.written else "name=A,size=B,count=C,boxes=D"
        inquiry.ask(Question("columns", what[:400], (), f"FIELD=COLUMN, such as {example}", where))
        return columns
    free = "the heading or the letter of the column that counts"
    answer = inquiry.ask(Question("count-missing", what[:400], (ONE_EACH,), free, where))
    return columns if answer in ("", ONE_EACH) else overridden(sheet, header, columns, f"count={answer}")


def _first_line(sheet: Sheet, header: Header) -> str:
    cells = sheet.filled(header.bottom + 1)
    return "the list has no headings; its first line is " + ", ".join(
        f"{column_letters(cell.column)} {quoted(cell.text)}" for cell in cells
    )


def _named_by_content(sheet: Sheet, header: Header, columns: ColumnMap, names: Names, inquiry: Inquiry) -> ColumnMap:
    """The map with the column that holds the names of animals as the name, whatever stands over it."""
    column = taxa_column(sheet, names, range(header.bottom + 1, min(header.bottom + 300, len(sheet.rows)) + 1))
    now, common = columns.column("name"), columns.column("common_name")
    if not column or column in (now, common):
        return columns
    if now and taxa_column(sheet, names, range(header.bottom + 1, min(header.bottom + 60, len(sheet.rows)) + 1)) == now:
        return columns
    label = header.labels[column - 1] if column <= len(header.labels) else ""
    inquiry.note(f"{quoted(label)} holds the names of animals")
    others = tuple(each for each in columns.columns if each.field != "name" and each.column != column)
    new = Column(
        field="name", column=column, label=label, why="by its contents", samples=samples(sheet, header, column)
    )
    return columns.model_copy(update={"columns": (new, *others)})


def _sized_by_content(sheet: Sheet, header: Header, columns: ColumnMap, inquiry: Inquiry) -> ColumnMap:
    """The map with a column of sizes that carry their unit as the size, where no heading names one."""
    if columns.column("size"):
        return columns
    taken = {each.column for each in columns.columns}
    rows = range(header.bottom + 1, min(header.bottom + 60, len(sheet.rows)) + 1)
    for column in range(1, len(header.labels) + 1):
        cells = [cell for row in rows if (cell := sheet.cell(row, column)).value is not None]
        label = header.labels[column - 1]
        unit = "" if role_of(label) == "ignored" or _IN_WORDS.search(label) else length_unit_in(label)
        if column in taken or not cells or sum(_is_size(cell.text, unit) for cell in cells) * 2 <= len(cells):
            continue
        inquiry.note(f"{quoted(label or column_letters(column))} holds sizes")
        new = Column(
            field="size", column=column, label=label, why="by its contents", samples=samples(sheet, header, column)
        )
        return columns.model_copy(update={"columns": (*columns.columns, new)})
    return columns


_IN_WORDS = re.compile(r"\bin\s+\w", re.IGNORECASE)  # "number in box" is no length in inches


def _is_size(text: str, unit: str = "") -> bool:
    try:
        length_range_mm(text, unit)
    except BadInput:
        return False
    return True


def _blocks(grid: Grid, override: str, names: Names, inquiry: Inquiry) -> tuple[list[Block], tuple[Sheet, ...]]:
    """Every table of the shown sheets, in their order, and the sheets that hold none."""
    wanted = inquiry.answers.get("sheet", "")
    row = header_row_in(override)
    tables: list[list[Block]] = []
    others: list[Sheet] = []
    for sheet in grid.sheets:
        if not sheet.visible and sheet.name != wanted:
            inquiry.note(f"sheet {quoted(sheet.name)} is hidden and was left out")
            continue
        header = _header_of(sheet, names, row, named=bool(override))
        if row is None and (header is None or not {"name", "count"} <= set(_known(header))):
            turned = stood_up(sheet)
            if turned is not None:
                inquiry.note(f"{sheet.name}: the table lies on its side; each of its columns is read as a row")
                sheet, header = turned, find_header(turned)  # the sheet as it is read from here on
        if header is None and (row == 0 or not tables or continued(sheet, tables[-1][-1], names) is None):
            header = header_less(sheet, names, first=1 if row == 0 else 0)
        if header is not None:
            tables.append(blocks_of(sheet, header))
            continue
        more = continued(sheet, tables[-1][-1], names) if tables else None
        if more is not None:
            tables.append([more])
        elif any(sheet.filled(number) for number in sheet.numbers()):
            others.append(sheet)
    return _chosen(tables, others, grid, inquiry)


def _header_of(sheet: Sheet, names: Names, row: int | None, *, named: bool) -> Header | None:
    """The header row the user named, or the one words or contents show; ``None`` where the table has none."""
    if row == 0:
        return None
    header = header_at(sheet, row) if row and row <= len(sheet.rows) else find_header(sheet)
    if header is None or not {"name", "count"} <= set(_known(header)):
        header = header_by_content(sheet, names) or header
    return _first_texts(sheet, names) if header is None and named else header


def _chosen(
    tables: list[list[Block]], others: list[Sheet], grid: Grid, inquiry: Inquiry
) -> tuple[list[Block], tuple[Sheet, ...]]:
    if not tables:
        raise BadInput(
            Finding(
                grid.file,
                "no header row",
                "a row of headings such as Scientific name, Size (cm), Qty, Box no",
                "Name the columns yourself: --columns header=3,name=B,count=D; header=0 where the list has no headings.",
            )
        )
    full = [each for each in tables if {"name", "count"} <= set(_known(each[0].header))]
    if not full:
        most = max(each[0].header.known for each in tables)
        full = [each for each in tables if each[0].header.known == most]
    others.extend(each[0].sheet for each in tables if each not in full)
    if len(full) > 1 and _twice(full):
        sheets = tuple(each[0].sheet.name for each in full)
        what = f"{len(sheets)} sheets hold the same lines; read one of them, or all?"
        answer = inquiry.ask(Question("sheet", what, (*sheets, "all"), where=grid.file))
        if answer in sheets:
            full = [each for each in full if each[0].sheet.name == answer]
        elif not answer:
            full = full[:1]
    return [block for each in full for block in each], tuple(others)


def _twice(tables: list[list[Block]]) -> bool:
    """Whether two sheets hold mostly the same rows: a copy, or a summary of the other."""
    seen: list[set[tuple[object, ...]]] = []
    for blocks in tables:
        rows: set[tuple[object, ...]] = {
            tuple(str(cell) for cell in row if cell not in (None, ""))
            for block in blocks
            for row in block.sheet.rows[block.first - 1 : block.last]
        }
        rows = {row for row in rows if len(row) > 1}
        if any(len(rows & other) * 2 > min(len(rows), len(other)) > 0 for other in seen):
            return True
        seen.append(rows)
    return False


def _first_texts(sheet: Sheet, names: Names) -> Header | None:
    """Where the user names the columns: the first row of two texts or more above the first line of animals."""
    lines = header_less(sheet, names)
    last = len(sheet.rows) if lines is None else lines.bottom
    for row in range(1, min(last, 80) + 1):
        filled = sheet.filled(row)
        if len(filled) >= 2 and all(cell.kind == "text" for cell in filled):
            return header_at(sheet, row)
    return None


def _known(header: Header) -> list[str]:
    return ["name" if field == "common_name" else field for field in header.fields]


def _remembered_or_proposed(
    sheet: Sheet, header: Header, proposed: ColumnMap, remembered: ColumnMap | None, inquiry: Inquiry
) -> ColumnMap | None:
    if remembered is None:
        return None
    again = apply(sheet, header, remembered)
    if again is not None:
        inquiry.note("columns remembered for this supplier")
        return again
    was = {plain_heading(label): label for label in remembered.labels if label}
    now = {plain_heading(label): label for label in header.labels if label}
    gone = ", ".join(label for key, label in was.items() if key not in now) or "nothing"
    come = ", ".join(label for key, label in now.items() if key not in was) or "nothing"
    answer = inquiry.ask(
        Question(
            "columns",
            f"the headings differ from this supplier's last list (missing: {gone}; new: {come}). "
            "Use the proposed columns?"[:400],
            ("proposed",),
            "FIELD=COLUMN, such as name=B,count=Qty",
            f"{sheet.name}, row {header.bottom}",
        )
    )
    return proposed if answer else None


def _settle(columns: ColumnMap, doubts: tuple[str, ...], inquiry: Inquiry) -> None:
    if doubts:
        what = "Not sure about these columns: " + "; ".join(doubts) + ". Use them as proposed?"
        inquiry.ask(Question("columns", what[:600], ("proposed",), "FIELD=COLUMN, such as name=B,count=Qty"))
    for each in columns.columns:
        inquiry.note(f"{each.field.replace('_', ' ')} from column {quoted(each.label)} ({each.why})")
