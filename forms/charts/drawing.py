"""Drawings for a screen: boxes, lines and words once put down, given as SVG text or as a PNG; never by color alone."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any, Literal
from xml.sax.saxutils import escape, quoteattr

from forms.layout.lettering import clean

__all__ = ["Box", "Drawing", "Fill", "Line", "Words", "plate_of"]

Fill = Literal["none", "white", "light", "grey", "black", "hatch", "cross"]

_SHADES: dict[str, str] = {"white": "#ffffff", "light": "#e4e4e4", "grey": "#b0b0b0", "black": "#000000"}
_STEP = 6
_PATTERNS = (
    '<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse"><rect width="6" height="6" '
    'fill="#ffffff"/><path d="M0 6L6 0" stroke="#555555"/></pattern><pattern id="cross" width="6" height="6" '
    'patternUnits="userSpaceOnUse"><rect width="6" height="6" fill="#ffffff"/><path d="M0 6L6 0M0 0L6 6" '
    'stroke="#777777"/></pattern></defs>'
)
_FACE = 'font-family="DejaVu Sans, Verdana, sans-serif"'


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle by its upper left corner."""

    x: float
    y: float
    width: float
    height: float
    fill: Fill
    edge: float
    told: str
    key: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line."""

    x: float
    y: float
    to_x: float
    to_y: float
    width: float
    shade: str


@dataclass(frozen=True, slots=True)
class Words:
    """Words by the left end of their foot line."""

    x: float
    y: float
    text: str
    size: int
    bold: bool
    plate: bool


@dataclass(slots=True)
class Drawing:
    """What is on one sheet of so many pixels; equal drawings give equal SVG and equal pixels.

    Attributes
    ----------
    title, words
        What it is and what it says, for those who cannot see it.
    """

    width: int
    height: int
    title: str
    words: str = ""
    marks: list[Box | Line | Words] = field(default_factory=list)

    def box(
        self,
        corner: tuple[float, float],
        size: tuple[float, float],
        fill: Fill,
        *,
        edge: float = 1.0,
        told: str = "",
        key: str = "",
    ) -> None:
        """Put down a rectangle by its upper left corner; ``told`` is said when it is pointed at, ``key`` names it to a page."""
        self.marks.append(Box(*corner, *size, fill, edge, told, key))

    def line(
        self, start: tuple[float, float], end: tuple[float, float], *, width: float = 1.0, shade: str = "#000000"
    ) -> None:
        """Put down a straight line."""
        self.marks.append(Line(*start, *end, width, shade))

    def text(
        self, at: tuple[float, float], text: str, *, size: int = 12, bold: bool = False, plate: bool = False
    ) -> None:
        """Put down words by the left end of their foot line; on a white plate where the ground is patterned."""
        self.marks.append(Words(*at, clean(text), size, bold, plate))

    def svg(self) -> str:
        """A complete SVG document with ``<title>`` and ``<desc>``."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {self.height}" width="{self.width}" '
            f'height="{self.height}" role="img"><title>{escape(self.title)}</title><desc>{escape(self.words)}</desc>'
        )
        ground = f'<rect width="{self.width}" height="{self.height}" fill="#ffffff"/>'
        return "\n".join([head, _PATTERNS, ground, *(_as_svg(mark) for mark in self.marks), "</svg>\n"])

    def png(self, scale: int = 2) -> bytes:
        """The same as pixels, ``scale`` to one of the drawing's."""
        from PIL import Image, ImageDraw

        picture = Image.new("L", (self.width * scale, self.height * scale), 255)
        pen = ImageDraw.Draw(picture)
        for mark in self.marks:
            _on_pixels(pen, mark, scale)
        buffer = io.BytesIO()
        picture.save(buffer, "PNG", optimize=True)
        return buffer.getvalue()


def wide(text: str, size: int, *, bold: bool = False) -> float:
    """Width of words in pixels."""
    return float(_face(size, bold=bold).getlength(text))


