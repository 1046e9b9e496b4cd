"""The vat plan as a picture: vats of each system as rows, days as columns, batches as bars, and what would help."""

from __future__ import annotations

from forms.charts.batch_fills import BatchFill, fills_of
from forms.charts.lane_chart import Bar, Lane, LaneChart, Legend, Pattern
from forms.documents.shared_content import joined
from forms.documents.wall.morning_list import morning_list, steps_of
from forms.documents.wall.plan_content import PlanBar, PlanContent
from forms.layout.blocks import Heading, Masthead, Text
from forms.layout.page import Block, Paper, Part, bind, flow, paper_of
from forms.layout.table_grid import Cell, Column, Grid, tick

__all__ = ["plan"]

_KINDS: tuple[tuple[str, Pattern, str], ...] = (
    ("present", "grey", "in the vat already"),
    ("fallow", "cross", "fallow: empty and drying"),
)
_BAR_MM = (7.0, 6.0, 5.0, 4.4, 3.8)
"""Heights a bar may have, mm; the lowest still holds 8 pt type."""
_WIDE_MM = 400.0
"""From this width on two vats of what comes stand in one row of the list."""

_GAUGE = "The black gauge and the percentage show how full the vat is for its tightest limit."


def plan(content: PlanContent, paper: str = "a4") -> bytes:
    """Vat plan as PDF, long side across.

    Parameters
    ----------
    content
        What it shows; at least one day.
    paper
        ``"a4"``, ``"letter"`` or ``"a3"``.

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
    head: list[Block] = [
        Masthead("Vat plan", content.shipment, result, content.state, content.farm),
        _key(content),
        Text(joined((_GAUGE, content.aim), " "), 8),
    ]
    blocks: list[Block] = [
        *head,
        _picture(content, head, size),
        *_short(content),
        *_relief(content),
        *morning_list(content, beside=2 if size.width_mm >= _WIDE_MM else 1),
        *_moves(content),
        *_held(content),
        *_counted_on(content),
        *_waters(content),
        *_changes(content),
    ]
    part = Part("Vat plan", joined((content.shipment, content.state)), tuple(blocks))
    return bind([(part, flow(blocks, size))], size, "Vat plan", author=content.farm)


def _bars(content: PlanContent) -> list[PlanBar]:
    return [bar for system in content.systems for vat in system.vats for bar in vat.bars]


def _fills(content: PlanContent) -> dict[str, BatchFill]:
    return fills_of(bar.batch for bar in _bars(content) if bar.kind == "arriving")


def _key(content: PlanContent) -> Legend:
    """The fill of every batch that comes, then what else the picture holds."""
    kinds = {bar.kind for bar in _bars(content)}
    batches = tuple(
        (fill, joined((batch, content.names.get(batch, "")), " ")) for batch, fill in _fills(content).items()
    )
    return Legend((*batches, *((pattern, words) for kind, pattern, words in _KINDS if kind in kinds)))


def _picture(content: PlanContent, head: list[Block], size: Paper) -> LaneChart:
    """Tallest bars that need no more pages than the lowest would."""
    lanes = _lanes(content)
    marks = tuple((float(n), label) for n, label in enumerate(content.days))
    charts = [LaneChart(0.0, float(max(1, len(content.days))), marks, lanes, bar_mm=tall) for tall in _BAR_MM]
    pages = [len(flow([*head, chart], size)) for chart in charts]
    return charts[pages.index(min(pages))]


def _lanes(content: PlanContent) -> tuple[Lane, ...]:
    fills = _fills(content)
    lanes: list[Lane] = []
    for system in content.systems:
        lanes.append(Lane(system.name, system.detail, heading=True))
        lanes.extend(Lane(vat.vat, vat.detail, tuple(_bar(bar, fills) for bar in vat.bars)) for vat in system.vats)
    return tuple(lanes)


def _bar(bar: PlanBar, fills: dict[str, BatchFill]) -> Bar:
    if bar.kind == "fallow":
        return Bar(bar.from_day, bar.until_day, "fallow", "", "cross")
    full = "" if bar.full_percent is None else joined((f"{bar.full_percent:.0f} %", bar.resource), " ")
    return Bar(
        bar.from_day, bar.until_day, joined((f"{bar.batch} × {bar.count}", full)), f"{bar.batch} × {bar.count}",
        fills.get(bar.batch, "grey") if bar.kind == "arriving" else "grey", bar.full_percent, bar.batch,
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
    return [Heading("What would make room, what gains most first"), Grid(columns, rows)]


def _held(content: PlanContent) -> list[Block]:
    """Batches that wait for the same reason until the same day share a row."""
    if not content.held:
        return []
    columns = (Column("Batches and animals", 4), Column("Until", 1), Column("Days longer", 0.8, "right"),
               Column("Because of", 2))  # fmt: skip
    shared: dict[tuple[str, int, str], list[str]] = {}
    for one in content.held:
        shared.setdefault((one.until, one.days, one.because), []).append(f"{one.count} of {one.batch}")
    rows = tuple((", ".join(batches), until, str(days), because) for (until, days, because), batches in shared.items())
    return [Heading("Held by another lot in the same water"), Grid(columns, rows)]


def _counted_on(content: PlanContent) -> list[Block]:
    if not content.counted_on:
        return []
    return [Heading("The plan counts on"), Text(" ".join(content.counted_on), 9)]


def _waters(content: PlanContent) -> list[Block]:
    if not content.waters:
        return []
    return [Heading("Quarantine waters"), Text(" ".join(content.waters), 9)]


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
    """Moves that the list of mornings does not hold: of stock the picture does not show."""
    told = {(step.batch, step.vat) for step in steps_of(content) if step.out}
    moves = [move for move in content.moves if (move.batch, move.from_vat) not in told]
    if not moves:
        return []
    columns = (Column("Batch", 2), Column("Count", 0.8, "right"), Column("From", 1), Column("To", 1), Column("By", 1.2),
               Column("Done", 0.6, "centre"))  # fmt: skip
    rows = tuple((Cell(m.batch, bold=True), str(m.count), m.from_vat, m.to_vat, m.by, tick()) for m in moves)
    return [Heading("Current stock to move first"), Grid(columns, rows)]
