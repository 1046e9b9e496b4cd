"""One batch: what became of it, what is due, what stands before its release, and what can be recorded about it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from starlette.responses import Response

from intake.app import recording
from intake.app.commands import count_animals, hold_batch, move_animals, record_observation
from intake.app.commands.hold_batch import hold_reached
from intake.app.queries.overview import batch_status, phone_snapshot
from intake.app.recording import Recorded
from intake.app.session import House
from intake.board.pages.keys import acted
from intake.board.pages.paper import OF_BATCH
from intake.board.request import Asked
from intake.board.svg_pictures import inline
from intake.errors import BadInput, Finding, UnknownName

__all__ = ["acclimation", "act", "batch", "batches", "rights_of", "undo"]


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
    from intake.app.landing.acclimation_course import acclimation_of
    from intake.app.queries.planning.announced_shipments import hours_in_bag

    found = recording.batch_named(asked.house.floor(), asked.path("batch"))
    steps = acclimation_of(asked.house, found)
    hours = hours_in_bag(asked.house, found) if found.shipment else None
    return asked.show("acclimation.html", batch=found, found=steps, hours=hours)


def undo(asked: Asked) -> Response:
    """Take back one entry of a batch's history by a counter entry."""
    key, where = asked.field("entry"), f"/batches/{asked.path('batch')}"
    if asked.house.corrections([key]):
        return asked.go(where, "Taken back before.")
    said = count_animals.undo(asked.house, key, batch=asked.path("batch")).said
    return asked.go(where, " ".join(f"{line}." for line in said))


def act(asked: Asked) -> Response:
    """Record something about a batch: a finding, a move, a cutting, a hold, or its lifting."""
    name = asked.path("act")
    if name not in _ACTS:
        raise UnknownName("act", name, list(_ACTS), "act")
    right = rights_of(name)
    if not asked.may(right):
        return asked.show("refused.html", 403, lines=[f"A {asked.role} may not do this; ask an owner."], code=403)
    identity = asked.path("batch")
    return acted(asked, f"/batches/{identity}", lambda house, key: _ACTS[name](asked, house, identity, key))


def rights_of(name: str) -> str:
    """The right an act needs."""
    return "hold" if name == "lift" else name


def _finding(asked: Asked, house: House, batch: str, key: str) -> Recorded:
    what = asked.field("what") or asked.field("other")
    if not what:
        raise BadInput(Finding("what was seen", "", "clean, a pest of the list, or words"))
    return record_observation.finding(house, batch, what, vat=asked.field("vat"), note=asked.field("note"), key=key)


def _move(asked: Asked, house: House, batch: str, key: str) -> Recorded:
    number = _whole(asked, "count")
    note, despite = asked.field("note"), asked.field("despite")
    places = asked.field("source"), asked.field("target")
    return move_animals.move(house, batch, *places, number, note=note, despite=despite, key=key)


def _cut(asked: Asked, house: House, batch: str, key: str) -> Recorded:
    pieces, vat, despite = _whole(asked, "pieces"), asked.field("vat"), asked.field("despite")
    return move_animals.cut(house, batch, pieces, vat, despite=despite, key=key)


def _hold(asked: Asked, house: House, batch: str, key: str) -> Recorded:
    if asked.field("reached"):
        return hold_reached(house, batch, asked.field("reason"), key=key)
    return hold_batch.hold(house, batch, asked.field("reason"), key=key)


def _lift(asked: Asked, house: House, batch: str, key: str) -> Recorded:
    return hold_batch.hold(house, batch, asked.field("reason"), lift=True, key=key)


def _whole(asked: Asked, name: str) -> int:
    typed = asked.field(name)
    if not (typed.isascii() and typed.isdigit() and len(typed) < 10):
        raise BadInput(Finding(name, typed[:40], "a whole number of animals"))
    return int(typed)


_ACTS: Final[Mapping[str, Callable[[Asked, House, str, str], Recorded]]] = {
    "finding": _finding,
    "move": _move,
    "cut": _cut,
    "hold": _hold,
    "lift": _lift,
}
