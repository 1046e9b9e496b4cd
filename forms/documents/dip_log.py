"""Log of dips and inspections: what is due and what was done, in the vat and with the count of that time."""

from __future__ import annotations

from dataclasses import dataclass

from forms.documents.danger_strip import KillStrip
from forms.documents.shared_content import LOCAL_RULES, UNSOURCED_NOTE, Danger, WorkRow, joined, marked
from forms.layout.blocks import Caution, Masthead, Text
from forms.layout.page import Block, Part, bind, flow, paper_of
from forms.layout.speech import ENGLISH, Speech
from forms.layout.table_grid import Cell, Column, Grid, tick, write

__all__ = ["DipLogContent", "DipLogRow", "dip_log"]

_SIZE = 8.9
"""Condensed text of a wide table, points; its heads stand at nine tenths of it, 8 pt."""


@dataclass(frozen=True, slots=True)
class DipLogRow:
    """One dip or inspection of one vat and batch.

    Attributes
    ----------
    headcount
        Animals in that vat at that time.
    state
        Word of the ledger for what is not due any more, with when and who for what is done.
    done
        True prints the box ticked.
    found
        What was found then.
    after
        Where the bath goes.
    order
        Prescriber, reference and withdrawal.
    key
        Names its fields; its number, vat and batch where it is empty.
    """

    work: WorkRow
    vat: str
    batch: str
    headcount: int | None = None
    state: str = ""
    done: bool = False
    found: str = ""
    after: str = ""
    order: str = ""
    key: str = ""


@dataclass(frozen=True, slots=True)
class DipLogContent:
    """Dips and inspections logged and to be logged, in order of time."""

    farm: str
    title: str
    rows: tuple[DipLogRow, ...]
    cautions: tuple[str, ...] = ()
    kills: tuple[Danger, ...] = ()
    emergency: str = ""
    printed: str = ""
    language: Speech = ENGLISH


def dip_log(content: DipLogContent, paper: str = "a4", *, fillable: bool = False, subject: str = "") -> bytes:
    """Dip and inspection log as PDF, long side across.

    Parameters
    ----------
    content
        Rows in order of date.
    paper
        ``"a4"`` or ``"letter"``.
    fillable
        True adds named form fields to ticks and empty cells.
    subject
        What a program that reads the form back has to know.

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
    say = content.language.say
    columns = (
        Column(say("Date"), 1.0), Column(say("Vat"), 0.6), Column(say("Batch"), 0.9), Column(say("Count"), 0.6, "right"),
        Column(say("What"), 4.1), Column(say("Strength"), 1.9), Column(say("Minutes"), 0.7, "right"),
        Column(say("Protection"), 1.0), Column(say("Done"), 0.6, "centre"), Column(say("Time, initials"), 1.3),
        Column(say("Found: what, how many"), 1.7),
    )  # fmt: skip
    rows = tuple(_row(r, n, content.language) for n, r in enumerate(content.rows, start=1))
    title = say("Dip and inspection log")
    blocks: list[Block] = [
        Masthead(title, content.title, content.printed, corner=content.farm),
        KillStrip(content.kills, content.emergency),
    ]
    if content.cautions:
        blocks.append(Caution((*content.cautions, say(LOCAL_RULES)), 8.5, say("CAUTION")))
    blocks.append(Grid(columns, rows, size=_SIZE, narrow=True, row_mm=11.0))
    if any(not r.work.published for r in content.rows):
        blocks.append(Text(say(UNSOURCED_NOTE), 8))
    part = Part(title, content.title, tuple(blocks))
    pages = [(part, flow(blocks, size))]
    return bind(pages, size, title, author=content.farm, fillable=fillable, language=content.language, subject=subject)


def _row(row: DipLogRow, number: int, language: Speech) -> tuple[Cell | str, ...]:
    """What a row says; a box to write in where nothing is on record yet."""
    strength = joined((marked(row.work.strength, published=row.work.published), row.order), "\n")
    what = joined(
        (row.work.what, language.say("Bath water: {disposal}", disposal=row.after) if row.after else ""), "\n"
    )
    name = row.key or f"{number}.{row.vat}.{row.batch}"
    return (
        Cell(row.work.date, bold=True), Cell(row.vat, bold=True, size=12), Cell(row.batch, bold=True),
        "" if row.headcount is None else str(row.headcount), Cell(what, bold=True), strength,
        Cell(row.work.minutes, bold=True, size=11), row.work.protection,
        tick(f"{name}.done", ticked=row.done), Cell(row.state) if row.state else write(f"{name}.by"),
        Cell(row.found) if row.found else write(f"{name}.found"),
    )  # fmt: skip
