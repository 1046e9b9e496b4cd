"""Put batches on hold, one or all that shared water with a finding, and lift holds."""

from __future__ import annotations

from collections.abc import Sequence

from intake.app.act_recording import Recorded, batch_named
from intake.app.queries.biosecurity.contact_tracing import first_seen, presences, shared_water_meetings
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused
from intake.quarantine.exposure import Reached, holds_after, trace

__all__ = ["hold", "hold_many", "hold_reached", "told_reason"]


def _forward(house: House, batch: str) -> tuple[Reached, ...]:
    since = first_seen(house, batch, presences(house, (batch,)))
    _, met = shared_water_meetings(house, (batch,), since)
    return trace(batch, met, since=since, direction="forward", until=house.now)


def hold_reached(house: House, batch: str, reason: str, *, key: str = "") -> Recorded:
    """Hold a batch, and every lot in the vats that it may have passed something on to through shared water.

    Raises
    ------
    UnknownName
        No such batch.
    BadInput
        No reason.
    """
    floor = house.floor()
    batch_named(floor, batch)
    told = told_reason(reason)
    present = {stay.batch for stay in floor.stays}
    held = {hold.batch for hold in floor.holds if not hold.lifted}
    rows = holds_after(batch, told, _forward(house, batch))
    fresh = [(lot, why) for lot, why in rows if lot == batch or (lot in present and lot not in held)]
    with house.act(key) as act:
        keys = [act.note("hold", lot, {"batch": lot, "reason": why}) for lot, why in fresh]
    return Recorded(tuple(f"{lot}: held" for lot, _ in fresh), tuple(keys))


def hold_many(
    house: House, batches: Sequence[str], reason: str, *, lift: bool = False, test: str = "", key: str = ""
) -> Recorded:
    """Hold several lots, or lift their holds, in one act with one reason; each lot keeps entries of its own.

    Parameters
    ----------
    test
        What was tested and with which result; kept with every entry.  With ``lift`` a lot that is not held is held and
        lifted in the same act: that is how deaths no one had explained are explained.

    Raises
    ------
    UnknownName
        No such batch.
    BadInput
        No batch or no reason.
    Refused
        A hold to be lifted is not there, and no test is given.
    """
    floor = house.floor()
    lots = list(dict.fromkeys(batches))
    if not lots:
        raise BadInput(Finding("BATCH", "", "one batch or more"))
    for lot in lots:
        batch_named(floor, lot)
    told = told_reason(reason)
    if key and house.told_before(key) is not None:
        return Recorded(tuple(f"{lot}: recorded before, with this key" for lot in lots), (key,))
    held = {hold.batch for hold in floor.holds if not hold.lifted}
    if lift and not test.strip() and (free := [lot for lot in lots if lot not in held]):
        raise Refused(
            Finding("--lift", ", ".join(free), "lots on hold", "Name the result with --test to explain deaths at once.")
        )
    facts = {"reason": told, **({"test": test.strip()} if test.strip() else {})}
    said, keys = [], []
    with house.act(key) as act:
        for lot in lots:
            if not lift or lot not in held:
                keys.append(act.note("hold", lot, {"batch": lot, **facts}))
            if lift:
                keys.append(act.note("lift", lot, {"batch": lot, **facts}))
            said.append(f"{lot}: {'hold lifted' if lift and lot in held else 'tested' if lift else 'held'}")
    return Recorded(tuple(said), tuple(keys))


def told_reason(reason: str) -> str:
    """The reason of a hold or its lifting, trimmed.

    Raises
    ------
    BadInput
        No reason.
    """
    if not reason.strip():
        raise BadInput(Finding("--reason", "", "the reason in words", "Give the reason for the hold."))
    return reason.strip()


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
    told = told_reason(reason)
    with house.act(key) as act:
        keys = [act.note("lift" if lift else "hold", batch, {"batch": batch, "reason": told})]
    return Recorded((f"{batch}: hold lifted" if lift else f"{batch}: held",), tuple(keys))
