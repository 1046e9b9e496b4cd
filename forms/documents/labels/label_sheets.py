"""Labels for vats and boxes on sheets or rolls given by their dimensions."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.units import mm

from forms.layout.lettering import BOLD, LEADING, REGULAR, lay, one_line
from forms.layout.page import PaperError, Pen, paper_of
from forms.layout.pdf.canvas import document
from forms.layout.qr_code import LEAST_LABEL_MM, draw_qr
from forms.layout.speech import ENGLISH, Speech

__all__ = [
    "GRIDS",
    "LabelContent",
    "LabelGrid",
    "calibration",
    "corner_of",
    "cut_marks",
    "grid_for",
    "grid_of",
    "labels",
]

_PAD_MM = 2.0
_MOST_QR_MM = 30.0
_LEAST_WIDTH_MM = 40.0
_TOLERANCE_MM = 0.05


@dataclass(frozen=True, slots=True)
class LabelContent:
    """What one label says.

    Attributes
    ----------
    code
        Vat, or shipment and box, in the largest type that fits.
    lines
        Lines below it, the first in bold.
    address
        What the QR code says; the code itself when empty.
    """

    code: str
    lines: tuple[str, ...] = ()
    address: str = ""


@dataclass(frozen=True, slots=True)
class LabelGrid:
    """A sheet of labels, or one label of a roll, by its dimensions in mm.

    Attributes
    ----------
    page
        ``"a4"``, ``"letter"`` or ``"roll"``; only names it.
    page_width_mm, page_height_mm
        The whole sheet.
    columns, rows
        Labels across and down.
    width_mm, height_mm
        One label.
    left_mm, top_mm
        From the sheet's edge to the first label.
    gap_across_mm, gap_down_mm
        Between labels.
    """

    page: str
    page_width_mm: float
    page_height_mm: float
    columns: int
    rows: int
    width_mm: float
    height_mm: float
    left_mm: float = 0.0
    top_mm: float = 0.0
    gap_across_mm: float = 0.0
    gap_down_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a grid that does not fit its page or labels too small for their code."""
        problems = self.problems()
        if problems:
            raise PaperError("; ".join(problems))

    @property
    def name(self) -> str:
        """The grid's name, made of its own dimensions."""
        if self.page == "roll":
            return f"roll-{self.width_mm:g}x{self.height_mm:g}"
        return f"{self.page}-{self.columns}x{self.rows}"

    @property
    def each_page(self) -> int:
        """Labels on one page."""
        return self.columns * self.rows

    def problems(self) -> list[str]:
        """Everything wrong with these dimensions, in words; empty when the grid fits."""
        found = []
        if self.columns < 1 or self.rows < 1:
            found.append(f"{self.columns} x {self.rows} labels: at least one across and one down")
        if min(self.left_mm, self.top_mm, self.gap_across_mm, self.gap_down_mm) < 0:
            found.append("a margin or gap is below 0 mm")
        across = self.left_mm + self.columns * self.width_mm + (self.columns - 1) * self.gap_across_mm
        down = self.top_mm + self.rows * self.height_mm + (self.rows - 1) * self.gap_down_mm
        if across > self.page_width_mm + _TOLERANCE_MM:
            found.append(f"labels reach {across:.2f} mm across a page {self.page_width_mm:g} mm wide")
        if down > self.page_height_mm + _TOLERANCE_MM:
            found.append(f"labels reach {down:.2f} mm down a page {self.page_height_mm:g} mm high")
        least_height = LEAST_LABEL_MM + 2 * _PAD_MM
        if self.width_mm < _LEAST_WIDTH_MM or self.height_mm < least_height:
            found.append(
                f"a label of {self.width_mm:g} x {self.height_mm:g} mm is below "
                f"{_LEAST_WIDTH_MM:g} x {least_height:g} mm, what a code that wet hands can scan needs"
            )
        return found


# Common label sheets and rolls; dimensions from memory, checked here only to add up to the page.
_SHIPPED = (
    LabelGrid("a4", 210, 297, 3, 8, 70, 37, 0, 0.5),
    LabelGrid("a4", 210, 297, 3, 7, 63.5, 38.1, 7.25, 15.15, 2.5, 0),
    LabelGrid("a4", 210, 297, 2, 4, 99.1, 67.7, 4.65, 13.1, 2.5, 0),
    LabelGrid("letter", 215.9, 279.4, 3, 10, 66.675, 25.4, 4.7625, 12.7, 3.175, 0),
    LabelGrid("letter", 215.9, 279.4, 2, 5, 101.6, 50.8, 3.97, 12.7, 4.7625, 0),
    LabelGrid("roll", 50, 25, 1, 1, 50, 25),
    LabelGrid("roll", 57, 32, 1, 1, 57, 32),
    LabelGrid("roll", 76, 51, 1, 1, 76, 51),
    LabelGrid("roll", 101.6, 152.4, 1, 1, 101.6, 152.4),
)
GRIDS = {grid.name: grid for grid in _SHIPPED}


