"""Drawings in black and white: bars on lanes over time, and step curves with a band."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth

from forms.charts.batch_fills import FILLS, BatchFill, draw_fill
from forms.layout.lettering import BOLD, LEADING, NARROW, NARROW_BOLD, REGULAR, lay, one_line
from forms.layout.page import PaperError, Pen, Placed
from forms.layout.pdf.structure import words_of

__all__ = ["Bar", "Lane", "LaneChart", "Legend", "Pattern"]

Pattern = Literal["open", "grey", "hatch", "cross", "dark"]
_AXIS = 16.0
_LABEL_PAD = 4.0
_LEAST_IN_BAR = 7.0


@dataclass(frozen=True, slots=True)
class Bar:
    """One stretch of time on a lane.

    Attributes
    ----------
    start, end
        In the chart's unit of time; what lies outside the chart is cut at its edge.
    text
        Words in the bar; when they do not fit, `short` is there instead, and `least` when that does not fit either.
    pattern
        How the bar is filled, by what it is or by its batch; never color.
    full_percent
        How full the vat is in its binding resource, drawn as a gauge at the bar's start; None for none.
    """

    start: float
    end: float
    text: str = ""
    short: str = ""
    pattern: Pattern | BatchFill = "open"
    full_percent: float | None = None
    least: str = ""


@dataclass(frozen=True, slots=True)
class Lane:
    """One row: a vat or a station; a lane without bars and with `heading` true names a group."""

    name: str
    detail: str = ""
    bars: tuple[Bar, ...] = ()
    heading: bool = False


@dataclass(frozen=True, slots=True)
class LaneChart:
    """Bars over time on lanes; splits between lanes, the time axis repeated.

    Attributes
    ----------
    start, end
        Time shown, in the unit of the bars; `end` above `start`.
    marks
        Position and label of the marks on the axis, in order; labels that would overlap are left out.
    lanes
        Rows from the top.
    bar_mm
        Height of one bar.
    name_mm
        Width of the lanes' names.
    """

    start: float
    end: float
    marks: tuple[tuple[float, str], ...]
    lanes: tuple[Lane, ...]
    bar_mm: float = 7.0
    name_mm: float = 26.0

    def __post_init__(self) -> None:
        """Refuse a chart of no time."""
        if not self.end > self.start:
            message = f"a chart from {self.start:g} to {self.end:g} shows no time; the end must lie after the start"
            raise PaperError(message)

    def set(self, width: float) -> Placed:
        """Stack bars that overlap on a lane."""
        return _SetLanes(self, width, tuple(_set_lane(lane, self.bar_mm * mm) for lane in self.lanes))


@dataclass(frozen=True, slots=True)
class _SetLane:
    lane: Lane
    stacked: tuple[tuple[int, Bar], ...]
    depth: int
    bar: float

    @property
    def height(self) -> float:
        return 13.0 if self.lane.heading else self.depth * self.bar + 3


def _set_lane(lane: Lane, bar: float) -> _SetLane:
    ends: list[float] = []
    stacked: list[tuple[int, Bar]] = []
    for each in sorted(lane.bars, key=lambda b: (b.start, b.end, b.text)):
        level = next((n for n, end in enumerate(ends) if end <= each.start + 1e-9), len(ends))
        if level == len(ends):
            ends.append(each.end)
        ends[level] = each.end
        stacked.append((level, each))
    depth = max(1, len(ends))
    return _SetLane(lane, tuple(stacked), depth, min(bar, 130 * mm / depth))


@dataclass(frozen=True, slots=True)
class _SetLanes:
    content: LaneChart
    width: float
    lanes: tuple[_SetLane, ...]
    sticky: bool = False

    @property
    def height(self) -> float:
        return _AXIS + sum(lane.height for lane in self.lanes) + 6

    @property
    def least(self) -> float:
        return _AXIS + sum(lane.height for lane in self.lanes[:2])

    def split(self, room: float, full: float) -> tuple[Placed, Placed] | None:  # noqa: ARG002
        room -= _AXIS + 6
        n = 0
        while n < len(self.lanes) and self.lanes[n].height <= room:
            room -= self.lanes[n].height
            n += 1
        while n and self.lanes[n - 1].lane.heading:
            n -= 1
        if n < 1 or n >= len(self.lanes):
            return None
        rest = self.lanes[n:]
        group = next((lane for lane in reversed(self.lanes[:n]) if lane.lane.heading), None)
        if group is not None and not rest[0].lane.heading:
            rest = (replace(group, lane=replace(group.lane, detail="continued")), *rest)
        return replace(self, lanes=self.lanes[:n]), replace(self, lanes=rest)

    def _at(self, time: float, left: float) -> float:
        chart = self.content
        share = (min(max(time, chart.start), chart.end) - chart.start) / (chart.end - chart.start)
        return left + share * (self.width - chart.name_mm * mm)

    def draw(self, pen: Pen, x: float, top: float) -> None:
        left = x + self.content.name_mm * mm
        foot = top - self.height + 6
        with pen.canvas.figure(words_of(self._told()), (x, foot), (self.width, top - foot)):
            self._draw_axis(pen, left, top, foot)
            y = top - _AXIS
            for lane in self.lanes:
                pen.line((x, y), (x + self.width, y), 1.0 if lane.lane.heading else 0.4)
                self._draw_lane(pen, lane, x, y)
                y -= lane.height
            pen.box((x, foot), (self.width, top - _AXIS - foot), 0.8)

    def _told(self) -> Iterator[str]:
        """What the bars show, for those who cannot see them: lane by lane, each bar between two marks of the axis."""
        for lane in self.lanes:
            bars = (
                f"{bar.text or bar.short} ({self._mark_at(bar.start)}–{self._mark_at(bar.end)})" for _, bar in lane.stacked
                if bar.end > self.content.start and bar.start < self.content.end
            )  # fmt: skip
            yield f"{lane.lane.name}: {', '.join(bars) or lane.lane.detail or '–'}"

    def _mark_at(self, time: float) -> str:
        before = [label for at, label in self.content.marks if at <= time + 1e-9]
        return before[-1] if before else ""

    def _draw_axis(self, pen: Pen, left: float, top: float, foot: float) -> None:
        wide = max((stringWidth(label, NARROW, 7.5) for _, label in self.content.marks), default=0.0) + 3
        ats = [self._at(time, left) for time, _ in self.content.marks]
        pitch = max(0.1, (ats[-1] - ats[0]) / max(1, len(ats) - 1)) if ats else 1.0
        every = next((step for step in (1, 2, 7, 14, 28) if step * pitch >= wide), 56)
        right = left + self.width - self.content.name_mm * mm
        for n, (at, (_, label)) in enumerate(zip(ats, self.content.marks, strict=True)):
            shown = n % every == 0
            pen.line(
                (at, top - (_AXIS - 4 if shown else _AXIS)), (at, foot), 0.5 if shown else 0.25, 0.45 if shown else 0.8
            )
            if shown and at + wide - 3 <= right + 0.5:
                pen.text(at, top - _AXIS + 5, label, NARROW, 7.5)

    def _draw_lane(self, pen: Pen, lane: _SetLane, x: float, top: float) -> None:
        if lane.lane.heading:
            pen.box((x, top - lane.height), (self.width, lane.height), 0.0, shade=0.12)
            words = f"{lane.lane.name}   {lane.lane.detail}" if lane.lane.detail else lane.lane.name
            lines, size = lay(words, BOLD, 9, self.width - 8)
            pen.lines((x + 3, self.width), top - 1.5, lines[:1], face=BOLD, size=size)
            return
        room = self.content.name_mm * mm - 5
        name, size = lay(lane.lane.name, BOLD, 10 if lane.height > 16 else 8, room)
        below = pen.lines((x + 3, room), top - 2, name[:2], face=BOLD, size=size)
        detail, size = lay(lane.lane.detail, NARROW, 7, room)
        for line in detail:
            if below - LEADING * size < top - lane.height:
                break
            below = pen.lines((x + 3, room), below, (line,), face=NARROW, size=size)
        left = x + self.content.name_mm * mm
        pen.line((left, top), (left, top - lane.height), 0.6)
        for level, bar in lane.stacked:
            if bar.end > self.content.start and bar.start < self.content.end:
                low = top - 1.5 - (level + 1) * lane.bar + 0.6
                self._draw_bar(pen, bar, (self._at(bar.start, left), low), (self._at(bar.end, left), lane.bar - 1.2))

    def _draw_bar(self, pen: Pen, bar: Bar, corner: tuple[float, float], end: tuple[float, float]) -> None:
        (x, low), (right, tall) = corner, end
        wide = max(right - x, 1.0)
        draw_pattern(pen, (x, low), (wide, tall), bar.pattern)
        gauge = 0.0
        if bar.full_percent is not None and wide > 10:
            gauge = 4.0
            pen.box((x, low), (gauge, tall), 0.5, shade=0.001)
            pen.box((x, low), (gauge, tall * min(max(bar.full_percent, 0.0), 100.0) / 100), 0.0, shade=1.0)
        pen.box((x, low), (wide, tall), 0.9)
        room = wide - gauge - 5
        size = min(8.5, max(tall * 0.55, min(8.0, tall - 1.5)))
        face = NARROW_BOLD
        for words in (bar.text, bar.short, bar.least):
            fitted = one_line(words, face, size, room) if words and room > 4 else None
            if fitted and fitted[1] >= _LEAST_IN_BAR:
                plate = stringWidth(fitted[0], face, fitted[1])
                if bar.pattern not in ("open", "grey", "plain"):
                    high = 1.1 * fitted[1]
                    pen.box((x + gauge + 1.5, low + (tall - high) / 2), (plate + 2, high), 0.0, shade=0.001)
                pen.text(x + gauge + 2.5, low + tall / 2 - fitted[1] * 0.36, fitted[0], face, fitted[1])
                return


def draw_pattern(
    pen: Pen, corner: tuple[float, float], size: tuple[float, float], pattern: Pattern | BatchFill
) -> None:
    """Fill a rectangle with a pattern that a copier keeps."""
    if pattern in FILLS:
        draw_fill(pen, corner, size, pattern)
        return
    pen.box(corner, size, 0.0, shade={"open": 0.001, "grey": 0.18, "dark": 0.55}.get(pattern, 0.001))
    if pattern not in ("hatch", "cross"):
        return
    (x, low), (wide, tall) = corner, size
    canvas = pen.canvas
    canvas.saveState()
    path = canvas.beginPath()
    path.rect(x, low, wide, tall)
    canvas.clipPath(path, stroke=0, fill=0)
    canvas.setLineWidth(0.4)
    canvas.setStrokeGray(0.3)
    step = 4.0
    strokes = canvas.beginPath()
    at = x - tall
    while at < x + wide:
        strokes.moveTo(at, low)
        strokes.lineTo(at + tall, low + tall)
        if pattern == "cross":
            strokes.moveTo(at, low + tall)
            strokes.lineTo(at + tall, low)
        at += step
    canvas.drawPath(strokes, stroke=1, fill=0)
    canvas.restoreState()


@dataclass(frozen=True, slots=True)
class Legend:
    """What each pattern means, on one line or more."""

    entries: tuple[tuple[Pattern | BatchFill, str], ...]

    def set(self, width: float) -> Placed:
        """Fill rows from the left."""
        rows: list[list[tuple[Pattern | BatchFill, str, float]]] = [[]]
        x = 0.0
        for pattern, words in self.entries:
            wide = 26 + stringWidth(words, REGULAR, 8)
            if x + wide > width and rows[-1]:
                rows.append([])
                x = 0.0
            rows[-1].append((pattern, words, x))
            x += wide + 8
        return _SetLegend(tuple(tuple(row) for row in rows))


@dataclass(frozen=True, slots=True)
class _SetLegend:
    rows: tuple[tuple[tuple[Pattern | BatchFill, str, float], ...], ...]
    sticky: bool = False

    @property
    def height(self) -> float:
        return 14.0 * len(self.rows) + 3

    @property
    def least(self) -> float:
        return self.height

    def split(self, room: float, full: float) -> tuple[Placed, Placed] | None:  # noqa: ARG002
        return None

    def draw(self, pen: Pen, x: float, top: float) -> None:
        for row in self.rows:
            for pattern, words, at in row:
                draw_pattern(pen, (x + at, top - 10), (18, 9), pattern)
                pen.box((x + at, top - 10), (18, 9), 0.7)
                pen.text(x + at + 22, top - 8.5, words, REGULAR, 8)
            top -= 14
