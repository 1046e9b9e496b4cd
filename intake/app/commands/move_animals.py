"""Animals moved, sold or given away, and fragments cut."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from intake.app.queries.biosecurity.cutting_rest import cut_not_before
from intake.app.queries.biosecurity.release_status import refuse_unless_free
from intake.app.recording import Recorded, batch_named, refuse_shortage, told_as
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused
from intake.ledger import batch_payload, vat_place

__all__ = ["OUT", "cut", "move"]


OUT = ("sold", "sample", "discarded", "dock")
"""Places animals leave the vats for, beside the heads of loss."""


def move(  # the facts of a move, all named
    house: House,
    batch: str,
    source: str,
    target: str,
    number: int,
    *,
    stage: str = "",
    at: datetime | None = None,
    note: str = "",
    despite: str = "",
    key: str = "",
) -> Recorded:
    """Record animals moved between vats, or out of them (sold, sample, discarded, dock).

    Parameters
    ----------
    despite
        Why animals leave quarantine or healing although they are not free to; kept with the move.

    Raises
    ------
    UnknownName
        No such batch, vat or place.
    BadInput
        Not a whole number of animals, 1 or more.
    Refused
        More than stand there, or a lot that may not leave its water yet.
    """
    floor = house.floor()
    batch_named(floor, batch)
    if number < 1:
        raise BadInput(Finding("--count", str(number), "1 or more animals"))
    here = source if source == "dock" else vat_place(house.site.vat(source).id)
    there = target if target in OUT else vat_place(house.site.vat(target).id)
    if despite.strip():
        note = "; ".join(part for part in (note, f"despite quarantine: {despite.strip()}") if part)
    elif not (key and house.told_before(key)):
        refuse_unless_free(house, floor, batch, source, target)
    with house.act(key) as act:
        keys = [act.move(batch, here, there, number, at=at, note=note)]
        refuse_shortage(house, act, batch)
        if there.startswith("vat:"):
            role = house.site.system_of(target).role
            now_in = stage or ("quarantine" if role == "quarantine" else "grow-out")
            act.note("stage", batch, {"batch": batch, "vat": target, "stage": now_in}, at=at)
    return Recorded((f"{number} of {batch}: {source} → {target}",), tuple(keys))


def cut(  # the facts of a cutting, all named
    house: House,
    parent: str,
    pieces: int,
    vat: str,
    *,
    size_mm: float = 25.4,
    at: datetime | None = None,
    key: str = "",
) -> Recorded:
    """Record fragments cut from a parent: a new batch in its healing stage.

    Parameters
    ----------
    size_mm
        Size of a fragment; about an inch is saleable (common practice, no source).

    Raises
    ------
    UnknownName
        No such parent or vat.
    BadInput
        Fewer than two pieces.
    Refused
        The parent was cut too short a while ago, or none of it is alive.
    """
    floor = house.floor()
    mother = batch_named(floor, parent)
    house.site.vat(vat)
    _check_cut(pieces, size_mm)
    told = told_as(house, key, "batch")
    if told is not None and (told.payload.get("parent"), told.payload.get("announced")) == (parent, pieces):
        return Recorded((f"{told.subject}: cut before, under this key",), (key,))
    if not floor.headcount(parent):
        raise Refused(Finding(f"parent {parent}", "none alive in a vat", "a parent that stands in a vat"))
    moment = at or house.now
    not_before = cut_not_before(house, parent)
    if not_before is not None and moment < not_before:
        raise Refused(
            Finding(
                f"parent {parent}",
                f"{moment:%Y-%m-%d}",
                f"not before {not_before:%Y-%m-%d}",
                "It was cut recently and is still growing back.",
            )
        )
    with house.act(key) as act:
        # numbered under the lock: two people may cut at the same moment
        number = 1 + sum(1 for name in act.latest("batch") if name.startswith("C"))
        child = replace(
            mother,
            id=f"C{number}",
            shipment="",
            line=0,
            boxes=(),
            announced=pieces,
            size_mm=size_mm,
            parent=parent,
            supplier="",
            unit_price=None,
            currency="",
            packed_at=None,
        )
        keys = [act.note("batch", child.id, batch_payload(child), at=at)]
        keys.append(act.move(child.id, "cut-from", vat_place(vat), pieces, at=at, note=f"cut from {parent}"))
        act.note("stage", child.id, {"batch": child.id, "vat": vat, "stage": "healing"}, at=at)
    return Recorded((f"{child.id}: {pieces} fragments of {parent} healing in {vat}",), tuple(keys))


def _check_cut(pieces: int, size_mm: float) -> None:
    faults = []
    if pieces < 2:
        faults.append(Finding("--pieces", str(pieces), "2 or more", "A parent is usually cut into three or four."))
    if not 1 <= size_mm <= 2000:
        faults.append(Finding("--size-mm", f"{size_mm:g}", "1 to 2000 mm"))
    if faults:
        raise BadInput(faults)
