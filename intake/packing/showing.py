"""An understanding in rows for a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Iterable

from intake.packing.columns import ColumnMap
from intake.packing.fields import FIELDS
from intake.packing.grid import column_letters
from intake.packing.line import Line
from intake.units import show_length_range

__all__ = ["column_rows", "line_rows"]


def column_rows(columns: ColumnMap) -> tuple[str, ...]:
    """One row for each field: the column it is read from, its heading and sample values."""
    rows = [
        f"{each.field:<12} {column_letters(each.column):<3} {_cut(each.label, 22):<22} "
        f"{_cut(' | '.join(each.samples), 40)}"
        for each in columns.columns
    ]
    if not rows:
        return (_cut(f"none of {', '.join(FIELDS)}", 80),)
    return ("field        col heading                samples", *rows)


def line_rows(lines: Iterable[Line]) -> tuple[str, ...]:
    """One row for each line: row of the sheet, name, group, size, count, boxes; ``?`` stands for what is open."""
    rows = [
        f"{line.number:>3} {line.row:>4} {_cut(line.name, 24):<24} {_cut(line.group or '?', 21):<21} {_size(line):>10} "
        f"{line.count or '?':>6} {_cut(','.join(line.boxes), 6):<6}".rstrip()
        for line in lines
    ]
    return ("  #  row name                     group                       size  count box", *rows)


def _size(line: Line) -> str:
    return show_length_range(line.size_min_mm, line.size_max_mm) if line.size_max_mm else "?"


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}…"
