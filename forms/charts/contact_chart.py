"""Who met whom, as a drawing: the stays of every lot by water and vat, marked from the moment something could reach it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from forms.charts.drawing import Drawing, Fill, wide
from forms.layout.page import PaperError

__all__ = ["ContactBar", "ContactContent", "ContactLane", "ContactSign", "ContactWater", "contacts_drawing"]

_LEFT, _TOP, _ROW, _GAP, _BAND = 96, 104, 21, 6, 24
_LOOKS: tuple[tuple[str, Fill, str], ...] = (
    ("asked", "black", "asked about"),
    ("reached", "hatch", "possible exposure through water from here"),
    ("weak", "cross", "by a tool or person only"),
    ("", "light", "no exposure on record at this time"),
)
_FILLS: dict[str, Fill] = {mark: fill for mark, fill, _ in _LOOKS}


@dataclass(frozen=True, slots=True)
class ContactBar:
    """One stay, in days from the first: ``words`` are in it, ``told`` says it whole when it is pointed at.

    ``mark`` is ``asked``, ``reached``, ``weak`` or empty, and shows from ``mark_day`` on.
    """

    words: str
    told: str
    start: float
    end: float
    mark: str = ""
    mark_day: float = 0.0


@dataclass(frozen=True, slots=True)
class ContactLane:
    """One vat."""

    name: str
    bars: tuple[ContactBar, ...]


@dataclass(frozen=True, slots=True)
class ContactWater:
    """Vats that share water."""

    name: str
    lanes: tuple[ContactLane, ...]


@dataclass(frozen=True, slots=True)
class ContactSign:
    """A moment worth a line from top to foot: what was found, and when."""

    day: float
    words: str


@dataclass(frozen=True, slots=True)
class ContactContent:
    """What the drawing shows; ``days`` is its width from the day ``first`` on, ``left_out`` names waters not drawn."""

    title: str
    subtitle: str
    first: date
    days: float
    waters: tuple[ContactWater, ...]
    signs: tuple[ContactSign, ...] = ()
    left_out: tuple[str, ...] = ()


def contacts_drawing(content: ContactContent, *, width: int = 1200) -> Drawing:
    """Draw lanes of vats by water, stays as bars in them, and what was found as lines.

    Parameters
    ----------
    width
        Pixels; the height follows from the number of bars.

    Raises
    ------
    PaperError
        For a drawing over no time.
    """
    if content.days <= 0:
        message = "contacts over no time cannot be drawn; give a first day before today"
        raise PaperError(message)
    rows = [(water, [(lane, _stacked(lane.bars)) for lane in water.lanes]) for water in content.waters]
    tall = sum(_BAND + sum(len(stack) * _ROW + _GAP for _, stack in lanes) for _, lanes in rows)
    foot = _TOP + tall
    drawing = Drawing(width, foot + (34 if content.left_out else 12), content.title, content.subtitle)
    canvas = _Canvas(drawing, content.days)
    canvas.head(content)
    canvas.weeks(content.first, foot)
    y = _TOP
    for water, lanes in rows:
        canvas.band(water.name, y)
        y += _BAND
        for lane, stack in lanes:
            canvas.lane(lane.name, stack, y)
            y += len(stack) * _ROW + _GAP
    canvas.signs(content.signs, foot)
    if content.left_out:
        words = f"No lot of this trace stood in {', '.join(content.left_out)}."
        drawing.text((6, foot + 20), _cut(words, width - 12, 11), size=11)
    return drawing


def _stacked(bars: Iterable[ContactBar]) -> list[list[ContactBar]]:
    """Rows of a vat such that bars in one row do not overlap."""
    stack: list[list[ContactBar]] = []
    for bar in sorted(bars, key=lambda one: (one.start, one.words)):
        row = next((row for row in stack if row[-1].end <= bar.start), None)
        if row is None:
            stack.append([bar])
        else:
            row.append(bar)
    return stack


def _cut(words: str, room: float, size: int, *, bold: bool = False) -> str:
    """Words cut with an ellipsis to what there is room for."""
    cut = words
    while cut and wide(cut if cut == words else f"{cut}…", size, bold=bold) > room:
        cut = cut[:-1].rstrip()
    return cut if cut == words else f"{cut}…" if len(cut) > 2 else ""


class _Canvas:
    """The drawing with its scale of days."""

    def __init__(self, drawing: Drawing, days: float) -> None:
        self.drawing, self.days = drawing, days
        self.per_day = (drawing.width - _LEFT - 10) / days

    def at(self, day: float) -> float:
        return _LEFT + min(max(day, 0.0), self.days) * self.per_day

    def head(self, content: ContactContent) -> None:
        room = self.drawing.width - 12
        self.drawing.text((6, 20), _cut(content.title, room, 16, bold=True), size=16, bold=True)
        self.drawing.text((6, 39), _cut(content.subtitle, room, 12), size=12)
        x = 6.0
        for mark, fill, words in _LOOKS:
            self.drawing.box((x, 49), (26, 13), fill, told=mark)
            self.drawing.text((x + 31, 60), words, size=11)
            x += 49 + wide(words, 11)
        self.drawing.text((x, 60), "← the lot it came through", size=11)

    def weeks(self, first: date, foot: float) -> None:
        """A line each Monday, with its day where there is room."""
        room = wide("30 Nov", 10) + 10
        monday = -first.weekday() % 7
        every = next((weeks for weeks in (1, 2, 4, 8) if 7 * weeks * self.per_day >= room), 16)
        for number, day in enumerate(range(monday, int(self.days) + 1, 7)):
            x = self.at(day)
            self.drawing.line((x, _TOP - 6), (x, foot), width=0.5, shade="#999999")
            if number % every == 0:
                self.drawing.text((x + 2, _TOP - 5), f"{first + timedelta(days=day):%-d %b}", size=10)

    def band(self, name: str, y: float) -> None:
        self.drawing.box((0, y), (self.drawing.width, _BAND - 4), "grey", edge=0)
        self.drawing.text((6, y + 15), _cut(name, self.drawing.width - 12, 12, bold=True), size=12, bold=True)

    def lane(self, name: str, stack: Sequence[Sequence[ContactBar]], y: float) -> None:
        self.drawing.text((12, y + 14), _cut(name, _LEFT - 18, 12), size=12)
        for number, bars in enumerate(stack):
            for bar in bars:
                self._bar(bar, y + number * _ROW)
        foot = y + len(stack) * _ROW + 1
        self.drawing.line((0, foot), (self.drawing.width, foot), width=0.5, shade="#999999")

    def _bar(self, bar: ContactBar, y: float) -> None:
        turn = min(max(bar.start, bar.mark_day), bar.end) if bar.mark else bar.end
        high = _ROW - 3
        parts: list[tuple[float, float, str]] = [(bar.start, turn, ""), (turn, bar.end, bar.mark)]
        for start, end, mark in parts:
            if end > start:
                left, right = self.at(start), self.at(end)
                edge = 1.5 if mark else 0.75
                self.drawing.box((left, y), (max(3.0, right - left), high), _FILLS[mark], edge=edge, told=bar.told)
        left, right = self.at(bar.start), self.at(bar.end)
        words = _cut(bar.words, right - left - 12, 11)
        if words:
            self.drawing.text((left + 6, y + 13), words, size=11, plate=True)
        elif left - _LEFT > wide(bar.words, 11) + 12:  # a short stay at the right edge is named to its left
            self.drawing.text((left - wide(bar.words, 11) - 6, y + 13), bar.words, size=11, plate=True)

    def signs(self, signs: Sequence[ContactSign], foot: float) -> None:
        """Lines of what was found, each with its words on a line of its own above the weeks."""
        for number, sign in enumerate(sorted(signs, key=lambda one: one.day)[-2:]):
            x, y = self.at(sign.day), 76 + 13 * number
            self.drawing.line((x, _TOP), (x, foot), width=6, shade="#ffffff")
            self.drawing.line((x, y + 2), (x, foot), width=2.5)
            words = _cut(sign.words, self.drawing.width - _LEFT, 11, bold=True)
            left = min(x + 4, self.drawing.width - wide(words, 11, bold=True) - 8)
            self.drawing.text((left, y + 2), words, size=11, bold=True, plate=True)
