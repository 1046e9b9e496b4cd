"""The order plan as an answer: what lands when from whom in which water, what is sold, and how far from the best it may be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from intake.season.order_model import OrderModel
from intake.season.problem import at

__all__ = ["Landing", "OrderPlan", "read_orders"]


@dataclass(frozen=True, slots=True)
class Landing:
    """One shipment: boxes and animals by kind, and the waters it is given."""

    supplier: str
    week: int
    boxes: tuple[tuple[str, int], ...]
    animals: tuple[tuple[str, int], ...]
    waters: tuple[str, ...]
    free: int
    cost: float


@dataclass(frozen=True, slots=True)
class OrderPlan:
    """Orders of a season.

    Attributes
    ----------
    value, bound
        Expected margin and what no plan exceeds; ``gap`` is their distance as a share of the value.
    sales, lost
        Kind and week → animals expected to be sold, and sales that cannot be served.
    sold, cleared
        The same by batch (supplier, kind, landing week): landed animals meant for a week of sale, and cleared at release.
    """

    landings: tuple[Landing, ...]
    value: float
    bound: float
    sales: tuple[tuple[str, int, float], ...]
    lost: tuple[tuple[str, int, float], ...]
    sold: tuple[tuple[str, str, int, int, float], ...]
    cleared: tuple[tuple[str, str, int, float], ...]
    proved: bool
    columns: tuple[float, ...] = ()

    @property
    def gap(self) -> float:
        """How much better a plan might be, as a share of this one's value; infinite where the value is not positive."""
        if self.bound - self.value <= 1e-6 * max(1.0, abs(self.value)):
            return 0.0
        return (self.bound - self.value) / self.value if self.value > 0 else float("inf")


def read_orders(model: OrderModel, columns: Sequence[float], bound: float, *, proved: bool) -> OrderPlan:
    """The plan that values of the columns stand for."""
    season = model.season
    landings = [_landing(model, columns, supplier, week) for supplier, week in model.flights]
    sales: dict[tuple[str, int], float] = {}
    sold = []
    for (key, week), column in model.sold.items():
        if columns[column] > 1e-7:
            batch = model.batches[key]
            share = batch.survival[max(week, batch.release) - batch.start]
            sales[key[1], week] = sales.get((key[1], week), 0.0) + columns[column] * share
            sold.append((*key, week, columns[column]))
    lost = [
        (kind.id, week, at(kind.sales, week) - sales.get((kind.id, week), 0.0))
        for kind in season.kinds
        for week in range(season.last)
        if at(kind.sales, week) - sales.get((kind.id, week), 0.0) > 1e-6
    ]
    cleared = [(*key, columns[column]) for key, column in model.cleared.items() if columns[column] > 1e-7]
    value = sum(price * amount for price, amount in zip(model.price, columns, strict=True))
    return OrderPlan(
        tuple(one for one in landings if one is not None), value, max(bound, value),
        tuple((kind, week, amount) for (kind, week), amount in sorted(sales.items())), tuple(lost), tuple(sold),
        tuple(cleared), proved, tuple(columns),
    )  # fmt: skip


def _landing(model: OrderModel, columns: Sequence[float], supplier: str, week: int) -> Landing | None:
    if columns[model.flights[supplier, week]] < 0.5:
        return None
    keys = [key for key in model.orders if key[0] == supplier and key[2] == week and columns[model.orders[key]] > 0.5]
    boxes = tuple((key[1], round(columns[model.orders[key]])) for key in keys)
    animals = tuple((kind, count * model.batches[supplier, kind, week].box) for kind, count in boxes)
    waters = tuple(
        water for (water, name, start), column in model.waters.items()
        if name == supplier and start == week and columns[column] > 0.5
    )  # fmt: skip
    cost = sum(count * model.batches[supplier, kind, week].cost for kind, count in animals)
    free = next((model.batches[key].release for key in keys), week)
    return Landing(supplier, week, boxes, animals, waters, free, cost)
