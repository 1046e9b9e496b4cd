"""Intake sheets fitted to two pages: wide first, then tighter, then rows left to other forms."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from reportlab.lib.units import mm

from forms.documents.intake_sheet import first_side, second_side
from forms.documents.intake_sheet.density import DENSITIES, Density
from forms.documents.intake_sheet.sheet_content import SheetContent
from forms.documents.shared_content import joined
from forms.layout.page import RUNNING_MM, Block, Paper, Part, Placed, bind, flow, paper_of

__all__ = ["sheet", "sheets"]

_PAGES = 2


def sheet(content: SheetContent, paper: str = "a4", *, fillable: bool = False) -> bytes:
    """Intake sheet of one batch as PDF.

    Parameters
    ----------
    content
        What it says.
    paper
        ``"a4"`` or ``"letter"``.
    fillable
        True adds form fields to count boxes, bag water, ticks and the loss grid.

    Returns
    -------
    bytes
        A PDF of one or two pages; equal content gives equal bytes.

    Raises
    ------
    PaperError
        For an unknown paper, or content that no two pages can hold.
    """
    return sheets((content,), paper, fillable=fillable)


def sheets(contents: Iterable[SheetContent], paper: str = "a4", *, fillable: bool = False) -> bytes:
    """Intake sheets of many batches in one PDF, two pages at most each, page numbers within each batch.

    Raises
    ------
    PaperError
        As `sheet`; also for no content at all.
    """
    size = paper_of(paper)
    parts = [_fitted(content, size) for content in contents]
    return bind(parts, size, "Intake sheets" if len(parts) > 1 else "Intake sheet", fillable=fillable)


def _fitted(content: SheetContent, paper: Paper) -> tuple[Part, list[list[Placed]]]:
    """Set wide first, then tighter; then leave rows to the forms that hold them all, saying so on the sheet."""
    for density in DENSITIES:
        part, pages = _set(content, paper, density)
        if len(pages) <= _PAGES:
            return _roomier(content, paper, density, (part, pages))
    tight = replace(
        DENSITIES[-1],
        steps=len(content.acclimation.steps) if content.acclimation else 0,
        work=len(content.work),
        losses=len(content.loss_dates),
    )
    while len(pages) > _PAGES and max(tight.steps, tight.work, tight.losses / 3) > 3:
        tight = _fewer(tight)
        part, pages = _set(content, paper, tight)
    return part, pages


def _roomier(
    content: SheetContent, paper: Paper, density: Density, fitted: tuple[Part, list[list[Placed]]]
) -> tuple[Part, list[list[Placed]]]:
    """Give what is left of the last page to the rows of the loss grid, up to 9 mm each."""
    pages = fitted[1]
    spare_mm = paper.content_height / mm - RUNNING_MM - sum(block.height for block in pages[-1]) / mm
    depth = max(1, -(-len(content.loss_dates) // 3))
    loss_mm = min(9.0, density.loss_mm + spare_mm / depth * 0.9)
    if not content.loss_dates or len(pages) < _PAGES or loss_mm < density.loss_mm + 0.4:
        return fitted
    part, roomy = _set(content, paper, replace(density, loss_mm=loss_mm))
    return (part, roomy) if len(roomy) <= _PAGES else fitted


def _fewer(density: Density) -> Density:
    """A tenth fewer rows of whatever is longest; three loss days stand beside each other."""
    longest = max(density.steps, density.work, density.losses / 3)
    if density.steps == longest:
        return replace(density, steps=int(density.steps * 0.9))
    if density.work == longest:
        return replace(density, work=int(density.work * 0.9))
    return replace(density, losses=density.losses - 3)


def _set(content: SheetContent, paper: Paper, density: Density) -> tuple[Part, list[list[Placed]]]:
    blocks: list[Block] = [
        first_side.masthead(content),
        *first_side.cautions(content, density),
        *first_side.whence(content, density),
        *first_side.whither(content, density),
        *first_side.permits(content, density),
        *first_side.counts(content, density),
        *first_side.bag_water(content, density),
        *first_side.acclimation(content, density),
        *second_side.work(content, density),
        *second_side.release(content, density),
        *second_side.losses(content, density),
    ]
    subject = joined((content.batch, content.name))
    part = Part("Intake sheet", subject, tuple(blocks))
    return part, flow(blocks, paper)
