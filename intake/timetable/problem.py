"""The scheduling problem as numbers: quarter hours from an origin, people with shifts, stations with places, jobs.

A slot is a quarter of an hour of absolute time, so a change of clocks neither loses nor doubles work.  Windows after a
job's earliest start are soft: lateness is measured and reported, so that a timetable always exists.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, tzinfo

from intake.farm.site import Person
from intake.quarantine.needs import Need
from intake.timetable.slots import DAY_SLOTS, SLOT_MIN

__all__ = [
    "DAY_SLOTS",
    "LAPSE_SLOTS",
    "LATE_COST",
    "PART_COST",
    "SLOT_MIN",
    "STRICT",
    "Day",
    "Job",
    "Problem",
    "Unplaced",
]

LATE_COST = 100
"""Cost of one slot of lateness; one slot away from the day wanted costs 1."""
STRICT = 10
"""Lateness of work that breaks a pest's cycle is weighed tenfold."""
LAPSE_SLOTS = 7 * DAY_SLOTS
"""A series that begins again is weighed like so many slots of lateness: a week, the usual interval of a brushing."""
PART_COST = 24
"""Cost of work outside the part of the day wanted for it: as much as six hours away from the day."""


@dataclass(frozen=True, slots=True)
class Day:
    """One farm day: its date, its first slot and its number of slots (92 or 100 when clocks change)."""

    date: date
    first: int
    slots: int
    shifts: tuple[tuple[int, int] | None, ...]
    """For each person first and last-plus-one slot of the shift, or ``None``."""
    holiday: bool
    dusk: int
    """Slot from which it counts as dark."""
    pauses: tuple[tuple[tuple[int, int], ...], ...] = ()
    """For each person the slots, first and last-plus-one, in which nothing is booked."""
    light: tuple[int, int] | None = None
    """First and last-plus-one slot of the light over the animals; ``None``: always."""


@dataclass(frozen=True, slots=True)
class Job:
    """One need in slots.

    Attributes
    ----------
    low, high
        Starts between these (the day wanted) cost nothing.
    after
        Index of the job it follows, or -1; ``lag_max`` is soft.
    who
        Indices of people who may do it; ``people`` of them are needed at the same time.
    uses
        What it takes a place of: the kind of station, and the animals themselves, which are in one place at a time.
    rank
        Order of work, clean to dirty.
    days
        Indices of the days on which it may stand.
    pinned
        Published start, or -1; ``pinned_who`` who was named.  ``fixed``: it may not move.
    water_l
        Liters of mixed water it draws when it begins, rounded up.
    """

    uid: str
    need: Need
    slots: int
    earliest: int
    latest: int
    low: int
    high: int
    weight: int
    after: int
    lag_min: int
    lag_max: int | None
    who: tuple[int, ...]
    people: int
    uses: tuple[str, ...]
    rank: int
    days: tuple[int, ...]
    pinned: int = -1
    pinned_who: tuple[int, ...] = ()
    fixed: bool = False
    water_l: int = 0
    water: int = 0
    """Number of the system whose water it is in."""
    apart: tuple[int, ...] = ()
    """Jobs on the same animals that may come no closer than their recovery."""
    lapse: int | None = None
    """Last start at which it still counts as the next of its series; later, the series begins again."""
    lapse_lag: int | None = None
    """The same as slots after the start of the job it follows."""
    stake: int = 0
    """Cost of letting the series begin again."""
    was_late: int = 0
    """Slots by which its published time was late."""


@dataclass(frozen=True, slots=True)
class Unplaced:
    """Work that is in no timetable, why, and the cheapest way found to place it; ``skill``: no one has it."""

    uid: str
    kind: str
    batch: str
    vat: str
    why: str
    cheapest: str = ""
    skill: str = ""
    title: str = ""


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything the solvers read.

    Attributes
    ----------
    origin
        Moment of slot 0, UTC.
    now
        First slot in which work may begin.
    places
        Kind of station → places side by side; whatever is not named has one.
    """

    origin: datetime
    now: int
    days: tuple[Day, ...]
    people: tuple[Person, ...]
    places: Mapping[str, int]
    jobs: tuple[Job, ...]
    unplaced: tuple[Unplaced, ...] = ()
    lanes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Kind of station → station id of each place."""
    tank_l: int = 0
    """Litres of mixed water ready at once, rounded down; 0: not limiting."""
    refill: int = 0
    """Slots after a job's end until the water it drew is ready again."""
    changeover: int = 0
    """Slots between work in two waters by the same hands, unless it goes from the cleaner to the dirtier."""
    recovery: int = 0
    """Slots between two handlings of the same animals."""
    rested: Mapping[str, frozenset[date]] = field(default_factory=dict)
    """Person → days off given beside those of the farm file."""
    zone: tzinfo = UTC
    """In which moments are written."""

    def moment(self, slot: int) -> datetime:
        """The UTC moment at which a slot begins."""
        return self.origin + timedelta(minutes=SLOT_MIN * slot)

    def day_of(self, slot: int) -> int:
        """Index of the day a slot lies in."""
        days, last = self.days, len(self.days) - 1
        day = min(max(slot // DAY_SLOTS, 0), last)  # off by one at most, where clocks have changed
        while day and days[day].first > slot:
            day -= 1
        while day < last and days[day + 1].first <= slot:
            day += 1
        return day
