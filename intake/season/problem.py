"""The season's question as values: kinds with their sales, suppliers with their terms, waters, grow-out room, stock and money.

Time is counted in weeks from week 0; money has no unit, it is the farm's.  Room is counted as bench area in m² and oxygen in
mg/h, each animal by its age in weeks since landing, so that growth counts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from intake.errors import BadInput, Finding

__all__ = ["Kind", "Offer", "Season", "Shipper", "Stock", "Water"]


@dataclass(frozen=True, slots=True)
class Kind:
    """Animals of one group and size.

    Attributes
    ----------
    price, sales
        Price of one animal and animals that could be sold, week by week; the last figure holds for weeks beyond.
    upkeep
        Feed and light for one animal and week.
    goodwill
        What a lost sale costs beside the price.
    clearance
        What an animal brings that is cleared at release instead of being grown for sale.
    survival
        Share alive a week later, from the second week on.
    area_m2, oxygen_mg_per_h
        Need of one animal by weeks since landing; the last figure holds for older ones.
    """

    id: str
    price: tuple[float, ...]
    sales: tuple[float, ...]
    upkeep: float = 0.0
    goodwill: float = 0.0
    clearance: float = 0.0
    survival: float = 1.0
    area_m2: tuple[float, ...] = (0.0,)
    oxygen_mg_per_h: tuple[float, ...] = (0.0,)


@dataclass(frozen=True, slots=True)
class Offer:
    """What a supplier asks for one animal of a kind, how many come in a box, shares dead on arrival and in the first week."""

    kind: str
    cost: float
    box: int = 1
    most_boxes: int | None = None
    dead_on_arrival: float = 0.0
    first_week: float = 0.0


@dataclass(frozen=True, slots=True)
class Shipper:
    """A supplier: weeks in which it ships, freight of a shipment, least and most animals in one, and its quarantine in weeks."""

    id: str
    offers: tuple[Offer, ...]
    ships: tuple[int, ...]
    freight: float = 0.0
    least: int = 0
    most: int | None = None
    quarantine: int = 6


@dataclass(frozen=True, slots=True)
class Water:
    """A quarantine water: one supplier at a time, all in and all out, then fallow."""

    id: str
    area_m2: float
    oxygen_mg_per_h: float = float("inf")


@dataclass(frozen=True, slots=True)
class Stock:
    """Animals that are there in week 0: their age since landing and weeks until release, 0 once released."""

    kind: str
    count: float
    age: int
    release: int = 0
    water: str = ""


@dataclass(frozen=True, slots=True)
class Season:
    """Everything the order plan is made from.

    Attributes
    ----------
    weeks, selling
        Weeks in which shipments may land, and further weeks in which what has landed may be sold.
    window
        Weeks after release within which an animal is sold.
    fallow
        Weeks a water stays empty between two lots.
    headroom_quarantine, headroom_grow_out
        Shares of the room that are kept free: 10 % in quarantine is what the study found worth its place.
    budget
        Money to spend on animals and freight in each 13 weeks; none if infinite.
    backlog
        What a week's wait costs for an animal sold before it is released; ``None``: sales that cannot be served are lost.

    Raises
    ------
    BadInput
        With a finding per fault: names twice or unknown, negative figures, no weeks.
    """

    weeks: int
    kinds: tuple[Kind, ...]
    shippers: tuple[Shipper, ...]
    waters: tuple[Water, ...] = ()
    grow_out_m2: float = float("inf")
    grow_out_oxygen_mg_per_h: float = float("inf")
    selling: int = 8
    window: int = 10
    fallow: int = 0
    headroom_quarantine: float = 0.1
    headroom_grow_out: float = 0.0
    budget: float = float("inf")
    backlog: float | None = None
    stock: tuple[Stock, ...] = ()

    def __post_init__(self) -> None:
        faults = list(_faults(self))
        if faults:
            raise BadInput(faults)

    @property
    def last(self) -> int:
        """Weeks in all, selling weeks with them."""
        return self.weeks + self.selling

    def kind(self, name: str) -> Kind:
        """The kind of a name."""
        return next(one for one in self.kinds if one.id == name)


def at(figures: tuple[float, ...], week: int) -> float:
    """The figure of a week or an age; the last one holds beyond."""
    return figures[min(week, len(figures) - 1)]


def _faults(season: Season) -> Iterator[Finding]:
    if season.weeks < 1 or min(season.selling, season.window, season.fallow) < 0:
        yield Finding("season, weeks", f"{season.weeks} and {season.selling} to sell", "a week or more, none negative")
    lists = (
        ("kind", [one.id for one in season.kinds]),
        ("supplier", [one.id for one in season.shippers]),
        ("water", [one.id for one in season.waters]),
    )
    for what, names in lists:
        for name in sorted({name for name in names if names.count(name) > 1}):
            yield Finding(f"season, {what} {name}", name, "each name once", "Rename one of the two.")
    kinds = {one.id for one in season.kinds}
    for kind in season.kinds:
        yield from _kind_faults(kind)
    for shipper in season.shippers:
        yield from _shipper_faults(shipper, kinds)
    waters = {one.id for one in season.waters}
    for stock in season.stock:
        if stock.kind not in kinds or (stock.release and stock.water not in waters):
            yield Finding(f"season, stock of {stock.kind}", stock.water, "a kind and a water of this season")


def _kind_faults(kind: Kind) -> Iterator[Finding]:
    figures = (*kind.price, *kind.sales, kind.upkeep, kind.goodwill, kind.clearance)
    needs = (*kind.area_m2, *kind.oxygen_mg_per_h)
    if not kind.price or not kind.sales or not needs or min(*figures, *needs) < 0 or not 0 < kind.survival <= 1:
        yield Finding(f"season, kind {kind.id}", str(kind.survival), "prices and sales, none negative, survival to 1")


def _shipper_faults(shipper: Shipper, kinds: set[str]) -> Iterator[Finding]:
    for offer in shipper.offers:
        where = f"season, supplier {shipper.id}, {offer.kind}"
        if offer.kind not in kinds:
            yield Finding(where, offer.kind, "a kind of this season")
        if offer.cost < 0 or offer.box < 1 or not (0 <= offer.dead_on_arrival < 1 and 0 <= offer.first_week < 1):
            yield Finding(
                where, f"{offer.cost:g} for one, {offer.box} in a box", "no negative cost, losses below 100 %"
            )
    if shipper.freight < 0 or shipper.quarantine < 0 or (shipper.most is not None and shipper.most < shipper.least):
        yield Finding(f"season, supplier {shipper.id}", f"{shipper.freight:g}", "none negative, least at most the most")
