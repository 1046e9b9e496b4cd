"""How values read on the board's pages: days and times in the farm's zone, counts, hours, signs beside the colors."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from jinja2 import pass_context
from jinja2.runtime import Context

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


def _zone(context: Context) -> ZoneInfo:
    zone: ZoneInfo = context["zone"]
    return zone


FILTERS = {one.__name__: one for one in (number, percent, share, hours, degrees, day, clock, moment, money)}
"""Filters by the name templates call them."""
