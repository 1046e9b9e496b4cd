"""Rules that are broken by how things stand now, vat by vat: what no act asked about, or what was done in spite of one."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from intake.app.session import House
from intake.rules import Breach, standing

__all__ = ["breaches_by_vat", "reasons_given", "standing_breaches"]


def standing_breaches(house: House) -> tuple[Breach, ...]:
    """Every breach that stands, in the order of the vats of the farm file."""
    return tuple(standing(house.site, house.library, house.floor()))


def breaches_by_vat(breaches: tuple[Breach, ...]) -> list[str]:
    """A line for each breach, under its vat or water."""
    return [f"{one.where}: {one.what} ({one.id})" for one in breaches]


def reasons_given(house: House, *, days: int = 365) -> list[dict[str, Any]]:
    """What was recorded in spite of a rule in the last days, newest first: when, who, about what, which rule, why."""
    since = house.now - timedelta(days=days)
    rows = []
    for record in house.standing("despite", since=since):
        told: Any = record.payload.get("rules") or []
        when = record.happened_at.astimezone(house.site.farm.zone).isoformat(timespec="minutes")
        rows += [
            {
                "when": when,
                "who": record.who,
                "about": record.subject,
                "rule": one["id"],
                "what": one["what"],
                "reason": str(record.payload.get("reason") or ""),
            }
            for one in told
        ]
    return rows[::-1]
