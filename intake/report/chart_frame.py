"""The frame of every chart: its size, its axes, its marks, and the document around it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Final
from xml.sax.saxutils import escape

__all__ = [
    "BOTTOM",
    "HEIGHT",
    "LEFT",
    "RIGHT",
    "TEXT",
    "TITLE",
    "TOP",
    "WIDTH",
    "Frame",
    "document",
    "marks_of",
    "short",
    "titled",
]

WIDTH, HEIGHT = 720, 380
LEFT, RIGHT, TOP, BOTTOM = 64, 16, 44, 52
TITLE = 28
"""Units of the picture: its size, the margins around its axes, and the band of its title."""

TEXT: Final = 'font-family="sans-serif" font-size="13" fill="#000"'
"""Lettering of the whole picture."""


class Frame:
    """Maps values to the picture: x from 0 to ``x_max``, y from ``y_min`` to ``y_max``."""

    def __init__(self, x_max: float, y_max: float, y_min: float = 0.0) -> None:
        self._x_max, self._y_max, self._y_min = x_max, y_max, y_min

    def x(self, value: float) -> float:
        """Where a value lies across the picture."""
        return LEFT + (WIDTH - LEFT - RIGHT) * value / self._x_max

    def y(self, value: float) -> float:
        """Where a value lies down the picture."""
        part = max(0.0, value - self._y_min) / (self._y_max - self._y_min)
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * part

    def axes(
        self, x_label: str, y_label: str, y_marks: Sequence[float] = (), name: Callable[[float], str] = "{:g}".format
    ) -> Iterable[str]:
        """Both axes with marks and words; ``name`` gives the words of a mark below."""
        left, bottom = LEFT, HEIGHT - BOTTOM
        yield f'<path d="M{left} {TOP}V{bottom}H{WIDTH - RIGHT}" fill="none" stroke="#000"/>'
        for value in marks_of(self._x_max):
            x = short(self.x(value))
            yield f'<path d="M{x} {bottom}v5" stroke="#000"/>'
            yield f'<text x="{x}" y="{bottom + 19}" text-anchor="middle">{escape(name(value))}</text>'
        marks = y_marks or [self._y_min + mark for mark in marks_of(self._y_max - self._y_min)]
        for value in marks:
            y = short(self.y(value))
            yield f'<path d="M{left} {y}h-5" stroke="#000"/><path d="M{left} {y}H{WIDTH - RIGHT}" stroke="#ddd"/>'
            yield f'<text x="{left - 9}" y="{short(self.y(value) + 4)}" text-anchor="end">{value:g}</text>'
        yield f'<text x="{(left + WIDTH) // 2}" y="{HEIGHT - 10}" text-anchor="middle">{escape(x_label)}</text>'
        middle = (TOP + bottom) // 2
        turned = f'transform="rotate(-90 16 {middle})"'
        yield f'<text x="16" y="{middle}" text-anchor="middle" {turned}>{escape(y_label)}</text>'


def marks_of(largest: float) -> list[float]:
    """Round values from 0 to the largest, four to eight of them, whole where the scale counts animals or days."""
    step = 10 ** math.floor(math.log10(largest / 4)) if largest >= 4 else 1.0
    for factor in (1, 2, 5, 10):
        if largest / (step * factor) <= 7:
            step *= factor
            break
    return [step * index for index in range(int(largest / step + 1e-9) + 1)]


def document(title: str, words: str, parts: Iterable[str], *, height: int = HEIGHT) -> str:
    """The whole SVG document, with title and words for those who cannot see it."""
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" {TEXT}>'
    body = "\n".join(parts)
    return f"{head}\n<title>{escape(title)}</title>\n<desc>{escape(words)}</desc>\n{body}\n</svg>\n"


def titled(svg: str) -> str:
    """The same picture with its title drawn above it: a file looked at alone must still say whose it is, and up to when.

    Parameters
    ----------
    svg
        A document as this module makes it; on paper the title is drawn by the page.
    """
    start, title = svg.index('viewBox="0 0 ') + len('viewBox="'), svg.partition("<title>")[2].partition("</title>")[0]
    end = svg.index('"', start)
    _, _, width, height = (float(side) for side in svg[start:end].split())
    size = min(15.0, 1.7 * (width - 2 * RIGHT) / max(1, len(title)))
    shown = f'<text x="{RIGHT}" y="{-TITLE // 3}" font-size="{short(size)}" font-weight="bold">{title}</text>'
    box = f"0 {-TITLE} {short(width)} {short(height + TITLE)}"
    return f"{svg[:start]}{box}{svg[end:]}".replace("</svg>", f"{shown}\n</svg>")


def short(value: float) -> str:
    """A coordinate with at most two decimals."""
    return f"{value:.2f}".rstrip("0").rstrip(".")
