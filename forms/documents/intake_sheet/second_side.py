"""The second side of an intake sheet: dips, inspections, release, daily losses."""

from __future__ import annotations

from forms.documents.intake_sheet.density import Density
from forms.documents.intake_sheet.sheet_content import SheetContent
from forms.documents.shared_content import UNSOURCED_NOTE, marked
from forms.layout.blocks import Heading, Text
from forms.layout.page import Block
from forms.layout.table_grid import Cell, Column, Grid, tick, write


def work(content: SheetContent, density: Density) -> list[Block]:
    """Dips and inspections with dates, boxes to tick, and the mark of unsourced strengths."""
    if not content.work:
        return []
    columns = (
        Column("Date", 1.0), Column("What", 0.9), Column("Agent or target", 2.2), Column("Strength", 2.0),
        Column("Minutes", 0.7, "right"), Column("Protection", 1.4), Column("Done", 0.6, "centre"),
    )  # fmt: skip
    shown = content.work[: density.work]
    rows = tuple(
        (Cell(w.date, bold=True), w.kind, Cell(w.what, bold=True), marked(w.strength, published=w.published), w.minutes,
         w.protection, tick(f"work.{n}"))
        for n, w in enumerate(shown, start=1)
    )  # fmt: skip
    size = 8.5 * density.scale
    blocks: list[Block] = [
        Heading("Dips and inspections", before=3),
        Grid(columns, rows, size=size, tick_mm=density.tick_mm),
    ]
    if len(shown) < len(content.work):
        left = len(content.work) - len(shown)
        blocks.append(
            Text(f"{left} later date{'' if left == 1 else 's'}: see the dip and inspection log.", 9, bold=True)
        )
    if any(not w.published for w in shown):
        blocks.append(Text(UNSOURCED_NOTE, 7.5))
    return blocks


def release(content: SheetContent, density: Density) -> list[Block]:
    """What must hold before the batch is released."""
    if not content.release:
        return []
    size = 9 * density.scale
    return [
        Heading("Released only when", before=3, ruled=True),
        *(Text(f"☐ {line}", size, after=2) for line in content.release),
    ]


def losses(content: SheetContent, density: Density) -> list[Block]:
    """Grid of days for dead, weak and initials; for two or three vats each has its own columns."""
    if not content.loss_dates:
        return []
    first = content.first_vats
    vats = [v.vat for v in first] if 1 < len(first) <= 3 else [""]
    shown = content.loss_dates[: density.losses]
    beside = max(1, min(2 if len(vats) == 3 else 3, -(-len(shown) // 4)))
    depth = -(-len(shown) // beside)
    columns = tuple(column for _ in range(beside) for column in _loss_columns(vats))
    rows = tuple(
        tuple(
            cell
            for block in range(beside)
            for cell in _loss_cells(shown, block * depth + line, len(vats))
        )
        for line in range(depth)
    )  # fmt: skip
    blocks: list[Block] = [
        Heading("Losses, day by day", before=3),
        Grid(columns, rows, size=8.5 * density.scale, row_mm=density.loss_mm, after=2),
    ]
    if len(shown) < len(content.loss_dates):
        days = len(content.loss_dates) - len(shown)
        blocks.append(Text(f"{days} later day{'' if days == 1 else 's'}: see the daily round sheet.", 9, bold=True))
    return blocks


def _loss_columns(vats: list[str]) -> list[Column]:
    columns = [Column("Date", 1.5, heavy=True)]
    for vat in vats:
        columns += [Column(f"Dead {vat}".strip()), Column(f"Weak {vat}".strip())]
    return [*columns, Column("Initials", 1.0)]


def _loss_cells(dates: tuple[str, ...], day: int, vats: int) -> list[Cell]:
    if day >= len(dates):
        return [Cell(shade=0.08)] + [Cell(shade=0.08)] * (2 * vats + 1)
    return [Cell(dates[day], bold=True)] + [write(f"loss.{day + 1}.{n}") for n in range(2 * vats + 1)]
