"""The season's question, gathered from the owner's file of prices, sales and terms, the farm's waters and what is in them now."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from pydantic import Field

from intake.app.input_files import read_file
from intake.app.queries.planning.present_stock import freedoms
from intake.app.queries.season.recorded_sales import sales_told, with_sales
from intake.app.queries.season.season_example import HOW_TO_START
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.library import Group
from intake.library.library_reading import model_of, toml_of
from intake.library.library_values import Strict
from intake.season import Kind, Offer, OrderPlan, Season, Shipper, Stock, Water

__all__ = ["SeasonFile", "order_rows", "read_season", "season_from", "season_of"]

LONGEST_AGE = 60
"""Weeks for which growth is laid out; older animals keep the last figure."""


_EXPECTED = "a TOML file of what can be sold and each supplier's terms"


class OfferTerms(Strict):
    """What a supplier asks for one animal of a kind; losses in percent."""

    cost: float = Field(ge=0)
    box: int = Field(default=1, ge=1)
    most_boxes: int | None = Field(default=None, ge=0)
    dead_on_arrival_percent: float = Field(default=0.0, ge=0, lt=100)
    first_week_percent: float = Field(default=0.0, ge=0, lt=100)


class ShipperTerms(Strict):
    """Terms of a supplier: every how many weeks it ships from which, freight, least and most animals, weeks of quarantine."""

    every_weeks: int = Field(default=1, ge=1)
    from_week: int = Field(default=0, ge=0)
    freight: float = Field(default=0.0, ge=0)
    least: int = Field(default=0, ge=0)
    most: int | None = Field(default=None, ge=1)
    quarantine_weeks: int | None = Field(default=None, ge=1)
    kind: dict[str, OfferTerms] = Field(min_length=1)


class KindTerms(Strict):
    """A group at a size: price, sales a week (one figure, one for each week, or those on record), growth, losses, money."""

    group: str
    size_mm: float = Field(gt=0)
    price: float = Field(ge=0)
    sales_per_week: float | tuple[float, ...] | None = None
    growth_mm_per_week: float = Field(default=0.0, ge=0)
    weekly_loss_percent: float = Field(default=0.0, ge=0, lt=100)
    upkeep_per_week: float = Field(default=0.0, ge=0)
    goodwill: float = Field(default=0.0, ge=0)
    clearance: float = Field(default=0.0, ge=0)


class SeasonFile(Strict):
    """The whole of the owner's season file."""

    weeks: int = Field(default=26, ge=1, le=104)
    selling_weeks: int = Field(default=8, ge=0, le=52)
    budget_per_quarter: float | None = Field(default=None, ge=0)
    headroom_percent: float = Field(default=10.0, ge=0, lt=100)
    fallow_weeks: int = Field(default=1, ge=0)
    kind: dict[str, KindTerms] = Field(min_length=1)
    supplier: dict[str, ShipperTerms] = Field(min_length=1)


def read_season(file: Path) -> SeasonFile:
    """Read and check a season file.

    Raises
    ------
    BadInput
        Not TOML, a figure missing or out of range, or a supplier's kind that is no kind of the file.
    """
    return season_from(read_file(file, _EXPECTED), file.name)


def season_from(data: bytes, name: str) -> SeasonFile:
    """The same from the bytes of a file or of a form.

    Raises
    ------
    BadInput
        As :func:`read_season`.
    """
    terms = model_of(SeasonFile, _table(data, name), name)
    faults = [
        Finding(f"{name}, supplier.{sender}.kind", kind, f"one of {', '.join(sorted(terms.kind))}")
        for sender, shipper in terms.supplier.items()
        for kind in shipper.kind
        if kind not in terms.kind
    ]
    if faults:
        raise BadInput(faults)
    return terms


def _table(data: bytes, name: str) -> dict[str, Any]:
    """The file as a table; what is no season file at all is refused as that, with where an example is."""
    if not data.strip():
        raise BadInput(Finding(name, "empty", _EXPECTED, HOW_TO_START))
    try:
        table = toml_of(data, name)
    except BadInput as error:
        if name.lower().endswith(".toml"):
            raise
        raise BadInput(Finding(name, "not TOML", _EXPECTED, HOW_TO_START)) from error
    if not {"kind", "supplier"} & set(table):
        raise BadInput(Finding(name, "no kinds and no suppliers", _EXPECTED, HOW_TO_START))
    return table


def season_of(house: House, terms: SeasonFile) -> tuple[Season, tuple[str, ...]]:
    """The season's question, and what was assumed where the file says nothing.

    Room is the farm's: a quarantine water by its vats that are not kept in reserve, taken until what is in it is free; grow-out
    less what is there now, which keeps its room.

    Raises
    ------
    UnknownName
        A group the library does not know.
    BadInput
        Sales of a kind neither in the file nor on record.
    """
    groups = {name: house.library.group(kind.group) for name, kind in terms.kind.items()}
    asked = {name: kind.group for name, kind in terms.kind.items() if kind.sales_per_week is None}
    recorded = with_sales(house, asked, "season file")
    kinds = tuple(_kind(name, kind, groups[name], terms, recorded.get(name)) for name, kind in terms.kind.items())
    shippers = tuple(_shipper(name, one, groups, terms) for name, one in terms.supplier.items())
    waters, grown = _waters(house), _grow_out(house)
    season = Season(
        terms.weeks, kinds, shippers, waters, grown[0], grown[1], selling=terms.selling_weeks, fallow=terms.fallow_weeks,
        headroom_quarantine=terms.headroom_percent / 100,
        budget=float("inf") if terms.budget_per_quarter is None else terms.budget_per_quarter,
        stock=tuple(_taken(house, kinds[0].id)),
    )  # fmt: skip
    return season, (*_assumed(terms), *sales_told(recorded, asked))


