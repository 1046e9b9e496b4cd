"""Rules that are broken by how things stand now, vat by vat: what no act asked about, or what was done in spite of one."""

from __future__ import annotations

from intake.app.session import House
from intake.rules import Breach, standing

__all__ = ["breaches_by_vat", "standing_breaches"]


def standing_breaches(house: House) -> tuple[Breach, ...]:
    """Every breach that stands, in the order of the vats of the farm file."""
    return tuple(standing(house.site, house.library, house.floor()))


def breaches_by_vat(breaches: tuple[Breach, ...]) -> list[str]:
    """A line for each breach, under its vat or water."""
    return [f"{one.where}: {one.what} ({one.id})" for one in breaches]
