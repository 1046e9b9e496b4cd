"""Lists to look things up in: search, what can be released when, readings with their trend, and the reports."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from starlette.responses import Response

from intake.app.queries.biosecurity.reading_alarms import alarm_lines
from intake.app.queries.biosecurity.release_status import release_rows
from intake.app.queries.biosecurity.standing_breaches import reasons_given
from intake.app.queries.overview.day.stock_list import COLUMNS, stock_list, table_of
from intake.app.queries.overview.find_anything import find_anything
from intake.app.queries.overview.water_readings import water_trends
from intake.app.queries.reports.loss_money import loss_money
from intake.app.queries.reports.permit_status import permit_rows
from intake.app.queries.reports.sales_report import sales
from intake.app.queries.reports.supplier_scorecard import suppliers
from intake.app.session import House
from intake.board.background_jobs import Watch
from intake.board.request import Asked
from intake.board.svg_pictures import trend_picture
from intake.errors import UnknownName

__all__ = ["more", "readings", "release", "report", "search"]

_WHERE: Final = {"batch": "/batches/", "vat": "/vats/", "shipment": "/deliveries/"}
_DAYS: Final = (7, 30)


def more(asked: Asked) -> Response:
    """Every page there is for this person, and the search."""
    return asked.show("more.html")


def search(asked: Asked) -> Response:
    """Find a batch, vat, system, species, shipment or task by any part of its name."""
    wanted = asked.query("q")[:80]
    hits = [(one, _address(one.kind, one.id)) for one in find_anything(asked.house, wanted)]
    return asked.show("search.html", wanted=wanted, hits=hits)


def _address(kind: str, identity: str) -> str:
    from urllib.parse import quote

    if kind == "system":
        return f"/#s-{quote(identity)}"
    return f"/work?task={quote(identity, safe='')}" if kind == "task" else f"{_WHERE[kind]}{quote(identity)}"


def release(asked: Asked) -> Response:
    """Every lot in quarantine: released when at the earliest, and what stands in the way."""
    rows = sorted(release_rows(asked.house), key=lambda row: (not row["releasable"], row["earliest"] or "9999"))
    places: dict[str, list[tuple[str, int]]] = {}
    for stay in asked.house.floor().stays:
        places.setdefault(stay.batch, []).append((stay.vat, stay.count))
    return asked.show("release.html", rows=rows, places=places)


def readings(asked: Asked) -> Response:
    """Readings of a vat or system with their trend, and the alarms they raise."""
    house, place, wanted = asked.house, asked.query("place"), asked.query("days")
    if place and place not in house.site.vats and place not in house.site.systems:
        raise UnknownName("place", place, [], "vat or system")
    days = int(wanted) if wanted in {str(one) for one in _DAYS} else 7
    zone = house.site.farm.zone
    trends = water_trends(house, *([place] if place else ()), days=days)[:24]
    drawn = [(one, trend_picture(one, zone, house.site.farm.measures) if len(one.values) > 1 else "") for one in trends]
    return asked.show(
        "readings.html",
        place=place,
        days=days,
        choices=_DAYS,
        trends=drawn,
        alarms=alarm_lines(house),
        vats=house.site.vats,
        systems=house.site.systems,
    )


def _for_sale(house: House) -> list[dict[str, Any]]:
    """What may be sold today, a row for each stay."""
    measures = house.site.farm.measures
    rows = [dict(zip(COLUMNS, row, strict=True)) for row in table_of(stock_list(house))]
    if measures.system == "si":
        return rows
    return [
        {("size" if name == "size_mm" else name): measures.text(f"{value} mm") if name == "size_mm" else value
         for name, value in row.items()}
        for row in rows
    ]  # fmt: skip


_REPORTS: Final[Mapping[str, tuple[str, str, Callable[[House], Any]]]] = {
    "suppliers": ("Suppliers", "prices", suppliers),
    "money": ("What losses cost", "prices", loss_money),
    "stocklist": ("Stock for sale", "prices", _for_sale),
    "sales": ("Sales", "prices", sales),
    "permits": ("Permits", "look", permit_rows),
    "reasons": ("Rules lifted with a reason", "look", reasons_given),
}


def report(asked: Asked) -> Response:
    """One report as a table; worked out beside the page where it takes long."""
    name = asked.path("report")
    if name not in _REPORTS or not asked.may(_REPORTS[name][1]):
        raise UnknownName("report", name, [one for one in _REPORTS if asked.may(_REPORTS[one][1])], "report")
    title, _, made = _REPORTS[name]
    watches: dict[str, Watch] = asked.request.app.state.reports
    watch, farm = watches.setdefault(name, Watch()), asked.farm
    found = watch.ask((farm.stamp(), asked.house.today), lambda: made(farm.house()), 1.5)
    others = [(one, told[0]) for one, told in _REPORTS.items() if asked.may(told[1])]
    return asked.show(
        "report.html", title=title, name=name, others=others, tables=_tables(found), ready=found is not None
    )


def _tables(found: Any) -> list[tuple[str, list[str], list[list[Any]]]]:
    """Lists of rows in an answer as titled tables."""
    if isinstance(found, list):
        return [_table("", found)] if found else []
    if not isinstance(found, dict):
        return []
    return [
        _table(str(name), rows)
        for name, rows in found.items()
        if isinstance(rows, list) and rows and isinstance(rows[0], dict)
    ]


def _table(title: str, rows: list[dict[str, Any]]) -> tuple[str, list[str], list[list[Any]]]:
    heads = [str(one) for one in rows[0]]
    return (
        title.replace("_", " "),
        [one.replace("_", " ") for one in heads],
        [[_cell(row.get(one)) for one in heads] for row in rows],
    )


def _cell(value: Any) -> str:
    if value is None:
        return "–"
    if isinstance(value, float):
        return f"{value:.3g}"
    if isinstance(value, dict):
        return "; ".join(f"{name.replace('_', ' ')}: {_share(one)}" for name, one in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(_cell(one) for one in value) or "–"
    return {True: "yes", False: "no"}.get(value, str(value)) if isinstance(value, bool) else str(value)


def _share(value: Any) -> str:
    """A share with its interval, where a report has one."""
    if isinstance(value, dict) and "estimate" in value and value["estimate"] is not None:
        ends = f" ({100 * value['low']:.1f}–{100 * value['high']:.1f})" if value.get("low") is not None else ""
        return f"{100 * value['estimate']:.1f} %{ends}"
    return _cell(value)
