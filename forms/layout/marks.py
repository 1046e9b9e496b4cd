"""Marks drawn for wet eyes: what kills and what hurts in triangles, what to wear in rounds, what is due as small signs."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.lib.units import mm

from forms.layout.sheet_pen import SheetPen

__all__ = ["draw_danger", "draw_due", "draw_wear"]

Points = Sequence[tuple[float, float]]
_Symbol = tuple[tuple[Points, bool], ...]
"""Outlines in a square of side 1 from its upper left corner, each with whether it is filled (or drawn as a line)."""

_DROP: Points = ((0.5, 0.08), (0.62, 0.3), (0.74, 0.52), (0.76, 0.7), (0.66, 0.86), (0.5, 0.92), (0.34, 0.86),
                 (0.24, 0.7), (0.26, 0.52), (0.38, 0.3))  # fmt: skip
_SYMBOLS: dict[str, _Symbol] = {
    "poison": ((_DROP, True),),
    "mains": ((((0.58, 0.05), (0.25, 0.58), (0.46, 0.58), (0.38, 0.95), (0.75, 0.4), (0.53, 0.4)), True),),
    "gas": ((((0.42, 0.08), (0.42, 0.38), (0.16, 0.9), (0.84, 0.9), (0.58, 0.38), (0.58, 0.08)), True),),
    "cone": ((((0.5, 0.05), (0.8, 0.35), (0.5, 0.95), (0.2, 0.35)), True),),
    "cuts": ((((0.15, 0.8), (0.75, 0.1), (0.9, 0.25), (0.45, 0.75)), True),),
    "stings": ((((0.1, 0.9), (0.22, 0.3), (0.34, 0.9)), True), (((0.38, 0.9), (0.5, 0.1), (0.62, 0.9)), True),
               (((0.66, 0.9), (0.78, 0.3), (0.9, 0.9)), True)),
    "gloves": ((((0.25, 0.9), (0.2, 0.5), (0.08, 0.4), (0.16, 0.3), (0.3, 0.42), (0.3, 0.12), (0.42, 0.1),
                 (0.44, 0.36), (0.5, 0.08), (0.6, 0.1), (0.6, 0.38), (0.68, 0.16), (0.78, 0.2), (0.74, 0.6),
                 (0.68, 0.9)), True),),
    "goggles": ((((0.06, 0.36), (0.46, 0.36), (0.42, 0.68), (0.12, 0.68)), True),
                (((0.54, 0.36), (0.94, 0.36), (0.88, 0.68), (0.58, 0.68)), True)),
    "face": ((((0.2, 0.12), (0.8, 0.12), (0.78, 0.6), (0.5, 0.9), (0.22, 0.6)), True),),
    "dip": ((_DROP, True),),
    "inspection": ((((0.04, 0.5), (0.28, 0.26), (0.5, 0.2), (0.72, 0.26), (0.96, 0.5), (0.72, 0.74), (0.5, 0.8),
                     (0.28, 0.74), (0.04, 0.5)), False),
                   (((0.4, 0.4), (0.6, 0.4), (0.6, 0.6), (0.4, 0.6)), True)),
    "transfer": ((((0.02, 0.4), (0.55, 0.4), (0.55, 0.18), (0.98, 0.5), (0.55, 0.82), (0.55, 0.6), (0.02, 0.6)),
                  True),),
    "care": ((((0.5, 0.1), (0.9, 0.5), (0.5, 0.9), (0.1, 0.5), (0.5, 0.1)), False),),
    "release check": ((((0.2, 0.08), (0.3, 0.08), (0.3, 0.95), (0.2, 0.95)), True),
                      (((0.34, 0.1), (0.9, 0.3), (0.34, 0.52)), True)),
}  # fmt: skip
_SPARE: _Symbol = ((((0.42, 0.08), (0.58, 0.08), (0.55, 0.62), (0.45, 0.62)), True),
                   (((0.43, 0.74), (0.57, 0.74), (0.57, 0.9), (0.43, 0.9)), True))  # fmt: skip


def _path(sheet: SheetPen, corner: tuple[float, float], side: float, points: Points, *, filled: bool) -> None:
    path = sheet.pen.canvas.beginPath()
    for number, (x, y) in enumerate(points):
        here = sheet.at(corner[0] + x * side, corner[1] + y * side)
        (path.lineTo if number else path.moveTo)(*here)
    path.close()
    sheet.pen.canvas.drawPath(path, stroke=int(not filled), fill=int(filled))


def _symbol(sheet: SheetPen, mark: str, corner: tuple[float, float], side: float, grey: float) -> None:
    canvas = sheet.pen.canvas
    canvas.setFillGray(grey)
    canvas.setStrokeGray(grey)
    canvas.setLineWidth(0.3 * mm)
    for points, filled in _SYMBOLS.get(mark, _SPARE):
        _path(sheet, corner, side, points, filled=filled)


def draw_danger(sheet: SheetPen, mark: str, corner: tuple[float, float], side: float, *, white: bool = False) -> None:
    """A triangle with the mark of what kills or hurts; white on black ground, or black with a white inside."""
    outer: Points = ((0.5, 0.02), (1.0, 0.94), (0.0, 0.94))
    inner: Points = ((0.5, 0.2), (0.85, 0.85), (0.15, 0.85))
    canvas = sheet.pen.canvas
    canvas.setFillGray(1 if white else 0)
    _path(sheet, corner, side, outer, filled=True)
    if not white:
        canvas.setFillGray(1)
        _path(sheet, corner, side, inner, filled=True)
    _symbol(sheet, mark, (corner[0] + 0.31 * side, corner[1] + 0.42 * side), 0.38 * side, 0)


def draw_wear(sheet: SheetPen, mark: str, corner: tuple[float, float], side: float = 6.6) -> None:
    """A black round with what to wear."""
    canvas = sheet.pen.canvas
    canvas.setFillGray(0)
    canvas.circle(*sheet.at(corner[0] + side / 2, corner[1] + side / 2), side / 2 * mm, stroke=0, fill=1)
    _symbol(sheet, mark, (corner[0] + 0.2 * side, corner[1] + 0.2 * side), 0.6 * side, 1)


def draw_due(sheet: SheetPen, mark: str, corner: tuple[float, float], side: float = 3.4) -> None:
    """The small sign of a kind of work."""
    _symbol(sheet, mark, corner, side, 0)
