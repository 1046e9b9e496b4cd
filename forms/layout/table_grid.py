"""Tables to read and to write in: headings repeated over pages, boxes to tick, cells that grow with their text."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from functools import partial

from reportlab.lib.units import mm

from forms.layout.cells import Align, Cell, Column, tick, write
from forms.layout.lettering import BOLD, LEADING, NARROW, NARROW_BOLD, REGULAR, lay, widest_word
from forms.layout.page import Pen, Placed

__all__ = ["Cell", "Column", "Grid", "tick", "write"]

_PAD = 3.0
_LABEL_SIZE = 8.0
_LEAST = 8.0
"""Smallest type of a table, points: what does not fit is set condensed, then broken, never smaller."""
_TICK_WORDS = 8.0
_WORDED_TICK = 10 * mm


@dataclass(frozen=True, slots=True)
class Grid:
    """A table.

    Attributes
    ----------
    columns, rows
        As many cells a row as columns; a bare string is a cell of plain text.
    size
        Size of the text in points.
    row_mm
        Least height of a row in mm; what hands in wet gloves need to write in.
    tick_mm
        Side of the tick boxes in mm.
    totals
        How many of the last rows are totals: bold, below a heavy line.
    narrow
        Condensed face, for wide tables.
    lined
        False draws no lines between cells (facts to read).
    head_scale
        Size of the headings as a share of `size`.
    after
        Free points below the table.
    together
        How many of the last rows stand on one page, so that none is alone there.
    """

    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell | str, ...], ...]
    size: float = 9.0
    row_mm: float = 5.5
    tick_mm: float = 10.0
    totals: int = 0
    narrow: bool = False
    lined: bool = True
    head_scale: float = 0.9
    after: float = 4.0
    together: int = 1

    def set(self, width: float) -> Placed:
        """Choose column widths, then break every cell's lines."""
        rows = [tuple(c if isinstance(c, Cell) else Cell(c) for c in row) for row in self.rows]
        widths = _column_widths(self, rows, width)
        head: tuple[_SetCell, ...] = ()
        if any(column.head for column in self.columns):
            head = tuple(
                _set_cell(
                    self,
                    Cell(column.head, bold=True, size=_head_size(self), align=column.align),
                    column,
                    room,
                )
                for column, room in zip(self.columns, widths, strict=True)
            )
        set_rows = tuple(
            _set_row(
                tuple(
                    _set_cell(self, replace(cell, bold=True) if n >= len(rows) - self.totals else cell, column, room)
                    for cell, column, room in zip(row, self.columns, widths, strict=True)
                ),
                self.row_mm * mm,
            )
            for n, row in enumerate(rows)
        )
        return _SetGrid(self, widths, _set_row(head, 0.0) if head else None, set_rows, totals=self.totals)


@dataclass(frozen=True, slots=True)
class _SetCell:
    cell: Cell
    label: tuple[str, ...]
    label_size: float
    lines: tuple[str, ...]
    face: str
    size: float
    align: Align
    tick: float

    @property
    def height(self) -> float:
        text = len(self.lines) * LEADING * self.size + len(self.label) * LEADING * self.label_size
        return max(text + 2 * _PAD, self.tick + 3 if self.cell.ticks else 0.0)


@dataclass(frozen=True, slots=True)
class _SetRow:
    cells: tuple[_SetCell, ...]
    height: float

    def split(self, room: float) -> tuple[_SetRow, _SetRow]:
        """A row taller than a page, cut between lines."""
        first: list[_SetCell] = []
        rest: list[_SetCell] = []
        for cell in self.cells:
            labels = len(cell.label) * LEADING * cell.label_size
            n = max(1, int((room - 2 * _PAD - labels) / (LEADING * cell.size)))
            first.append(replace(cell, lines=cell.lines[:n]))
            rest.append(replace(cell, lines=cell.lines[n:], label=(), cell=replace(cell.cell, ticks=(), field="")))
        return _set_row(tuple(first), 0.0), _set_row(tuple(rest), 0.0)


def _set_row(cells: tuple[_SetCell, ...], floor: float) -> _SetRow:
    return _SetRow(cells, max(floor, *(cell.height for cell in cells)))


def _head_size(grid: Grid) -> float:
    return max(_LEAST, grid.size * grid.head_scale)


def _face(grid: Grid, *, bold: bool) -> str:
    if grid.narrow:
        return NARROW_BOLD if bold else NARROW
    return BOLD if bold else REGULAR


def _tick_width(words: str, side: float) -> float:
    """Width of one box with its words beside it."""
    return min(side, _WORDED_TICK) + 2 * _PAD + widest_word(words, REGULAR, _TICK_WORDS) if words else side


