"""Which sheet holds the packing list, under which header, and which columns of it: proposed, remembered or given."""

from __future__ import annotations

from dataclasses import dataclass

from intake.errors import BadInput, Finding
from intake.packing.asking import Inquiry, Question
from intake.packing.columns import ColumnMap, Header, apply, find_header, header_at, header_row_in, overridden, propose
from intake.packing.fields import plain_heading
from intake.packing.grid import Grid, Sheet

__all__ = ["Table", "table_in"]


@dataclass(frozen=True, slots=True)
class Table:
    """A sheet, its header and the columns its fields are read from."""

    sheet: Sheet
    header: Header
    columns: ColumnMap


def table_in(grid: Grid, remembered: ColumnMap | None, inquiry: Inquiry) -> Table:
    """Find the table of a packing list and settle its columns.

    Raises
    ------
    BadInput
        No sheet has a header row that can be recognised and the user named none.
    """
    words = inquiry.answers.get("columns", "").strip()
    override = words if "=" in words else ""
    sheet, header = _chosen(_headed(grid, override, inquiry), grid, inquiry)
    proposal = propose(sheet, header)
    columns = proposal.map
    if override:
        columns = overridden(sheet, header, columns, override)
        inquiry.note(f"columns named by the user: {override}")
    else:
        columns = _remembered_or_proposed(sheet, header, columns, remembered, inquiry) or columns
        if remembered is None or remembered.fingerprint != header.fingerprint:
            _settle(columns, proposal.doubts, inquiry)
    missing = [field for field in ("name", "count") if not columns.column(field)]
    if missing:
        labels = ", ".join(label for label in header.labels if label)
        what = f"no column was recognised for {' and '.join(missing)}; row {header.bottom} has {labels}"
        where = f"{sheet.name}, row {header.bottom}"
        inquiry.ask(Question("columns", what[:400], (), "FIELD=COLUMN, such as name=B,count=Qty", where))
    return Table(sheet, header, columns)


def _headed(grid: Grid, override: str, inquiry: Inquiry) -> list[tuple[Sheet, Header]]:
    row = header_row_in(override)
    wanted = inquiry.answers.get("sheet", "")
    found: list[tuple[Sheet, Header]] = []
    for sheet in grid.sheets:
        if not sheet.visible and sheet.name != wanted:
            inquiry.note(f"sheet {sheet.name!r} is hidden and was left out")
            continue
        header = header_at(sheet, row) if 0 < row <= len(sheet.rows) else find_header(sheet)
        if header is None and override:
            header = _first_texts(sheet)
        if header is not None:
            found.append((sheet, header))
    return found


def _first_texts(sheet: Sheet) -> Header | None:
    """Where the user names the columns: the first row of two texts or more."""
    for row in range(1, min(len(sheet.rows), 80) + 1):
        filled = sheet.filled(row)
        if len(filled) >= 2 and all(cell.kind == "text" for cell in filled):
            return header_at(sheet, row)
    return None


def _chosen(found: list[tuple[Sheet, Header]], grid: Grid, inquiry: Inquiry) -> tuple[Sheet, Header]:
    if not found:
        raise BadInput(
            Finding(
                grid.file,
                "no header row",
                "a row of headings such as Scientific name, Size (cm), Qty, Box no",
                "Name the columns yourself: --columns header=3,name=B,count=D.",
            )
        )
    most = max(header.known for _, header in found)
    tables = [(sheet, header) for sheet, header in found if {"name", "count"} <= set(_known(header))]
    tables = tables or [(sheet, header) for sheet, header in found if header.known == most]
    if len(tables) == 1:
        return tables[0]
    names = tuple(sheet.name for sheet, _ in tables)
    what = f"{len(names)} sheets hold a table; one of them is read, the others are left out"
    answer = inquiry.ask(Question("sheet", what, names, where=grid.file))
    return next(((sheet, header) for sheet, header in tables if sheet.name == answer), tables[0])


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
        inquiry.note(f"{each.field.replace('_', ' ')} from column {each.label!r} ({each.why})")
