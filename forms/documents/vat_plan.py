"""The vat plan as a picture: vats of each system as rows, days as columns, batches as bars, and what would help."""

from __future__ import annotations

from dataclasses import dataclass

from forms.charts.lane_chart import Bar, Lane, LaneChart, Legend, Pattern
from forms.documents.shared_content import joined
from forms.layout.blocks import Heading, Masthead, Text
from forms.layout.page import Block, Part, bind, flow, paper_of
from forms.layout.table_grid import Cell, Column, Grid, tick

__all__ = [
    "PlanBar",
    "PlanChange",
    "PlanContent",
    "PlanMove",
    "PlanRelief",
    "PlanShort",
    "PlanSystem",
    "PlanVat",
    "plan",
]

_PATTERNS: dict[str, Pattern] = {"arriving": "open", "present": "hatch", "fallow": "cross"}
_LEGEND: tuple[tuple[Pattern, str], ...] = (
    ("open", "arriving"),
    ("hatch", "in the vat already"),
    ("cross", "fallow: empty and drying"),
)


@dataclass(frozen=True, slots=True)
class PlanBar:
    """One batch in one vat.

    Attributes
    ----------
    batch, count
        Which batch and how many; a fallow bar has neither.
    from_day, until_day
        Days from the first day of the plan, `until_day` not included.
    kind
        ``"arriving"``, ``"present"`` or ``"fallow"``.
    full_percent, resource
        How full the vat is in what binds it, and what that is.
    stage
        Stage in words.
    """

    batch: str
    count: int
    from_day: float
    until_day: float
    kind: str = "arriving"
    full_percent: float | None = None
    resource: str = ""
    stage: str = ""


@dataclass(frozen=True, slots=True)
class PlanVat:
    """One vat with its bars; `detail` such as its bench area."""

    vat: str
    bars: tuple[PlanBar, ...] = ()
    detail: str = ""


@dataclass(frozen=True, slots=True)
class PlanSystem:
    """Vats that share water."""

    name: str
    vats: tuple[PlanVat, ...]
    detail: str = ""


@dataclass(frozen=True, slots=True)
class PlanMove:
    """Current stock to move before a day."""

    batch: str
    count: int
    from_vat: str
    to_vat: str
    by: str


@dataclass(frozen=True, slots=True)
class PlanShort:
    """Animals that find no place, and what binds."""

    batch: str
    name: str
    count: int
    binding: str


@dataclass(frozen=True, slots=True)
class PlanRelief:
    """One thing that would make room, cheapest first."""

    do: str
    frees: str
    cost: str
    places: int


@dataclass(frozen=True, slots=True)
class PlanChange:
    """What is otherwise than in the plan accepted before, and why; vats with their animals in words."""

    batch: str
    stage: str
    before: str
    after: str
    why: str


@dataclass(frozen=True, slots=True)
class PlanHeld:
    """Animals that stay in quarantine longer because of another lot in their water."""

    batch: str
    count: int
    until: str
    days: int
    because: str


@dataclass(frozen=True, slots=True)
class PlanContent:
    """What the plan's picture shows.

    Attributes
    ----------
    shipment
        What is planned.
    state
        Proposed, accepted or superseded, and optimal or bounded, in words.
    days
        Label of each day shown, in order.
    announced, placed
        Animals.
    waters
        When each quarantine water empties, and warnings, a sentence each.
    """

    farm: str
    shipment: str
    days: tuple[str, ...]
    systems: tuple[PlanSystem, ...]
    announced: int
    placed: int
    state: str = ""
    moves: tuple[PlanMove, ...] = ()
    short: tuple[PlanShort, ...] = ()
    relief: tuple[PlanRelief, ...] = ()
    changes: tuple[PlanChange, ...] = ()
    held: tuple[PlanHeld, ...] = ()
    waters: tuple[str, ...] = ()


