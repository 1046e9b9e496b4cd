"""Vat space over time and what would still fit, as drawings: who stands where from when to when, and how full it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from forms.charts.drawing import Drawing, Fill, wide
from forms.layout.page import PaperError

__all__ = ["SpaceBar", "SpaceContent", "SpaceLane", "SpaceStep", "SpaceSystem", "cut", "space_drawing"]


_LEFT, _TOP, _LANE, _GAUGE, _GAP = 132, 62, 20, 12, 5
_FILLS: dict[str, Fill] = {"coming": "white", "present": "hatch", "promised": "light", "fallow": "cross"}
_KINDS = (
    ("coming", "comes with this plan"),
    ("present", "in the vat now"),
    ("promised", "promised by an earlier plan"),
    ("fallow", "fallow: empty and drying"),
)


@dataclass(frozen=True, slots=True)
class SpaceBar:
    """Animals in a vat for half-open days from the first day shown; ``kind`` is one of coming, present, promised, fallow.

    ``key`` names the bar to a page on which it can be dragged.
    """

    words: str
    start: int
    end: int
    kind: str = "coming"
    key: str = ""


@dataclass(frozen=True, slots=True)
class SpaceStep:
    """How full for half-open days, and of what: percent of the resource that binds."""

    start: int
    end: int
    percent: float
    resource: str


@dataclass(frozen=True, slots=True)
class SpaceLane:
    """One vat; ``key`` names its row to a page on which bars can be dropped."""

    name: str
    bars: tuple[SpaceBar, ...] = ()
    steps: tuple[SpaceStep, ...] = ()
    key: str = ""


@dataclass(frozen=True, slots=True)
class SpaceSystem:
    """Vats that share water, and how full their filter is."""

    name: str
    lanes: tuple[SpaceLane, ...]
    steps: tuple[SpaceStep, ...] = ()


@dataclass(frozen=True, slots=True)
class SpaceContent:
    """What the drawing shows: a label for each day, in order, and the systems from the top."""

    title: str
    subtitle: str
    days: tuple[str, ...]
    systems: tuple[SpaceSystem, ...]


def space_drawing(content: SpaceContent, *, width: int = 1200) -> Drawing:
    """Draw vats as rows by system, stays as bars over the days, and below them how full the vat is.

    Raises
    ------
    PaperError
        For a drawing of no day.
    """
    if not content.days:
        message = "vat space over no day cannot be drawn; give at least one day"
        raise PaperError(message)
    rows = [(system, [(lane, _stacked(lane.bars)) for lane in system.lanes]) for system in content.systems]
    height = _TOP + 12 + sum(26 + sum(_tall(stack) for _, stack in lanes) for _, lanes in rows)
    words = f"{content.subtitle} {sum(len(s.lanes) for s in content.systems)} vats over {len(content.days)} days."
    drawing = Drawing(width, height, content.title, words)
    canvas = _Canvas(drawing, content.days)
    canvas.head(content)
    y = _TOP + 6
    for system, lanes in rows:
        drawing.box((0, y), (width, 22), "light", edge=0)
        drawing.text((6, y + 16), cut(system.name, _LEFT - 10), size=12, bold=True)
        canvas.gauge(system.steps, y + 5)
        y += 26
        for lane, stack in lanes:
            canvas.lane(lane, stack, y)
            y += _tall(stack)
    canvas.weeks(y)
    return drawing


def _stacked(bars: Sequence[SpaceBar]) -> list[list[SpaceBar]]:
    """Bars that overlap stand under each other."""
    stack: list[list[SpaceBar]] = []
    for bar in sorted(bars, key=lambda one: (one.start, one.end, one.words)):
        free = next((row for row in stack if row[-1].end <= bar.start), None)
        if free is None:
            stack.append([bar])
        else:
            free.append(bar)
    return stack


def _tall(stack: Sequence[object]) -> int:
    return max(1, len(stack)) * _LANE + _GAUGE + _GAP


def cut(words: str, room: float, size: int = 12) -> str:
    """Words cut with an ellipsis to what there is room for; nothing where not even two letters fit."""
    if wide(words, size) <= room:
        return words
    while words and wide(f"{words}…", size) > room:
        words = words[:-1]
    return f"{words}…" if len(words) > 1 else ""


class _Canvas:
    """The drawing with its scale of days."""

    def __init__(self, drawing: Drawing, days: Sequence[str]) -> None:
        self.drawing, self.days = drawing, days
        self.per_day = (drawing.width - _LEFT - 8) / len(days)

    def at(self, day: float) -> float:
        return _LEFT + min(max(day, 0), len(self.days)) * self.per_day

    def head(self, content: SpaceContent) -> None:
        self.drawing.text((6, 18), cut(f"{content.title}   {content.subtitle}", self.drawing.width - 12, 14), size=14)
        x = 6.0
        for kind, words in _KINDS:
            self.drawing.box((x, 26), (22, 12), _FILLS[kind])
            self.drawing.text((x + 27, 37), words, size=11)
            x += 42 + wide(words, 11)
        self.drawing.box((x, 26), (22, 12), "white")
        self.drawing.box((x, 32), (22, 6), "grey", edge=0)
        self.drawing.text((x + 27, 37), "how full, for the tightest limit: A area, O oxygen, N ammonia", size=11)

    def weeks(self, foot: float) -> None:
        """Day lines under everything, with as many labels as there is room for."""
        room = max(wide(day, 10) for day in self.days) + 6
        every = next((step for step in (1, 2, 7, 14, 28) if step * self.per_day >= room), 56)
        for number in range(0, len(self.days), every):
            x = self.at(number)
            self.drawing.line((x, _TOP - 6), (x, foot), width=0.5, shade="#999999")
            self.drawing.text((x + 2, _TOP - 2), self.days[number], size=10)

    def lane(self, lane: SpaceLane, stack: Sequence[Sequence[SpaceBar]], y: float) -> None:
        if lane.key:
            self.drawing.box((0, y), (self.drawing.width, _tall(stack)), "none", edge=0, key=lane.key)
        self.drawing.line((0, y), (self.drawing.width, y), width=0.5, shade="#999999")
        self.drawing.text((12, y + 15), cut(lane.name, _LEFT - 18), size=12)
        for number, bars in enumerate(stack):
            for bar in bars:
                self._bar(bar, y + 1 + number * _LANE)
        self.gauge(lane.steps, y + max(1, len(stack)) * _LANE + 2)

    def _bar(self, bar: SpaceBar, y: float) -> None:
        start, end = self.at(bar.start), self.at(bar.end)
        if end <= start:
            return
        told = f"{bar.words}, {self._day(bar.start)} to {self._day(bar.end)}"
        self.drawing.box((start, y), (end - start, _LANE - 3), _FILLS[bar.kind], told=told, key=bar.key)
        words = cut(bar.words, end - start - 8, 11) if bar.kind != "fallow" else ""
        if words:
            self.drawing.text((start + 4, y + 13), words, size=11, plate=bar.kind != "coming")

    def gauge(self, steps: Sequence[SpaceStep], y: float) -> None:
        """A bar as high as it is full, with the percent where it changes and there is room."""
        for step in steps:
            start, end = self.at(step.start), self.at(step.end)
            if end <= start or step.percent <= 0:
                continue
            tall = _GAUGE * min(step.percent, 100.0) / 100.0
            told = f"{step.percent:.0f} % of {step.resource}, {self._day(step.start)} to {self._day(step.end)}"
            self.drawing.box(
                (start, y + _GAUGE - tall), (end - start, tall), "grey", edge=2 if step.percent > 100 else 0, told=told
            )
            words = f"{step.percent:.0f} % {_LETTERS.get(step.resource, step.resource)}"
            if wide(words, 9) < end - start - 4:
                self.drawing.text((start + 3, y + 10), words, size=9)
        self.drawing.line((_LEFT, y + _GAUGE), (self.drawing.width - 8, y + _GAUGE), width=0.5, shade="#999999")

    def _day(self, number: int) -> str:
        if number < 0:
            return "before"
        return self.days[number] if number < len(self.days) else "after"


_LETTERS = {"area": "A", "oxygen": "O", "ammonia": "N"}
