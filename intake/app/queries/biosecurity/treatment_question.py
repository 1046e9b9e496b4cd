"""A treatment as the rules are asked about it: the dip, what was ordered for the batch, and whose water it touches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from intake.app.act_recording import asked as rules_asked
from intake.app.session import House
from intake.farm.floor import Batch
from intake.quarantine import Need
from intake.rules import Scene, Treating
from intake.rules.transferring import transfer_vats

__all__ = ["NO_OTHER_WATER", "barred", "to_vats", "treating"]


def treating(
    house: House, batch: Batch, dip: str, at: datetime, *, vats: Sequence[str] = (), work: bool = False, **told: Any
) -> Treating:
    """The proposal of a dip for a batch.

    Parameters
    ----------
    vats
        Where the animals stand; every vat they are in when not given.
    told
        What an order says (``prescriber``, ``reference``, ``agent``, ``strength``, ``dose_source``, ``minutes``,
        ``where``, ``test``); without it, what was ordered for this batch before.
    """
    if not told:
        told = _ordered(house, batch.id, dip)
    known = house.library.treatments.by_id.get(dip)
    agents = house.library.agents(dip, str(told.get("agent") or ""), str(told.get("strength") or ""))
    treatment = known or (house.library.treatments.of_agent(agents[0]) if agents else None)
    where = str(told.get("where") or (treatment.where if treatment is not None else "tub"))
    minutes = told.get("minutes")
    return Treating(
        at,
        batch,
        tuple(vats) or tuple(stay.vat for stay in house.floor().stays if stay.batch == batch.id),
        dip,
        agents,
        where if where in {"tub", "vat", "loop", "none"} else "tub",  # type: ignore[arg-type]
        float(minutes) if minutes is not None else None,
        prescriber=str(told.get("prescriber") or ""),
        reference=str(told.get("reference") or ""),
        agent=str(told.get("agent") or ""),
        strength=str(told.get("strength") or ""),
        dose_source=str(told.get("dose_source") or ""),
        test=bool(told.get("test")),
        work=work,
    )


def _ordered(house: House, batch: str, dip: str) -> dict[str, Any]:
    record = house.last("prescription", f"{batch}/{dip}")
    if record is None:
        return {}
    told: dict[str, Any] = dict(record.payload)
    # orders from before the source of the dose was asked for were made with the reference alone
    told.setdefault("dose_source", told.get("reference") or "")
    return told | {"minutes": told.get("contact_max")}


def _lifted(house: House, batch: str, dip: str) -> bool:
    record = house.last("prescription", f"{batch}/{dip}")
    return record is not None and bool(record.payload.get("despite"))


NO_OTHER_WATER = (
    "a transfer needs an empty quarantine vat in other water, dry for 24 h, and none is free: keep two vats for the course "
    "in the plan, or empty one"
)


def _other_water(house: House, need: Need) -> tuple[str, ...]:
    """Vats a transfer could go to: where the lot stands counts, or for a lot to come where it is planned."""
    stands = tuple(stay.vat for stay in house.floor().stays if stay.batch == need.batch)
    return transfer_vats(Scene(house.site, house.library, house.floor()), stands or (need.vat,), house.now)


def to_vats(house: House, needs: Sequence[Need]) -> tuple[Need, ...]:
    """Transfers with the vat each goes to: there and back between two waters, the old vat dried in between."""
    seen: dict[str, int] = {}
    rows = []
    for need in needs:
        free = _other_water(house, need) if need.kind == "transfer" else ()
        if free:
            step = seen[need.batch] = seen.get(need.batch, 0) + 1
            to = free[0] if step % 2 else need.vat
            need = replace(need, strength=f"to {to}, in other water: emptied, disinfected, dry for 24 h")
        rows.append(need)
    return tuple(rows)


def barred(house: House, needs: Sequence[Need]) -> dict[str, str]:
    """Uid → why a treatment may not be placed in the timetable; what was ordered with a reason may.

    A dip that the farm's protocol holds for a group is asked about like any other: what is forbidden, unknown or not
    prescribed is not scheduled.
    """
    floor, found, known = house.floor(), {}, {}
    for need in needs:
        batch = floor.batches.get(need.batch)
        if batch is None or need.dip not in house.library.dips:
            continue
        if need.kind == "transfer":
            if not _other_water(house, need):
                found[need.uid] = NO_OTHER_WATER
            continue
        case = (need.batch, need.dip, need.vat)
        if case not in known:
            told = rules_asked(house, treating(house, batch, need.dip, house.now, vats=(need.vat,)))
            lifted = _lifted(house, need.batch, need.dip)
            stops = [one for one in told if one.severity == "refuse" or (one.severity == "reason" and not lifted)]
            known[case] = "; ".join(f"{one.what} {one.do}" for one in stops)
        if known[case]:
            found[need.uid] = known[case]
    return found