def _least_width(grid: Grid, index: int, rows: list[tuple[Cell, ...]], cap: float) -> float:
    """Width at which no word of the column's heading or cells has to shrink; cells count up to `cap`."""
    least = widest_word(grid.columns[index].head, _face(grid, bold=True), _head_size(grid))
    for number, row in enumerate(rows):
        cell = row[index]
        bold = cell.bold or number >= len(rows) - grid.totals
        if cell.ticks:
            side = grid.tick_mm * mm
            least = max(least, sum(_tick_width(words, side) for words in cell.ticks))
        if cell.text:
            least = max(least, min(cap, widest_word(cell.text, _face(grid, bold=bold), cell.size or grid.size)))
    return least + 2 * _PAD + 0.5


def _column_widths(grid: Grid, rows: list[tuple[Cell, ...]], width: float) -> tuple[float, ...]:
    """Shares of the width, raised where a word would not fit and taken from columns with room to spare."""
    cap = 0.4 * width
    least = [_least_width(grid, n, rows, cap) for n in range(len(grid.columns))]
    total = sum(least)
    if total >= width:
        return tuple(value * width / total for value in least)
    shares = [column.share for column in grid.columns]
    free = set(range(len(shares)))
    widths = list(least)
    while free:
        room = width - sum(widths[n] for n in range(len(shares)) if n not in free)
        scale = room / sum(shares[n] for n in free)
        tight = {n for n in free if shares[n] * scale < least[n]}
        if not tight:
            for n in free:
                widths[n] = shares[n] * scale
            break
        free -= tight
    return tuple(widths)


def _set_cell(grid: Grid, cell: Cell, column: Column, width: float) -> _SetCell:
    size = max(_LEAST, cell.size or grid.size)
    face = _face(grid, bold=cell.bold)
    room = width - 2 * _PAD
    side = grid.tick_mm * mm if cell.ticks else 0.0
    if widest_word(cell.text, face, _LEAST) > room:
        face = NARROW_BOLD if cell.bold else NARROW
    lines, fitted = lay(cell.text, face, size, room, _LEAST)
    label, label_size = lay(cell.label, REGULAR, _LABEL_SIZE, room, _LEAST)
    return _SetCell(cell, label, label_size, lines, face, fitted, cell.align or column.align, side)


@dataclass(frozen=True, slots=True)
class _SetGrid:
    content: Grid
    widths: tuple[float, ...]
    head: _SetRow | None
    rows: tuple[_SetRow, ...]
    totals: int = 0
    sticky: bool = False

    @property
    def height(self) -> float:
        return self._head_height + sum(row.height for row in self.rows) + self.content.after

    @property
    def _head_height(self) -> float:
        return self.head.height if self.head else 0.0

    @property
    def least(self) -> float:
        return self._head_height + sum(row.height for row in self.rows[:2])

    def split(self, room: float, full: float) -> tuple[Placed, Placed] | None:
        free = room - self._head_height
        full -= self._head_height + self.content.after
        n, used = 0, 0.0
        while n < len(self.rows) and used + self.rows[n].height <= free:
            used += self.rows[n].height
            n += 1
        n = min(n, len(self.rows) - 1)  # when only the gap below is too much, the last row goes on
        if len(self.rows) > self.content.together:
            n = min(n, len(self.rows) - self.content.together)
        before = len(self.rows) - self.totals - 1
        if self.totals and before >= 0 and n > before and (free < full or before >= 1):
            n = before  # totals never stand alone under a repeated heading
        rows = self.rows
        if n == 0 and rows and rows[0].height > full and free > 30:
            first, rest = rows[0].split(free)
            rows, n = (first, rest, *rows[1:]), 1
        if n < 1:
            return None
        return replace(self, rows=rows[:n], totals=0), replace(self, rows=rows[n:])

    def draw(self, pen: Pen, x: float, top: float) -> None:
        """A table where its columns have heads; a list of labelled cells where none has."""
        y, canvas = top, pen.canvas
        with canvas.table(self.content) if self.head else canvas.list_of(self.content):
            if self.head:
                pen.box((x, y - self.head.height), (sum(self.widths), self.head.height), 0.0, shade=0.12)
                with canvas.head_row():
                    self._draw_row(pen, self.head, x, y, canvas.column_head)
                y -= self.head.height
            starts = [y]
            for row in self.rows:
                with canvas.tag("TR") if self.head else canvas.within(canvas.here):
                    self._draw_row(pen, row, x, y, partial(canvas.tag, "TD" if self.head else "LI"))
                y -= row.height
                starts.append(y)
        self._rule(pen, x, top, starts)

    def _rule(self, pen: Pen, x: float, top: float, starts: list[float]) -> None:
        width = sum(self.widths)
        if not self.content.lined:
            return
        for y in starts:
            pen.line((x, y), (x + width, y), 0.4)
        pen.line((x, top), (x + width, top), 1.2)
        if self.head:
            pen.line((x, starts[0]), (x + width, starts[0]), 1.0)
        if self.totals:
            y = starts[-1 - self.totals]
            pen.line((x, y), (x + width, y), 1.6)
        left = x
        for column, wide in zip(self.content.columns, self.widths, strict=True):
            pen.line((left, top), (left, starts[-1]), 1.6 if column.heavy else 0.4)
            left += wide
        pen.line((left, top), (left, starts[-1]), 0.4)

    def _draw_row(
        self, pen: Pen, row: _SetRow, x: float, top: float, tag: Callable[[], AbstractContextManager[object]]
    ) -> None:
        tall = row.height
        for cell, column, width in zip(row.cells, self.content.columns, self.widths, strict=True):
            if cell.cell.shade:
                pen.box((x, top - tall), (width, tall), 0.0, shade=cell.cell.shade)
            told = cell.cell.label or column.head
            told = cell.cell.told or " · ".join(part for part in (*_named(row), told) if part)
            with tag() if self.head or not _is_empty(cell) else pen.canvas.artifact():
                _draw_cell(pen, cell, (x, top), (width, tall), told)
            x += width


