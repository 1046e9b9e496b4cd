"""Draws a form to measure: millimetres from the upper left corner of what may be printed, and no type below 8 points."""

from __future__ import annotations

from dataclasses import dataclass

from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth

from forms.layout.lettering import BOLD, NARROW, NARROW_BOLD, REGULAR, clean, lay
from forms.layout.page import Paper, PaperError, Pen
from forms.layout.pdf.canvas import TaggedCanvas
from forms.layout.qr_code import draw_qr, qr_modules

__all__ = [
    "FRAME",
    "GREY",
    "GRID",
    "OWED",
    "SMALLEST",
    "WEEKEND",
    "Look",
    "SheetPen",
    "fitted",
    "qr_side",
    "sheet_paper",
    "wrapped",
]

SMALLEST = 8.0
"""Smallest type of a sheet read with wet hands in bad light, points."""
GRID, FRAME, OWED, HAIR = 0.25, 0.5, 0.7, 0.15
"""Weights of lines, mm: between cells, around them, where a number is owed, inside a day."""
GREY, WEEKEND = 0.894, 0.925
"""The two tones of a sheet, as shares of white."""
LEAST_MODULE_MM = 0.45
"""Least side of one module of a QR code on a sheet, mm."""
_LEADING_MM = 0.42
"""Line pitch in mm for each point of type (leading 1.19)."""

_PAPERS = {
    "a4": Paper("a4", 210.0, 297.0, left_mm=16.0, right_mm=10.0, top_mm=9.0, bottom_mm=9.0),
    "letter": Paper("letter", 215.9, 279.4, left_mm=20.0, right_mm=11.9, top_mm=9.0, bottom_mm=9.0),
}


def sheet_paper(name: str) -> Paper:
    """The paper of an intake sheet with its margins: 184 mm wide on both, the left side free for filing holes.

    Raises
    ------
    PaperError
        For any other name than ``"a4"`` and ``"letter"``.
    """
    known = _PAPERS.get(name.lower())
    if known is None:
        message = f"paper {name!r} is not known; use a4 or letter"
        raise PaperError(message)
    return known


@dataclass(frozen=True, slots=True)
class Look:
    """How words are set: size in points, weight, width, side they keep to, and white on black or black on white."""

    size: float = 9.0
    bold: bool = False
    narrow: bool = True
    align: str = "left"
    white: bool = False

    @property
    def face(self) -> str:
        """Name of the type face."""
        if self.narrow:
            return NARROW_BOLD if self.bold else NARROW
        return BOLD if self.bold else REGULAR

    @property
    def pitch(self) -> float:
        """From one line to the next, mm."""
        return _LEADING_MM * self.size

    def width(self, words: str) -> float:
        """Width of words on one line, mm."""
        return stringWidth(clean(words), self.face, self.size) / mm


def wrapped(words: str, look: Look, width: float) -> tuple[str, ...]:
    """Lines of `words` in `width` mm at the size of `look`; a word too wide for a line is broken, never shrunk."""
    return lay(words, look.face, look.size, max(width, 1.0) * mm, look.size)[0]


def fitted(words: str, sizes: tuple[float, ...], look: Look, width: float) -> tuple[tuple[str, ...], Look]:
    """Lines at the first of the sizes at which all stands on one line, at the last otherwise, over as many as needed."""
    text = " ".join(clean(words).split())
    for size in sizes:
        tried = Look(size, look.bold, look.narrow, look.align, look.white)
        if stringWidth(text, tried.face, size) <= width * mm:
            return ((text,) if text else ()), tried
    return wrapped(text, tried, width), tried


def qr_side(address: str, wanted: float) -> float:
    """Side of a QR code in mm: as wanted, or as large as its modules need."""
    return max(wanted, (qr_modules(address) + 8) * LEAST_MODULE_MM) if address else 0.0


