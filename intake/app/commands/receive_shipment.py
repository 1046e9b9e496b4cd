"""The receipt of a shipment, and animals that turn out to be others than announced, or more."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from intake.app.act_recording import Recorded, batch_named, judge, refuse_shortage, told_as
from intake.app.landing.kept_day import move_day, moved_words
from intake.app.session import Act, House
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.farm.floor import Batch, Floor
from intake.ledger import Record, balances, batch_payload, standing, vat_place
from intake.rules import Placing, Portion, Rebooking
from intake.rules.acts import Act as Proposed

__all__ = ["came_extra", "placements_of", "rebook_wrong", "receive"]


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
    despite: str = "",
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
        Fewer than that are there, or were counted as wrong and not booked in again.

    Notes
    -----
    They leave the line as ``wrong``, which the claim counts, and come in as a batch of their own from the same supplier,
    announced as 0, whose parent is the line: no permit covers them until someone says so.
    """
    line = batch_named(house.floor(), batch)
    if number < 1 or not name.strip():
        raise BadInput(Finding("rebook", f"{number} {name}".strip(), "1 or more animals and their name"))
    kind = group or line.group
    if kind not in house.library.groups:
        raise UnknownName("--group", kind, sorted(house.library.groups)[:5], "husbandry group")
    before = _booked_before(house, key, batch, name.strip())
    if before:
        return Recorded((f"{before}: booked before, with this key",), (key,))
    moment = at or house.now
    with house.act(key) as act:
        # numbered under the lock: two people may find strangers in one bag at the same moment
        others = [one for one in act.latest("batch") if one.startswith(f"{batch}-W")]
        child = replace(
            line, id=f"{batch}-W{len(others) + 1}", name=name.strip(), written_as=name.strip(), group=kind, announced=0,
            size_mm=size_mm or line.size_mm, parent=batch, unit_price=None, permit="", source_code="", listing_text="",
        )  # fmt: skip
        proposed: list[Proposed] = [Rebooking(moment, line, vat, number)]
        if vat:
            house.site.vat(vat)
            stage = "quarantine" if house.site.system_of(vat).role == "quarantine" else "grow-out"
            proposed.append(Placing(moment, (Portion(child, vat, number, "rebook", stage),), "rebook"))
        ground = _without(house.floor(moment), batch, vat, number)
        judged = judge(house, act, *proposed, despite=despite, key=key, floor=ground)
        keys = []
        if vat:
            keys.append(act.move(batch, vat_place(house.site.vat(vat).id), "wrong", number, at=moment, note=name))
            refuse_shortage(house, act, batch)
        else:
            _still_wrong(act, batch, others, number)
        keys.append(act.note("batch", child.id, batch_payload(child), at=moment))
        place = vat_place(vat) if vat else "dock"
        keys.append(act.move(child.id, "supplier", place, number, at=moment, note=f"came as {batch}"))
        judged.keep(act, at=moment)
    said = (f"{child.id}: {number} {child.name}, came as {batch} {line.name}", *judged.said)
    return Recorded(said, tuple(keys), judged.told)


def _without(floor: Floor, batch: str, vat: str, number: int) -> Floor:
    """The floor with these animals taken out of their line, as they come in again under another name."""
    less = (
        replace(stay, count=stay.count - number) if (stay.batch, stay.vat) == (batch, vat) else stay
        for stay in floor.stays
    )
    return replace(floor, stays=tuple(stay for stay in less if stay.count > 0))


def _booked_before(house: House, key: str, line: str, name: str) -> str:
    """Batch that was booked in with this key before, for the same line and name; empty for a new key or none."""
    for entry in house.act_of(key):
        if isinstance(entry, Record) and entry.kind == "batch":
            told = entry.payload
            return entry.subject if (told.get("parent"), told.get("name")) == (line, name) else ""
    return ""


def _still_wrong(act: Act, batch: str, others: list[str], number: int) -> None:
    held = balances(entry for one in (batch, *others) for entry in act.entries("movement", one))
    counted = held.get((batch, "wrong"), 0) + sum(held.get((one, "supplier"), 0) for one in others)
    if number > counted:
        raise Refused(
            Finding(f"rebook {batch}", str(number), f"at most {counted}, counted as wrong and not booked in again")
        )


