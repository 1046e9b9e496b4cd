"""The receiving day on paper: stations as lanes over the hours, then every box in its order of opening."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from reportlab.lib.units import mm

from forms.charts.lane_chart import Bar, Lane, LaneChart, Legend, Pattern
from forms.documents.danger_strip import KillStrip
from forms.documents.shared_content import LOCAL_RULES, Danger, Units, joined, number
from forms.layout.blocks import Caution, Heading, Masthead, Text
from forms.layout.lettering import NARROW_BOLD, one_line
from forms.layout.page import Block, NewPage, Paper, PaperError, Part, bind, flow, paper_of
from forms.layout.speech import ENGLISH, Speech, phrase
from forms.layout.table_grid import Cell, Column, Grid, tick, write

__all__ = [
    "RunBar",
    "RunBox",
    "RunSheetContent",
    "RunStation",
    "RunWater",
    "WaterListContent",
    "runsheet",
    "water_list",
]

_PATTERNS: dict[str, Pattern] = {
    "open": "open",
    "acclimate": "grey",
    "dip": "hatch",
    "wait": "cross",
    "place": "dark",
    "break": "dark",
}
_WORDS = {
    "open": phrase("open and count"),
    "acclimate": phrase("acclimate"),
    "dip": phrase("dip"),
    "wait": phrase("ready, waiting for staff"),
    "place": phrase("place in the vat"),
    "break": phrase("break"),
}
# A picture shows so many hours at most: ten minutes are then wide enough for a number.
_HOURS_SHOWN = 5.0
_BAR_MM, _NAME_MM = 7.5, 44.0


@dataclass(frozen=True, slots=True)
class RunBar:
    """Work on one box at one station; hours since midnight, above 24 the day after.

    ``short`` stands where ``text`` does not fit; a bar too narrow even for that is written out below the picture.
    """

    start_h: float
    end_h: float
    text: str
    short: str = ""
    kind: str = "open"


@dataclass(frozen=True, slots=True)
class RunStation:
    """One station and who is there."""

    name: str
    people: str = ""
    bars: tuple[RunBar, ...] = ()


@dataclass(frozen=True, slots=True)
class RunBox:
    """One box in its order.

    Attributes
    ----------
    order
        Place in the order of opening, from 1.
    opens, placed_by
        Times as printed.
    hours_in_bag
        At opening.
    done
        Already placed: its box is printed ticked.
    """

    order: int
    box: str
    batch: str
    name: str
    opens: str
    hours_in_bag: float | None = None
    station: str = ""
    mode: str = ""
    vat: str = ""
    count: int | None = None
    placed_by: str = ""
    warning: str = ""
    done: bool = False


@dataclass(frozen=True, slots=True)
class RunWater:
    """Water to have ready by a time, as printed with units."""

    by: str
    what: str
    volume: str
    salt: str = ""
    temperature: str = ""


@dataclass(frozen=True, slots=True)
class RunSheetContent:
    """What the run sheet says; times as printed, `from_h` and `until_h` the hours drawn.

    ``finish`` is the expected finish against closing time; ``notes`` what was assumed and what is late; ``moved`` what
    changed against the run sheet before.
    """

    farm: str
    shipment: str
    date: str
    from_h: float
    until_h: float
    stations: tuple[RunStation, ...]
    boxes: tuple[RunBox, ...]
    water: tuple[RunWater, ...] = ()
    lands: str = ""
    finish: str = ""
    supplier: str = ""
    cautions: tuple[str, ...] = ()
    emergency: str = ""
    kills: tuple[Danger, ...] = ()
    notes: tuple[str, ...] = ()
    moved: tuple[str, ...] = ()
    language: Speech = ENGLISH


def runsheet(content: RunSheetContent, paper: str = "a4") -> bytes:
    """Receiving-day run sheet as PDF, long side across.

    Parameters
    ----------
    content
        What it says; `until_h` above `from_h`.
    paper
        ``"a4"`` or ``"letter"``.

    Returns
    -------
    bytes
        A PDF; equal content gives equal bytes.

    Raises
    ------
    PaperError
        For an unknown paper, or a day of no time.
    """
    size, say = paper_of(paper, landscape=True), content.language.say
    title = say("Receiving-day run sheet")
    detail = joined(
        (content.supplier, say("lands {times}", times=content.lands) if content.lands else "",
         say("expected finish {time}", time=content.finish) if content.finish else "",
         content.language.say_many("{n} box", "{n} boxes", len(content.boxes)))
    )  # fmt: skip
    blocks: list[Block] = [
        Masthead(title, content.shipment, content.date, detail, content.farm),
        *_cautions(content),
        *_lines(say("What moved"), content.moved),
        *_lines(say("Assumptions and delays"), content.notes),
        Heading(say("Boxes in order of opening")),
        Text(
            say("Open leaking, warm or cold boxes first. Write the number at the top and tell the planner."),
            8,
            sticky=True,
        ),
        _boxes(content),
        *_pictures(content, size),
        *_water(content),
    ]
    part = Part(title, joined((content.shipment, content.date)), tuple(blocks))
    return bind([(part, flow(blocks, size))], size, title, author=content.farm, language=content.language)


def _cautions(content: RunSheetContent | WaterListContent) -> list[Block]:
    """What can kill in the strip with the emergency number; what only hurts, and local rules, in the box below it."""
    say = content.language.say
    return [
        KillStrip(content.kills, content.emergency),
        Caution((*content.cautions, say(LOCAL_RULES)), 8.5, say("CAUTION")),
    ]


def _lines(head: str, lines: tuple[str, ...]) -> list[Block]:
    return [Heading(head), *(Text(f"· {line}", 9, after=1.0) for line in lines)] if lines else []


def _windows(content: RunSheetContent) -> list[tuple[float, float]]:
    """Stretches of the day shown in one picture each, of equal whole hours."""
    whole = content.until_h - content.from_h
    if not whole > 0:
        message = (
            f"a day from {content.from_h:g} to {content.until_h:g} h shows no time; the end must lie after the start"
        )
        raise PaperError(message)
    number = max(1, math.ceil(whole / _HOURS_SHOWN - 1e-9))
    length = math.ceil(whole / number - 1e-9)
    starts = [content.from_h + n * length for n in range(number)]
    return [(start, min(start + length, content.until_h)) for start in starts if start < content.until_h]


def _pictures(content: RunSheetContent, paper: Paper) -> list[Block]:
    kinds = {bar.kind for station in content.stations for bar in station.bars}
    say = content.language.say
    legend = tuple((_PATTERNS[kind], say(words)) for kind, words in _WORDS.items() if kind in kinds)
    blocks: list[Block] = []
    for start, end in _windows(content):
        marks = tuple((float(h), f"{h % 24:02d}:00") for h in range(math.ceil(start), math.floor(end) + 1))
        lanes = tuple(
            Lane(
                s.name,
                s.people,
                tuple(Bar(b.start_h, b.end_h, b.text, b.short, _PATTERNS.get(b.kind, "open")) for b in s.bars),
            )
            for s in content.stations
            if any(b.end_h > start and b.start_h < end for b in s.bars)
        )
        if lanes:
            blocks += [
                *([NewPage()] if blocks else []),  # the first stands under the list where there is room
                Heading(say("Stations, {start} to {end}", start=_clock(start), end=_clock(end))),
                Text(say("Numbers in bars are the No. in the list."), 8, sticky=True),
            ]
            blocks.append(LaneChart(start, end, marks, lanes, bar_mm=_BAR_MM, name_mm=_NAME_MM))
            blocks += [Legend(legend), *_too_narrow(content, (start, end), paper)]
    return blocks


def _too_narrow(content: RunSheetContent, window: tuple[float, float], paper: Paper) -> list[Block]:
    """The bars in which not even the number fits, in words."""
    per_hour = (paper.content_width - _NAME_MM * mm) / (window[1] - window[0])
    told = []
    for station in content.stations:
        for bar in station.bars:
            start, end = max(bar.start_h, window[0]), min(bar.end_h, window[1])
            # bars that reach in from the picture before, or out of it, are written there
            if end <= start or not window[0] <= bar.start_h < window[1]:
                continue
            room = (end - start) * per_hour - 5
            words = bar.text or bar.short
            fits = room > 4 and any(
                text and one_line(text, NARROW_BOLD, min(8.5, _BAR_MM * mm * 0.55), room)
                for text in (bar.text, bar.short)
            )
            if words and not fits:
                told.append(f"{station.name} {_clock(bar.start_h)}: {words}")
    if not told:
        return []
    return [Text(content.language.say("Too narrow for a number: {bars}.", bars="; ".join(told)), 8)]


def _clock(hours: float) -> str:
    minutes = round(hours * 60)
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def _boxes(content: RunSheetContent) -> Block:
    say = content.language.say
    columns = (
        Column(say("No."), 0.5, "right"), Column(say("Box"), 0.9), Column(say("Opens"), 0.8, "right"),
        Column(say("Hours in bag"), 0.7, "right"), Column(say("Batch"), 1.7), Column(say("Species"), 2.4),
        Column(say("Count"), 0.7, "right"), Column(say("Station"), 1.0), Column(say("Acclimation"), 1.5),
        Column(say("Vat"), 1.0), Column(say("Placed by"), 0.8, "right"), Column(say("Watch"), 1.5),
        Column(say("Done"), 0.6, "centre"),
    )  # fmt: skip
    rows = tuple(
        (
            Cell(str(b.order), bold=True, size=13), Cell(b.box, bold=True, size=11), Cell(b.opens, bold=True, size=10),
            number(b.hours_in_bag, 0), Cell(b.batch, bold=True), b.name, "" if b.count is None else str(b.count),
            b.station, b.mode, Cell(b.vat, bold=True), b.placed_by, b.warning, tick(ticked=b.done),
        )
        for b in content.boxes
    )  # fmt: skip
    return Grid(columns, rows, size=8.5, narrow=True)


def _water(content: RunSheetContent) -> list[Block]:
    head = content.language.say("Water and salt")
    return [Heading(head), _water_grid(content.water, 9.5, 8, content.language)] if content.water else []


def _water_grid(
    rows: tuple[RunWater, ...], size: float, tick_mm: float, language: Speech, *, readings: Units | None = None
) -> Grid:
    say = language.say
    wide = 1.5 if any(len(row.volume) > 9 for row in rows) else 1.0  # gallons with liters beside
    columns = [Column(say("Ready by"), 1), Column(say("What for"), 3), Column(say("Water"), wide, "right"),
               Column(say("Salt"), wide, "right"), Column(say("Wanted"), 1.6, "right")]  # fmt: skip
    if readings:
        columns += [
            Column(say("Read {unit}", unit=readings.temperature), 1.1, heavy=True),
            Column(say("Read {unit}", unit=readings.salinity), 1.1),
            Column(say("By"), 0.9),
        ]
    columns.append(Column(say("Ready"), 0.6, "centre"))
    cells = tuple(
        (
            Cell(row.by, bold=True, size=1.3 * size), row.what, Cell(row.volume, bold=True, size=1.15 * size),
            Cell(row.salt, bold=True, size=1.15 * size), row.temperature,
            *((write(f"c.{n}"), write(f"psu.{n}"), write(f"by.{n}")) if readings else ()), tick(f"ready.{n}"),
        )
        for n, row in enumerate(rows, start=1)
    )  # fmt: skip
    return Grid(tuple(columns), cells, size=size, row_mm=tick_mm + 2, tick_mm=tick_mm)


@dataclass(frozen=True, slots=True)
class WaterListContent:
    """What the water-and-salt list of a receiving day says; figures as printed with their units.

    Attributes
    ----------
    rows
        Hour by hour.
    totals
        (what, how much) for the whole day: all water, reserve, salt, fresh water, tubs, buckets, people.
    notes
        What the figures rest on.
    """

    farm: str
    shipment: str
    date: str
    rows: tuple[RunWater, ...]
    totals: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    emergency: str = ""
    kills: tuple[Danger, ...] = ()
    units: Units = field(default_factory=Units)
    language: Speech = ENGLISH


def water_list(content: WaterListContent, paper: str = "a4") -> bytes:
    """Water-and-salt list as PDF: what to mix for which hour, and places to write what it turned out to be.

    Parameters
    ----------
    content
        What it says.
    paper
        ``"a4"`` or ``"letter"``.

    Returns
    -------
    bytes
        A PDF; equal content gives equal bytes.

    Raises
    ------
    PaperError
        For an unknown paper.
    """
    size, say = paper_of(paper), content.language.say
    title = say("Water and salt to have ready")
    blocks: list[Block] = [
        Masthead(title, content.shipment, content.date, corner=content.farm),
        *_cautions(content),
    ]
    if content.totals:
        facts = tuple(Cell(value, label=label, bold=True) for label, value in content.totals)
        rows = tuple(facts[n : n + 4] + (Cell(),) * (4 - len(facts[n : n + 4])) for n in range(0, len(facts), 4))
        blocks += [Heading(say("The whole day")), Grid(tuple(Column() for _ in range(4)), rows, size=14, row_mm=12)]
    blocks += [Heading(say("By the hour")), _water_grid(content.rows, 11, 9, content.language, readings=content.units)]
    blocks += [Text(note, 9) for note in content.notes]
    part = Part(say("Water and salt"), joined((content.shipment, content.date)), tuple(blocks))
    return bind([(part, flow(blocks, size))], size, title, author=content.farm, language=content.language)
