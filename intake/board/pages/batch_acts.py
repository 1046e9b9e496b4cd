"""Acts about a batch that are rarer than counting and moving: a dip ordered, animals booked as what they are."""

from __future__ import annotations

from starlette.responses import Response

from intake.app.act_recording import Recorded
from intake.app.commands import order_treatment, receive_shipment
from intake.app.session import House
from intake.board.pages.keys import acted
from intake.board.pages.typed import decimal, measured, whole
from intake.board.request import Asked

__all__ = ["order", "order_form", "rebook"]


def order_form(asked: Asked) -> Response:
    """What can be ordered for a batch; nothing has a default dose."""
    from intake.app import act_recording

    found = act_recording.batch_named(asked.house.floor(), asked.path("batch"))
    dips = sorted(asked.house.library.dips.values(), key=lambda one: one.name)
    return asked.show("order.html", batch=found, dips=dips)


def order(asked: Asked) -> Response:
    """Order a dip, or record a test on one animal, as prescribed."""
    batch, dip = asked.path("batch"), asked.field("dip")
    told = order_treatment.Order(
        asked.field("reason"),
        asked.field("prescriber"),
        asked.field("reference"),
        asked.field("agent"),
        asked.field("strength"),
        decimal(asked, "minutes"),
        asked.field("dose_source"),
        decimal(asked, "days"),
        asked.field("where"),
        asked.field("despite"),
    )
    act = order_treatment.try_piece if asked.field("test") else order_treatment.order
    return acted(asked, f"/batches/{batch}", lambda house, key: act(house, batch, dip, told, key=key))


def rebook(asked: Asked) -> Response:
    """Book animals as what they are: another species, or more than announced."""
    batch, number, vat = asked.path("batch"), whole(asked, "count"), asked.field("vat")
    name, group, despite = asked.field("name"), asked.field("group"), asked.field("despite")
    typed = measured(asked, "size_mm", "size")
    size = decimal(asked, "size_mm") if typed is None else typed.value

    def act(house: House, key: str) -> Recorded:
        if not name:
            return receive_shipment.came_extra(house, batch, vat or "dock", number, despite=despite, key=key)
        return receive_shipment.rebook_wrong(
            house, batch, vat, number, name=name, group=group, size_mm=size, despite=despite, key=key
        )

    return acted(asked, f"/batches/{batch}", act)
