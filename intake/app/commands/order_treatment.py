"""Orders: a dip that is off by default, wanted for one batch; a prescription bath with its prescriber and reference."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from intake.app.act_recording import Recorded, batch_named, judge
from intake.app.queries.biosecurity.treatment_question import treating
from intake.app.session import House
from intake.errors import BadInput, Finding, UnknownName

__all__ = ["Order", "order", "try_piece"]


@dataclass(frozen=True, slots=True)
class Order:
    """What was ordered; for a prescription bath in the prescriber's words, for nothing is printed by default.

    Attributes
    ----------
    dose_source
        Where the prescriber has the dose from: the prescription itself, a label, a paper.
    days
        Length of a course in the water; ``None`` for a bath of minutes.
    where
        ``tub`` or ``vat``; empty: as the treatment is usually given.
    despite
        Why it is done although a rule needs a reason.
    withdrawal
        Withdrawal time as prescribed; empty where none was given.
    """

    reason: str
    prescriber: str = ""
    reference: str = ""
    agent: str = ""
    strength: str = ""
    minutes: float | None = None
    dose_source: str = ""
    days: float | None = None
    where: str = ""
    despite: str = ""
    withdrawal: str = ""


def order(house: House, batch: str, dip: str, told: Order, *, key: str = "") -> Recorded:
    """Record that a dip is wanted for a batch; the timetable places it from then on.

    Raises
    ------
    UnknownName
        No such batch or dip.
    BadInput
        No reason.
    RulesBroken
        A treatment the batch, or others whose water it is, may not have; a prescription bath without prescriber,
        reference, agent, dose or the source of the dose: there is no default dose.
    """
    lot = batch_named(house.floor(), batch)
    _known(house, dip, told)
    minutes = told.days * 1440 if told.days is not None else told.minutes
    payload: dict[str, Any] = {
        "batch": batch,
        "dip": dip,
        "reason": told.reason.strip(),
        "prescriber": told.prescriber,
        "reference": told.reference,
        "agent": told.agent,
        "strength": told.strength,
        "dose_source": told.dose_source,
        "withdrawal": told.withdrawal,
        "contact_min": minutes,
        "contact_max": minutes,
        "where": told.where,
    }
    told_to = {name: payload[name] for name in ("prescriber", "reference", "agent", "strength", "dose_source", "where")}
    asked = treating(house, lot, dip, house.now, minutes=minutes, **told_to)
    payload |= {"agents": list(asked.agents), "where": asked.where}
    if told.days is not None:
        payload["until"] = (house.now + timedelta(days=told.days)).isoformat()
    with house.act(key) as act:
        judged = judge(house, act, asked, despite=told.despite, key=key)
        if judged.lifted:
            payload["despite"] = told.despite.strip()
        act.unchanged("prescription", f"{batch}/{dip}", what=f"the order of {dip} for {batch}")
        keys = [act.note("prescription", f"{batch}/{dip}", payload)]
        judged.keep(act)
    said = f"{house.library.dips[dip].name} ordered for {batch}; run `vatside timetable`"
    return Recorded((said, *judged.said), tuple(keys), judged.told)


def _known(house: House, dip: str, told: Order) -> None:
    if dip not in house.library.dips:
        raise UnknownName("DIP", dip, sorted(house.library.dips), "dip")
    if not told.reason.strip():
        raise BadInput(Finding("--reason", "", "the reason in words"))
    if told.days is not None and not 0 < told.days <= 120:
        raise BadInput(Finding("--days", f"{told.days:g}", "more than 0 and at most 120 days"))
    if told.where not in ("", "tub", "vat"):
        raise BadInput(Finding("--where", told.where, "tub or vat"))


def try_piece(
    house: House, batch: str, dip: str, told: Order, *, at: datetime | None = None, key: str = ""
) -> Recorded:
    """Record that one animal of a batch was treated to see for a day what the agent does to it.

    Raises
    ------
    UnknownName, BadInput, RulesBroken
        As :func:`order`; what is unknown needs a reason here too.
    """
    lot = batch_named(house.floor(), batch)
    _known(house, dip, told)
    vats = tuple(stay.vat for stay in house.floor().stays if stay.batch == batch)
    words: dict[str, Any] = {
        "agent": told.agent,
        "strength": told.strength,
        "prescriber": told.prescriber,
        "reference": told.reference,
    }
    more: dict[str, Any] = {"dose_source": told.dose_source, "minutes": told.minutes, "where": "tub", "test": True}
    asked = treating(house, lot, dip, at or house.now, vats=vats, **words, **more)
    payload: dict[str, Any] = {
        "batch": batch,
        "kind": "test",
        "vat": vats[0] if vats else "",
        "note": told.reason.strip(),
    }
    with house.act(key) as act:
        judged = judge(house, act, asked, despite=told.despite, key=key)
        told_of = payload | {"agents": list(asked.agents), "where": "tub"}
        keys = [act.note("done", f"{batch}/{dip}/test/{house.now:%Y%m%dT%H%M%S}", told_of, at=at)]
        judged.keep(act, at=at)
    said = f"One piece of {batch} tested with {house.library.dips[dip].name}; look at it after 24 h, then order"
    return Recorded((said, *judged.said), tuple(keys), judged.told)
