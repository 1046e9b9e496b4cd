"""What the pages of a sheet are made of: bands with a numbered head, rows that never break, and their flow over pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from forms.layout.page import PaperError
from forms.layout.sheet_pen import Look, SheetPen, wrapped

__all__ = ["Band", "DayPage", "Drawn", "Row", "band_of", "pages_of"]

Drawn = Callable[[SheetPen, float], None]
"""Draws with its upper edge at y mm."""
BAND_MM = 8.0
_BETWEEN_MM = 2.0
_WORD = Look(14, bold=True, narrow=False)
_SAY = Look(9, align="right")


@dataclass(frozen=True, slots=True)
class Row:
    """Something that stands whole on one page."""

    height: float
    draw: Drawn


@dataclass(frozen=True, slots=True)
class Band:
    """One part of the day: its numbered head, the heading its rows repeat on each page, the rows, and what ends it.

    Attributes
    ----------
    tail
        Stands on the page of the last row.
    """

    head: Row | None
    rows: tuple[Row, ...]
    heading: Row | None = None
    tail: tuple[Row, ...] = ()

    @property
    def height(self) -> float:
        """Height in mm when it stands whole."""
        return self.opening + sum(row.height for row in (*self.rows, *self.tail))

    @property
    def opening(self) -> float:
        """Height of head and heading, mm."""
        return sum(row.height for row in (self.head, self.heading) if row)


def band_of(number: int, word: str, say: str, width: float) -> Row:
    """A band's head: white numeral on black, the word, and one instruction at the right in as many lines as it takes."""
    lines = wrapped(say, _SAY, width - 55)
    height = max(BAND_MM, len(lines) * _SAY.pitch + 1.5) + 0.5

    def draw(sheet: SheetPen, y: float) -> None:
        sheet.box((0, y), (7, 7), 0.0, 0.0)
        with sheet.canvas.tag("H2"):
            sheet.words(3.5, y + 5.4, str(number), Look(15, bold=True, narrow=False, align="centre", white=True))
            sheet.words(9.5, y + 5.4, word, _WORD)
        sheet.lines(width, y + max(0.0, (height - 0.5 - len(lines) * _SAY.pitch) / 2), lines, _SAY)

    return Row(height, draw)


@dataclass(slots=True)
class DayPage:
    """What stands on one page, each with its upper edge, and where the room below it begins, mm."""

    end: float
    drawn: list[tuple[float, Drawn]] = field(default_factory=list)

    def put(self, row: Row) -> None:
        """Add a row below what stands there."""
        self.drawn.append((self.end, row.draw))
        self.end += row.height


def pages_of(bands: Sequence[Band], first: float, later: float, height: float) -> list[DayPage]:
    """Bands over pages: what fits stands whole, what does not goes on, and only a band longer than a page is parted.

    Parameters
    ----------
    first, later
        Where bands may start on the first and on later pages, mm from the top.
    height
        Where they must end, mm.

    Raises
    ------
    PaperError
        For a row taller than a page.
    """
    pages = [DayPage(first)]
    for band in bands:
        here = pages[-1]
        if here.drawn and here.end + band.height > height and band.height <= height - later:
            pages.append(DayPage(later))
        _set(band, pages, later, height)
        pages[-1].end += _BETWEEN_MM
    return pages


def _set(band: Band, pages: list[DayPage], later: float, height: float) -> None:
    opening = [row for row in (band.head, band.heading) if row]
    above, rest = opening, [*band.rows, *band.tail]
    bound = len(band.tail) + 1  # the last row and what ends the band stay together
    while rest:
        group = rest if len(rest) <= bound else rest[:1]
        need = sum(row.height for row in (*above, *group))
        if pages[-1].end + need > height + 0.01:
            if not pages[-1].drawn and pages[-1].end <= later:
                message = f"{need:.0f} mm that must stand together do not fit a page; shorten the text"
                raise PaperError(message)
            pages.append(DayPage(later))
            above = opening
            continue
        for row in (*above, *group):
            pages[-1].put(row)
        above, rest = [], rest[len(group) :]
