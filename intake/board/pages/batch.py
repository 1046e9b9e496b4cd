"""One batch: what became of it, what is due, what stands before its release, and what can be recorded about it."""

from __future__ import annotations

from collections.abc import Callable

from starlette.responses import Response

from intake.app import act_recording
from intake.app.act_recording import Recorded
from intake.app.commands import count_animals, hold_batch, move_animals, record_observation
from intake.app.commands.hold_batch import hold_reached
from intake.app.commands.records.sale_terms import sale_terms
from intake.app.queries.overview import batch_status, phone_snapshot
from intake.app.session import House
from intake.board.pages.keys import acted
from intake.board.pages.paper import OF_BATCH
from intake.board.pages.typed import whole
from intake.board.request import Asked
from intake.board.svg_pictures import inline
from intake.errors import BadInput, Finding

__all__ = ["acclimation", "batch", "batches", "cut", "finding", "hold", "lift", "move", "undo"]


def batches(asked: Asked) -> Response:
    """Every batch alive, with where it stands."""
    return asked.show("batches.html", facts=phone_snapshot.snapshot(asked.house))


def batch(asked: Asked) -> Response:
    """One batch."""
    facts = batch_status.batch_facts(asked.house, asked.path("batch"))
    site = asked.house.site
    return asked.show(
        "batch.html",
        facts=facts,
        survival=inline(facts.survival),
        bars=inline(facts.bars),
        vats=list(site.vats),
        pests=list(asked.house.library.pests),
        outs=move_animals.OUT,
        printed=OF_BATCH,
    )


def acclimation(asked: Asked) -> Response:
    """How a batch is brought from its bag to its vat: mode, reason and step table."""
    from intake.app.landing.acclimation_course import table_now
    from intake.app.queries.planning.announced_shipments import hours_in_bag

    found = act_recording.batch_named(asked.house.floor(), asked.path("batch"))
    steps = table_now(asked.house, found)
    hours = hours_in_bag(asked.house, found) if found.shipment else None
    return asked.show("acclimation.html", batch=found, found=steps, hours=hours)


def undo(asked: Asked) -> Response:
    """Take back one entry of a batch's history by a counter entry."""
    key, where = asked.field("entry"), f"/batches/{asked.path('batch')}"
    if asked.house.corrections([key]):
        return asked.go(where, "Taken back before.")
    despite = asked.field("despite")
    said = count_animals.undo(asked.house, key, batch=asked.path("batch"), despite=despite).said
    return asked.go(where, " ".join(f"{line}." for line in said))


def finding(asked: Asked) -> Response:
    """Record an inspection: clean, a pest of the list, or words."""
    what = asked.field("what") or asked.field("other")
    if not what:
        raise BadInput(Finding("what was seen", "", "clean, a pest of the list, or words"))
    vat, note = asked.field("vat"), asked.field("note")
    return _acted(
        asked,
        lambda house, batch, key: record_observation.finding(house, batch, what, vat=vat, note=note, key=key),
    )


def move(asked: Asked) -> Response:
    """Record animals moved to another vat, or out of the farm."""
    number, places = whole(asked, "count"), (asked.field("source"), asked.field("target"))
    note, despite = asked.field("note"), asked.field("despite")
    sale = sale_terms(
        places[1], asked.field("price").replace(",", "."), asked.field("currency").upper(), asked.field("reference")
    )
    return _acted(
        asked,
        lambda house, batch, key: move_animals.move(
            house, batch, *places, number, note=note, sale=sale, despite=despite, key=key
        ),
    )


def cut(asked: Asked) -> Response:
    """Record fragments cut from a parent."""
    pieces, vat, despite = whole(asked, "pieces"), asked.field("vat"), asked.field("despite")
    return _acted(
        asked, lambda house, batch, key: move_animals.cut(house, batch, pieces, vat, despite=despite, key=key)
    )


def hold(asked: Asked) -> Response:
    """Hold a batch, or every lot that shared its water too."""
    act = hold_reached if asked.field("reached") else hold_batch.hold
    return _acted(asked, lambda house, batch, key: act(house, batch, asked.field("reason"), key=key))


def lift(asked: Asked) -> Response:
    """Lift the hold of a batch."""
    return _acted(
        asked, lambda house, batch, key: hold_batch.hold(house, batch, asked.field("reason"), lift=True, key=key)
    )


def _acted(asked: Asked, act: Callable[[House, str, str], Recorded]) -> Response:
    """Do an act about the batch of the address and show its page again."""
    batch = asked.path("batch")
    return acted(asked, f"/batches/{batch}", lambda house, key: act(house, batch, key))
