"""The farm as the count page carries it on a phone: batches, vats and headcounts, small enough for its storage."""

from __future__ import annotations

from typing import Any

from intake.app.session import House
from intake.ledger import vat_id

__all__ = ["snapshot"]


def snapshot(house: House) -> dict[str, Any]:
    """Batches that stand somewhere, with their places and headcounts, and whether they came within the last day."""
    floor = house.floor()
    places: dict[str, list[list[object]]] = {}
    for (batch, place), count in sorted(house.alive().items()):
        if count > 0:
            places.setdefault(batch, []).append([vat_id(place) or place, count])
    return {
        "at": house.now.isoformat(timespec="seconds"),
        "farm": house.site.farm.name,
        "batches": {
            batch: {
                "name": floor.batches[batch].name,
                "places": where,
                "boxes": list(floor.batches[batch].boxes),
                "fresh": _hours_since(house, floor.received.get(floor.batches[batch].shipment)) < 24.0,
            }
            for batch, where in places.items()
            if batch in floor.batches
        },
    }


def _hours_since(house: House, moment: Any) -> float:
    return float("inf") if moment is None else (house.now - moment).total_seconds() / 3600
