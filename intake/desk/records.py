"""What people write down at the vats: receipts, counts, work done, findings, readings, moves, cuttings, cleaning, holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from intake.desk.house import Act, House
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.farm.floor import Batch, Floor
from intake.ledger import balances, batch_payload, latest, movements, standing, vat_place
from intake.ledger import counter as counter_of

__all__ = ["Recorded", "clean", "count", "cut", "done", "finding", "hold", "move", "reading", "receive", "undo"]

OUT = ("sold", "sample", "discarded", "dock")
"""Places animals leave the vats for, beside the heads of loss."""

_HEADS = ("doa", "dead", "missing", "wrong")
_CUT_REST_DAYS = 60  # design default: days before the same parent is cut again


@dataclass(frozen=True, slots=True)
class Recorded:
    """What was written, in one sentence for each entry, and the key that undoes it."""

    said: tuple[str, ...]
    keys: tuple[str, ...]

    def as_dict(self) -> dict[str, object]:
        """For ``--json``."""
        return {"recorded": list(self.said), "keys": list(self.keys)}


def batch_named(floor: Floor, identity: str) -> Batch:
    """The batch of this id, or :class:`UnknownName` with the closest."""
    if identity not in floor.batches:
        import difflib

        close = difflib.get_close_matches(identity, floor.batches, n=3, cutoff=0.4)
        raise UnknownName("batch", identity, close, "batch")
    return floor.batches[identity]


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


def receive(house: House, shipment: str, *, at: datetime | None = None, key: str = "") -> Recorded:
    """Book a landed shipment into the vats of its accepted plan; what has no place goes to the dock.

    Raises
    ------
    UnknownName
        No such shipment.
    Refused
        It was received before, or it would land in the future.
    """
    entries, floor = house.entries(), house.floor()
    known = latest(entries, "shipment")
    if shipment not in known:
        raise UnknownName("shipment", shipment, sorted(known), "shipment")
    if shipment in floor.received:
        when = floor.received[shipment].astimezone(house.site.farm.zone)
        raise Refused(
            Finding(
                f"shipment {shipment}",
                f"received {when:%Y-%m-%d %H:%M}",
                "one receipt for a shipment",
                "Record differences with `vatside count`.",
            )
        )
    moment = at or house.now
    first: dict[str, list[tuple[str, int]]] = {}
    for row in placements_of(house, shipment):
        if row["stage"] in {"quarantine", "healing"} or row["batch"] not in first:
            if row["stage"] == "grow-out" and row["batch"] in first:
                continue
            first.setdefault(str(row["batch"]), []).append((str(row["vat"]), int(str(row["count"]))))
    said: list[str] = []
    with house.act(key) as act:
        keys = [act.note("received", shipment, {"shipment": shipment}, at=moment)]
        for batch in floor.batches.values():
            if batch.shipment == shipment:
                said.append(_book_in(act, batch, first.get(batch.id, []), moment))
    return Recorded((f"Shipment {shipment} received.", *said), tuple(keys))


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


@dataclass(frozen=True, slots=True)
class Count:
    """A count at one vat: animals taken out under each head, put back, or seen alive."""

    doa: int = 0
    dead: int = 0
    missing: int = 0
    wrong: int = 0
    found: int = 0
    weak: int | None = None
    alive: int | None = None


def count(  # the facts of a count, all named
    house: House,
    batch: str,
    vat: str,
    tally: Count,
    *,
    at: datetime | None = None,
    note: str = "",
    key: str = "",
) -> Recorded:
    """Record a count of one batch in one vat.

    Parameters
    ----------
    tally
        Animals by head; ``found`` puts missing ones back; ``alive`` must agree with the books after the rest.

    Raises
    ------
    UnknownName
        No such batch or vat.
    BadInput
        A negative number, or nothing to record.
    Refused
        More than stand there, or an ``alive`` that does not agree.
    """
    floor = house.floor()
    found = batch_named(floor, batch)
    place = _place(house, floor, batch, vat)
    _check_tally(tally)
    moment = at or house.now
    said: list[str] = []
    keys: list[str] = []
    with house.act(key) as act:
        for head in _HEADS:
            number = getattr(tally, head)
            if number:
                keys.append(act.move(batch, place, head, number, at=moment, note=note))
                said.append(f"{number} {head} of {batch} {found.name} in {place.removeprefix('vat:')}")
        if tally.found:
            keys.append(act.move(batch, "missing", place, tally.found, at=moment, note=note))
            said.append(f"{tally.found} of {batch} found again")
        if tally.weak is not None:
            keys.append(act.note("reading", place, {"quantity": f"weak {batch}", "value": tally.weak}, at=moment))
            said.append(f"{tally.weak} weak of {batch}")
        stand = balances(act.entries()).get((batch, place), 0)
        if tally.alive is not None:
            _agree(batch, place, tally.alive, stand)
            keys.append(act.note("reading", place, {"quantity": f"alive {batch}", "value": tally.alive}, at=moment))
        said.append(f"{stand} of {batch} alive in {place.removeprefix('vat:')} by the books")
    return Recorded(tuple(said), tuple(keys))


def _check_tally(tally: Count) -> None:
    named = {head: getattr(tally, head) for head in (*_HEADS, "found", "weak", "alive")}
    faults = [
        Finding(f"--{head}", str(number), "0 or more animals") for head, number in named.items() if (number or 0) < 0
    ]
    if faults:
        raise BadInput(faults)
    if not any(named.values()) and tally.alive is None and tally.weak is None:
        raise BadInput(
            Finding("count", "", "at least one of --doa, --dead, --missing, --wrong, --found, --alive, --weak")
        )


def _agree(batch: str, place: str, alive: int, stand: int) -> None:
    if alive != stand:
        gap = stand - alive
        head = "--missing" if gap > 0 else "--found"
        raise Refused(
            Finding(
                f"alive {batch} in {place.removeprefix('vat:')}",
                str(alive),
                f"{stand} as the books have it",
                f"Count again, or say what the difference of {abs(gap)} is (for example {head} {abs(gap)}).",
            )
        )


def _place(house: House, floor: Floor, batch: str, vat: str) -> str:
    if vat == "dock":
        return vat
    if not vat:
        vats = [stay.vat for stay in floor.stays if stay.batch == batch]
        if len(vats) != 1:
            do = f"It stands in {', '.join(vats)}." if vats else "It stands in no vat; has it been received?"
            raise BadInput(Finding("--vat", "", "a vat", do))
        vat = vats[0]
    return vat_place(house.site.vat(vat).id)


def undo(house: House, key: str) -> Recorded:
    """Take back an earlier movement by a counter movement; the original stays in the books.

    Raises
    ------
    UnknownName
        No movement has this key.
    """
    found = [movement for movement in movements(house.entries()) if movement.key == key]
    if not found:
        raise UnknownName("--undo", key, [], "key of a movement")
    movement = found[0]
    with house.act() as act:
        fresh = counter_of(movement, at=house.now, who=house.who, key="-")
        act.move(
            fresh.batch, fresh.source, fresh.target, fresh.count, at=fresh.happened_at, note=fresh.note, corrects=key
        )
    return Recorded((f"Took back {movement.count} of {movement.batch}: {movement.source} → {movement.target}",), (key,))


def done(house: House, task: str, *, at: datetime | None = None, note: str = "", key: str = "") -> Recorded:
    """Record a task of the timetable as done.

    Raises
    ------
    UnknownName
        No such task.
    Refused
        It was recorded before.
    """
    tasks = {str(row["uid"]): row for row in published_tasks(house)}
    if task not in tasks:
        import difflib

        raise UnknownName("task", task, difflib.get_close_matches(task, tasks, n=3, cutoff=0.3), "task")
    if any(record.subject == task for record in standing(house.entries(), "done")):
        raise Refused(Finding("task", task, "a task not yet recorded as done", "It was recorded before."))
    row = tasks[task]
    payload = {"batch": row["batch"], "kind": row["kind"], "vat": row["vat"], "note": note}
    with house.act(key) as act:
        keys = [act.note("done", task, payload, at=at or house.now)]
    return Recorded((f"Done: {row['title']} ({row['batch'] or row['vat']})",), tuple(keys))


def published_tasks(house: House) -> list[dict[str, object]]:
    """Tasks of the timetable as last published, as plain data."""
    record = latest(house.entries(), "timetable").get("timetable")
    return [] if record is None else list(record.payload["tasks"])  # type: ignore[call-overload]  # JSON of our own


def finding(  # the facts of a finding, all named
    house: House,
    batch: str,
    what: str,
    *,
    vat: str = "",
    note: str = "",
    at: datetime | None = None,
    key: str = "",
) -> Recorded:
    """Record what an inspection saw; an empty ``what`` or ``clean`` is a clean inspection.

    Raises
    ------
    UnknownName
        No such batch or vat.
    """
    batch_named(house.floor(), batch)
    if vat:
        house.site.vat(vat)
    seen = "" if what.strip().lower() in {"", "clean", "nothing"} else what.strip()
    with house.act(key) as act:
        keys = [act.note("finding", batch, {"batch": batch, "vat": vat, "what": seen, "note": note}, at=at)]
    said = f"{batch}: {seen} found; the clock of every lot in that water starts again" if seen else f"{batch}: clean"
    return Recorded((said,), tuple(keys))


def reading(  # the facts of a reading, all named
    house: House, place: str, quantity: str, value: float, *, scale: str = "", at: datetime | None = None, key: str = ""
) -> Recorded:
    """Record a measurement in a vat, system, batch or box, in SI or °C.

    Raises
    ------
    BadInput
        A pH without its scale, a gravity without its two temperatures, or no such quantity.
    """
    _check_reading(quantity, value, scale)
    if place in house.site.vats:
        place = vat_place(place)
    with house.act(key) as act:
        keys = [act.note("reading", place, {"quantity": quantity, "value": value, "scale": scale}, at=at)]
    return Recorded((f"{place.removeprefix('vat:')}: {quantity} {value:g} {scale}".strip(),), tuple(keys))


_READINGS: dict[str, tuple[float, float]] = {
    "temperature_c": (-2.0, 45.0),
    "salinity_psu": (0.0, 60.0),
    "ph": (4.0, 11.0),
    "tan_n_mg_per_l": (0.0, 100.0),
    "oxygen_mg_per_l": (0.0, 60.0),
    "specific_gravity": (0.98, 1.06),
    "alkalinity_meq_per_l": (0.0, 12.0),
    "light_umol": (0.0, 3000.0),
}


def _check_reading(quantity: str, value: float, scale: str) -> None:
    if quantity not in _READINGS:
        raise UnknownName("quantity", quantity, list(_READINGS), "quantity")
    low, high = _READINGS[quantity]
    if not low <= value <= high:
        raise BadInput(Finding(quantity, f"{value:g}", f"{low:g} to {high:g}", "Check the reading and its unit."))
    scales = {"ph": ("nbs", "total"), "specific_gravity": ("20C/4C", "20C/20C", "25C/25C", "15C/4C", "60F/60F")}
    if quantity in scales and scale not in scales[quantity]:
        raise BadInput(Finding("--scale", scale, " or ".join(scales[quantity]), "The figure means nothing without it."))


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
    key: str = "",
) -> Recorded:
    """Record animals moved between vats, or out of them (sold, sample, discarded, dock).

    Raises
    ------
    UnknownName
        No such batch, vat or place.
    BadInput
        Not a whole number of animals, 1 or more.
    Refused
        More than stand there.
    """
    floor = house.floor()
    batch_named(floor, batch)
    if number < 1:
        raise BadInput(Finding("--count", str(number), "1 or more animals"))
    here = source if source == "dock" else vat_place(house.site.vat(source).id)
    there = target if target in OUT else vat_place(house.site.vat(target).id)
    moment = at or house.now
    with house.act(key) as act:
        keys = [act.move(batch, here, there, number, at=moment, note=note)]
        if there.startswith("vat:"):
            role = house.site.system_of(target).role
            now_in = stage or ("quarantine" if role == "quarantine" else "grow-out")
            act.note("stage", batch, {"batch": batch, "vat": target, "stage": now_in}, at=moment)
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
        The parent was cut too short a while ago.
    """
    floor = house.floor()
    mother = batch_named(floor, parent)
    house.site.vat(vat)
    if pieces < 2:
        raise BadInput(Finding("--pieces", str(pieces), "2 or more", "A parent is usually cut into three or four."))
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
    number = 1 + sum(1 for name in floor.batches if name.startswith("C"))
    child = replace(
        mother, id=f"C{number}", shipment="", line=0, boxes=(), announced=pieces, size_mm=size_mm, parent=parent
    )
    with house.act(key) as act:
        keys = [act.note("batch", child.id, batch_payload(child), at=moment)]
        keys.append(act.move(child.id, "cut-from", vat_place(vat), pieces, at=moment, note=f"cut from {parent}"))
        act.note("stage", child.id, {"batch": child.id, "vat": vat, "stage": "healing"}, at=moment)
    return Recorded((f"{child.id}: {pieces} fragments of {parent} healing in {vat}",), tuple(keys))


