"""The supplier report on paper: how each supplier's animals arrive and live, as rates with their intervals."""

from __future__ import annotations

from dataclasses import dataclass

from forms.documents.shared_content import number
from forms.layout.blocks import Masthead, Text
from forms.layout.page import Block, Part, bind, flow, paper_of
from forms.layout.table_grid import Cell, Column, Grid

__all__ = ["Rate", "SupplierContent", "SupplierRow", "supplier_report"]


@dataclass(frozen=True, slots=True)
class Rate:
    """A rate in percent with its interval."""

    percent: float
    low: float | None
    high: float | None
    unknown: str = ""

    def printed(self) -> str:
        """The rate with its interval, or why there is none; never bare."""
        if self.low is None:
            return f"{number(self.percent, 1)} % ({self.unknown})"
        return f"{number(self.percent, 1)} % ({number(self.low, 1)} – {number(self.high, 1)})"


@dataclass(frozen=True, slots=True)
class SupplierRow:
    """One supplier: what came, and dead on arrival and in the first seven days kept apart; None prints a dash."""

    supplier: str
    shipments: int
    animals: int
    dead_on_arrival: Rate | None
    first_seven_days: Rate | None
    claims: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class SupplierContent:
    """What the report says; `method` shows how rates and intervals were made."""

    farm: str
    period: str
    rows: tuple[SupplierRow, ...]
    method: str = ""


def supplier_report(content: SupplierContent, paper: str = "a4") -> bytes:
    """Supplier report as PDF.

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
    size = paper_of(paper)
    columns = (
        Column("Supplier", 2.4), Column("Shipments", 0.9, "right"), Column("Animals", 0.9, "right"),
        Column("Dead on arrival", 1.8, "right"), Column("Dead in the first seven days after", 1.8, "right"),
        Column("Claims", 1.4), Column("Note", 2.0),
    )  # fmt: skip
    rows = tuple(
        (Cell(r.supplier, bold=True), str(r.shipments), str(r.animals), _rate(r.dead_on_arrival),
         _rate(r.first_seven_days), r.claims, r.note)
        for r in content.rows
    )  # fmt: skip
    blocks: list[Block] = [
        Masthead("Supplier report", content.period, corner=content.farm),
        Grid(columns, rows, size=9, row_mm=8),
        Text("Dead on arrival understates what a journey costs: read both columns together.", 9),
    ]
    if content.method:
        blocks.append(Text(content.method, 8.5))
    part = Part("Supplier report", content.period, tuple(blocks))
    return bind([(part, flow(blocks, size))], size, "Supplier report", author=content.farm)


def _rate(rate: Rate | None) -> str:
    return "–" if rate is None else rate.printed()
