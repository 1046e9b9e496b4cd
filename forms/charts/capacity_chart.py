"""The largest shipment that fits, day by day, drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from forms.charts.drawing import Drawing, wide
from forms.charts.vat_space_chart import cut
from forms.layout.page import PaperError

__all__ = ["DayRoom", "room_drawing"]


@dataclass(frozen=True, slots=True)
class DayRoom:
    """The largest shipment that fits on one landing day."""

    day: str
    fits: int
    announced: int
    proved: bool


def room_drawing(rows: Sequence[DayRoom], *, title: str, width: int = 900) -> Drawing:
    """Draw the largest shipment that fits by landing day as columns, with a line at the whole of it.

    Raises
    ------
    PaperError
        For no day.
    """
    if not rows:
        message = "room over no day cannot be drawn; give at least one landing day"
        raise PaperError(message)
    left, top, tall, foot = 70, 66, 260, 40
    most = max(1, *(max(row.fits, row.announced) for row in rows))
    whole = next((row.day for row in rows if row.fits >= row.announced), "")
    words = f"All of it fits from {whole}." if whole else "All of it fits on none of these days."
    drawing = Drawing(width, top + tall + foot, title, words)
    drawing.text((6, 18), cut(title, width - 12, 14), size=14)
    drawing.text((6, 38), words, size=12)
    pitch = (width - left - 12) / len(rows)
    for part in (0.0, 0.25, 0.5, 0.75, 1.0):
        y = top + tall * (1 - part)
        drawing.line((left, y), (width - 12, y), width=0.5, shade="#999999")
        drawing.text((6, y + 4), f"{most * part:.0f}", size=11)
    for number, row in enumerate(rows):
        x, high = left + number * pitch + 0.15 * pitch, tall * row.fits / most
        told = f"{row.day}: {row.fits} of {row.announced}, {'proved' if row.proved else 'at least'}"
        drawing.box((x, top + tall - high), (0.7 * pitch, high), "grey" if row.proved else "hatch", told=told)
        drawing.text((x, top + tall - high - 4), cut(str(row.fits), pitch, 11), size=11)
        if number % max(1, -(-int(wide(row.day, 11) + 8) // max(1, int(pitch)))) == 0:
            drawing.text((x, top + tall + 16), row.day, size=11)
    line = top + tall * (1 - rows[0].announced / most)
    drawing.line((left, line), (width - 12, line), width=2)
    drawing.text((left + 4, line - 6), f"all {rows[0].announced} animals", size=11, bold=True, plate=True)
    drawing.box((6, top + tall + 26), (18, 10), "grey")
    drawing.text((28, top + tall + 35), "proved", size=11)
    drawing.box((90, top + tall + 26), (18, 10), "hatch")
    drawing.text((112, top + tall + 35), "at least this many", size=11)
    return drawing
