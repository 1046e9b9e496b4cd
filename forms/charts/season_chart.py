"""A season as a picture: shipments by week, how full each quarantine water is, grow-out with its band, sales served and lost."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from forms.charts.drawing import Drawing, Fill, wide
from forms.charts.vat_space_chart import cut
from forms.layout.page import PaperError

__all__ = [
    "SeasonContent",
    "SeasonGrowOut",
    "SeasonLanding",
    "SeasonRow",
    "SeasonWeek",
    "season_drawing",
    "season_pages",
]

_LEFT, _RIGHT, _SHIP, _WATER, _GAP, _LEAD, _HEADING = 116, 40, 22, 34, 10, 6, 18
_PANELS = (96, 72, 56, 46)
"""Heights a panel of grow-out or sales may have; the lowest that is still read."""
_SIZE = 10
"""Of the words, in units of the drawing: points, where it is put on paper unscaled."""
_FILLS: dict[str, Fill] = {"taken": "grey", "present": "hatch", "fallow": "cross"}
_WATER_KEY = (
    ("taken", "ordered here"),
    ("present", "there now"),
    ("fallow", "fallow"),
)


@dataclass(frozen=True, slots=True)
class SeasonLanding:
    """A shipment: its week, animals, and what it is in words."""

    week: int
    animals: int
    words: str


@dataclass(frozen=True, slots=True)
class SeasonWeek:
    """A water in one week: ``free``, ``taken``, ``present`` or ``fallow``; percent of its bench area, None where not known."""

    state: str = "free"
    percent: float | None = 0.0


@dataclass(frozen=True, slots=True)
class SeasonRow:
    """A supplier with its shipments, or a water with its weeks."""

    name: str
    landings: tuple[SeasonLanding, ...] = ()
    weeks: tuple[SeasonWeek, ...] = ()


@dataclass(frozen=True, slots=True)
class SeasonGrowOut:
    """Bench area by week, m²: as planned, the ends of the band (empty: none is drawn), and all there is for the season."""

    room: float
    planned: tuple[float, ...]
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class SeasonContent:
    """What the drawing shows.

    Attributes
    ----------
    weeks
        A label for each week, in order; shipments land in the first ``landing`` of them.
    ceiling_percent
        How full a quarantine water is planned at most.
    sales
        Animals sold and animals that could be sold, by week.
    """

    title: str
    subtitle: str
    weeks: tuple[str, ...]
    landing: int
    suppliers: tuple[SeasonRow, ...] = ()
    waters: tuple[SeasonRow, ...] = ()
    ceiling_percent: float = 100.0
    grow_out: SeasonGrowOut | None = None
    sales: tuple[tuple[float, float], ...] = ()


def season_drawing(
    content: SeasonContent, *, width: int = 1000, titled: bool = True, panel: int = _PANELS[0]
) -> Drawing:
    """Draw shipments, waters, grow-out and sales over the same weeks.

    Raises
    ------
    PaperError
        For a drawing of no week.
    """
    if not content.weeks:
        message = "a season of no week cannot be drawn; give at least one week"
        raise PaperError(message)
    height = _height(content, panel, titled=titled)
    drawing = Drawing(width, height, content.title, f"{content.subtitle} {_said(content)}")
    canvas = _Canvas(drawing, content, panel)
    y = canvas.head(titled=titled)
    for section in (canvas.suppliers, canvas.waters, canvas.grow_out, canvas.sales):
        top, y = y, section(y)
        if y > top:
            canvas.end_of_landings(top + _HEADING, y - 4)
    return drawing


def season_pages(content: SeasonContent, *, width: int, tall: int) -> Iterator[Drawing]:
    """The same in as few drawings of at most this height as will hold it: panels give way first, then lists are parted."""
    rest = replace(content, suppliers=(), waters=())
    rows = replace(content, grow_out=None, sales=())
    for panel in _PANELS:
        if _height(content, panel, titled=False) <= tall:
            yield season_drawing(content, width=width, titled=False, panel=panel)
            return
    if _height(rows, 0, titled=False) <= tall:
        yield season_drawing(rows, width=width, titled=False)
    else:
        yield from _parted(rows, width, tall)
    if rest.grow_out or rest.sales:
        yield season_drawing(rest, width=width, titled=False)


def _parted(rows: SeasonContent, width: int, tall: int) -> Iterator[Drawing]:
    """Suppliers, then waters, as many to a drawing as fit."""
    most = max(1, (tall - 90) // _SHIP)
    for first in range(0, len(rows.suppliers), most):
        part = replace(rows, suppliers=rows.suppliers[first : first + most], waters=())
        yield season_drawing(part, width=width, titled=False)
    most = max(1, (tall - 90) // (_WATER + _LEAD))
    for first in range(0, len(rows.waters), most):
        part = replace(rows, suppliers=(), waters=rows.waters[first : first + most])
        yield season_drawing(part, width=width, titled=False)


def _height(content: SeasonContent, panel: int, *, titled: bool) -> int:
    lists = (len(content.suppliers) * _SHIP + 22 if content.suppliers else 0) + (
        len(content.waters) * (_WATER + _LEAD) + 22 if content.waters else 0
    )
    panels = sum(panel + _GAP + 24 for one in (content.grow_out, content.sales) if one)
    return (46 if titled else 4) + 22 + lists + panels + 8


def _said(content: SeasonContent) -> str:
    landings = sum(len(one.landings) for one in content.suppliers)
    words = f"{landings} shipments over {len(content.weeks)} weeks in {len(content.waters)} waters."
    if content.grow_out and content.grow_out.planned:
        words += f" Grow-out holds at most {max(content.grow_out.planned):.1f} of {content.grow_out.room:.1f} m²."
    if content.sales:
        words += (
            f" {sum(one for one, _ in content.sales):.0f} of {sum(all_ for _, all_ in content.sales):.0f} sales served."
        )
    return words


class _Canvas:
    """The drawing with its scale of weeks."""

    def __init__(self, drawing: Drawing, content: SeasonContent, panel: int) -> None:
        self.drawing, self.content, self.panel = drawing, content, panel
        self.pitch = (drawing.width - _LEFT - _RIGHT) / len(content.weeks)
        self.end = drawing.width - _RIGHT

    def at(self, week: float) -> float:
        return _LEFT + week * self.pitch

    def head(self, *, titled: bool) -> float:
        """Title and the days of the weeks, as many as there is room for."""
        y = 4.0
        if titled:
            self.drawing.text((6, 18), cut(self.content.title, self.drawing.width - 12, 14), size=14)
            self.drawing.text((6, 37), cut(self.content.subtitle, self.drawing.width - 12, 12), size=12)
            y = 46.0
        every = max(1, -(-int(max(wide(one, _SIZE) for one in self.content.weeks) + 8) // max(1, int(self.pitch))))
        for number in range(0, len(self.content.weeks), every):
            self.drawing.line((self.at(number), y), (self.at(number), y + 14), width=0.5, shade="#999999")
            self.drawing.text((self.at(number) + 2, y + 10), self.content.weeks[number], size=_SIZE)
        return y + 22

    def _heading(self, y: float, words: str, keys: Sequence[tuple[Fill | None, str]] = ()) -> float:
        """A band with words and, after them, what each fill means; a line of the ceiling or the room has none."""
        self.drawing.box((0, y), (self.drawing.width, 16), "light", edge=0)
        self.drawing.text((6, y + 12), words, size=_SIZE, bold=True)
        x = 22 + wide(words, _SIZE, bold=True)
        for fill, told in keys:
            if fill is not None:
                self.drawing.box((x, y + 3), (14, 10), fill, edge=0.5)
                x += 18
            self.drawing.text((x, y + 12), told, size=_SIZE)
            x += 14 + wide(told, _SIZE)
        return y + _HEADING

    def suppliers(self, y: float) -> float:
        """A row for each supplier, a box with its animals where a shipment lands."""
        if not self.content.suppliers:
            return y
        y = self._heading(y, "Shipments, animals by week of landing (none after the vertical line)")
        for row in self.content.suppliers:
            self.drawing.text((6, y + 14), cut(row.name, _LEFT - 12, _SIZE), size=_SIZE)
            self.drawing.line((_LEFT, y + _SHIP - 4), (self.end, y + _SHIP - 4), width=0.5, shade="#999999")
            for number, one in enumerate(row.landings):
                x = self.at(one.week)
                following = (
                    self.at(row.landings[number + 1].week) if number + 1 < len(row.landings) else self.drawing.width
                )
                self.drawing.box((x, y + 2), (max(3.0, min(self.pitch, 6.0)), _SHIP - 6), "black", told=one.words)
                words = cut(str(one.animals), following - x - 12, _SIZE)
                self.drawing.text((x + 10, y + 14), words, size=_SIZE, bold=True)
            y += _SHIP
        return y + 4

    def waters(self, y: float) -> float:
        """A row for each water: fullness by week from the foot of the row, fallow weeks crossed, the ceiling as a line."""
        content = self.content
        if not content.waters:
            return y
        keys = [(_FILLS[state], words) for state, words in _WATER_KEY]
        line = f"line: planned to {content.ceiling_percent:.0f} %"
        y = self._heading(y, "Quarantine, share of bench area used", [*keys, (None, line)])
        for row in content.waters:
            self._water(row, y)
            y += _WATER + _LEAD
        return y + 4

    def _water(self, row: SeasonRow, y: float) -> None:
        foot = y + _WATER
        self.drawing.text((6, y + 14), cut(row.name, _LEFT - 12, _SIZE), size=_SIZE)
        self.drawing.box((_LEFT, y), (self.at(len(row.weeks)) - _LEFT, _WATER), "white", edge=0.5)
        for number, week in enumerate(row.weeks):
            if week.state == "free":
                continue
            share = 1.0 if week.percent is None or week.state == "fallow" else min(1.0, week.percent / 100)
            full = "" if week.percent is None or week.state == "fallow" else f", {week.percent:.0f} % of the bench area"
            told = f"{row.name}, week of {self.content.weeks[number]}: {week.state}{full}"
            high = max(2.0, share * _WATER)
            self.drawing.box(
                (self.at(number), foot - high), (self.pitch, high), _FILLS[week.state], edge=0.5, told=told
            )
        ceiling = foot - _WATER * min(1.0, self.content.ceiling_percent / 100)
        self.drawing.line((_LEFT, ceiling), (self.end, ceiling), width=0.5, shade="#555555")
        for first, last in _runs(row.weeks):
            self._fullest(row, (first, last), y)

    def _fullest(self, row: SeasonRow, run: tuple[int, int], y: float) -> None:
        """The fullest week of a stay as a figure, where it can be read."""
        shares = [week.percent for week in row.weeks[run[0] : run[1]] if week.percent is not None]
        words = f"{max(shares):.0f} %" if shares else "not known"
        if wide(words, _SIZE) + 6 > (run[1] - run[0]) * self.pitch:
            return
        high = _WATER * min(1.0, max(shares) / 100) if shares else _WATER
        above = high + _SIZE + 4 <= _WATER
        foot = y + _WATER - (high + 3 if above else 6)
        self.drawing.text((self.at(run[0]) + 4, foot), words, size=_SIZE, plate=not above)

    def _axis(self, y: float, most: float, unit: str) -> None:
        for part in (0.0, 0.5, 1.0):
            line = y + self.panel * (1 - part)
            self.drawing.line((_LEFT, line), (self.end, line), width=0.5, shade="#bbbbbb")
            words = f"{most * part:.1f} {unit}" if most < 20 else f"{most * part:.0f} {unit}"
            self.drawing.text((_LEFT - 6 - wide(words, _SIZE), line + 4), words, size=_SIZE)

    def grow_out(self, y: float) -> float:
        """Area used as a line over its band, and all there is as a thick line."""
        grown = self.content.grow_out
        if grown is None:
            return y
        band: list[tuple[Fill | None, str]] = [("hatch", "9 of 10 futures: late flights, counts, deaths, growth")]
        keys = [(None, "line: as planned"), *(band if grown.high else []), (None, f"thick: room, {grown.room:.1f} m²")]
        y = self._heading(y, "Grow-out, bench area", keys) + 6
        most = max(grown.room, *grown.planned, *grown.high, 0.01) * 1.08
        self._axis(y, most, "m²")
        foot = y + self.panel
        for number, (low, high) in enumerate(zip(grown.low, grown.high, strict=True)):
            tall = self.panel * (high - low) / most
            if tall > 0:
                told = f"Week of {self.content.weeks[number]}: {low:.1f} to {high:.1f} m² in 9 of 10 futures"
                self.drawing.box(
                    (self.at(number), foot - self.panel * high / most), (self.pitch, tall), "hatch", edge=0, told=told
                )
        heights = [foot - self.panel * one / most for one in grown.planned]
        for number, here in enumerate(heights):
            self.drawing.line((self.at(number), here), (self.at(number + 1), here), width=2)
            if number and here != heights[number - 1]:
                self.drawing.line((self.at(number), heights[number - 1]), (self.at(number), here), width=2)
        room = foot - self.panel * grown.room / most
        self.drawing.line((_LEFT, room), (self.end, room), width=3, shade="#555555")
        return foot + _GAP

    def sales(self, y: float) -> float:
        """Animals sold as grey columns, what could be sold beyond that as open ones."""
        sales = self.content.sales
        if not sales:
            return y
        y = self._heading(
            y, "Sales, animals a week", [("grey", "sold"), ("white", "could be sold, but nothing is there")]
        ) + 6  # fmt: skip
        most = max(1.0, *(wanted for _, wanted in sales))
        self._axis(y, most, "")
        foot = y + self.panel
        for number, (sold, wanted) in enumerate(sales):
            told = f"Week of {self.content.weeks[number]}: {sold:.0f} of {wanted:.0f}"
            x, across = self.at(number) + 0.15 * self.pitch, 0.7 * self.pitch
            tall, open_ = self.panel * sold / most, self.panel * max(0.0, wanted - sold) / most
            if open_ > 0.5:
                self.drawing.box((x, foot - tall - open_), (across, open_), "white", edge=0.5, told=told)
            if tall > 0:
                self.drawing.box((x, foot - tall), (across, tall), "grey", edge=0.5, told=told)
        return foot + _GAP

    def end_of_landings(self, top: float, foot: float) -> None:
        """A line after the last week in which a shipment may land."""
        if self.content.landing < len(self.content.weeks):
            x = self.at(self.content.landing)
            self.drawing.line((x, top), (x, foot), width=1, shade="#555555")


def _runs(weeks: Sequence[SeasonWeek]) -> Iterator[tuple[int, int]]:
    """First and end week of each stay: animals there, of one state."""
    start = 0
    for number in range(1, len(weeks) + 1):
        if number == len(weeks) or weeks[number].state != weeks[start].state:
            if weeks[start].state in ("taken", "present"):
                yield start, number
            start = number
