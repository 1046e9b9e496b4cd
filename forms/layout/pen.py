"""The pen that draws on a page in points, and places form fields when the document is to be filled in on a screen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from reportlab.pdfbase import pdfmetrics

from forms.layout.lettering import LEADING, REGULAR, clean
from forms.layout.pdf.canvas import TaggedCanvas
from forms.layout.pdf.fields import choice_field, text_field, tick_field
from forms.layout.speech import ENGLISH, Speech

__all__ = ["Pen", "field_name"]


@dataclass(slots=True)
class Pen:
    """Draws on one canvas in points, and places form fields when the document is to be filled in on a screen.

    Attributes
    ----------
    canvas
        The page.
    fillable
        True to place form fields where a cell names one.
    prefix
        Put before every field name so that several sheets in one file do not share fields.
    language
        The language of what is drawn now.
    """

    canvas: TaggedCanvas
    fillable: bool = False
    prefix: str = ""
    used: set[str] = field(default_factory=set)
    language: Speech = ENGLISH

    def text(self, x: float, baseline: float, text: str, face: str = REGULAR, size: float = 9.0) -> None:
        """Write one line from `x` to the right."""
        self.canvas.setFillGray(0)
        self.canvas.setFont(face, size)
        self.canvas.drawString(x, baseline, text)

    def aligned(
        self, box: tuple[float, float], baseline: float, text: str, *, face: str, size: float, align: str
    ) -> None:
        """Write one line inside `box` (left x and width), aligned ``"left"``, ``"right"`` or ``"centre"``."""
        x, width = box
        if align != "left":
            spare = width - pdfmetrics.stringWidth(text, face, size)
            x += spare if align == "right" else spare / 2
        self.text(x, baseline, text, face, size)

    def lines(self, box: tuple[float, float], top: float, lines: Sequence[str], *, face: str, size: float,
              align: str = "left") -> float:  # fmt: skip
        """Write lines downwards from `top` and return the y below them."""
        if not lines:
            return top
        with self.canvas.paragraph():
            for line in lines:
                self.aligned(box, top - 0.93 * size, line, face=face, size=size, align=align)
                top -= LEADING * size
        return top

    def line(
        self, start: tuple[float, float], end: tuple[float, float], weight: float = 0.5, grey: float = 0.0
    ) -> None:
        """Draw a straight line; `grey` 0 is black."""
        self.canvas.setLineWidth(weight)
        self.canvas.setStrokeGray(grey)
        self.canvas.line(*start, *end)

    def box(self, corner: tuple[float, float], size: tuple[float, float], weight: float = 0.8,
            shade: float = 0.0) -> None:  # fmt: skip
        """Draw a rectangle from its lower left corner; `shade` 0 leaves it open, 1 fills it black."""
        self.canvas.setLineWidth(weight)
        self.canvas.setStrokeGray(0)
        if shade > 0:
            self.canvas.setFillGray(1 - shade)
        self.canvas.rect(*corner, *size, stroke=int(weight > 0), fill=int(shade > 0))

    def _field_name(self, name: str) -> str:
        wanted = field_name(self.prefix + name)
        unique, n = wanted, 1
        while unique in self.used:
            n += 1
            unique = f"{wanted}-{n}"
        self.used.add(unique)
        return unique

    def field(self, name: str, corner: tuple[float, float], size: tuple[float, float], told: str = "") -> None:
        """Place a text field over a rectangle, `told` its tooltip; nothing unless the document is fillable."""
        if self.fillable and name:
            (x, y), (wide, tall) = corner, size
            unique = self._field_name(name)
            text_field(self.canvas, unique, clean(told or name), (x + 1, y + 1), (wide - 2, tall - 2))

    def tick(
        self, name: str, corner: tuple[float, float], side: float, *, ticked: bool = False, told: str = ""
    ) -> None:
        """Draw a box to tick; a form check box when the document is fillable."""
        if self.fillable and name:
            unique = self._field_name(name)
            tick_field(self.canvas, unique, clean(told or name), corner, side, ticked=ticked, edge=1.0)
            return
        self.box(corner, (side, side), 1.0)
        if ticked:
            self._hook(corner, side, told or name)

    def check(self, name: str, corner: tuple[float, float], side: float, told: str, *, ticked: bool) -> None:
        """A form check box over a box that is drawn already, or the printed tick where nothing is to be filled in."""
        if self.fillable and name:
            unique = self._field_name(name)
            tick_field(self.canvas, unique, clean(told or name), corner, side, ticked=ticked, edge=0.0)
        elif ticked:
            self._hook(corner, side, told or name)

    def _hook(self, corner: tuple[float, float], side: float, told: str) -> None:
        left, low = corner
        with self.canvas.figure(f"✓ {clean(told)}", corner, (side, side)):
            self.line((left + 0.2 * side, low + 0.5 * side), (left + 0.42 * side, low + 0.22 * side), 1.6)
            self.line((left + 0.42 * side, low + 0.22 * side), (left + 0.82 * side, low + 0.82 * side), 1.6)

    def choice(self, name: str, value: str, corner: tuple[float, float], side: float, told: str) -> None:
        """One of several rings of one field, of which one is chosen; nothing unless the document is fillable."""
        if self.fillable and name:
            group = field_name(self.prefix + name)
            choice_field(self.canvas, group, clean(value), clean(told or name), corner, side)


def field_name(name: str) -> str:
    """A field's name without full stops, which in a PDF part a name from its parent's (ISO 32000-1, 12.7.3.2)."""
    return clean(name).replace(".", "/")