def came_extra(  # the facts of animals beyond the line, all named
    house: House,
    batch: str,
    vat: str,
    number: int,
    *,
    at: datetime | None = None,
    note: str = "",
    despite: str = "",
    key: str = "",
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
    moment = at or house.now
    proposed: list[Proposed] = [Rebooking(moment, found, vat, number, extra=True)]
    if vat != "dock":
        proposed.append(Placing(moment, (Portion(found, vat, number),), "count"))
    with house.act(key) as act:
        judged = judge(house, act, *proposed, despite=despite, key=key)
        keys = [act.move(batch, "supplier", place, number, at=at, note=note or "more than announced")]
        judged.keep(act, at=at)
    return Recorded((f"{number} more of {batch} in {vat}", *judged.said), tuple(keys), judged.told)


_SOONER = timedelta(hours=2)
"""A receipt so long before the announced landing moves the landing: house rule, no source."""

_EARLY = timedelta(hours=48)
"""A shipment this long before its landing is taken for a slip of the pen: house rule, no source."""


def placements_of(house: House, shipment: str) -> list[Mapping[str, object]]:
    """Placements of the accepted plan for one shipment, empty when none was accepted."""
    batches = {line.id for line in house.lines_of(shipment)}
    for record in reversed(list(house.latest("plan").values())):
        if record.payload.get("state") != "accepted":
            continue
        plan = record.payload["plan"]
        assert isinstance(plan, Mapping)  # noqa: S101  # written by commands.plan_vats
        rows = [row for row in plan["placements"] if row["batch"] in batches]
        if rows:
            return rows
    return []


def receive(
    house: House,
    shipment: str,
    *,
    at: datetime | None = None,
    boxes: Mapping[str, int] | None = None,
    despite: str = "",
    key: str = "",
) -> Recorded:
    """Book a landed shipment into the vats of its accepted plan; what has no place goes to the dock.

    Parameters
    ----------
    boxes
        Box → animals that lay in it, where the packing slip of a box says so: ``7``, or ``S1-01/7`` where lines share
        a box.

    Raises
    ------
    UnknownName
        No such shipment or box.
    BadInput
        A box shared by several lines without saying whose animals, or a number below 0.
    Refused
        It was received before, it was canceled, or it would land in the future.
    RulesBroken
        The accepted plan no longer holds: every placement that broke is named, and nothing is placed.
    """
    known = house.latest("shipment")
    if shipment not in known:
        raise UnknownName("shipment", shipment, sorted(known), "shipment")
    if told_as(house, key, "received", shipment):
        return Recorded((f"Shipment {shipment} received before, with this key.",), (key,))
    moment = at or house.now
    _not_cancelled(shipment, known[shipment].payload)
    _not_early(house, shipment, str(known[shipment].payload["lands"]), moment)
    first = _first_vats(house, shipment)
    batches = [line for line in house.lines_of(shipment) if line.announced]
    held = _held(batches, boxes or {})
    with house.act(key) as act:
        # asked again under the lock: two people may receive the same truck at the same moment
        _once(house, shipment, act)
        placed = Placing(moment, tuple(_rows(batches, first)), "receive")
        judged = judge(house, act, placed, despite=despite, key=key, hint=_PLAN_AGAIN)
        keys = [act.note("received", shipment, {"shipment": shipment}, at=moment)]
        sooner = _landed_sooner(act, shipment, moment)
        said = sooner + [_book_in(act, batch, first.get(batch.id, []), moment) for batch in batches]
        for batch_id, box, number in held:
            keys.append(act.note("box", batch_id, {"box": box, "held": number}, at=moment))
            said.append(f"{number} of {batch_id} in box {box}")
        judged.keep(act, at=moment)
    return Recorded((f"Shipment {shipment} received.", *said, *judged.said), tuple(keys), judged.told)


def _landed_sooner(act: Act, shipment: str, moment: datetime) -> list[str]:
    """A truck that came hours before its time has landed then: its day is planned from that moment, in words.

    What is announced is asked under the lock: someone may have moved the landing meanwhile.
    """
    facts = act.latest("shipment")[shipment].payload
    lands = datetime.fromisoformat(str(facts["lands"]))
    if moment >= lands - _SOONER:
        return []
    act.note("shipment", shipment, {**facts, "lands": moment.isoformat()})
    zone = act.inside().site.farm.zone
    landed = (
        f"{shipment} landed {moment.astimezone(zone):%Y-%m-%d %H:%M}, before {lands.astimezone(zone):%Y-%m-%d %H:%M}"
    )
    return [landed, *moved_words(move_day(act, shipment))]


_PLAN_AGAIN = "The accepted plan no longer holds for these placements. Plan again: vatside plan --accept."


def _rows(batches: Sequence[Batch], first: Mapping[str, list[tuple[str, int]]]) -> list[Portion]:
    """Who would go where, as the plan says it, no more than were announced."""
    rows = []
    for batch in batches:
        left = batch.announced
        for vat, number in first.get(batch.id, []):
            if min(number, left):
                rows.append(Portion(batch, vat, min(number, left)))
                left -= min(number, left)
    return rows


def _held(batches: Sequence[Batch], told: Mapping[str, int]) -> list[tuple[str, str, int]]:
    """(batch, box, animals) of each box reported."""
    found = []
    for name, number in told.items():
        line, _, box = name.rpartition("/")
        owners = [b for b in batches if box in b.boxes and line in ("", b.id, b.shipment)]
        if not owners:
            raise UnknownName("--box", name, sorted({box for b in batches for box in b.boxes})[:8], "box")
        if len(owners) > 1:
            choices = " or ".join(f"{b.id}/{box}" for b in owners)
            raise BadInput(Finding("--box", name, "the line whose animals they are", f"Say {choices}."))
        if number < 0:
            raise BadInput(Finding(f"--box {name}", str(number), "0 or more animals"))
        found.append((owners[0].id, box, number))
    return found


def _not_cancelled(shipment: str, facts: Mapping[str, object]) -> None:
    if facts.get("cancelled"):
        raise Refused(
            Finding(
                f"shipment {shipment}",
                f"canceled: {facts['cancelled']}",
                "a shipment still to come",
                "Read its list again with `vatside expect`.",
            )
        )


def _not_early(house: House, shipment: str, lands: str, moment: datetime) -> None:
    zone = house.site.farm.zone
    landing = datetime.fromisoformat(lands).astimezone(zone)
    if moment < landing - _EARLY:
        raise Refused(
            Finding(
                f"shipment {shipment}",
                f"received on {moment.astimezone(zone):%Y-%m-%d %H:%M}",
                f"a receipt near its landing, {landing:%Y-%m-%d %H:%M}",
                f"If it came so early: `vatside amend {shipment} --lands WHEN` first.",
            )
        )


def _first_vats(house: House, shipment: str) -> dict[str, list[tuple[str, int]]]:
    """Batch → vats and counts of the first stage its plan gives it."""
    first: dict[str, list[tuple[str, int]]] = {}
    for row in placements_of(house, shipment):
        if row["stage"] == "grow-out" and row["batch"] in first:
            continue
        first.setdefault(str(row["batch"]), []).append((str(row["vat"]), int(str(row["count"]))))
    return first


def _once(house: House, shipment: str, act: Act) -> None:
    before = standing(act.entries("received", shipment))
    if before:
        when = before[0].happened_at.astimezone(house.site.farm.zone)
        raise Refused(
            Finding(
                f"shipment {shipment}",
                f"received {when:%Y-%m-%d %H:%M}",
                "one receipt for a shipment",
                "Record differences with `vatside count`.",
            )
        )


def _book_in(act: Act, batch: Batch, places: list[tuple[str, int]], moment: datetime) -> str:
    left = batch.announced
    parts: list[str] = []
    for vat, number in places:
        number = min(number, left)
        if number:
            act.move(batch.id, "supplier", vat_place(vat), number, at=moment)
            act.note("stage", batch.id, {"batch": batch.id, "vat": vat, "stage": "quarantine"}, at=moment)
            parts.append(f"{number} → {vat}")
            left -= number
    if left:
        act.move(batch.id, "supplier", "dock", left, at=moment)
        parts.append(f"{left} → dock (no place in the plan)")
    return f"{batch.id} {batch.name}: {', '.join(parts)}"
