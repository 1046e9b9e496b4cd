"""The order plan of a season on paper: the picture over the weeks, what to order when, and what was assumed."""

from __future__ import annotations

from dataclasses import dataclass

from forms.charts.drawing_on_paper import Picture
from forms.charts.season_chart import SeasonContent, season_pages
from forms.documents.shared_content import joined
from forms.layout.blocks import Heading, Masthead, Text
from forms.layout.page import Block, Part, bind, flow, paper_of
from forms.layout.table_grid import Cell, Column, Grid, tick

__all__ = ["SeasonOrder", "SeasonPaper", "season"]


@dataclass(frozen=True, slots=True)
class SeasonOrder:
    """One shipment to order: the week it lands, from whom, boxes and animals by kind, waters, week it is free, cost."""

    lands: str
    supplier: str
    boxes: str
    waters: str
    free: str
    cost: str


@dataclass(frozen=True, slots=True)
class SeasonPaper:
    """What the paper says.

    Attributes
    ----------
    result
        Landings and margin in a few words.
    proof
        How far from the best it can be.
    picture
        The season by weeks.
    lost, worth, notes
        Sentences: sales not served, what more room would be worth, what was assumed.
    """

    farm: str
    season: str
    result: str
    proof: str
    picture: SeasonContent
    orders: tuple[SeasonOrder, ...] = ()
    lost: tuple[str, ...] = ()
    worth: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def season(content: SeasonPaper, paper: str = "a4") -> bytes:
    """Order plan as PDF, long side across.

    Parameters
    ----------
    content
        What it shows; at least one week.
    paper
        ``"a4"``, ``"letter"`` or ``"a3"``.

    Returns
    -------
    bytes
        A PDF; equal content gives equal bytes.

    Raises
    ------
    PaperError
        For an unknown paper or a season of no week.
    """
    size = paper_of(paper, landscape=True)
    head = Masthead("Order plan", content.season, content.result, content.proof, content.farm)
    tall = int(size.content_height - head.set(size.content_width).height) - 1
    blocks: list[Block] = [
        head,
        *(Picture(one) for one in season_pages(content.picture, width=int(size.content_width), tall=tall)),
        *_orders(content),
        *_sentences("Sales not served", content.lost),
        *_sentences("What more room would be worth", content.worth),
        *_sentences("Assumed", content.notes),
    ]
    part = Part("Order plan", joined((content.season, content.proof)), tuple(blocks))
    return bind([(part, flow(blocks, size))], size, "Order plan", author=content.farm)


def _orders(content: SeasonPaper) -> list[Block]:
    if not content.orders:
        return [Heading("Orders"), Text("Nothing to order: no shipment earns its cost in the room there is.", 9)]
    columns = (
        Column("Lands, week of", 1.1), Column("Supplier", 1.2), Column("Boxes and animals", 3.4), Column("Water", 1.4),
        Column("Free, week of", 1.1), Column("Cost", 0.8, "right"), Column("Ordered", 0.7, "centre"),
    )  # fmt: skip
    rows = tuple(
        (Cell(one.lands, bold=True), one.supplier, one.boxes, one.waters, one.free, one.cost, tick())
        for one in content.orders
    )
    return [Heading("Orders"), Grid(columns, rows)]


def _sentences(heading: str, words: tuple[str, ...]) -> list[Block]:
    return [Heading(heading), Text("\n".join(words), 9)] if words else []