def grid_of(name: str) -> LabelGrid:
    """A shipped grid by its name, such as ``a4-3x7``.

    Raises
    ------
    PaperError
        For any other name; the message lists those there are.
    """
    if name not in GRIDS:
        message = f"label grid {name!r} is not known; use one of {', '.join(GRIDS)}, or give its dimensions"
        raise PaperError(message)
    return GRIDS[name]


def grid_for(
    paper: str,
    size_mm: tuple[float, float],
    *,
    across_down: tuple[int, int] = (0, 0),
    gap_mm: tuple[float, float] = (0.0, 0.0),
    margin_mm: tuple[float, float] | None = None,
) -> LabelGrid:
    """Labels of one size on a paper: as many as fit, in the middle of the sheet, unless set otherwise.

    Parameters
    ----------
    paper
        ``"a4"`` or ``"letter"``, or ``"roll"`` for one label a page.
    size_mm
        Width and height of a label.
    across_down
        Labels across and down; 0 for as many as fit.
    gap_mm
        Between labels, across and down.
    margin_mm
        From the sheet's left and upper edge to the first label; None centres them.

    Raises
    ------
    PaperError
        If they do not fit, or a label is too small for its code.
    """
    wide, tall = size_mm
    if paper == "roll":
        return LabelGrid("roll", wide, tall, 1, 1, wide, tall)
    sheet = paper_of(paper)
    left, top = margin_mm or (0.0, 0.0)
    columns = across_down[0] or _as_many(sheet.width_mm - left + gap_mm[0], wide + gap_mm[0])
    rows = across_down[1] or _as_many(sheet.height_mm - top + gap_mm[1], tall + gap_mm[1])
    if margin_mm is None:
        left = max(0.0, (sheet.width_mm - columns * wide - (columns - 1) * gap_mm[0]) / 2)
        top = max(0.0, (sheet.height_mm - rows * tall - (rows - 1) * gap_mm[1]) / 2)
    return LabelGrid(paper, sheet.width_mm, sheet.height_mm, columns, rows, wide, tall, left, top, *gap_mm)


