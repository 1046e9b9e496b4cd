"""The largest shipment that fits by landing day, on paper: the curve, and the same figures as a table."""

from __future__ import annotations

from dataclasses import dataclass

from forms.charts.capacity_chart import DayRoom, room_drawing
from forms.charts.drawing_on_paper import Picture
from forms.layout.blocks import Heading, Masthead
from forms.layout.page import Block, Part, bind, flow, paper_of
from forms.layout.table_grid import Cell, Column, Grid

__all__ = ["CapacityPaper", "capacity"]


@dataclass(frozen=True, slots=True)
class CapacityPaper:
    """Whose farm, which mix, and what fits day by day; at least one day."""

    farm: str
    mix: str
    days: tuple[DayRoom, ...]


def capacity(content: CapacityPaper, paper: str = "a4") -> bytes:
    """Capacity curve as PDF, long side across.

    Parameters
    ----------
    paper
        ``"a4"``, ``"letter"`` or ``"a3"``.

    Returns
    -------
    bytes
        A PDF; equal content gives equal bytes.

    Raises
    ------
    PaperError
        For an unknown paper or no day.
    """
    size = paper_of(paper, landscape=True)
    drawing = room_drawing(content.days, title="Largest shipment that fits", width=int(size.content_width))
    whole = next((one.day for one in content.days if one.fits >= one.announced), "")
    told = f"All of it fits from {whole}" if whole else "All of it fits on none of these days"
    columns = (Column("Lands", 2), Column("Fits", 1, "right"), Column("Asked", 1, "right"), Column("Proof", 2))
    rows = tuple(
        (Cell(one.day, bold=True), Cell(str(one.fits), bold=True), str(one.announced),
         "proved best" if one.proved else "at least this many")
        for one in content.days
    )  # fmt: skip
    blocks: list[Block] = [
        Masthead("Capacity", content.mix, told, f"{len(content.days)} landing days tried", content.farm),
        Picture(drawing),
        Heading("Day by day"),
        Grid(columns, rows),
    ]
    part = Part("Capacity", content.mix, tuple(blocks))
    return bind([(part, flow(blocks, size))], size, "Capacity", author=content.farm)
