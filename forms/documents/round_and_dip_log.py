"""Paper for the weeks after: the daily round from clean to dirty water, and the log of dips and inspections."""

from __future__ import annotations

from dataclasses import dataclass

from forms.documents.shared_content import LOCAL_RULES, UNSOURCED_NOTE, WorkRow, joined, marked
from forms.layout.blocks import Caution, Heading, Masthead, Text
from forms.layout.page import Block, Part, bind, flow, paper_of
from forms.layout.table_grid import Cell, Column, Grid, tick, write

__all__ = ["DipLogContent", "DipLogRow", "RoundContent", "RoundStop", "RoundVat", "dip_log", "round_sheet"]


@dataclass(frozen=True, slots=True)
class RoundVat:
    """One vat of the round; `due` what is to be done there today, `day` the day of quarantine in words."""

    vat: str
    batch: str
    name: str
    headcount: int
    day: str = ""
    due: str = ""


@dataclass(frozen=True, slots=True)
class RoundStop:
    """One system: its vats, its state in words, and what to do before going on to the next."""

    system: str
    state: str
    vats: tuple[RoundVat, ...]
    before_next: str = ""


@dataclass(frozen=True, slots=True)
class RoundContent:
    """The day's round, stops in the order they are walked: clean water first."""

    farm: str
    date: str
    stops: tuple[RoundStop, ...]
    who: str = ""
    temperature_unit: str = "°C"
    salinity_unit: str = "PSU"
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DipLogRow:
    """One dip or inspection of one vat and batch."""

    work: WorkRow
    vat: str
    batch: str
    headcount: int | None = None


@dataclass(frozen=True, slots=True)
class DipLogContent:
    """Dips and inspections to be logged, in order of date."""

    farm: str
    title: str
    rows: tuple[DipLogRow, ...]
    cautions: tuple[str, ...] = ()


def round_sheet(content: RoundContent, paper: str = "a4") -> bytes:
    """Daily round as PDF, long side across.

    Parameters
    ----------
    content
        Stops in the order they are walked.
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
    detail = "Follow this order: cleanest water first. Do not go back."
    blocks: list[Block] = [Masthead("Daily round", content.date, content.who, detail, content.farm)]
    if content.cautions:
        blocks.append(Caution((*content.cautions, LOCAL_RULES), 8.5))
    for order, stop in enumerate(content.stops, start=1):
        blocks += _stop(content, stop, order)
    part = Part("Daily round", content.date, tuple(blocks))
    return bind([(part, flow(blocks, size))], size, "Daily round")


def _stop(content: RoundContent, stop: RoundStop, order: int) -> list[Block]:
    columns = (
        Column("Vat", 0.8), Column("Batch", 1.5), Column("Species", 2.6), Column("In the ledger", 0.8, "right"),
        Column("Day", 0.9), Column("Due today", 2.0), Column("Done", 0.6, "centre"), Column("Dead", 0.8),
        Column("Weak", 0.8), Column(content.temperature_unit, 0.8), Column(content.salinity_unit, 0.8),
        Column("Remarks, initials", 2.2),
    )  # fmt: skip
    rows = tuple(
        (Cell(v.vat, bold=True, size=13), Cell(v.batch, bold=True), v.name, Cell(str(v.headcount), bold=True, size=11),
         v.day, v.due, tick() if v.due else Cell(), write("dead"), write("weak"), write("temperature"),
         write("salinity"), write("seen"))
        for v in stop.vats
    )  # fmt: skip
    heading = joined((f"{order}. {stop.system}", stop.state))
    blocks: list[Block] = [Heading(heading, 13), Grid(columns, rows, size=8.5, row_mm=10.5, narrow=True, tick_mm=9)]
    return [*blocks, Text(f"Before the next system: {stop.before_next}", 10, bold=True)] if stop.before_next else blocks


def dip_log(content: DipLogContent, paper: str = "a4") -> bytes:
    """Dip and inspection log as PDF, long side across.

    Parameters
    ----------
    content
        Rows in order of date.
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
    columns = (
        Column("Date", 1.0), Column("Vat", 0.8), Column("Batch", 1.6), Column("Count", 0.7, "right"),
        Column("What", 1.1), Column("Agent or target", 2.0), Column("Strength", 1.2),
        Column("Minutes", 0.8, "right"),
        Column("Protection", 1.5), Column("Done", 0.6, "centre"), Column("Time, initials", 1.2),
        Column("Found: what, how many", 2.2),
    )  # fmt: skip
    rows = tuple(
        (Cell(r.work.date, bold=True), Cell(r.vat, bold=True, size=12), Cell(r.batch, bold=True),
         "" if r.headcount is None else str(r.headcount), r.work.kind, Cell(r.work.what, bold=True),
         marked(r.work.strength, published=r.work.published), Cell(r.work.minutes, bold=True, size=11),
         r.work.protection, tick(), write("by"), write("found"))
        for r in content.rows
    )  # fmt: skip
    blocks: list[Block] = [Masthead("Dip and inspection log", content.title, corner=content.farm)]
    if content.cautions:
        blocks.append(Caution((*content.cautions, LOCAL_RULES), 8.5))
    blocks.append(Grid(columns, rows, size=8.5, narrow=True))
    if any(not r.work.published for r in content.rows):
        blocks.append(Text(UNSOURCED_NOTE, 8))
    part = Part("Dip and inspection log", content.title, tuple(blocks))
    return bind([(part, flow(blocks, size))], size, "Dip and inspection log")
