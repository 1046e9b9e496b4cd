"""The acclimation checklist of a station: one batch a page in large type, a box to tick for every step."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from forms.blocks import Caution, Masthead, Text
from forms.content import UNSOURCED_NOTE, Units, joined, marked
from forms.grid import Cell, Column, Grid, write
from forms.page import Block, Part, bind, flow, paper_of
from forms.sheet.arrival import step_grid
from forms.sheet.content import Acclimation

__all__ = ["ChecklistContent", "checklist"]


@dataclass(frozen=True, slots=True)
class ChecklistContent:
    """One batch at one station; times as printed.

    Attributes
    ----------
    count_address
        What the QR code says; none is drawn when empty.
    """

    farm: str
    station: str
    batch: str
    name: str
    acclimation: Acclimation
    vat: str = ""
    count: int | None = None
    date: str = ""
    starts: str = ""
    boxes: str = ""
    cautions: tuple[str, ...] = ()
    count_address: str = ""
    units: Units = field(default_factory=Units)


def checklist(contents: Iterable[ChecklistContent], paper: str = "a4") -> bytes:
    """Acclimation checklists as PDF, each batch on its own pages.

    Parameters
    ----------
    contents
        In the order of opening.
    paper
        ``"a4"`` or ``"letter"``.

    Returns
    -------
    bytes
        A PDF; equal content gives equal bytes.

    Raises
    ------
    PaperError
        For an unknown paper or no content at all.
    """
    size = paper_of(paper)
    parts = []
    for content in contents:
        blocks = _blocks(content)
        part = Part("Acclimation checklist", joined((content.station, content.batch, content.name)), tuple(blocks))
        parts.append((part, flow(blocks, size)))
    return bind(parts, size, "Acclimation checklist")


def _blocks(content: ChecklistContent) -> list[Block]:
    plan = content.acclimation
    facts = (
        ("Station", content.station),
        ("Into vat", content.vat),
        ("Count", "" if content.count is None else str(content.count)),
        ("Boxes", content.boxes),
        ("Starts", content.starts),
        ("Water used", plan.water),
    )
    cells = tuple(Cell(value, label=label, bold=True) for label, value in facts if value)
    title = joined(("Acclimation checklist", content.date))
    blocks: list[Block] = [
        Masthead(title, content.batch, content.name, corner=content.farm, address=content.count_address),
        Grid(tuple(Column() for _ in cells), (cells,), size=14),
        Text(marked(plan.mode, published=plan.published), 16, bold=True),
    ]
    if plan.reason:
        blocks.append(Text(plan.reason, 11, after=5))
    warnings = tuple(line for line in (*content.cautions, plan.limit) if line)
    if warnings:
        blocks.append(Caution(warnings, 10.5))
    if plan.steps:
        blocks.append(step_grid(plan.steps, content.units, 12.5, 10.0))
    if not plan.published:
        blocks.append(Text(UNSOURCED_NOTE, 8))
    done = (write("started", "Started at"), write("ended", "In the vat at"), write("by", "Done by"))
    return [*blocks, Grid((Column(), Column(), Column()), (done,), size=11, row_mm=14)]