def _as_svg(mark: Box | Line | Words) -> str:
    if isinstance(mark, Line):
        path = f'd="M{mark.x:.1f} {mark.y:.1f}L{mark.to_x:.1f} {mark.to_y:.1f}"'
        return f'<path {path} stroke="{mark.shade}" stroke-width="{mark.width:g}" fill="none"/>'
    if isinstance(mark, Box):
        fill = _SHADES.get(mark.fill, mark.fill if mark.fill == "none" else f"url(#{mark.fill})")
        edge = f' stroke="#000000" stroke-width="{mark.edge:g}"' if mark.edge else ""
        told = f"<title>{escape(mark.told)}</title>" if mark.told else ""
        size = f'width="{mark.width:.1f}" height="{mark.height:.1f}"'
        key = f" data-key={quoteattr(mark.key)}" if mark.key else ""
        return f'<rect x="{mark.x:.1f}" y="{mark.y:.1f}" {size} fill="{fill}"{edge}{key}>{told}</rect>'
    plate = ""
    if mark.plate:
        (x, y), (width, height) = plate_of(mark)
        plate = f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" fill="#ffffff"/>'
    weight = ' font-weight="bold"' if mark.bold else ""
    at = f'x="{mark.x:.1f}" y="{mark.y:.1f}"'
    return f'{plate}<text {at} {_FACE} font-size="{mark.size}"{weight} fill="#000000">{escape(mark.text)}</text>'


def plate_of(mark: Words) -> tuple[tuple[float, float], tuple[float, float]]:
    """Upper left corner and size of the white plate under words."""
    return (mark.x - 1, mark.y - mark.size), (wide(mark.text, mark.size, bold=mark.bold) + 2, 1.25 * mark.size)


def _on_pixels(pen: Any, mark: Box | Line | Words, scale: int) -> None:
    if isinstance(mark, Line):
        ends = [mark.x * scale, mark.y * scale, mark.to_x * scale, mark.to_y * scale]
        pen.line(ends, fill=mark.shade, width=max(1, round(mark.width * scale)))
    elif isinstance(mark, Box):
        _box_on_pixels(pen, mark, scale)
    else:
        if mark.plate:
            (x, y), (width, height) = plate_of(mark)
            pen.rectangle([x * scale, y * scale, (x + width) * scale, (y + height) * scale], fill=255)
        face = _face(mark.size * scale, bold=mark.bold)
        pen.text((mark.x * scale, mark.y * scale), mark.text, fill=0, font=face, anchor="ls")


def _box_on_pixels(pen: Any, mark: Box, scale: int) -> None:
    left, top = mark.x * scale, mark.y * scale
    right, foot = max(left, (mark.x + mark.width) * scale - 1), max(top, (mark.y + mark.height) * scale - 1)
    if mark.fill != "none":
        pen.rectangle([left, top, right, foot], fill=_SHADES.get(mark.fill, "#ffffff"))
    if mark.fill in ("hatch", "cross"):
        _hatch(pen, (left, top, right, foot), scale, crossed=mark.fill == "cross")
    if mark.edge:
        pen.rectangle([left, top, right, foot], outline=0, width=max(1, round(mark.edge * scale)))


def _hatch(pen: Any, area: tuple[float, float, float, float], scale: int, *, crossed: bool) -> None:
    """Slanting lines cut off at the edges of a rectangle."""
    left, top, right, foot = area
    tall = foot - top
    offset = -tall
    while offset < right - left:
        start, end = max(0.0, offset), min(right - left, offset + tall)
        if end > start:
            low, high = foot - (start - offset), foot - (end - offset)
            pen.line([left + start, low, left + end, high], fill="#555555", width=max(1, scale // 2))
            if crossed:
                pen.line([left + start, top + foot - low, left + end, top + foot - high], fill="#777777", width=1)
        offset += _STEP * scale


@cache
def _face(size: int, *, bold: bool) -> Any:
    from PIL import ImageFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    data = resources.files("forms").joinpath("fonts", name).read_bytes()
    return ImageFont.truetype(io.BytesIO(data), size)
