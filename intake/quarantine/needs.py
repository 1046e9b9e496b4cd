"""What must be done to animals in quarantine and between which moments, before anybody is named to do it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from intake.library import Evidence

__all__ = ["Condition", "Kind", "Need", "PartOfDay", "Prescription"]

Kind = Literal[
    "receive", "acclimation", "dip", "inspection", "transfer", "death round", "release check", "round", "cutting"
]
Condition = Literal["released", "quarantine", "sick"]
PartOfDay = Literal["any", "morning", "after dark"]


@dataclass(frozen=True, slots=True)
class Prescription:
    """What a prescriber ordered; without one, a prescription bath is refused.

    Attributes
    ----------
    prescriber, reference
        Who ordered it, and the number of the prescription or product label.
    agent, strength
        As prescribed, in the prescriber's words and units.
    contact_min, contact_max
        Minutes of contact.
    """

    prescriber: str
    reference: str
    agent: str
    strength: str
    contact_min: float | None = None
    contact_max: float | None = None


@dataclass(frozen=True, slots=True)
class Need:
    """One piece of work on one batch in one vat, or one round through a system.

    Attributes
    ----------
    uid
        Name of the work for life, made of batch, dip, the vat it began in and its number; never of a time or a title.
    batch, vat
        Empty for a round through a whole ``system``.
    earliest, nominal, latest
        Not before; wanted at (its day and ``part_of_day`` count, not its minute); late after.  Time-zone aware.
    after
        Uid of the work it follows; empty once that is done (its times then say so already).
    lag_min_days, lag_max_days
        Days from the start of ``after`` to the start of this, at the least and at the most.
    minutes
        Minutes of work of ``people`` persons.
    skill
        Skill the persons need; empty for anyone who works at the vats.
    station
        Kind of station needed, or empty.
    condition, entered
        Order of work, clean to dirty: released, then the oldest quarantine lot to the newest, then sick.
    number, of, opens
        Number in its series, number of the last, and whether it is the first.
    strict
        Lateness breaks the cycle it is meant to break, so it is weighed tenfold.
    why
        Reason with its arithmetic.
    evidence, source, unsourced
        How the interval or strength is known; ``unsourced`` must be marked on every sheet and event.
    """

    uid: str
    kind: Kind
    batch: str
    vat: str
    system: str
    title: str
    earliest: datetime
    nominal: datetime
    latest: datetime
    minutes: int
    why: str
    evidence: Evidence
    source: str
    unsourced: bool
    dip: str = ""
    number: int = 1
    of: int = 1
    opens: bool = False
    part_of_day: PartOfDay = "any"
    after: str = ""
    lag_min_days: float = 0.0
    lag_max_days: float | None = None
    people: int = 1
    skill: str = ""
    station: str = ""
    agent: str = ""
    strength: str = ""
    contact_min: float | None = None
    contact_max: float | None = None
    protection: tuple[str, ...] = ()
    headcount: int = 0
    condition: Condition = "quarantine"
    entered: datetime | None = None
    strict: bool = False

    @property
    def after_dark(self) -> bool:
        """Whether the work is wanted after dark."""
        return self.part_of_day == "after dark"