def _kind(name: str, terms: KindTerms, group: Group, whole: SeasonFile, recorded: float | None) -> Kind:
    weeks = whole.weeks + whole.selling_weeks
    told = recorded if terms.sales_per_week is None else terms.sales_per_week
    sales = told if isinstance(told, tuple) else (told or 0.0,) * weeks
    sizes = [terms.size_mm + terms.growth_mm_per_week * age for age in range(LONGEST_AGE)]
    return Kind(
        name, (terms.price,), sales, terms.upkeep_per_week, terms.goodwill, terms.clearance,
        1 - terms.weekly_loss_percent / 100, tuple(group.footprint.of(size) / 1e4 for size in sizes),
        tuple(group.oxygen.mg_per_h(size) for size in sizes),
    )  # fmt: skip


def _shipper(name: str, terms: ShipperTerms, groups: Mapping[str, Group], whole: SeasonFile) -> Shipper:
    offers = tuple(
        Offer(kind, one.cost, one.box, one.most_boxes, one.dead_on_arrival_percent / 100, one.first_week_percent / 100)
        for kind, one in terms.kind.items()
    )
    weeks = terms.quarantine_weeks or max(-(-groups[kind].quarantine.days // 7) for kind in terms.kind)
    ships = tuple(range(terms.from_week, whole.weeks, terms.every_weeks))
    return Shipper(name, offers, ships, terms.freight, terms.least, terms.most, weeks)


def _waters(house: House) -> tuple[Water, ...]:
    site, percent = house.site, house.site.planning.headroom_percent
    return tuple(
        Water(system.id, area * (1 - percent / 100))
        for system in site.systems.values()
        if system.role == "quarantine"
        and (area := sum(vat.area_m2 for vat in site.vats.values() if vat.system == system.id and not vat.reserve))
    )


def _grow_out(house: House) -> tuple[float, float]:
    """Bench area and nothing known of oxygen: the grow-out's, less what stands there."""
    site = house.site
    area = sum(
        vat.area_m2 for vat in site.vats.values() if site.systems[vat.system].role == "grow-out" and not vat.reserve
    )
    floor = house.floor()
    used = 0.0
    for stay in floor.stays:
        if stay.vat in site.vats and site.system_of(stay.vat).role == "grow-out":
            batch = floor.batches[stay.batch]
            used += stay.count * house.library.group(batch.group).footprint.of(batch.size_mm) / 1e4
    return max(0.0, area * (1 - site.planning.headroom_percent / 100) - used), float("inf")


def _taken(house: House, kind: str) -> Iterator[Stock]:
    """Waters that hold lots now: taken until all of them are free, beyond the season where nobody can say."""
    free = freedoms(house)
    until: dict[str, int] = {}
    for stay in house.floor().stays:
        if stay.stage != "quarantine" or stay.vat not in house.site.vats:
            continue
        told = free.get((stay.batch, stay.stage))
        day: date | None = told.day(house.site.farm.zone, house.today) if told else None
        weeks = 10_000 if day is None else -(-(day - house.today).days // 7)
        water = house.site.vat(stay.vat).system
        until[water] = max(until.get(water, 0), weeks)
    for water, weeks in sorted(until.items()):
        yield Stock(kind, 0.0, 0, weeks, water)


def _assumed(terms: SeasonFile) -> Iterator[str]:
    for name, kind in terms.kind.items():
        if not kind.growth_mm_per_week:
            yield f"{name}: no growth given, and the ledger holds no sizes taken over time, so animals keep their size"
        if not kind.weekly_loss_percent:
            yield f"{name}: no weekly loss given, so none die after the first week"
    for name, shipper in terms.supplier.items():
        for kind_name, offer in shipper.kind.items():
            if not offer.dead_on_arrival_percent and not offer.first_week_percent:
                yield f"{kind_name} from {name}: no loss given on arrival or in the first week, so none is counted"


def order_rows(house: House, plan: OrderPlan) -> list[dict[str, Any]]:
    """Landings as plain data with the Monday of each week."""
    monday = house.today - timedelta(days=house.today.weekday())
    return [
        {
            "supplier": one.supplier,
            "week": one.week,
            "week_of": (monday + timedelta(weeks=one.week)).isoformat(),
            "lines": [{"kind": kind, "boxes": boxes, "animals": dict(one.animals)[kind]} for kind, boxes in one.boxes],
            "animals": sum(count for _, count in one.animals),
            "waters": list(one.waters),
            "free_week_of": (monday + timedelta(weeks=one.free)).isoformat(),
            "cost": round(one.cost, 2),
        }
        for one in plan.landings
    ]
