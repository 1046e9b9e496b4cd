"""Deliveries announced and received, one delivery with its lines, its receipt, and the receiving day."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from starlette.responses import Response

from intake.app.act_recording import Recorded
from intake.app.commands import announce_shipment, receive_shipment
from intake.app.queries.overview import delivery_status
from intake.app.queries.overview.journey_facts import box_journeys
from intake.app.queries.planning import announced_shipments
from intake.app.queries.reports.arrived_lines import arrived_lines
from intake.app.session import House
from intake.board.pages.keys import acted
from intake.board.pages.paper import OF_DELIVERY
from intake.board.pages.typed import moment_of_field, whole
from intake.board.request import Asked
from intake.board.svg_pictures import day_picture
from intake.errors import BadInput, Finding

__all__ = ["amend", "cancel", "day", "delay", "deliveries", "delivery", "receive"]


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
    name = asked.path("shipment")
    overdue = announced_shipments.overdue(asked.house).get(name)
    facts = delivery_status.delivery_facts(asked.house, name)
    arrived = [one.as_dict() for one in arrived_lines(asked.house, name)]
    return asked.show("delivery.html", facts=facts, printed=OF_DELIVERY, overdue=overdue, arrived=arrived)


def receive(asked: Asked) -> Response:
    """Record that it has landed."""
    name = asked.path("shipment")
    despite = asked.field("despite")
    return acted(
        asked,
        f"/deliveries/{name}",
        lambda house, key: receive_shipment.receive(house, name, despite=despite, key=key),
    )


def delay(asked: Asked) -> Response:
    """Enter a courier's delay: the shipment lands at another time."""
    return _amended(asked, f"/deliveries/{asked.path('shipment')}/day", moment_of_field(asked, "lands"), {})


def amend(asked: Asked) -> Response:
    """Change what was ordered: another landing, or another number of one line."""
    name, batch = asked.path("shipment"), asked.field("batch")
    lands = moment_of_field(asked, "lands") if asked.field("lands") else None
    numbers = {batch: whole(asked, "count")} if batch else {}
    if lands is None and not numbers:
        raise BadInput(Finding("lands, line", "", "another landing, or another number of one line"))
    return _amended(asked, f"/deliveries/{name}", lands, numbers)


def _amended(asked: Asked, where: str, lands: datetime | None, numbers: dict[str, int]) -> Response:
    name, despite = asked.path("shipment"), asked.field("despite")

    def change(house: House, key: str) -> Recorded:
        said = announce_shipment.amend(house, name, lands=lands, announced=numbers, despite=despite, key=key)
        return Recorded(tuple(said), (key,))

    return acted(asked, where, change)


def cancel(asked: Asked) -> Response:
    """Record that a shipment will never come."""
    name, reason = asked.path("shipment"), asked.field("reason")
    return acted(
        asked,
        f"/deliveries/{name}",
        lambda house, key: Recorded(tuple(announce_shipment.cancel(house, name, reason, key=key)), (key,)),
    )


def day(asked: Asked) -> Response:
    """The landing day as kept: boxes in their order over the stations, and water and salt by the hour."""
    from intake.app.landing.receiving_day import first_vats, prepared, water_lacking

    name = asked.path("shipment")
    facts = delivery_status.delivery_facts(asked.house, name)
    run, kept, batches = _day_of(asked, name)
    ready = prepared(asked.house, batches, run.plan)
    return asked.show(
        "day.html",
        facts=facts,
        plan=run.plan,
        kept=kept,
        refused=[one.words for one in run.refused],
        order=run.plan.order(),
        of_all=run.plan.state_of_all,
        names={one.id: one.name for one in asked.house.site.people.values()},
        ready=ready,
        lacking=water_lacking(asked.house, ready),
        journeys=[one for one in box_journeys(asked.house, name) if one.opened_at],
        picture=day_picture(run.plan, asked.house.site.farm.zone),
        batches=asked.house.floor().batches,
        job=asked.request.app.state.jobs.last("day"),
        opened=set(run.opened) | {one.box for one in box_journeys(asked.house, name) if one.opened_at},
        vats=first_vats(asked.house),
    )


def _day_of(asked: Asked, name: str) -> tuple[Any, bool, list[Any]]:
    """The day as kept; before the first plan, in the order of the best simple rule.  Nothing is searched for a page."""
    from intake.app.landing.kept_day import DayRun, kept_day, landing_batches
    from intake.app.landing.receiving_day import Slip, day_of

    batches = landing_batches(asked.house, name)
    key = ("day", name, asked.farm.stamp())
    done = asked.request.app.state.worked_out
    if key not in done:
        if len(done) > 20:
            done.clear()
        kept = kept_day(asked.house, batches)
        done[key] = (kept or DayRun(day_of(asked.house, batches, seconds=0.0), Slip()), kept is not None)
    return (*done[key], batches)
