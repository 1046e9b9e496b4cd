"""The picture of who met whom as SVG text: a bar for each stay, in lanes by water, with the ways of infection as links."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Final
from xml.sax.saxutils import escape

from intake.quarantine.exposure_picture import Bar, Lane, Link, Picture

__all__ = ["contact_bars"]

_LEFT, _TOP, _ROW, _LANE, _SPAN = 132, 74, 22, 24, 760
_TEXT: Final = 'font-family="sans-serif" font-size="13" fill="#000"'

# Attributes rather than a style, which a page's content policy may refuse; shade, hatch and outline, so that grey will do.
_LOOKS: Final = {
    "asked": 'fill="#000" stroke="#000"',
    "reached": 'fill="url(#met)" stroke="#000" stroke-width="1.5"',
    "weak": 'fill="#fff" stroke="#000" stroke-width="1.5" stroke-dasharray="3 3"',
    "": 'fill="#e4e4e4" stroke="#999"',
}
_WORDS: Final = {
    "asked": "asked about",
    "reached": "shared its water",
    "weak": "tool or person only",
    "": "not reached",
}
_DEFS: Final = (
    '<defs><pattern id="met" width="6" height="6" patternUnits="userSpaceOnUse"><rect width="6" height="6" fill="#fff"/>'
    '<path d="M0 6L6 0" stroke="#000" stroke-width="1.2"/></pattern></defs>'
)


def contact_bars(picture: Picture, *, title: str, first: date) -> str:
    """Draw stays as bars in lanes by water, and the ways a trace took as links between them.

    Parameters
    ----------
    picture
        Rows, lanes and links; days count from ``first``.
    title
        Title of the picture.
    first
        The day at the left edge.

    Returns
    -------
    str
        A complete SVG document with ``<title>`` and ``<desc>``.
    """
    days = max(picture.days, 1.0)
    places = _rows_at(picture.lanes)
    bottom = _TOP + _ROW * picture.rows + _LANE * len(picture.lanes) + 6
    parts = [_DEFS, *_legend(), *_weeks(first, days, bottom)]
    for lane in picture.lanes:
        y = places[lane.first_row] - _LANE
        parts.append(f'<path d="M0 {y + 4}H{_LEFT + _SPAN}" stroke="#000"/>')
        parts.append(f'<text x="2" y="{y + 19}" font-weight="bold">{escape(lane.system)}</text>')
    for bar in picture.bars:
        parts.append(_bar(bar, places[bar.row], days))
    parts += [_link(link, places, days) for link in picture.links]
    reached = sorted({bar.batch for bar in picture.bars if bar.mark == "reached"})
    words = f"Stays over {days:.0f} days from {first:%d %b %Y}. Reached: {', '.join(reached) or 'no other lot'}."
    width, height = _LEFT + _SPAN + 8, bottom + 8
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" {_TEXT}>'
    body = "\n".join(parts)
    return f"{head}\n<title>{escape(title)}</title>\n<desc>{escape(words)}</desc>\n{body}\n</svg>\n"


def _rows_at(lanes: Iterable[Lane]) -> dict[int, int]:
    """Upper edge of every row, px: each lane has a line of its own for the name of its water."""
    places: dict[int, int] = {}
    y = _TOP
    for lane in lanes:
        y += _LANE
        for row in range(lane.first_row, lane.last_row + 1):
            places[row] = y
            y += _ROW
    return places


def _x(day: float, days: float) -> float:
    return round(_LEFT + day / days * _SPAN, 1)


def _bar(bar: Bar, y: int, days: float) -> str:
    """A stay: plain until the trace reached the batch, marked from then on."""
    turn = min(max(bar.from_day, bar.mark_from_day), bar.to_day) if bar.mark else bar.to_day
    told = f"{bar.batch} in {bar.vat}: {_WORDS[bar.mark]}"
    boxes = [_box(bar.from_day, turn, "", y, days)] if turn > bar.from_day else []
    boxes += [_box(turn, bar.to_day, bar.mark, y, days)] if bar.mark and bar.to_day > turn else []
    marked = bar.mark in ("asked", "reached") and bar.to_day > turn
    weight = ' font-weight="bold"' if marked else ""
    label = (
        f'<text x="{_LEFT - 8}" y="{y + 16}" text-anchor="end"{weight}>{escape(bar.batch)} · {escape(bar.vat)}</text>'
    )
    return f"<g><title>{escape(told)}</title>{''.join(boxes)}{label}</g>"


def _box(start: float, end: float, mark: str, y: int, days: float) -> str:
    left, right = _x(start, days), _x(end, days)
    return f'<rect x="{left}" y="{y + 3}" width="{max(3.0, right - left):.1f}" height="{_ROW - 6}" {_LOOKS[mark]}/>'


def _link(link: Link, places: dict[int, int], days: float) -> str:
    """A way of infection: from a dot at one stay to an arrow at the other."""
    x = _x(min(link.day, days), days)
    start, end = (places[row] + _ROW // 2 for row in (link.from_row, link.to_row))
    turn = 1 if end > start else -1
    dashes = ' stroke-dasharray="4 3"' if link.dashed else ""
    halo = f'<path d="M{x} {start}V{end}" stroke="#fff" stroke-width="4"/>'
    line = f'<path d="M{x} {start}V{end - 6 * turn}" stroke="#000" stroke-width="1.5"{dashes}/>'
    tip = f'<path d="M{x - 4} {end - 8 * turn}L{x} {end}L{x + 4} {end - 8 * turn}Z" stroke="#fff" stroke-width="0.5"/>'
    dot = f'<circle cx="{x}" cy="{start}" r="3.5" stroke="#fff"/>'
    return f"<g><title>{escape(link.words)}</title>{halo}{line}{tip}{dot}</g>"


def _weeks(first: date, days: float, bottom: int) -> Iterable[str]:
    """A line each Monday; with its day where there is room."""
    step = 7 if days <= 90 else 28
    offset = -first.weekday() % 7
    while offset <= days:
        x, day = _x(offset, days), first + timedelta(days=offset)
        yield f'<path d="M{x} {_TOP - 4}V{bottom}" stroke="#ccc"/>'
        yield f'<text x="{x}" y="{_TOP - 8}" text-anchor="middle" font-size="11">{day.day} {day:%b}</text>'
        offset += step


def _legend() -> Iterable[str]:
    for number, mark in enumerate(_LOOKS):
        x = 2 + 190 * number
        yield f'<rect x="{x}" y="10" width="30" height="14" {_LOOKS[mark]}/><text x="{x + 38}" y="22">{_WORDS[mark]}</text>'
