"""Animals moved, sold or given away, and fragments cut."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from intake.app.act_recording import Recorded, batch_named, judge, refuse_shortage, told_as
from intake.app.commands.records.sale_terms import SaleTerms
from intake.app.queries.biosecurity.cutting_rest import cut_not_before
from intake.app.queries.biosecurity.release_status import kept_back
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused
from intake.farm.floor import Batch
from intake.ledger import batch_payload, vat_place
from intake.rules import Cutting, Leaving, Placing, Portion
from intake.rules.acts import Act as Proposed

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
    sale: SaleTerms | None = None,
    despite: str = "",
    key: str = "",
) -> Recorded:
    """Record animals moved between vats, or out of them (sold, sample, discarded, dock).

    Parameters
    ----------
    sale
        Price and the customer's reference of animals sold.
    despite
        Why it is done although a rule needs a reason; saved with the move.

    Raises
    ------
    UnknownName
        No such batch, vat or place.
    BadInput
        Not a whole number of animals, 1 or more.
    Refused
        More than are there.
    RulesBroken
        A lot that may not leave its water yet, or a vat that does not suit it.
    """
    floor = house.floor()
    found = batch_named(floor, batch)
    if number < 1:
        raise BadInput(Finding("--count", str(number), "1 or more animals"))
    here = source if source == "dock" else vat_place(house.site.vat(source).id)
    there = target if target in OUT else vat_place(house.site.vat(target).id)
    moment = at or house.now
    proposed: list[Proposed] = [Leaving(moment, found, source, target, kept_back(house, floor, batch, source, target))]
    now_in = ""
    if there.startswith("vat:"):
        role = house.site.system_of(target).role
        now_in = stage or ("quarantine" if role == "quarantine" else "grow-out")
        entering = "quarantine" if source == "dock" else now_in
        proposed.append(Placing(moment, (Portion(found, target, number, source, entering),), "move"))
    with house.act(key) as act:
        told = judge(house, act, *proposed, despite=despite, key=key)
        note = "; ".join(part for part in (note, told.note) if part)
        keys = [act.move(batch, here, there, number, at=at, note=note)]
        refuse_shortage(house, act, batch)
        if now_in:
            act.note("stage", batch, {"batch": batch, "vat": target, "stage": now_in}, at=at)
        if sale is not None:
            sale.keep(act, batch, source, number, keys[0], at)
        told.keep(act, at=at)
    terms = f", {sale.words(number)}" if sale is not None else ""
    return Recorded((f"{number} of {batch}: {source} → {target}{terms}", *told.said), tuple(keys), told.told)


def cut(  # the facts of a cutting, all named
    house: House,
    parent: str,
    pieces: int,
    vat: str,
    *,
    size_mm: float = 25.4,
    at: datetime | None = None,
    despite: str = "",
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
    RulesBroken
        A kind that cannot be cut, too many pieces, or a vat that does not suit them.
    """
    floor = house.floor()
    mother = batch_named(floor, parent)
    house.site.vat(vat)
    _check_cut(pieces, size_mm)
    told = told_as(house, key, "batch")
    if told is not None and (told.payload.get("parent"), told.payload.get("announced")) == (parent, pieces):
        return Recorded((f"{told.subject}: cut before, with this key",), (key,))
    if not floor.headcount(parent):
        raise Refused(Finding(f"parent {parent}", "none alive in a vat", "a parent that is in a vat"))
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
        placed = Placing(moment, (Portion(child, vat, pieces, "cut", "healing"),), "cut")
        leaving = _leaving(house, mother, vat, moment)
        judged = judge(house, act, Cutting(moment, mother, pieces), *leaving, placed, despite=despite, key=key)
        note = "; ".join(part for part in (f"cut from {parent}", judged.note) if part)
        keys = [act.note("batch", child.id, batch_payload(child), at=at)]
        keys.append(act.move(child.id, "cut-from", vat_place(vat), pieces, at=at, note=note))
        act.note("stage", child.id, {"batch": child.id, "vat": vat, "stage": "healing"}, at=at)
        judged.keep(act, at=at)
    return Recorded(
        (f"{child.id}: {pieces} fragments of {parent} healing in {vat}", *judged.said), tuple(keys), judged.told
    )


def _leaving(house: House, mother: Batch, vat: str, at: datetime) -> list[Proposed]:
    """The fragments leaving the water of their parent, as the parent itself would; from its cleanest water."""
    floor = house.floor()
    kept = [
        Leaving(at, mother, stay.vat, vat, kept_back(house, floor, mother.id, stay.vat, vat))
        for stay in floor.stays
        if stay.batch == mother.id
    ]
    return [min(kept, key=lambda one: len(one.why))] if kept else []


def _check_cut(pieces: int, size_mm: float) -> None:
    faults = []
    if pieces < 2:
        faults.append(Finding("--pieces", str(pieces), "2 or more", "A parent is usually cut into three or four."))
    if not 1 <= size_mm <= 2000:
        faults.append(Finding("--size-mm", f"{size_mm:g}", "1 to 2000 mm"))
    if faults:
        raise BadInput(faults)
