"""What must be done to animals in quarantine and between which moments, before anybody is named to do it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Literal

from intake.library import Evidence

__all__ = ["Condition", "Delay", "Kind", "Need", "PartOfDay", "Prescription"]

Kind = Literal[
    "receive",
    "acclimation",
    "dip",
    "inspection",
    "transfer",
    "death round",
    "release check",
    "round",
    "cutting",
    "care",
]
Condition = Literal["released", "quarantine", "sick"]
PartOfDay = Literal["any", "morning", "light", "after dark"]


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
class Delay:
    """What a task costs once it is recorded after its deadline.

    Attributes
    ----------
    deadline
        The last moment at which it still counts.
    until
        When the lots that wait for it would then be free at the earliest.
    animals, lots
        Animals that wait longer, and their batches.
    days
        Days longer, of the lot that is held longest.
    """

    deadline: datetime
    until: datetime
    animals: int
    lots: tuple[str, ...]
    days: float

    def words(self, zone: tzinfo) -> str:
        """The deadline and its price in a sentence, on the clock of a zone."""
        by, until = self.deadline.astimezone(zone), self.until.astimezone(zone)
        wait = "animal waits" if self.animals == 1 else "animals wait"
        return f"By {by:%a %d %b %H:%M}, else {self.animals:,} {wait} until {until:%a %d %b} ({self.days:.0f} d longer)"

    @property
    def animal_days(self) -> float:
        """At most so many animal-days of quarantine more."""
        return self.animals * self.days


@dataclass(frozen=True, slots=True)
class Need:
    """One task on one batch in one vat, or one round through a system.

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
        Days from the start of ``after`` to the start of this, at least and at most.
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
    deadline, again_d
        Moment after which it no longer follows the repeat before, so that the series begins again with it, and the days
        from there to the last repeat of that new series; ``None`` and 0 where lateness restarts nothing.
    delays
        What missing the deadline costs, once the lots in its water are known (:mod:`intake.quarantine.lateness`).
    company
        No one does it alone: the second of ``people`` is there for safety, and is asked for even where a farm has one.
    strict
        Lateness breaks the cycle it is meant to break, so it is weighed tenfold.
    vats
        Vats of a round in the order of the walk, clean to dirty; empty for work in one vat.
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
    deadline: datetime | None = None
    again_d: float = 0.0
    delays: Delay | None = None
    vats: tuple[str, ...] = ()
    company: bool = False

    @property
    def after_dark(self) -> bool:
        """Whether the work is wanted after dark."""
        return self.part_of_day == "after dark"
