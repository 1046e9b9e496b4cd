"""Counts at the vats: dead, missing, wrong, found, weak, alive; and the taking back of what was told wrongly."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from intake.app.recording import Recorded, batch_named, refuse_shortage
from intake.app.session import Act, House
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.farm.floor import Batch, Floor
from intake.ledger import Entry, Movement, Record, balances, vat_place
from intake.ledger import counter as counter_of

__all__ = ["Count", "count", "undo"]

_HEADS = ("doa", "dead", "missing", "wrong")
_CAME = ("doa", "dead", "wrong")


@dataclass(frozen=True, slots=True)
class Count:
    """A count at one vat: animals taken out under each head, put back, or seen alive.

    Attributes
    ----------
    box
        Box the animals counted out lay in, as the packing list names it; empty when nobody can say.
    in_box
        All animals of the batch that lay in this box, dead or alive; ``None`` when not counted.
    """

    doa: int = 0
    dead: int = 0
    missing: int = 0
    wrong: int = 0
    found: int = 0
    weak: int | None = None
    alive: int | None = None
    box: str = ""
    in_box: int | None = None


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
    floor = house.floor_of(batch)
    found = batch_named(floor, batch)
    place = _place(house, floor, batch, vat)
    _check_tally(tally)
    box = _box(found, tally)
    said: list[str] = []
    keys: list[str] = []
    with house.act(key) as act:
        moved = {
            head: act.move(batch, place, head, number, at=at, note=note)
            for head in _HEADS
            if (number := getattr(tally, head))
        }
        keys.extend(moved.values())
        of_box = f" from box {box}" if box else ""
        said += [
            f"{getattr(tally, head)} {head} of {batch} {found.name} in {place.removeprefix('vat:')}{of_box}"
            for head in moved
        ]
        if tally.found:
            keys.append(act.move(batch, "missing", place, tally.found, at=at, note=note))
            said.append(f"{tally.found} of {batch} found again")
        if tally.weak is not None:
            keys.append(act.note("reading", place, {"quantity": f"weak {batch}", "value": tally.weak}, at=at))
            said.append(f"{tally.weak} weak of {batch}")
        refuse_shortage(house, act, batch)
        stand = balances(act.entries("movement", batch)).get((batch, place), 0)
        if tally.alive is not None:
            _agree(batch, place, tally.alive, stand)
            keys.append(act.note("reading", place, {"quantity": f"alive {batch}", "value": tally.alive}, at=at))
        keys += _note_box(act, batch, box, tally, moved, at)
        if tally.in_box is not None:
            said.append(f"{tally.in_box} of {batch} lay in box {box}")
        said.append(f"{stand} of {batch} alive in {place.removeprefix('vat:')} by the books")
    return Recorded(tuple(said), tuple(keys))


def _note_box(act: Act, batch: str, box: str, tally: Count, moved: Mapping[str, str], at: datetime | None) -> list[str]:
    """Tell the box of each movement, and how many animals lay in it."""
    if not box:
        return []
    told: list[dict[str, object]] = [
        {"box": box, "movement": movement, "count": getattr(tally, head)} for head, movement in moved.items()
    ]
    if tally.in_box is not None:
        told.append({"box": box, "held": tally.in_box})
    return [act.note("box", batch, one, at=at) for one in told]


def _box(batch: Batch, tally: Count) -> str:
    """The box as the list names it; a list without box numbers takes any."""
    box = tally.box.strip().removeprefix(f"{batch.shipment}/")
    if not box:
        if tally.in_box is not None:
            raise BadInput(Finding("--in-box", str(tally.in_box), "--box beside it"))
        return ""
    if batch.boxes and box not in batch.boxes:
        raise UnknownName("--box", tally.box, batch.boxes, f"box of {batch.id}")
    if tally.found:
        raise BadInput(Finding("--box", box, "animals counted out", "Record --found in a separate count."))
    out = sum(getattr(tally, head) for head in _CAME)
    if tally.in_box is not None and tally.in_box < out:
        raise BadInput(Finding("--in-box", str(tally.in_box), f"{out} or more, the animals counted out of it"))
    return box


def _check_tally(tally: Count) -> None:
    named = {head: getattr(tally, head) for head in (*_HEADS, "found", "weak", "alive", "in_box")}
    faults = [
        Finding(f"--{head.replace('_', '-')}", str(number), "0 or more animals")
        for head, number in named.items()
        if (number or 0) < 0
    ]
    if faults:
        raise BadInput(faults)
    if not any(named.values()) and tally.alive is None and tally.weak is None and tally.in_box is None:
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


_TAKEN_BACK = ("received", "box", "stage", "done", "finding", "reading", "cleaned", "hold", "lift")
"""Kinds of record that may be withdrawn; plans, lists and batches are superseded instead."""


def undo(house: House, key: str, *, whole: bool = False) -> Recorded:
    """Take back what was told wrongly: a movement by a counter movement, a record by its withdrawal.

    The original stays in the books.

    Parameters
    ----------
    whole
        Take back everything that was told in the same act, not this entry alone.

    Raises
    ------
    UnknownName
        Nothing that can be taken back has this key.
    Refused
        It was taken back before, or the animals have gone elsewhere since.
    """
    found = [entry for entry in house.act_of(key) if _belongs(entry, key, whole=whole)]
    if not found:
        raise UnknownName("--undo", key, [], "key of something recorded")
    said = []
    with house.act() as act:
        gone = {entry.corrects for entry in act.corrections(entry.key for entry in found)}
        left = [entry for entry in found if entry.key not in gone]
        if not left:
            raise Refused(Finding("--undo", key, "an entry not taken back yet", "It was already undone."))
        for entry in left:
            said.append(_take_back(house, act, entry))
        for batch in sorted({entry.batch for entry in left if isinstance(entry, Movement)}):
            refuse_shortage(house, act, batch)
    return Recorded(tuple(f"Undone: {words}" for words in said if words), (key,))


def _belongs(entry: Entry, key: str, *, whole: bool) -> bool:
    if not isinstance(entry, Movement) and entry.kind not in _TAKEN_BACK:
        return False
    first, _, number = entry.key.rpartition(".")
    return entry.key == key or (whole and first == key and number.isdecimal())


def _take_back(house: House, act: Act, entry: Entry) -> str:
    if isinstance(entry, Record):
        act.note(
            entry.kind, entry.subject, {**entry.payload, "withdrawn": True}, at=entry.happened_at, corrects=entry.key
        )
        return "" if entry.kind in ("stage", "box") else f"{entry.kind} of {entry.subject.removeprefix('vat:')}"
    fresh = counter_of(entry, at=house.now, who=house.who, key="-")
    act.move(
        fresh.batch, fresh.source, fresh.target, fresh.count, at=fresh.happened_at, note=fresh.note, corrects=entry.key
    )
    source, target = entry.source.removeprefix("vat:"), entry.target.removeprefix("vat:")
    return f"{entry.count} of {entry.batch}: {source} → {target}"
