"""The season's answer as every door gives it: orders, gap, room and its band, sales not served, worth, what was assumed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from intake.app.queries.season.season_question import SeasonFile, order_rows, season_of
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.season import OrderPlan, Season, Worth, solve_orders, worth_of
from intake.season.room_use import Band, WaterWeek, grow_out_band, quarantine_use

__all__ = ["SeasonAnswer", "plan_season"]

Report = Callable[[float, float, str], object]


@dataclass(frozen=True, slots=True)
class SeasonAnswer:
    """An order plan with everything that is shown of it.

    Attributes
    ----------
    rows
        Landings as plain data with the Monday of each week.
    labels
        Monday of every week of the season, ISO.
    waters
        Room used in each quarantine water by week.
    grow_out
        Bench area in grow-out by week with its band.
    stopped
        Whether somebody ended the search before its time.
    """

    question: Season
    plan: OrderPlan
    rows: tuple[dict[str, Any], ...]
    labels: tuple[str, ...]
    waters: dict[str, tuple[WaterWeek, ...]]
    grow_out: Band
    worth: tuple[Worth, ...]
    assumed: tuple[str, ...]
    stopped: bool = False

    def sales(self) -> tuple[tuple[float, float], ...]:
        """Animals sold and animals that could be sold, by week."""
        sold = [0.0] * self.question.last
        for _, week, count in self.plan.sales:
            sold[week] += count
        wanted = list(sold)
        for _, week, count in self.plan.lost:
            wanted[week] += count
        return tuple(zip(sold, wanted, strict=True))

    def lost(self) -> dict[str, float]:
        """Sales that cannot be served, by kind; those below one animal left out."""
        found: dict[str, float] = {}
        for kind, _, count in self.plan.lost:
            found[kind] = found.get(kind, 0.0) + count
        return {kind: count for kind, count in sorted(found.items()) if count >= 1}

    def headline(self) -> str:
        """Landings and margin in a few words."""
        landings = "1 landing" if len(self.rows) == 1 else f"{len(self.rows)} landings"
        return f"{landings}, expected margin {self.plan.value:.0f}"

    def proof(self) -> str:
        """How sure it is the best."""
        if self.plan.proved:
            return "proved best"
        if self.plan.gap == float("inf"):
            return f"no plan exceeds {self.plan.bound:.0f}"
        return f"no plan exceeds {self.plan.bound:.0f}: gap {100 * self.plan.gap:.1f} %"

    def as_dict(self) -> dict[str, Any]:
        """The contract's plain data."""
        gap = None if self.plan.gap == float("inf") else round(self.plan.gap, 4)
        band = self.grow_out
        return {
            "margin": round(self.plan.value, 2),
            "bound": round(self.plan.bound, 2),
            "gap": gap,
            "proved": self.plan.proved,
            "stopped": self.stopped,
            "landings": list(self.rows),
            "lost_sales": [
                {"kind": kind, "week": week, "animals": round(count, 1)} for kind, week, count in self.plan.lost
            ],
            "waters": {
                name: [{"state": one.state, "share": None if one.share is None else round(one.share, 4)} for one in row]
                for name, row in self.waters.items()
            },
            "grow_out": {
                "room_m2": self.question.grow_out_m2,
                "futures": band.futures,
                "weeks": [
                    {"week_of": label, "m2": round(planned, 3), "low": round(low, 3), "high": round(high, 3)}
                    for label, planned, low, high in zip(self.labels, band.planned, band.low, band.high, strict=True)
                ],
            },
            "worth": [
                {"what": one.what, "value": round(one.value, 2), "low": one.low, "high": one.high} for one in self.worth
            ],
            "assumed": list(self.assumed),
        }


def plan_season(
    house: House, terms: SeasonFile, *, seconds: float, worth: bool = False, report: Report | None = None
) -> SeasonAnswer:
    """Plan the orders of a season; a report that answers true ends the search with the best so far.

    Parameters
    ----------
    seconds
        Time of the search, more than 0 and at most an hour; the worth of more room takes as much again.

    Raises
    ------
    BadInput
        The time is out of range.
    UnknownName
        A group the library does not know.
    """
    if not 0 < seconds <= 3600:
        raise BadInput(Finding("--seconds", f"{seconds:g}", "more than 0 and at most 3600"))
    question, assumed = season_of(house, terms)
    stops: list[bool] = []

    def told(value: float, bound: float, what: str) -> bool:
        if report is not None and report(value, bound, what):
            stops.append(True)
        return bool(stops)

    plan = solve_orders(question, seconds=seconds, report=told)
    more: tuple[Worth, ...] = ()
    if worth and not stops:
        more = worth_of(question, plan, area_m2=_usual_area(question), seconds=seconds / 3, report=told)
    monday = house.today - timedelta(days=house.today.weekday())
    labels = tuple((monday + timedelta(weeks=week)).isoformat() for week in range(question.last))
    return SeasonAnswer(
        question, plan, tuple(order_rows(house, plan)), labels, quarantine_use(question, plan, _shares_now(house)),
        grow_out_band(question, plan), more, assumed, bool(stops),
    )  # fmt: skip


def _usual_area(question: Season) -> float:
    areas = sorted(water.area_m2 for water in question.waters)
    return areas[len(areas) // 2] if areas else 1.0


def _shares_now(house: House) -> dict[str, float]:
    """Share of each quarantine system's bench area that is in use now; vats kept in reserve not counted as room."""
    site, floor = house.site, house.floor()
    room: dict[str, float] = {}
    used: dict[str, float] = {}
    for vat in site.vats.values():
        if not vat.reserve:
            room[vat.system] = room.get(vat.system, 0.0) + vat.area_m2
    for stay in floor.stays:
        if stay.vat in site.vats:
            batch = floor.batches[stay.batch]
            area = stay.count * house.library.group(batch.group).footprint.of(batch.size_mm) / 1e4
            system = site.vat(stay.vat).system
            used[system] = used.get(system, 0.0) + area
    return {system: used.get(system, 0.0) / area for system, area in room.items() if area}
