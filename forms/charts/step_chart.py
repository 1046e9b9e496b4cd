"""A step curve on paper or screen: survival with its interval and its marks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from reportlab.lib.units import mm

from forms.layout.lettering import REGULAR
from forms.layout.page import Pen, Placed

__all__ = ["StepChart"]


At = Callable[[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class StepChart:
    """A share that falls in steps, with its interval as a gray band.

    Attributes
    ----------
    points
        (time, share, low, high) in order; shares from 0 to 1, each holding until the next time.
    end
        Last time shown.
    time_label
        What the axis counts.
    height_mm
        Height of the drawing.
    """

    points: tuple[tuple[float, float, float, float], ...]
    end: float
    time_label: str
    height_mm: float = 75.0

    def set(self, width: float) -> Placed:
        """Same height in any width."""
        return _SetSteps(self, width)


@dataclass(frozen=True, slots=True)
class _SetSteps:
    content: StepChart
    width: float
    sticky: bool = False

    @property
    def height(self) -> float:
        return self.content.height_mm * mm

    @property
    def least(self) -> float:
        return self.height

    def split(self, room: float, full: float) -> tuple[Placed, Placed] | None:  # noqa: ARG002
        return None

    def draw(self, pen: Pen, x: float, top: float) -> None:
        left, low = x + 32, top - self.height + 26
        wide, tall = self.width - 40, self.height - 34
        end = max(self.content.end, 1e-9)
        floor = self._floor()

        def at(time: float, share: float) -> tuple[float, float]:
            up = (min(max(share, floor), 1.0) - floor) / (1.0 - floor)
            return left + wide * min(time, end) / end, low + tall * up

        with pen.canvas.figure(self._told(), (x, top - self.height), (self.width, self.height)):
            self._drawn(pen, at, (x, left, low), (wide, tall), floor)

    def _told(self) -> str:
        """The steps, for those who cannot see them."""
        steps = ", ".join(f"{time:g}: {100 * share:.0f} %" for time, share, _, _ in self.content.points)
        return f"{self.content.time_label}: {steps}"

    def _drawn(
        self, pen: Pen, at: At, corner: tuple[float, float, float], size: tuple[float, float], floor: float
    ) -> None:
        (x, left, low), (wide, tall) = corner, size
        end = max(self.content.end, 1e-9)
        self._band(pen, at)
        for percent in _percents(floor):
            y = at(0, percent / 100)[1]
            pen.line((left, y), (left + wide, y), 0.3, 0.5)
            pen.aligned((x, 28), y - 2.5, f"{percent} %", face=REGULAR, size=7.5, align="right")
        for time in round_marks(end):
            mark = at(time, floor)[0]
            pen.line((mark, low), (mark, low - 3), 0.5)
            pen.aligned((mark - 20, 40), low - 11, f"{time:g}", face=REGULAR, size=7.5, align="centre")
        words = self.content.time_label + (f" · the axis begins at {100 * floor:.0f} %" if floor else "")
        pen.aligned((left, wide), low - 22, words, face=REGULAR, size=8, align="centre")
        self._curve(pen, at)
        pen.box((left, low), (wide, tall), 0.8)

    def _floor(self) -> float:
        """Where the share axis begins: at none, or at 50, 80 or 90 % when the whole band lies above, and it says so."""
        least = min((low for _, _, low, _ in self.content.points), default=0.0)
        return next((floor for floor in (0.9, 0.8, 0.5) if least >= floor + 0.01), 0.0)

    def _band(self, pen: Pen, at: At) -> None:
        points = self.content.points
        for (time, _, low, high), following in zip(
            points, [*(p[0] for p in points[1:]), self.content.end], strict=True
        ):
            start, stop = at(time, low), at(following, high)
            if stop[0] > start[0]:
                pen.box(start, (stop[0] - start[0], stop[1] - start[1]), 0.0, shade=0.15)

    def _curve(self, pen: Pen, at: At) -> None:
        points = self.content.points
        last: float | None = None
        for (time, share, _, _), following in zip(points, [*(p[0] for p in points[1:]), self.content.end], strict=True):
            if last is not None:
                pen.line(at(time, last), at(time, share), 1.6)
            pen.line(at(time, share), at(following, share), 1.6)
            last = share


def _percents(floor: float) -> Sequence[int]:
    """Marks of the share axis from `floor` to all."""
    step = {0.9: 2, 0.8: 5, 0.5: 10}.get(floor, 25)
    return range(round(100 * floor), 101, step)


def round_marks(end: float) -> Sequence[float]:
    """At most about ten round marks from 0 to `end`."""
    step = 1.0
    while end / step > 10:
        step = step * 2.5 if f"{step:g}"[0] == "2" else step * 2
    n = int(end / step + 1e-9)
    return [k * step for k in range(n + 1)]
