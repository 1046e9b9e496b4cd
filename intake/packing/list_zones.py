"""The time zone a packing time is written in: in its own cell, in the heading over it, or the supplier's."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

from intake.errors import quoted
from intake.packing.asking import Inquiry, Question
from intake.packing.grid import Cell

__all__ = ["parted_zone", "zone_of_heading"]

_NAMED = {
    "WIB": "Asia/Jakarta",
    "WITA": "Asia/Makassar",
    "WIT": "Asia/Jayapura",
    "SGT": "Asia/Singapore",
    "PHT": "Asia/Manila",
    "JST": "Asia/Tokyo",
    "HKT": "Asia/Hong_Kong",
    "AEST": "Australia/Brisbane",
    "FJT": "Pacific/Fiji",
    "ICT": "Asia/Bangkok",
    "EAT": "Africa/Nairobi",
    "MVT": "Indian/Maldives",
    "HST": "Pacific/Honolulu",
}
"""Abbreviations that stand for one zone where animals come from (tz database names; the choice is ours)."""

_SUFFIX = re.compile(
    rf"^(.*?\d)\s*(?:\(?\s*(?:(Z|GMT|UTC|{'|'.join(_NAMED)})?\s*([+-]\s?\d{{1,2}}(?::?\d{{2}})?)?|)\s*\)?)$",
    re.IGNORECASE,
)
_OFFSET = re.compile(r"([+-])\s?(\d{1,2})(?::?(\d{2}))?")
_IN_HEADING = re.compile(r"\b(GMT|UTC|[A-Z]{2,4}T|WIB|WITA)\b\s*([+-]\s?\d{1,2}(?::?\d{2})?)?")
_WITH_CLOCK = re.compile(r"\d{1,2}[:.h]\d{2}")


def _zone(name: str, offset: str) -> tzinfo | None:
    shift = _OFFSET.search(offset or "")
    if shift:
        minutes = int(shift[2]) * 60 + int(shift[3] or 0)
        if minutes > 14 * 60:
            return None
        return timezone(timedelta(minutes=minutes if shift[1] == "+" else -minutes))
    if name.upper() in ("Z", "GMT", "UTC"):
        return UTC
    return ZoneInfo(_NAMED[name.upper()]) if name.upper() in _NAMED else None


def parted_zone(cell: Cell) -> tuple[Cell, tzinfo | None]:
    """A cell without the zone written behind its time of day, and that zone; ``None`` when it names none."""
    if not isinstance(cell.value, str) or not _WITH_CLOCK.search(cell.text):
        return cell, None
    found = _SUFFIX.match(cell.text)
    if found is None or not (found[2] or found[3]):
        return cell, None
    zone = _zone(found[2] or "", found[3] or "")
    text = found[1].strip()
    return (replace(cell, text=text, value=text), zone) if zone is not None else (cell, None)


def zone_of_heading(heading: str, supplier_zone: str, inquiry: Inquiry) -> tzinfo:
    """The zone of a column of times: named in its heading, otherwise the supplier's; one no one knows is asked."""
    found = _IN_HEADING.search(heading)
    if found is None:
        return ZoneInfo(supplier_zone)
    zone = _zone(found[1], found[2] or "")
    if zone is not None:
        inquiry.note(f"packing times are in {found[0].strip()}, as their heading says")
        return zone
    what = f"the heading {quoted(heading)} names the time zone {quoted(found[1])}; which zone are packing times in?"
    answer = inquiry.ask(Question("zone", what, ("supplier-time", "UTC"), where=heading))
    return UTC if answer == "UTC" else ZoneInfo(supplier_zone)
