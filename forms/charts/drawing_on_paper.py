"""A drawing for the screen put on a page: the same marks in points, refused where its words would be too small to read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from forms.charts.drawing import Box, Drawing, Line, Words, plate_of
from forms.charts.lane_chart import Pattern, draw_pattern
from forms.layout.lettering import BOLD, REGULAR
from forms.layout.page import PaperError, Pen, Placed

__all__ = ["LEAST_POINTS", "Picture"]

LEAST_POINTS: Final = 8.0
"""Smallest type on a page (reading distance of a wall or a wet bench; design default)."""
_SHADES: Final = {"light": 0.11, "grey": 0.31, "black": 1.0, "white": 0.001}


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing over the whole width of the page."""

    drawing: Drawing

    def set(self, width: float) -> Placed:
        """Scale to `width` points.

        Raises
        ------
        PaperError
            Words would be smaller than 8 pt.
        """
        scale = width / self.drawing.width
        sizes = [mark.size * scale for mark in self.drawing.marks if isinstance(mark, Words)]
        if sizes and min(sizes) < LEAST_POINTS - 1e-6:
            message = f"words of {min(sizes):.1f} pt are too small to read; draw the picture less wide"
            raise PaperError(message)
        return _SetPicture(self.drawing, scale)


@dataclass(frozen=True, slots=True)
class _SetPicture:
    drawing: Drawing
    scale: float

    @property
    def height(self) -> float:
        return self.drawing.height * self.scale

    @property
    def least(self) -> float:
        return self.height

    @property
    def sticky(self) -> bool:
        return False

    def split(self, room: float, full: float) -> tuple[Placed, Placed] | None:  # noqa: ARG002  # a picture stays whole
        return None

    def draw(self, pen: Pen, x: float, top: float) -> None:
        told = ". ".join(part for part in (self.drawing.title, self.drawing.words) if part)
        with pen.canvas.figure(told, (x, top - self.height), (self.drawing.width * self.scale, self.height)):
            self._marks(pen, x, top)

    def _marks(self, pen: Pen, x: float, top: float) -> None:
        for mark in self.drawing.marks:
            if isinstance(mark, Line):
                grey = int(mark.shade[1:3], 16) / 255
                ends = ((mark.x, mark.y), (mark.to_x, mark.to_y))
                start, end = ((x + self.scale * a, top - self.scale * b) for a, b in ends)
                pen.line(start, end, mark.width * self.scale, grey)
            elif isinstance(mark, Box):
                self._box(pen, mark, x, top)
            else:
                self._words(pen, mark, x, top)

    def _box(self, pen: Pen, mark: Box, x: float, top: float) -> None:
        size = mark.width * self.scale, mark.height * self.scale
        corner = x + mark.x * self.scale, top - mark.y * self.scale - size[1]
        if mark.fill in ("hatch", "cross"):
            pattern: Pattern = "hatch" if mark.fill == "hatch" else "cross"
            draw_pattern(pen, corner, size, pattern)
        pen.box(corner, size, mark.edge * self.scale, shade=_SHADES.get(mark.fill, 0.0))

    def _words(self, pen: Pen, mark: Words, x: float, top: float) -> None:
        if mark.plate:
            (left, upper), (across, tall) = plate_of(mark)
            low = x + left * self.scale, top - (upper + tall) * self.scale
            pen.box(low, (across * self.scale, tall * self.scale), 0.0, shade=0.001)
        at = x + mark.x * self.scale, top - mark.y * self.scale
        pen.text(*at, mark.text, BOLD if mark.bold else REGULAR, mark.size * self.scale)