def cut_not_before(house: House, parent: str) -> datetime | None:
    """Date before which a parent should not be cut again; ``None`` if it never was."""
    floor = house.floor()
    children = {b.id for b in floor.batches.values() if b.parent == parent}
    cuts = [m.happened_at for m in movements(house.entries()) if m.batch in children and m.source == "cut-from"]
    return max(cuts) + timedelta(days=_CUT_REST_DAYS) if cuts else None


def clean(house: House, vat: str, *, at: datetime | None = None, key: str = "") -> Recorded:
    """Record a vat as emptied, cleaned and dry.

    Raises
    ------
    UnknownName
        No such vat.
    Refused
        Animals stand in it.
    """
    house.site.vat(vat)
    inside = house.floor().in_vat(vat)
    if inside:
        raise Refused(
            Finding(f"vat {vat}", f"{inside[0].count} of {inside[0].batch}", "an empty vat", "Move them first.")
        )
    with house.act(key) as act:
        keys = [act.note("cleaned", vat, {"vat": vat}, at=at)]
    return Recorded((f"{vat} cleaned and dry",), tuple(keys))


def hold(house: House, batch: str, reason: str, *, lift: bool = False, key: str = "") -> Recorded:
    """Hold a batch back from release, or lift the hold, with a reason either way.

    Raises
    ------
    UnknownName
        No such batch.
    BadInput
        No reason.
    """
    batch_named(house.floor(), batch)
    if not reason.strip():
        raise BadInput(Finding("--reason", "", "the reason in words", "A hold is only as good as its reason."))
    with house.act(key) as act:
        keys = [act.note("lift" if lift else "hold", batch, {"batch": batch, "reason": reason.strip()})]
    return Recorded((f"{batch}: hold lifted" if lift else f"{batch}: held",), tuple(keys))
