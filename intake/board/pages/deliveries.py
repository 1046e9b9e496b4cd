"""Deliveries announced and received, one delivery with its lines, its receipt, and the receiving day."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from starlette.responses import Response

from intake.app.commands import receive_shipment
from intake.app.queries.overview import delivery_status
from intake.app.queries.planning import announced_shipments
from intake.board.pages.keys import acted
from intake.board.pages.paper import OF_DELIVERY
from intake.board.request import Asked
from intake.board.svg_pictures import day_picture

__all__ = ["day", "deliveries", "delivery", "receive"]


def deliveries(asked: Asked) -> Response:
    """All of them, those to come first."""
    rows = announced_shipments.shipment_rows(asked.house)
    for row in rows:
        row["lands_at"] = datetime.fromisoformat(row["lands"])
        row["received_at"] = datetime.fromisoformat(row["received"]) if row["received"] else None
    rows.sort(key=lambda row: (row["received"] is not None or bool(row["cancelled"]), row["lands_at"]))
    return asked.show("deliveries.html", rows=rows, suppliers=asked.house.site.suppliers)


def delivery(asked: Asked) -> Response:
    """One delivery."""
    facts = delivery_status.delivery_facts(asked.house, asked.path("shipment"))
    return asked.show("delivery.html", facts=facts, printed=OF_DELIVERY)


def receive(asked: Asked) -> Response:
    """Record that it has landed."""
    name = asked.path("shipment")
    return acted(asked, f"/deliveries/{name}", lambda house, key: receive_shipment.receive(house, name, key=key))


def day(asked: Asked) -> Response:
    """The receiving day: boxes in their order over the stations, and water and salt by the hour."""
    from intake.app.landing.receiving_day import prepared

    name = asked.path("shipment")
    facts = delivery_status.delivery_facts(asked.house, name)
    plan, batches = _planned_day(asked, name)
    floor = asked.house.floor()
    return asked.show(
        "day.html",
        facts=facts,
        plan=plan,
        order=plan.order(),
        ready=prepared(asked.house, batches, plan),
        picture=day_picture(plan, asked.house.site.farm.zone),
        batches=floor.batches,
    )


def _planned_day(asked: Asked, name: str) -> tuple[Any, list[Any]]:
    """The day's plan, worked out once for each state of the books."""
    from intake.app.landing.receiving_day import day_of

    batches = [one for one in asked.house.floor().batches.values() if one.shipment == name and one.announced > 0]
    key = ("day", name, asked.farm.stamp())
    kept = asked.request.app.state.worked_out
    if key not in kept:
        if len(kept) > 20:
            kept.clear()
        kept[key] = day_of(asked.house, batches, seconds=2.0)
    return kept[key], batches
