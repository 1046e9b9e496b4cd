"""Announced shipments: what is on its way and when it lands."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from intake.app.session import House
from intake.farm.floor import Batch

__all__ = ["hours_in_bag", "lands_at", "shipment_facts", "shipment_rows", "waiting"]


def lands_at(house: House, batch: Batch) -> datetime:
    """When the batch's shipment landed or is to land."""
    received = house.floor().received.get(batch.shipment)
    if received is not None:
        return received
    return datetime.fromisoformat(str(shipment_facts(house)[batch.shipment]["lands"]))


def hours_in_bag(house: House, batch: Batch, at: datetime | None = None) -> float | None:
    """Hours since packing on absolute time; ``None`` when the list does not say when the bag was closed."""
    if batch.packed_at is None:
        return None
    return (at or lands_at(house, batch)).timestamp() / 3600 - batch.packed_at.timestamp() / 3600


def shipment_facts(house: House) -> dict[str, Mapping[str, Any]]:
    """Shipment id → its record's facts, in the order they were announced."""
    return {subject: record.payload for subject, record in house.latest("shipment").items()}


def waiting(house: House) -> list[str]:
    """Shipments announced and not yet received."""
    received = house.floor().received
    return [shipment for shipment in shipment_facts(house) if shipment not in received]


def shipment_rows(house: House) -> list[dict[str, Any]]:
    """Every shipment: from whom, when it lands or landed, how many lines and animals, and where it stands."""
    floor, zone = house.floor(), house.site.farm.zone
    rows = []
    for shipment, facts in shipment_facts(house).items():
        batches = [b for b in floor.batches.values() if b.shipment == shipment]
        received = floor.received.get(shipment)
        rows.append(
            {
                "shipment": shipment,
                "supplier": facts["supplier"],
                "lands": datetime.fromisoformat(str(facts["lands"])).astimezone(zone).isoformat(),
                "received": received.astimezone(zone).isoformat() if received else None,
                "lines": len(batches),
                "announced": sum(b.announced for b in batches),
                "alive": sum(floor.headcount(b.id) for b in batches),
                "file": facts.get("file", ""),
            }
        )
    return rows
