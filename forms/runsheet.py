"""The receiving day on paper: stations as lanes over the hours, then every box in its order of opening."""

from __future__ import annotations

from dataclasses import dataclass

from forms.blocks import Caution, Heading, Masthead, Text
from forms.chart import Bar, Lane, LaneChart, Legend, Pattern
from forms.content import joined, number
from forms.grid import Cell, Column, Grid, tick
from forms.page import Block, Part, bind, flow, paper_of

__all__ = ["RunBar", "RunBox", "RunSheetContent", "RunStation", "RunWater", "runsheet"]

_PATTERNS: dict[str, Pattern] = {"open": "open", "acclimate": "grey", "dip": "hatch", "place": "dark", "break": "cross"}
_WORDS = {
    "open": "open and count",
    "acclimate": "acclimate",
    "dip": "dip",
    "place": "place in the vat",
    "break": "break, nobody there",
}


@dataclass(frozen=True, slots=True)
class RunBar:
    """Work on one box at one station; hours since midnight, above 24 the day after."""

    start_h: float
    end_h: float
    text: str
    short: str = ""
    kind: str = "open"


@dataclass(frozen=True, slots=True)
class RunStation:
    """One station and who stands there."""

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
    """What the run sheet says; times as printed, `from_h` and `until_h` the hours drawn."""

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
        For an unknown paper.
    """
    size = paper_of(paper, landscape=True)
    detail = joined(
        (content.supplier, f"lands {content.lands}" if content.lands else "",
         f"expected finish {content.finish}" if content.finish else "", f"{len(content.boxes)} boxes")
    )  # fmt: skip
    blocks: list[Block] = [
        Masthead("Receiving-day run sheet", content.shipment, content.date, detail, content.farm),
        *_cautions(content),
        *_picture(content),
        Heading("Boxes in order of opening"),
        Text(
            "A leaking, warm or cold box goes first: write its number at the top and tell the one who plans.",
            8,
            sticky=True,
        ),
        _boxes(content),
        *_water(content),
    ]
    part = Part("Receiving-day run sheet", joined((content.shipment, content.date)), tuple(blocks))
    return bind([(part, flow(blocks, size))], size, "Receiving-day run sheet")


def _cautions(content: RunSheetContent) -> list[Block]:
    lines = tuple(line for line in (*content.cautions, content.emergency) if line)
    return [Caution(lines, 8.5)] if lines else []


def _picture(content: RunSheetContent) -> list[Block]:
    marks = tuple((float(h), f"{h % 24:02d}:00") for h in range(int(content.from_h), int(content.until_h) + 1))
    lanes = tuple(
        Lane(
            s.name,
            s.people,
            tuple(Bar(b.start_h, b.end_h, b.text, b.short, _PATTERNS.get(b.kind, "open")) for b in s.bars),
        )
        for s in content.stations
    )
    kinds = {bar.kind for station in content.stations for bar in station.bars}
    legend = tuple((_PATTERNS[kind], words) for kind, words in _WORDS.items() if kind in kinds)
    return [LaneChart(content.from_h, content.until_h, marks, lanes, bar_mm=9, name_mm=30), Legend(legend)]


def _boxes(content: RunSheetContent) -> Block:
    columns = (
        Column("No.", 0.5, "right"), Column("Box", 0.9), Column("Opens", 0.8, "right"),
        Column("Hours in bag", 0.7, "right"), Column("Batch", 1.7), Column("Species", 2.4),
        Column("Count", 0.7, "right"), Column("Station", 1.0), Column("Acclimation", 1.5), Column("Vat", 1.0),
        Column("Placed by", 0.8, "right"), Column("Watch", 1.5), Column("Done", 0.6, "centre"),
    )  # fmt: skip
    rows = tuple(
        (
            Cell(str(b.order), bold=True, size=13), Cell(b.box, bold=True, size=11), Cell(b.opens, bold=True, size=10),
            number(b.hours_in_bag, 0), Cell(b.batch, bold=True), b.name, "" if b.count is None else str(b.count),
            b.station, b.mode, Cell(b.vat, bold=True), b.placed_by, b.warning, tick(),
        )
        for b in content.boxes
    )  # fmt: skip
    return Grid(columns, rows, size=8.5, narrow=True)


def _water(content: RunSheetContent) -> list[Block]:
    if not content.water:
        return []
    columns = (Column("Ready by", 1), Column("What for", 3), Column("Water", 1, "right"), Column("Salt", 1, "right"),
               Column("Temperature", 1, "right"), Column("Ready", 0.5, "centre"))  # fmt: skip
    rows = tuple((Cell(w.by, bold=True), w.what, w.volume, w.salt, w.temperature, tick()) for w in content.water)
    return [Heading("Water and salt"), Grid(columns, rows, size=9.5, tick_mm=8)]
