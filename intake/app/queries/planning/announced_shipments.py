"""Announced shipments: what is on its way and when it lands."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from intake.app.session import House
from intake.farm.floor import Batch

__all__ = [
    "OVERDUE_AFTER",
    "hours_in_bag",
    "lands_at",
    "live_shipments",
    "overdue",
    "overdue_words",
    "shipment_facts",
    "shipment_rows",
    "waiting",
]

OVERDUE_AFTER = timedelta(hours=12)
"""After its landing a shipment is asked about once so much has passed: flights slip by hours (house rule, no source)."""


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
    """Shipment id → its record's facts, in the order they were announced, canceled ones with them."""
    return {subject: record.payload for subject, record in house.latest("shipment").items()}


def live_shipments(house: House) -> dict[str, Mapping[str, Any]]:
    """As :func:`shipment_facts`, without what was canceled: what plan, timetable, calendars and permits go by."""
    return {shipment: facts for shipment, facts in shipment_facts(house).items() if not facts.get("cancelled")}


def waiting(house: House) -> list[str]:
    """Shipments announced and neither received nor canceled."""
    received = house.floor().received
    return [shipment for shipment in live_shipments(house) if shipment not in received]


def overdue(house: House) -> dict[str, datetime]:
    """Shipments that should have landed so long ago that someone must say what became of them → when they were to land."""
    facts = live_shipments(house)
    due = {shipment: datetime.fromisoformat(str(facts[shipment]["lands"])) for shipment in waiting(house)}
    return {shipment: lands for shipment, lands in due.items() if house.now >= lands + OVERDUE_AFTER}


def overdue_words(house: House) -> list[str]:
    """The question to ask for each overdue shipment, with the command for each answer."""
    zone = house.site.farm.zone
    return [
        f"{shipment} was to land {lands.astimezone(zone):%a %d %b %H:%M} and is not received. "
        f"Landed: `vatside receive {shipment}`. Later: `vatside amend {shipment} --lands WHEN`. "
        f'Never: `vatside shipments cancel {shipment} --reason "…"`.'
        for shipment, lands in overdue(house).items()
    ]


def shipment_rows(house: House) -> list[dict[str, Any]]:
    """Every shipment: from whom, when it lands or landed, how many lines and animals, and where it stands."""
    floor, zone = house.floor(), house.site.farm.zone
    rows = []
    for shipment, facts in shipment_facts(house).items():
        batches = list(house.lines_of(shipment))
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
                "state": _state(house, shipment, facts),
                "cancelled": str(facts.get("cancelled") or ""),
            }
        )
    return rows


def _state(house: House, shipment: str, facts: Mapping[str, Any]) -> str:
    """``received``, ``cancelled``, ``late`` (overdue: someone must say what became of it) or ``expected``."""
    if shipment in house.floor().received:
        return "received"
    if facts.get("cancelled"):
        return "cancelled"
    return "late" if shipment in overdue(house) else "expected"
