"""Where the bars and links of a picture of who met whom go, in days and rows; drawing them is another's work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from intake.quarantine.exposure import Meeting, Presence, Reached

__all__ = ["Bar", "Lane", "Link", "Picture", "layout"]


@dataclass(frozen=True, slots=True)
class Bar:
    """One stay: row from the top, days from the left edge, and whether and from which day the trace reached the batch."""

    batch: str
    vat: str
    row: int
    from_day: float
    to_day: float
    mark: str
    mark_from_day: float = 0.0


@dataclass(frozen=True, slots=True)
class Lane:
    """The rows of one water, first and last included."""

    system: str
    first_row: int
    last_row: int


@dataclass(frozen=True, slots=True)
class Link:
    """A way of infection between two rows at a day; dashed when weak, so that nothing is reported by color alone."""

    from_row: int
    to_row: int
    day: float
    dashed: bool
    words: str


@dataclass(frozen=True, slots=True)
class Picture:
    """Bars, lanes and links; ``days`` is the width."""

    bars: tuple[Bar, ...]
    lanes: tuple[Lane, ...]
    links: tuple[Link, ...]
    days: float
    rows: int


def layout(
    presences: Sequence[Presence],
    reached: Sequence[Reached],
    *,
    batch: str,
    start: datetime,
    end: datetime,
) -> Picture:
    """Place the stays between two moments in lanes by water, one row a batch and vat, with the links of a trace.

    ``mark`` is ``asked`` for the batch asked about, ``reached`` or ``weak`` for those found, empty for others.
    """
    seen = [row for row in presences if row.start < end and (row.end is None or row.end > start)]
    marks = {row.batch: "weak" if row.weak else "reached" for row in reached} | {batch: "asked"}
    since = {row.batch: max(0.0, _days(start, row.at)) for row in reached}
    keys = sorted({(row.system, row.batch, row.vat) for row in seen})
    rows = {key: number for number, key in enumerate(keys)}
    bars = tuple(
        Bar(
            row.batch,
            row.vat,
            rows[row.system, row.batch, row.vat],
            max(0.0, _days(start, row.start)),
            _days(start, min(row.end or end, end)),
            marks.get(row.batch, ""),
            since.get(row.batch, 0.0),
        )
        for row in seen
    )
    lanes = tuple(
        Lane(
            system,
            min(rows[key] for key in keys if key[0] == system),
            max(rows[key] for key in keys if key[0] == system),
        )
        for system in dict.fromkeys(key[0] for key in keys)
    )
    links = tuple(link for row in reached if (link := _link(row, bars, start)) is not None)
    return Picture(bars, lanes, links, _days(start, end), len(rows))


def _link(row: Reached, bars: Sequence[Bar], start: datetime) -> Link | None:
    met: Meeting = row.meeting
    day = _days(start, row.at)
    near = [_nearest(bars, name, day) for name in (met.source, met.target)]
    if near[0] is None or near[1] is None:
        return None
    return Link(near[0], near[1], max(0.0, day), met.weak, met.why)


def _nearest(bars: Sequence[Bar], batch: str, day: float) -> int | None:
    mine = [bar for bar in bars if bar.batch == batch]
    if not mine:
        return None
    return min(mine, key=lambda bar: (max(bar.from_day - day, day - bar.to_day, 0.0), bar.row)).row


def _days(start: datetime, moment: datetime) -> float:
    return (moment - start).total_seconds() / 86400.0
