"""QR codes drawn as one path, for pages and labels."""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

import segno
from reportlab.lib.units import mm

from forms.layout.pdf.canvas import PaperError, TaggedCanvas

__all__ = ["LEAST_LABEL_MM", "LEAST_SHEET_MM", "draw_qr", "qr_modules"]

# Read back from thermal-printer rasters with blur, quiet zone included, 15 mm was the least that held for a full
# address (own measurement); with a margin for water and scratches these are the least sides printed.
LEAST_SHEET_MM = 25.0
LEAST_LABEL_MM = 18.0
_QUIET_MODULES = 4
Level = Literal["m", "q"]


@lru_cache(maxsize=4_000)
def _runs(text: str, level: Level) -> tuple[int, tuple[tuple[int, int, int], ...]]:
    """Modules a side and dark runs as (row, first column, length)."""
    try:
        matrix = segno.make(text, error=level, boost_error=False, micro=False).matrix
    except ValueError as trouble:  # segno's overflow error is one
        message = f"{len(text)} characters do not go into a QR code: {trouble}"
        raise PaperError(message) from trouble
    runs: list[tuple[int, int, int]] = []
    for row, modules in enumerate(matrix):
        start = -1
        for column, dark in enumerate([*modules, 0]):
            if dark and start < 0:
                start = column
            elif not dark and start >= 0:
                runs.append((row, start, column - start))
                start = -1
    return len(matrix), tuple(runs)


def qr_modules(text: str, level: Level = "m") -> int:
    """Modules a side of the code of a text, without the quiet zone.

    Raises
    ------
    PaperError
        If the text is too long for any code.
    """
    return _runs(text, level)[0]


def draw_qr(canvas: TaggedCanvas, text: str, corner: tuple[float, float], side_mm: float, level: Level = "m") -> None:
    """Draw the code of `text` with its lower left corner at `corner` (points), quiet zone inside `side_mm`.

    Parameters
    ----------
    canvas
        Page to draw on.
    text
        What a reader shall see; an address or a bare code.
    corner
        Lower left corner of the quiet zone, points.
    side_mm
        Side in mm including the quiet zone of four modules; at least 25 on sheets and 18 on labels.
    level
        ``"m"`` for paper that stays dry, ``"q"`` for labels that get wet.

    Raises
    ------
    PaperError
        If the text is empty or too long for any code.

    References
    ----------
    Quiet zone of four modules and levels M and Q: ISO/IEC 18004.
    """
    modules, runs = _runs(text, level)
    module = side_mm * mm / (modules + 2 * _QUIET_MODULES)
    left = corner[0] + _QUIET_MODULES * module
    top = corner[1] + side_mm * mm - _QUIET_MODULES * module
    with canvas.figure(f"QR: {text}", corner, (side_mm * mm, side_mm * mm)):
        canvas.black(
            (left + column * module, top - (row + 1) * module, length * module, module) for row, column, length in runs
        )
