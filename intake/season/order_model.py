"""The order plan as a mixed-integer program: flights, waters, boxes, and what is sold or cleared when.

Formulation: production planning with fixed charges and lost sales (Wagner & Whitin 1958 is its smallest case), with decay by
survival, one supplier to a water, and room by age.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from intake.season.problem import Offer, Season, Shipper, Stock, at

__all__ = ["Batch", "OrderModel", "alive", "build_orders"]

INFINITE = float("inf")
Key = tuple[str, str, int]
"""Supplier, kind and landing week."""


@dataclass(frozen=True, slots=True)
class Batch:
    """Animals of a kind that land together, or that are there: what is alive of one by age, and when they are free.

    ``start`` is the landing week, negative for stock; ``alive`` the share by weeks since landing (for stock: since week 0).
    """

    supplier: str
    kind: str
    start: int
    release: int
    box: int
    cost: float
    survival: tuple[float, ...]


@dataclass(slots=True)
class OrderModel:
    """Columns, rows and the greatest objective, as plain lists; every column by its meaning.

    ``orders`` are boxes, ``flights`` and ``waters`` 0/1, ``sold`` and ``cleared`` animals counted at landing.
    """

    season: Season
    price: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    week: list[int] = field(default_factory=list)
    owner: list[str] = field(default_factory=list)
    rows: list[tuple[tuple[int, ...], tuple[float, ...], float, float]] = field(default_factory=list)
    batches: dict[Key, Batch] = field(default_factory=dict)
    orders: dict[Key, int] = field(default_factory=dict)
    flights: dict[tuple[str, int], int] = field(default_factory=dict)
    waters: dict[tuple[str, str, int], int] = field(default_factory=dict)
    sold: dict[tuple[Key, int], int] = field(default_factory=dict)
    cleared: dict[Key, int] = field(default_factory=dict)

    def column(self, price: float, high: float, *, whole: bool, week: int, owner: str = "", low: float = 0.0) -> int:
        """Add a column and return its number."""
        self.price.append(price)
        self.low.append(low)
        self.high.append(high)
        self.whole.append(whole)
        self.week.append(week)
        self.owner.append(owner)
        return len(self.price) - 1

    def row(self, terms: Iterable[tuple[int, float]], low: float, high: float) -> None:
        """Add ``low ≤ Σ coefficient × column ≤ high``; rows without terms or sides are left out."""
        pairs = [(column, value) for column, value in terms if value]
        if pairs and (low > -INFINITE or high < INFINITE):
            self.rows.append((tuple(column for column, _ in pairs), tuple(value for _, value in pairs), low, high))


def alive(offer: Offer, survival: float, weeks: int) -> tuple[float, ...]:
    """Share alive by weeks since landing: after the dead on arrival, after the first week, then by the weekly rate."""
    first = 1.0 - offer.dead_on_arrival
    return (first, *(first * (1.0 - offer.first_week) * survival**age for age in range(weeks)))


def build_orders(season: Season) -> OrderModel:
    """The program of a season; its greatest objective is the expected margin."""
    model = OrderModel(season)
    for shipper in season.shippers:
        for week in sorted({one for one in shipper.ships if 0 <= one < season.weeks}):
            _flight(model, shipper, week)
    for number, stock in enumerate(season.stock):
        _present(model, stock, number)
    _sales_rows(model)
    _water_rows(model)
    _grow_out_rows(model)
    _budget_rows(model)
    return model


def _flight(model: OrderModel, shipper: Shipper, week: int) -> None:
    season = model.season
    flight = model.column(-shipper.freight, 1.0, whole=True, week=week, owner=shipper.id)
    model.flights[shipper.id, week] = flight
    animals: list[tuple[int, float]] = []
    for offer in shipper.offers:
        kind = season.kind(offer.kind)
        shares = alive(offer, kind.survival, season.last + 1)
        batch = Batch(shipper.id, offer.kind, week, week + shipper.quarantine, offer.box, offer.cost, shares)
        key = (shipper.id, offer.kind, week)
        model.batches[key] = batch
        useful = sum(at(kind.sales, sale) / _share(batch, sale) for sale in _weeks_of_sale(season, batch))
        most = int(useful // offer.box) + 1
        most = most if offer.most_boxes is None else min(most, offer.most_boxes)
        boxes = model.column(-offer.cost * offer.box, most, whole=True, week=week, owner=shipper.id)
        model.orders[key] = boxes
        animals.append((boxes, float(offer.box)))
        model.row([(boxes, 1.0), (flight, -float(most))], -INFINITE, 0.0)
        _uses(model, key, batch, [(boxes, -float(offer.box))], 0.0)
    most_animals = INFINITE if shipper.most is None else float(shipper.most)
    model.row([*animals, (flight, -float(shipper.least))], 0.0, INFINITE)
    if most_animals < INFINITE:
        model.row([*animals, (flight, -most_animals)], -INFINITE, 0.0)


def _present(model: OrderModel, stock: Stock, number: int) -> None:
    season = model.season
    kind = season.kind(stock.kind)
    shares = tuple(kind.survival**age for age in range(season.last + 1))
    key = (f"stock {number}", stock.kind, 0)
    batch = Batch("", stock.kind, 0, stock.release, 1, 0.0, shares)
    model.batches[key] = batch
    _uses(model, key, batch, [], -stock.count)


def _weeks_of_sale(season: Season, batch: Batch) -> range:
    first = batch.start if season.backlog is None else 0
    first = max(first, 0) if season.backlog is not None else batch.release
    return range(first, min(batch.release + season.window + 1, season.last))


def _share(batch: Batch, sale: int) -> float:
    return batch.survival[max(sale, batch.release) - batch.start]


def _uses(model: OrderModel, key: Key, batch: Batch, bought: list[tuple[int, float]], fixed: float) -> None:
    """What is sold or cleared of a batch adds up to what landed."""
    season, kind = model.season, model.season.kind(batch.kind)
    terms = list(bought)
    for sale in _weeks_of_sale(season, batch):
        there = max(sale, batch.release)
        wait = (season.backlog or 0.0) * max(0, batch.release - sale)
        upkeep = kind.upkeep * sum(batch.survival[: there - batch.start])
        worth = (at(kind.price, sale) + kind.goodwill - wait) * _share(batch, sale) - upkeep
        model.sold[key, sale] = model.column(worth, INFINITE, whole=False, week=batch.start)
        terms.append((model.sold[key, sale], 1.0))
    share = batch.survival[min(batch.release - batch.start, len(batch.survival) - 1)]
    upkeep = kind.upkeep * sum(batch.survival[: batch.release - batch.start])
    model.cleared[key] = model.column(kind.clearance * share - upkeep, INFINITE, whole=False, week=batch.start)
    model.row([*terms, (model.cleared[key], 1.0)], -fixed, -fixed)


def _sales_rows(model: OrderModel) -> None:
    for kind in model.season.kinds:
        for week in range(model.season.last):
            terms = [
                (column, _share(model.batches[key], sale))
                for (key, sale), column in model.sold.items()
                if key[1] == kind.id and sale == week
            ]
            model.row(terms, -INFINITE, at(kind.sales, week))


def _water_rows(model: OrderModel) -> None:
    """One supplier to a water from landing until fallow is over, and what lands fits the waters it has."""
    season = model.season
    for shipper in season.shippers:
        if not shipper.quarantine:
            continue
        for week in (one for supplier, one in list(model.flights) if supplier == shipper.id):
            mine = {
                water.id: model.column(0.0, 1.0, whole=True, week=week, owner=shipper.id) for water in season.waters
            }
            model.waters |= {(water, shipper.id, week): column for water, column in mine.items()}
            flight = model.flights[shipper.id, week]
            for column in mine.values():
                model.row([(column, 1.0), (flight, -1.0)], -INFINITE, 0.0)
            model.row([(flight, 1.0), *((column, -1.0) for column in mine.values())], -INFINITE, 0.0)
            for need, room in (("area", "area_m2"), ("oxygen", "oxygen_mg_per_h")):
                _fits_water(model, shipper, week, mine, need, room)
    for water in season.waters:
        _one_at_a_time(model, water.id)


def _fits_water(model: OrderModel, shipper: Shipper, week: int, mine: dict[str, int], need: str, room: str) -> None:
    season = model.season
    offered = [getattr(water, room) * (1.0 - season.headroom_quarantine) for water in season.waters]
    if any(one == INFINITE for one in offered):
        return
    terms: list[tuple[int, float]] = []
    for offer in shipper.offers:
        key = (shipper.id, offer.kind, week)
        terms.append((model.orders[key], offer.box * peak_need(season, model.batches[key], need)))
    given = [(mine[water.id], -amount) for water, amount in zip(season.waters, offered, strict=True)]
    model.row([*terms, *given], -INFINITE, 0.0)


def peak_need(season: Season, batch: Batch, need: str) -> float:
    """Greatest need of one landed animal while it is in quarantine: it grows, and some die."""
    kind = season.kind(batch.kind)
    figures = kind.area_m2 if need == "area" else kind.oxygen_mg_per_h
    weeks = max(1, batch.release - batch.start)
    return max(at(figures, age) * batch.survival[age] for age in range(weeks))


def _one_at_a_time(model: OrderModel, water: str) -> None:
    season = model.season
    stay = {shipper.id: shipper.quarantine + season.fallow for shipper in season.shippers}
    taken = max((stock.release + season.fallow for stock in season.stock if stock.water == water), default=0)
    for week in range(season.weeks):
        inside = [
            (column, 1.0)
            for (name, supplier, start), column in model.waters.items()
            if name == water and start <= week < start + stay[supplier]
        ]
        model.row(inside, -INFINITE, 0.0 if week < taken else 1.0)


def _grow_out_rows(model: OrderModel) -> None:
    season = model.season
    for need, room in (("area", season.grow_out_m2), ("oxygen", season.grow_out_oxygen_mg_per_h)):
        if room == INFINITE:
            continue
        for week in range(season.last):
            terms = [
                (column, grown_need(season, key, model.batches[key], week, need))
                for (key, sale), column in model.sold.items()
                if sale > week >= model.batches[key].release
            ]
            model.row(terms, -INFINITE, room * (1.0 - season.headroom_grow_out))


def grown_need(season: Season, key: Key, batch: Batch, week: int, need: str) -> float:
    """Need of one landed animal that is still there in a week after release."""
    kind = season.kind(batch.kind)
    figures = kind.area_m2 if need == "area" else kind.oxygen_mg_per_h
    age = week - batch.start
    older = season.stock[int(key[0].removeprefix("stock "))].age if key[0].startswith("stock ") else 0
    return at(figures, age + older) * batch.survival[age]


def _budget_rows(model: OrderModel) -> None:
    season = model.season
    if season.budget == INFINITE:
        return
    freight = {shipper.id: shipper.freight for shipper in season.shippers}
    for first in range(0, season.weeks, 13):
        quarter = range(first, first + 13)
        terms = [(column, freight[name]) for (name, week), column in model.flights.items() if week in quarter]
        for key, column in model.orders.items():
            if key[2] in quarter:
                terms.append((column, model.batches[key].cost * model.batches[key].box))
        model.row(terms, -INFINITE, season.budget)
