"""Fills that distinguish batches on a copy in grey: lines, dots and rings of one tile, repeated."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Literal, get_args

from forms.layout.page import Pen

__all__ = ["FILLS", "BatchFill", "draw_fill", "fills_of"]

BatchFill = Literal[
    "plain", "rising", "dots", "upright", "falling", "level", "rings", "grid", "heavy", "bricks", "zigzag", "dashes"
]
FILLS: tuple[BatchFill, ...] = get_args(BatchFill)
"""Every fill, in the order in which batches get them: neighbors in the order look least alike."""

_STEP = 6.0
_WEIGHT = 0.8

Draw = Callable[[Any, Any, float, float], None]
"""Adds to the strokes of a path what one tile with its lower left corner at x, y holds."""


def fills_of(batches: Iterable[str]) -> dict[str, BatchFill]:
    """Batch → its fill, in the order of their codes; after the last fill the first comes again."""
    return {batch: FILLS[n % len(FILLS)] for n, batch in enumerate(sorted(set(batches)))}


def draw_fill(pen: Pen, corner: tuple[float, float], size: tuple[float, float], fill: str) -> None:
    """Fill a rectangle; the tile starts at its lower left corner, lengths in points."""
    pen.box(corner, size, 0.0, shade=0.6 if fill == "heavy" else 0.001)
    draw = _TILES.get(fill)
    if draw is None:
        return
    (x, low), (wide, tall) = corner, size
    canvas = pen.canvas
    canvas.saveState()
    edge = canvas.beginPath()
    edge.rect(x, low, wide, tall)
    canvas.clipPath(edge, stroke=0, fill=0)
    canvas.setLineWidth(_WEIGHT)
    canvas.setStrokeGray(0.15)
    canvas.setFillGray(0.15)
    lines, spots = canvas.beginPath(), canvas.beginPath()
    for row in range(int(tall // _STEP) + 1):
        for column in range(int(wide // _STEP) + 1):
            draw(lines, spots, x + column * _STEP, low + row * _STEP)
    canvas.drawPath(lines, stroke=1, fill=0)
    canvas.drawPath(spots, stroke=0, fill=1)
    canvas.restoreState()


def _strokes(*strokes: tuple[float, float, float, float]) -> Draw:
    """Straight strokes within a tile, from and to as shares of its side."""

    def draw(lines: Any, spots: Any, x: float, y: float) -> None:  # noqa: ARG001
        for from_x, from_y, to_x, to_y in strokes:
            lines.moveTo(x + from_x * _STEP, y + from_y * _STEP)
            lines.lineTo(x + to_x * _STEP, y + to_y * _STEP)

    return draw


def _dots(lines: Any, spots: Any, x: float, y: float) -> None:  # noqa: ARG001
    spots.circle(x + _STEP / 2, y + _STEP / 2, 1.5)


def _rings(lines: Any, spots: Any, x: float, y: float) -> None:  # noqa: ARG001
    lines.circle(x + _STEP / 2, y + _STEP / 2, 2.1)


_TILES: dict[str, Draw] = {
    "rising": _strokes((0, 0, 1, 1)),
    "falling": _strokes((0, 1, 1, 0)),
    "upright": _strokes((0.25, 0, 0.25, 1), (0.75, 0, 0.75, 1)),
    "level": _strokes((0, 0.25, 1, 0.25), (0, 0.75, 1, 0.75)),
    "grid": _strokes((0, 0.5, 1, 0.5), (0.5, 0, 0.5, 1)),
    "bricks": _strokes((0, 0, 1, 0), (0, 0.5, 1, 0.5), (0, 0, 0, 0.5), (0.5, 0.5, 0.5, 1)),
    "zigzag": _strokes((0, 0.2, 0.5, 0.8), (0.5, 0.8, 1, 0.2)),
    "dashes": _strokes((0.15, 0.5, 0.75, 0.5)),
    "dots": _dots,
    "rings": _rings,
}
