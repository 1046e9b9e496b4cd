"""A shipment landed: its animals go from the supplier into the vats of the accepted plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from intake.desk.house import Act, House
from intake.desk.records.said import Recorded, told_as
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.farm.floor import Batch
from intake.ledger import latest, standing, vat_place

__all__ = ["placements_of", "receive"]

_EARLY = timedelta(hours=48)
"""A shipment this long before its landing is taken for a slip of the pen: house rule, no source."""


def placements_of(house: House, shipment: str) -> list[Mapping[str, object]]:
    """Placements of the accepted plan for one shipment, empty when none was accepted."""
    batches = {b.id for b in house.floor().batches.values() if b.shipment == shipment}
    for record in reversed(list(latest(house.entries(), "plan").values())):
        if record.payload.get("state") != "accepted":
            continue
        plan = record.payload["plan"]
        assert isinstance(plan, Mapping)  # noqa: S101  # written by desk.plans
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
        It was received before, or it would land in the future.
    """
    known = latest(house.entries(), "shipment")
    if shipment not in known:
        raise UnknownName("shipment", shipment, sorted(known), "shipment")
    if told_as(house, key, "received", shipment):
        return Recorded((f"Shipment {shipment} received before, under this key.",), (key,))
    moment = at or house.now
    _not_early(house, shipment, str(known[shipment].payload["lands"]), moment)
    first = _first_vats(house, shipment)
    batches = [b for b in house.floor().batches.values() if b.shipment == shipment and b.announced]
    held = _held(batches, boxes or {})
    with house.act(key) as act:
        # asked again under the lock: two people may receive the same truck at the same moment
        _once(house, shipment, act)
        keys = [act.note("received", shipment, {"shipment": shipment}, at=moment)]
        said = [_book_in(act, batch, first.get(batch.id, []), moment) for batch in batches]
        for batch_id, box, number in held:
            keys.append(act.note("box", batch_id, {"box": box, "held": number}, at=moment))
            said.append(f"{number} of {batch_id} in box {box}")
    return Recorded((f"Shipment {shipment} received.", *said), tuple(keys))


def _held(batches: Sequence[Batch], told: Mapping[str, int]) -> list[tuple[str, str, int]]:
    """(batch, box, animals) of each box told."""
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