@dataclass(slots=True)
class SheetPen:
    """Draws on one page in mm from the upper left corner inside the margins; y grows downwards."""

    pen: Pen
    paper: Paper

    def say(self, words: str, /, **values: object) -> str:
        """A phrase in the language of the page."""
        return self.pen.language.say(words, **values)

    @property
    def width(self) -> float:
        """Width between the margins, mm."""
        return self.paper.width_mm - self.paper.left_mm - self.paper.right_mm

    @property
    def height(self) -> float:
        """Height between the margins, mm."""
        return self.paper.height_mm - self.paper.top_mm - self.paper.bottom_mm

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A point of the canvas."""
        return (self.paper.left_mm + x) * mm, (self.paper.height_mm - self.paper.top_mm - y) * mm

    @property
    def canvas(self) -> TaggedCanvas:
        """The canvas, to say what is drawn."""
        return self.pen.canvas

    def line(self, start: tuple[float, float], end: tuple[float, float], weight: float = GRID) -> None:
        """A black line, `weight` in mm."""
        self.pen.line(self.at(*start), self.at(*end), weight * mm)

    def box(
        self, corner: tuple[float, float], size: tuple[float, float], weight: float = GRID, white: float | None = None
    ) -> None:
        """A rectangle from its upper left corner, filled with a share of white if one is given."""
        x, y = self.at(corner[0], corner[1] + size[1])
        canvas = self.pen.canvas
        canvas.setLineWidth(weight * mm)
        canvas.setStrokeGray(0)
        if white is not None:
            canvas.setFillGray(white)
        canvas.rect(x, y, size[0] * mm, size[1] * mm, stroke=int(weight > 0), fill=int(white is not None))

    def words(self, x: float, baseline: float, words: str, look: Look) -> float:
        """One line from `x` (its right end or middle if aligned so); gives its width in mm."""
        text = clean(words).replace("\n", " ")
        wide = stringWidth(text, look.face, look.size) / mm
        left = x - (wide if look.align == "right" else wide / 2 if look.align == "centre" else 0.0)
        canvas = self.pen.canvas
        canvas.setFillGray(1 if look.white else 0)
        canvas.setFont(look.face, look.size)
        canvas.drawString(*self.at(left, baseline), text)
        return wide

    def lines(self, x: float, top: float, lines: tuple[str, ...], look: Look) -> float:
        """Lines downwards from `top`; gives the y below them."""
        if not lines:
            return top
        with self.pen.canvas.paragraph():
            for line in lines:
                self.words(x, top + 0.33 * look.size, line, look)
                top += look.pitch
        return top

    def para(self, x: float, top: float, width: float, words: str, look: Look) -> float:
        """Words broken in `width`; gives the y below them."""
        return self.lines(x, top, wrapped(words, look, width), look)

    def write(
        self, corner: tuple[float, float], size: tuple[float, float], field: str, *, told: str = "", label: str = "",
        weight: float = GRID,
    ) -> None:  # fmt: skip
        """A white box to write in, its label small in the corner; `told` is what a reader of the form field hears."""
        self.box(corner, size, weight, 1.0)
        if label:
            self.words(corner[0] + 0.8, corner[1] + 2.9, label, Look(SMALLEST))
        self.entry(corner, size, field, told or label)

    def entry(self, corner: tuple[float, float], size: tuple[float, float], field: str, told: str) -> None:
        """A form field over a rectangle that is drawn already."""
        x, y = self.at(corner[0], corner[1] + size[1])
        self.pen.field(field, (x, y), (size[0] * mm, size[1] * mm), told)

    def tick(
        self, corner: tuple[float, float], field: str, told: str, *, side: float = 10.0, weight: float = GRID,
        ticked: bool = False,
    ) -> None:  # fmt: skip
        """A box to tick or to initial, 10 mm."""
        self.box(corner, (side, side), weight, 1.0)
        x, y = self.at(corner[0], corner[1] + side)
        self.pen.check(field, (x, y), side * mm, told, ticked=ticked)

    def ring(self, middle: tuple[float, float], word: str, field: str, told: str, *, across: float = 10.0) -> None:
        """A ring with a word inside, one of several to choose from."""
        x, y = self.at(*middle)
        canvas = self.pen.canvas
        canvas.setLineWidth(GRID * mm)
        canvas.setStrokeGray(0)
        canvas.setFillGray(1)
        canvas.circle(x, y, across / 2 * mm, stroke=1, fill=1)
        self.words(middle[0], middle[1] + 1.0, word, Look(SMALLEST, align="centre"))
        self.pen.choice(field, word, (x - across / 2 * mm, y - across / 2 * mm), across * mm, told)

    def qr(self, address: str, corner: tuple[float, float], side: float) -> None:
        """The code of an address with its upper left corner at `corner`; none without an address."""
        if address:
            draw_qr(self.pen.canvas, address, self.at(corner[0], corner[1] + side), side)

    def ruled(self, top: float, bottom: float, pitch: float = 8.45) -> None:
        """Lines to write on, as many as the room holds."""
        while top + pitch <= bottom + 0.01:
            top += pitch
            self.line((0, top), (self.width, top), HAIR)

    def hatched(self, corner: tuple[float, float], size: tuple[float, float]) -> None:
        """A rectangle of days that are none: slanted lines."""
        (x, y), (wide, tall) = corner, size
        step, start = 2.5, -tall
        while start < wide:
            left, right = max(start, 0.0), min(start + tall, wide)
            if right > left:
                self.line((x + left, y + tall - (left - start)), (x + right, y + tall - (right - start)), HAIR)
            start += step