def _is_empty(cell: _SetCell) -> bool:
    """True for a cell with nothing to read and nothing to write in."""
    return not (cell.lines or cell.label or cell.cell.field or cell.cell.ticked >= 0 or any(cell.cell.ticks))


_NAMING = 3
"""Cells of a row that say which it is."""


def _named(row: _SetRow) -> list[str]:
    """What a row is about, for those who hear its fields rather than see them: its first words."""
    words = [cell.lines[0] for cell in row.cells if cell.lines and not cell.cell.label]
    return words[:_NAMING]


def _draw_cell(
    pen: Pen, cell: _SetCell, corner: tuple[float, float], size: tuple[float, float], told: str = ""
) -> None:
    (x, top), (width, tall) = corner, size
    box = (x + _PAD, width - 2 * _PAD)
    if cell.cell.ticks:
        with pen.canvas.part("LBody"):
            _draw_ticks(pen, cell, corner, size, told)
        return
    below = top - _PAD + 1
    if cell.label:
        alone = not cell.lines and not (pen.fillable and cell.cell.field)
        with pen.canvas.part("LBody" if alone else "Lbl"):
            below = pen.lines(box, below, cell.label, face=REGULAR, size=cell.label_size)
    text = len(cell.lines) * LEADING * cell.size
    if not cell.label:
        below = top - (tall - text) / 2
    if cell.label and alone:
        return
    with pen.canvas.part("LBody"):
        pen.lines(box, below, cell.lines, face=cell.face, size=cell.size, align=cell.align)
        if cell.cell.field and not cell.cell.text:
            labels = len(cell.label) * LEADING * cell.label_size
            pen.field(cell.cell.field, (x, top - tall), (width, tall - labels), told)


def _draw_ticks(
    pen: Pen, cell: _SetCell, corner: tuple[float, float], size: tuple[float, float], told: str = ""
) -> None:
    (x, top), (width, tall) = corner, size
    wanted = [_tick_width(words, cell.tick) for words in cell.cell.ticks]
    scale = width / sum(wanted)
    for n, words in enumerate(cell.cell.ticks):
        room = wanted[n] * scale
        side = min(cell.tick, room - 2, tall - 2)
        left = x + (_PAD if words else (room - side) / 2)
        name = f"{cell.cell.field}.{words}" if words and cell.cell.field else cell.cell.field
        if words:
            side = min(side, _WORDED_TICK)
        if cell.cell.values:
            _choice(pen, cell.cell, n, (left, top - (tall + side) / 2), side)
        else:
            pen.tick(name, (left, top - (tall + side) / 2), side, ticked=n == cell.cell.ticked, told=words or told)
        if words:
            lines, fitted = lay(words, REGULAR, _TICK_WORDS, room - side - _PAD - 2)
            high = len(lines) * LEADING * fitted
            pen.lines((left + side + 2, room), top - (tall - high) / 2, lines, face=REGULAR, size=fitted)
        x += room


def _choice(pen: Pen, cell: Cell, n: int, corner: tuple[float, float], side: float) -> None:
    """One of several boxes of which one is meant: drawn, and a ring of one field to choose from."""
    pen.box(corner, (side, side), 1.0)
    pen.choice(
        cell.field, cell.values[n], corner, side, f"{cell.told}: {cell.ticks[n]}" if cell.told else cell.ticks[n]
    )