def plan(content: PlanContent, paper: str = "a4") -> bytes:
    """Vat plan as PDF, long side across.

    Parameters
    ----------
    content
        What it shows; at least one day.
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
    left = content.announced - content.placed
    result = f"{content.placed} of {content.announced} placed" + (f", {left} not placed" if left else "")
    blocks: list[Block] = [
        Masthead("Vat plan", content.shipment, result, content.state, content.farm),
        Legend(_LEGEND),
        Text("The black gauge and the percentage show how full the vat is for its tightest limit.", 8),
        _picture(content),
        *_short(content),
        *_relief(content),
        *_moves(content),
        *_held(content),
        *_waters(content),
        *_changes(content),
        *_list(content),
    ]
    part = Part("Vat plan", joined((content.shipment, content.state)), tuple(blocks))
    return bind([(part, flow(blocks, size))], size, "Vat plan")


def _picture(content: PlanContent) -> Block:
    lanes: list[Lane] = []
    for system in content.systems:
        lanes.append(Lane(system.name, system.detail, heading=True))
        lanes.extend(Lane(vat.vat, vat.detail, tuple(_bar(bar) for bar in vat.bars)) for vat in system.vats)
    marks = tuple((float(n), label) for n, label in enumerate(content.days))
    return LaneChart(0.0, float(max(1, len(content.days))), marks, tuple(lanes))


def _bar(bar: PlanBar) -> Bar:
    if bar.kind == "fallow":
        return Bar(bar.from_day, bar.until_day, "fallow", "", "cross")
    full = "" if bar.full_percent is None else joined((f"{bar.full_percent:.0f} %", bar.resource), " ")
    return Bar(
        bar.from_day, bar.until_day, joined((f"{bar.batch} × {bar.count}", full)), f"{bar.batch} × {bar.count}",
        _PATTERNS.get(bar.kind, "grey"), bar.full_percent,
    )  # fmt: skip


def _short(content: PlanContent) -> list[Block]:
    if not content.short:
        return []
    columns = (Column("Batch", 1), Column("Species", 2), Column("Not placed", 1, "right"), Column("Limited by", 3))
    rows = tuple((Cell(s.batch, bold=True), s.name, Cell(str(s.count), bold=True), s.binding) for s in content.short)
    return [Heading("Not placed"), Grid(columns, rows)]


def _relief(content: PlanContent) -> list[Block]:
    if not content.relief:
        return []
    columns = (Column("Do", 3), Column("Frees", 2), Column("Cost", 1.2), Column("Animals placed", 1, "right"),
               Column("Decided", 0.6, "centre"))  # fmt: skip
    rows = tuple(
        (Cell(r.do, bold=True), r.frees, r.cost, Cell(str(r.places), bold=True), tick()) for r in content.relief
    )
    return [Heading("What would make room, cheapest first"), Grid(columns, rows, tick_mm=7)]


def _held(content: PlanContent) -> list[Block]:
    if not content.held:
        return []
    columns = (
        Column("Batch", 1), Column("Animals", 1, "right"), Column("Until", 1.2), Column("Days longer", 1, "right"),
        Column("Because of", 3),
    )  # fmt: skip
    rows = tuple((Cell(h.batch, bold=True), str(h.count), h.until, str(h.days), h.because) for h in content.held)
    return [Heading("Held by another lot in the same water"), Grid(columns, rows)]


def _waters(content: PlanContent) -> list[Block]:
    if not content.waters:
        return []
    return [Heading("Quarantine waters"), *(Text(words, 9) for words in content.waters)]


def _changes(content: PlanContent) -> list[Block]:
    if not content.changes:
        return []
    columns = (
        Column("Batch", 1), Column("Stage", 1.2), Column("Before", 1.6), Column("Now", 1.6), Column("Why", 4),
    )  # fmt: skip
    rows = tuple(
        (one.batch, one.stage, one.before or "no place", one.after or "no place", one.why) for one in content.changes
    )
    return [Heading("Changes from the accepted plan"), Grid(columns, rows, size=8.5)]


def _moves(content: PlanContent) -> list[Block]:
    if not content.moves:
        return []
    columns = (Column("Batch", 2), Column("Count", 0.8, "right"), Column("From", 1), Column("To", 1), Column("By", 1.2),
               Column("Done", 0.6, "centre"))  # fmt: skip
    rows = tuple((Cell(m.batch, bold=True), str(m.count), m.from_vat, m.to_vat, m.by, tick()) for m in content.moves)
    return [Heading("Current stock to move first"), Grid(columns, rows, tick_mm=7)]


def _list(content: PlanContent) -> list[Block]:
    columns = (Column("System", 1.4), Column("Vat", 1), Column("Batch", 1.6), Column("Count", 0.7, "right"),
               Column("Stage", 1.2), Column("From", 1), Column("Until", 1), Column("Full", 0.7, "right"),
               Column("Binds", 1.4))  # fmt: skip
    rows: list[tuple[Cell | str, ...]] = [
        (system.name, Cell(vat.vat, bold=True), bar.batch, Cell(str(bar.count), bold=True), bar.stage or bar.kind,
         _day(content, bar.from_day), _day(content, bar.until_day),
         "–" if bar.full_percent is None else f"{bar.full_percent:.0f} %", bar.resource)
        for system in content.systems for vat in system.vats for bar in vat.bars if bar.kind != "fallow"
    ]  # fmt: skip
    return [Heading("List view"), Grid(columns, tuple(rows), size=8.5)] if rows else []


def _day(content: PlanContent, day: float) -> str:
    if day < 0:
        return "before"
    return content.days[int(day)] if day < len(content.days) else "after"