def _as_many(room_mm: float, each_mm: float) -> int:
    """Labels that fit side by side; none of a size that is no size, which the grid then refuses in words."""
    return int((room_mm + _TOLERANCE_MM) // each_mm) if each_mm > 0 else 0


def cut_marks(pen: Pen, grid: LabelGrid, offset_mm: tuple[float, float] = (0.0, 0.0)) -> None:
    """Short lines at the corners of every label, for plain paper that is cut."""
    reach = 3 * mm
    for n in range(grid.each_page):
        x, low = corner_of(grid, n, offset_mm)
        for left in (x, x + grid.width_mm * mm):
            for foot in (low, low + grid.height_mm * mm):
                pen.line((left - reach / 2, foot), (left + reach / 2, foot), 0.25)
                pen.line((left, foot - reach / 2), (left, foot + reach / 2), 0.25)


def labels(
    contents: Sequence[LabelContent],
    grid: str | LabelGrid = "a4-3x7",
    first: int = 1,
    *,
    offset_mm: tuple[float, float] = (0.0, 0.0),
    marks: bool = False,
    language: Speech = ENGLISH,
) -> bytes:
    """Labels as PDF, filled row by row.

    Parameters
    ----------
    contents
        One for each label.
    grid
        Name of a shipped grid, or dimensions.
    first
        First free label on the first sheet, counted from 1 along the rows.
    offset_mm
        How far this printer must be shifted to the right and down.
    marks
        True prints cut marks, for plain paper.

    Returns
    -------
    bytes
        A PDF; equal content gives equal bytes.

    Raises
    ------
    PaperError
        For an unknown grid, no label at all, or a `first` that is not on the sheet.
    """
    chosen = grid_of(grid) if isinstance(grid, str) else grid
    if not 1 <= first <= chosen.each_page:
        message = f"first free label {first} is not on a sheet of {chosen.each_page}"
        raise PaperError(message)
    if not contents:
        message = "no label to print"
        raise PaperError(message)
    pen, buffer = _open(chosen, language.say("Labels"), language)
    for n, content in enumerate(contents, start=first - 1):
        if n % chosen.each_page == 0 and n >= first:
            pen.canvas.showPage()
        if marks and (n == first - 1 or n % chosen.each_page == 0):
            cut_marks(pen, chosen, offset_mm)
        with pen.canvas.tag("Sect"):
            _draw(pen, content, chosen, corner_of(chosen, n % chosen.each_page, offset_mm))
    pen.canvas.showPage()
    pen.canvas.save()
    return buffer.getvalue()


def calibration(grid: str | LabelGrid, *, offset_mm: tuple[float, float] = (0.0, 0.0)) -> bytes:
    """Outline of every label with its number, to hold against a sheet of labels and measure the shift.

    Parameters
    ----------
    grid, offset_mm
        As `labels`.

    Raises
    ------
    PaperError
        For an unknown grid.
    """
    chosen = grid_of(grid) if isinstance(grid, str) else grid
    pen, buffer = _open(chosen, "Label calibration")
    for n in range(chosen.each_page):
        x, low = corner_of(chosen, n, offset_mm)
        pen.box((x, low), (chosen.width_mm * mm, chosen.height_mm * mm), 0.3)
        pen.text(x + 2 * mm, low + 2 * mm, f"label {n + 1} · {chosen.width_mm:g} × {chosen.height_mm:g} mm", REGULAR, 7)
        pen.line((x + 10 * mm, low + 8 * mm), (x + 30 * mm, low + 8 * mm), 0.6)
        pen.text(x + 31 * mm, low + 7 * mm, "20", REGULAR, 6)
    pen.canvas.showPage()
    pen.canvas.save()
    return buffer.getvalue()


def _open(grid: LabelGrid, title: str, language: Speech = ENGLISH) -> tuple[Pen, io.BytesIO]:
    canvas, buffer = document((grid.page_width_mm * mm, grid.page_height_mm * mm), title, language=language)
    return Pen(canvas, language=language), buffer


def corner_of(grid: LabelGrid, index: int, offset_mm: tuple[float, float]) -> tuple[float, float]:
    """Lower left corner of one label of a sheet, points."""
    row, column = divmod(index, grid.columns)
    x = grid.left_mm + column * (grid.width_mm + grid.gap_across_mm) + offset_mm[0]
    y = grid.page_height_mm - grid.top_mm - (row + 1) * grid.height_mm - row * grid.gap_down_mm - offset_mm[1]
    return x * mm, y * mm


def _draw(pen: Pen, content: LabelContent, grid: LabelGrid, corner: tuple[float, float]) -> None:
    side_mm = max(LEAST_LABEL_MM, min(grid.height_mm - 2 * _PAD_MM, _MOST_QR_MM, 0.42 * grid.width_mm))
    x, low = corner
    top = low + (grid.height_mm - _PAD_MM) * mm
    draw_qr(pen.canvas, content.address or content.code, (x + 0.5 * _PAD_MM * mm, top - side_mm * mm), side_mm, "q")
    left = x + (0.5 * _PAD_MM + side_mm + 1) * mm
    room = (grid.width_mm - 1.5 * _PAD_MM - side_mm - 1) * mm
    most = min(40.0, 0.3 * grid.height_mm * mm)
    code = one_line(content.code, BOLD, most, room)
    with pen.canvas.tag("H1"):
        if code and code[1] >= 11:
            below = pen.lines((left, room), top, (code[0],), face=BOLD, size=code[1])
        else:
            laid, size = lay(content.code, BOLD, 11, room)
            below = pen.lines((left, room), top, laid, face=BOLD, size=size)
    _draw_lines(pen, content.lines, (left, below), (room, below - low - 0.5 * _PAD_MM * mm))


def _draw_lines(pen: Pen, lines: tuple[str, ...], corner: tuple[float, float], room: tuple[float, float]) -> None:
    """Lines at the largest size at which all of them fit; what no size saves ends in an ellipsis."""
    (x, top), (width, tall) = corner, room
    size = min(18.0, max(9.0, 0.16 * tall))
    while True:
        laid = [(piece, BOLD if n == 0 else REGULAR, fitted)
                for n, line in enumerate(lines)
                for pieces, fitted in (lay(line, BOLD if n == 0 else REGULAR, size, width),)
                for piece in pieces]  # fmt: skip
        if sum(LEADING * fitted for _, _, fitted in laid) <= tall or size <= 4.5:
            break
        size -= 0.5
    for n, (piece, face, fitted) in enumerate(laid):
        if n + 1 < len(laid) and (LEADING * (fitted + laid[n + 1][2])) > tall:
            piece = piece[:-1] + "…"
        if LEADING * fitted > tall:
            return
        top = pen.lines((x, width), top, (piece,), face=face, size=fitted)
        tall -= LEADING * fitted
        if piece.endswith("…"):
            return
