"""Orders: a dip that is off by default, wanted for one batch; a prescription bath with its prescriber and reference."""

from __future__ import annotations

from dataclasses import dataclass

from intake.app.recording import Recorded, batch_named
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused, UnknownName

__all__ = ["Order", "order"]


@dataclass(frozen=True, slots=True)
class Order:
    """What was ordered; for a prescription bath in the prescriber's words, for nothing is printed by default."""

    reason: str
    prescriber: str = ""
    reference: str = ""
    agent: str = ""
    strength: str = ""
    minutes: float | None = None


def order(house: House, batch: str, dip: str, told: Order, *, key: str = "") -> Recorded:
    """Record that a dip is wanted for a batch; the timetable places it from then on.

    Raises
    ------
    UnknownName
        No such batch or dip.
    BadInput
        No reason.
    Refused
        A prescription bath without prescriber, reference, agent and strength: there is no default dose.
    """
    batch_named(house.floor(), batch)
    if dip not in house.library.dips:
        raise UnknownName("DIP", dip, sorted(house.library.dips), "dip")
    if not told.reason.strip():
        raise BadInput(Finding("--reason", "", "the reason in words"))
    if house.library.dips[dip].prescription:
        missing = [name for name in ("prescriber", "reference", "agent", "strength") if not getattr(told, name).strip()]
        if missing:
            raise Refused(
                Finding(
                    f"{dip} for {batch}",
                    "",
                    ", ".join(f"--{name}" for name in missing),
                    "Prescription baths have no default dose. Enter what the prescriber stated.",
                )
            )
    payload = {
        "batch": batch,
        "dip": dip,
        "reason": told.reason.strip(),
        "prescriber": told.prescriber,
        "reference": told.reference,
        "agent": told.agent,
        "strength": told.strength,
        "contact_min": told.minutes,
        "contact_max": told.minutes,
    }
    with house.act(key) as act:
        keys = [act.note("prescription", f"{batch}/{dip}", payload)]
    return Recorded((f"{house.library.dips[dip].name} ordered for {batch}; run `vatside timetable`",), tuple(keys))
