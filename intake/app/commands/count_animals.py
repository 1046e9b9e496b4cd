"""Counts at the vats: dead, missing, wrong, found, weak, alive; and the undoing of what was reported wrongly."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from intake.app.act_recording import Recorded, batch_named, judge, refuse_shortage
from intake.app.commands.records.undo_act import undo
from intake.app.session import Act, House
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.farm.floor import Batch, Floor
from intake.ledger import balances, vat_id, vat_place
from intake.rules import Counting, Placing, Portion
from intake.rules.acts import Act as Proposed

__all__ = ["Count", "count", "undo"]

_HEADS = ("doa", "dead", "missing", "wrong")
_CAME = ("doa", "dead", "wrong")


@dataclass(frozen=True, slots=True)
class Count:
    """A count at one vat: animals taken out under each head, put back, or seen alive.

    Attributes
    ----------
    box
        Box the animals counted out lay in, as the packing list names it; empty when no one can say.
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
    despite: str = "",
    key: str = "",
) -> Recorded:
    """Record a count of one batch in one vat.

    Parameters
    ----------
    tally
        Animals by head; ``found`` puts missing ones back; ``alive`` must agree with the ledger after the rest.

    Raises
    ------
    UnknownName
        No such batch or vat.
    BadInput
        A negative number, or nothing to record.
    Refused
        More than are there, or an ``alive`` that does not agree.
    RulesBroken
        A loss or a number of found ones that is hardly true, or found ones where they may not stand.
    """
    floor = house.floor_of(batch)
    found = batch_named(floor, batch)
    place = _place(house, floor, batch, vat)
    _check_tally(tally)
    box = _box(found, tally)
    said: list[str] = []
    keys: list[str] = []
    with house.act(key) as act:
        proposed = _proposed(house, found, place, tally, at or house.now)
        ground = None if tally.found else floor  # no one enters a vat: the batch alone is enough
        judged = judge(house, act, *proposed, despite=despite, key=key, floor=ground)
        note = "; ".join(part for part in (note, judged.note) if part)
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
        said.append(f"{batch} in {place.removeprefix('vat:')}: {stand} alive on record")
        judged.keep(act, at=at)
    return Recorded((*said, *judged.said), tuple(keys), judged.told)


def _proposed(house: House, batch: Batch, place: str, tally: Count, at: datetime) -> list[Proposed]:
    """The count before the rules; found animals enter the vat again."""
    vat = vat_id(place)
    if not vat:
        return []
    lost = {head: getattr(tally, head) for head in _HEADS}
    proposed: list[Proposed] = [Counting(at, batch, vat, lost, tally.found)]
    if tally.found > 0:
        stands = next((stay.stage for stay in house.floor(at).in_vat(vat) if stay.batch == batch.id), "")
        stage = stands or ("quarantine" if house.site.system_of(vat).role == "quarantine" else "grow-out")
        proposed.append(Placing(at, (Portion(batch, vat, tally.found, "missing", stage),), "count"))
    return proposed


def _note_box(act: Act, batch: str, box: str, tally: Count, moved: Mapping[str, str], at: datetime | None) -> list[str]:
    """Record the box of each movement, and how many animals lay in it."""
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
                f"{stand}, the count on record",
                f"Count again, or record the difference of {abs(gap)} (for example {head} {abs(gap)}).",
            )
        )


def _place(house: House, floor: Floor, batch: str, vat: str) -> str:
    if vat == "dock":
        return vat
    if not vat:
        vats = [stay.vat for stay in floor.stays if stay.batch == batch]
        if len(vats) != 1:
            do = f"It is in {', '.join(vats)}." if vats else "It is in no vat; has it been received?"
            raise BadInput(Finding("--vat", "", "a vat", do))
        vat = vats[0]
    return vat_place(house.site.vat(vat).id)
