"""One delivery: its lines, where each is to stand, how long it was in its bags, and what its papers lack."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.queries.planning.announced_shipments import hours_in_bag, shipment_facts
from intake.app.queries.reports.permit_status import still_lacking
from intake.app.session import House
from intake.errors import BadInput, UnknownName
from intake.farm.floor import Batch

__all__ = ["DeliveryFacts", "LineFacts", "delivery_facts"]


@dataclass(frozen=True, slots=True)
class LineFacts:
    """One line of a delivery.

    Attributes
    ----------
    places
        (vat, stage, animals, first day, last day) of the accepted plan.
    hours_in_bag, bag_state
        Hours from packing to landing, and ``ok``, ``amber`` or ``red`` by its group's limits.
    permit_words
        What its permit papers lack; empty when nothing does.
    """

    batch: str
    name: str
    announced: int
    alive: int
    boxes: tuple[str, ...]
    places: tuple[tuple[str, str, int, date, date], ...]
    hours_in_bag: float | None
    bag_state: str
    permit_words: str


@dataclass(frozen=True, slots=True)
class DeliveryFacts:
    """One delivery; ``placed`` counts animals with a first vat in the accepted plan."""

    shipment: str
    supplier: str
    supplier_name: str
    lands: datetime
    received: datetime | None
    cancelled: str
    announced: int
    placed: int
    alive: int
    lines: tuple[LineFacts, ...]


def delivery_facts(house: House, shipment: str) -> DeliveryFacts:
    """Everything the delivery's page shows.

    Raises
    ------
    UnknownName
        No such shipment.
    """
    known = shipment_facts(house)
    if shipment not in known:
        raise UnknownName("shipment", shipment, sorted(known)[:3], "shipment")
    floor = house.floor()
    lacking = _lacking(house, shipment)
    lines = tuple(_line(house, batch, lacking) for batch in house.lines_of(shipment))
    supplier = str(known[shipment]["supplier"])
    return DeliveryFacts(
        shipment=shipment,
        supplier=supplier,
        supplier_name=house.site.suppliers[supplier].name if supplier in house.site.suppliers else supplier,
        lands=datetime.fromisoformat(str(known[shipment]["lands"])),
        received=floor.received.get(shipment),
        cancelled=str(known[shipment].get("cancelled") or ""),
        announced=sum(line.announced for line in lines),
        placed=sum(_placed(line) for line in lines),
        alive=sum(line.alive for line in lines),
        lines=lines,
    )


def _lacking(house: House, shipment: str) -> dict[str, str]:
    """Batch → what its papers lack, as the report of permits says it; a faulty file of permits is no reason for no page."""
    try:
        rows = still_lacking(house, shipment)
    except BadInput as trouble:
        lines = [batch.id for batch in house.lines_of(shipment)]
        return {lines[0]: str(trouble)} if lines else {}
    return {str(batch): str(row["papers"]) for row in rows for batch in row["batches"]}


def _placed(line: LineFacts) -> int:
    return sum(count for _, stage, count, _, _ in line.places if stage in {"quarantine", "healing"})


def _line(house: House, batch: Batch, lacking: Mapping[str, str]) -> LineFacts:
    group = house.library.group(batch.group)
    hours = hours_in_bag(house, batch)
    state = "ok"
    if hours is not None and hours >= group.bag_hours.amber:
        state = "red" if hours >= group.bag_hours.red else "amber"
    return LineFacts(
        batch=batch.id,
        name=batch.name,
        announced=batch.announced,
        alive=house.floor().headcount(batch.id),
        boxes=batch.boxes,
        places=tuple(
            (str(row["vat"]), str(row["stage"]), int(row["count"]), date.fromisoformat(str(row["from"])),
             date.fromisoformat(str(row["until"])))
            for row in accepted_rows(house)
            if row["batch"] == batch.id
        ),
        hours_in_bag=hours,
        bag_state=state,
        permit_words=lacking.get(batch.id, ""),
    )  # fmt: skip
