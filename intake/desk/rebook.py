"""Animals that turn out to be others than announced, or more: booked so that every one of them stays accounted for."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from intake.desk.house import Act, House
from intake.desk.records import Recorded, batch_named
from intake.desk.records.said import refuse_shortage
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.ledger import Record, balances, batch_payload, latest, vat_place

__all__ = ["came_extra", "rebook_wrong"]


def rebook_wrong(  # what is known of the animals, all named
    house: House,
    batch: str,
    vat: str,
    number: int,
    *,
    name: str,
    group: str = "",
    size_mm: float | None = None,
    at: datetime | None = None,
    key: str = "",
) -> Recorded:
    """Book animals of a wrong species out of their line and in again as what they are.

    Parameters
    ----------
    batch, vat
        The line they were announced under, and where they stand; an empty ``vat`` takes ones already counted as wrong.
    number
        Animals.
    name, group, size_mm
        What they are; group and size of the line where not given.

    Raises
    ------
    UnknownName
        No such batch, vat or husbandry group.
    BadInput
        No whole number of animals, or no name.
    Refused
        Fewer than that stand there, or were counted as wrong and not booked in again.

    Notes
    -----
    They leave the line as ``wrong``, which the claim counts, and come in as a batch of their own from the same supplier,
    announced as 0, whose parent is the line: no permit covers them until somebody says so.
    """
    line = batch_named(house.floor(), batch)
    if number < 1 or not name.strip():
        raise BadInput(Finding("rebook", f"{number} {name}".strip(), "1 or more animals and their name"))
    kind = group or line.group
    if kind not in house.library.groups:
        raise UnknownName("--group", kind, sorted(house.library.groups)[:5], "husbandry group")
    before = _booked_before(house, key, batch, name.strip())
    if before:
        return Recorded((f"{before}: booked before, under this key",), (key,))
    moment = at or house.now
    with house.act(key) as act:
        # numbered under the lock: two people may find strangers in one bag at the same moment
        others = [one for one in latest(act.entries("batch"), "batch") if one.startswith(f"{batch}-W")]
        child = replace(
            line, id=f"{batch}-W{len(others) + 1}", name=name.strip(), written_as=name.strip(), group=kind, announced=0,
            size_mm=size_mm or line.size_mm, parent=batch, unit_price=None, permit="", source_code="", listing_text="",
        )  # fmt: skip
        keys = []
        if vat:
            keys.append(act.move(batch, vat_place(house.site.vat(vat).id), "wrong", number, at=moment, note=name))
            refuse_shortage(house, act, batch)
        else:
            _still_wrong(act, batch, others, number)
        keys.append(act.note("batch", child.id, batch_payload(child), at=moment))
        place = vat_place(vat) if vat else "dock"
        keys.append(act.move(child.id, "supplier", place, number, at=moment, note=f"came as {batch}"))
    return Recorded((f"{child.id}: {number} {child.name}, came as {batch} {line.name}",), tuple(keys))


def _booked_before(house: House, key: str, line: str, name: str) -> str:
    """Batch that was booked in under this key before, for the same line and name; empty for a new key or none."""
    for entry in house.entries() if key else ():
        mine = entry.key == key or (entry.key.startswith(f"{key}.") and entry.key[len(key) + 1 :].isdecimal())
        if mine and isinstance(entry, Record) and entry.kind == "batch":
            told = entry.payload
            return entry.subject if (told.get("parent"), told.get("name")) == (line, name) else ""
    return ""


def _still_wrong(act: Act, batch: str, others: list[str], number: int) -> None:
    held = balances(act.entries("movement"))
    counted = held.get((batch, "wrong"), 0) + sum(held.get((one, "supplier"), 0) for one in others)
    if number > counted:
        raise Refused(
            Finding(f"rebook {batch}", str(number), f"at most {counted}, counted as wrong and not booked in again")
        )


def came_extra(
    house: House, batch: str, vat: str, number: int, *, at: datetime | None = None, note: str = "", key: str = ""
) -> Recorded:
    """Book animals in that came beyond the number received, or that an earlier count had overlooked.

    Raises
    ------
    UnknownName
        No such batch or vat.
    BadInput
        Not a whole number of animals, 1 or more.
    Refused
        A batch of the house: what it began with is its count, to be corrected and not added to.
    """
    found = batch_named(house.floor(), batch)
    if number < 1:
        raise BadInput(Finding("extra", str(number), "1 or more animals"))
    if not found.shipment:
        raise Refused(
            Finding(f"batch {batch}", "house stock", "a line of a shipment", "Undo the count that was wrong.")
        )
    place = "dock" if vat == "dock" else vat_place(house.site.vat(vat).id)
    with house.act(key) as act:
        keys = [act.move(batch, "supplier", place, number, at=at, note=note or "more than announced")]
    return Recorded((f"{number} more of {batch} in {vat}",), tuple(keys))
