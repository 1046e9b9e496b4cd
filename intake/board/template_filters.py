"""How values read on the board's pages: days and times in the farm's zone, counts, hours, signs beside the colors."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from jinja2 import pass_context
from jinja2.runtime import Context

from intake.farm.shown_units import SI, FarmUnits

__all__ = ["FILTERS"]


def number(value: float | None) -> str:
    """A count with its thousands apart, or a dash."""
    return "–" if value is None else f"{value:,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def percent(value: float | None) -> str:
    """A share from 0 to 100 with its sign, or a dash."""
    return "–" if value is None else f"{value:.0f} %"


def share(value: float | None) -> str:
    """A share from 0 to 1 in percent with one place, or a dash."""
    return "–" if value is None else f"{100 * value:.1f} %"


def hours(value: float | None) -> str:
    """Hours, or a dash."""
    return "–" if value is None else f"{value:.0f} h"


def degrees(value: float | None) -> str:
    """A temperature in °C."""
    return "–" if value is None else f"{value:.1f} °C"


@pass_context
def day(context: Context, value: date | datetime | None) -> str:
    """A farm day, with the year only when it is another one than today's."""
    if value is None:
        return "–"
    here = value.astimezone(_zone(context)).date() if isinstance(value, datetime) else value
    today: date = context["today"]
    return f"{here:%a} {here.day} {here:%b}" if here.year == today.year else f"{here:%a} {here.day} {here:%b %Y}"


@pass_context
def clock(context: Context, value: datetime | None) -> str:
    """A time of day at the farm."""
    return "–" if value is None else f"{value.astimezone(_zone(context)):%H:%M}"


@pass_context
def moment(context: Context, value: datetime | None) -> str:
    """A farm day with its time."""
    return "–" if value is None else f"{day(context, value)} {clock(context, value)}"


def money(totals: Any) -> str:
    """Amounts by currency, never added up over currencies."""
    pairs = totals.items() if isinstance(totals, Mapping) else totals
    return " + ".join(f"{amount:,.2f} {currency}" for currency, amount in pairs) or "–"


_SHOWN = ("temperature_c", "salinity_psu", "volume_l", "size_mm")
_QUANTITIES = {
    "temperature_c": "temperature, °C",
    "salinity_psu": "salinity, PSU",
    "ph": "pH",
    "tan_n_mg_per_l": "total ammonia as N, mg/L",
    "oxygen_mg_per_l": "oxygen, mg/L",
    "specific_gravity": "specific gravity",
    "alkalinity_meq_per_l": "alkalinity, meq/L",
    "light_umol": "light, µmol m⁻² s⁻¹",
    "copper_ug_per_l": "copper, µg/L",
}


@pass_context
def quantity(context: Context, value: str) -> str:
    """A measured quantity in words with its unit, as the farm measures it."""
    words = _QUANTITIES.get(value, value.replace("_", " "))
    return f"{words.partition(',')[0]}, {unit(context, value)}" if value in _SHOWN else words


@pass_context
def unit(context: Context, value: str) -> str:
    """The farm's unit of a quantity."""
    return _measures(context).unit(value)


@pass_context
def figure(context: Context, value: float, quantity: str, places: int = 1) -> str:
    """A figure in the farm's unit of its quantity, for a column whose head has the unit; as it is where that is SI."""
    measures = _measures(context)
    if quantity not in _SHOWN or measures.unit(quantity) == SI.unit(quantity):
        return f"{value:g}"
    return measures.figure(quantity, value, places)


def _measures(context: Context) -> FarmUnits:
    told: FarmUnits = context.get("measures", SI)
    return told


_CLEARS = re.compile(r"clear (?:vat )?(\S+) by (\d{4}-\d{2}-\d{2})")


def clears(value: str) -> tuple[str, str] | None:
    """Vat and day of a relief that is a promise to clear a vat; nothing for any other."""
    met = _CLEARS.search(value)
    return (met[1], met[2]) if met else None


def _zone(context: Context) -> ZoneInfo:
    zone: ZoneInfo = context["zone"]
    return zone


FILTERS = {
    one.__name__: one
    for one in (number, percent, share, hours, degrees, day, clock, moment, money, quantity, unit, figure, clears)
}
"""Filters by the name templates call them."""
