"""What shipments to come will probably lose on the way, for a plan that need not keep room for the dead."""

from __future__ import annotations

from dataclasses import dataclass

from intake.desk.alarms import expect_losses
from intake.desk.house import House
from intake.desk.plans import arrivals

__all__ = ["Expected", "dead_on_arrival"]


@dataclass(frozen=True, slots=True)
class Expected:
    """Animals of one line that will probably be dead on arrival, with the ends of the prediction interval."""

    shipment: str
    batch: str
    expected: float
    low: int
    high: int


def dead_on_arrival(house: House) -> tuple[Expected, ...]:
    """What journeys like those to come have cost, line by line; nothing where fewer than two shipments are known."""
    return tuple(
        Expected(arrival.shipment, line["batch"], float(line["expected"]), int(line["low"]), int(line["high"]))
        for arrival in arrivals(house)
        if arrival.batches
        for line in expect_losses(house, arrival.shipment)["heads"]["doa"]["lines"]
        if line["expected"] is not None
    )
