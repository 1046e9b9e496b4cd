"""What each box's journey was: when it was opened, how long its bags had been closed, and how warm it was."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from intake.app.queries.planning.landing_work import kept_days
from intake.app.session import House
from intake.farm.floor import Batch, Reading

__all__ = ["BoxJourney", "box_journeys"]


@dataclass(frozen=True, slots=True)
class BoxJourney:
    """One box.

    Attributes
    ----------
    opened_at
        Time of the first reading on it, or when it was said to be opened; ``None`` while neither is on record.
    hours_in_bag
        From packing to opening, by absolute time whatever the zones; ``None`` where one of the two is not known.
    temperature_c
        Read on opening.
    """

    box: str
    batches: tuple[str, ...]
    opened_at: datetime | None
    hours_in_bag: float | None
    temperature_c: float | None

    def as_dict(self) -> dict[str, Any]:
        """The facts as plain data."""
        return {
            "box": self.box,
            "batches": list(self.batches),
            "opened_at": self.opened_at.isoformat() if self.opened_at else None,
            "hours_in_bag": None if self.hours_in_bag is None else round(self.hours_in_bag, 2),
            "temperature_c": self.temperature_c,
        }


def box_journeys(house: House, shipment: str) -> tuple[BoxJourney, ...]:
    """Every box of a shipment, in the order of the list."""
    loads: dict[str, list[Batch]] = {}
    for batch in house.floor().batches.values():
        for box in batch.boxes if batch.shipment == shipment else ():
            loads.setdefault(f"{shipment}/{box}", []).append(batch)
    read: dict[str, list[Reading]] = {}
    for one in house.measured(*loads) if loads else ():
        if one.at <= house.now:
            read.setdefault(one.place, []).append(one)
    said: Any = kept_days(house).get(shipment, {}).get("opened") or {}
    return tuple(_journey(box, mine, read.get(box, []), said.get(box)) for box, mine in loads.items())


def _journey(box: str, batches: list[Batch], read: list[Reading], said: str | None) -> BoxJourney:
    moments = [one.at for one in read[:1]] + ([datetime.fromisoformat(said)] if said else [])
    opened = min(moments, default=None)
    packed = min((one.packed_at for one in batches if one.packed_at is not None), default=None, key=datetime.timestamp)
    hours = None
    if opened is not None and packed is not None:
        hours = (opened.timestamp() - packed.timestamp()) / 3600
    warm = next((one.value for one in read if one.quantity == "temperature_c"), None)
    return BoxJourney(box, tuple(batch.id for batch in batches), opened, hours, warm)
