"""The scheduling problem as numbers: quarter hours from an origin, people with shifts, stations with places, jobs.

A slot is a quarter of an hour of absolute time, so a change of clocks neither loses nor doubles work.  Windows after a
job's earliest start are soft: lateness is measured and reported, so that a timetable always exists.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from math import ceil, floor, log10

from intake.farm.site import Person, Site
from intake.quarantine.needs import Need
from intake.timetable.mixed import PreparedWater

__all__ = ["DAY_SLOTS", "SLOT_MIN", "Day", "Job", "Problem", "Unplaced", "build"]

SLOT_MIN = 15
DAY_SLOTS = 96
LATE_COST = 100
"""Cost of one slot of lateness; one slot away from the day wanted costs 1."""
STRICT = 10
"""Lateness of work that breaks a pest's cycle is weighed tenfold."""
PART_COST = 24
"""Cost of work outside the part of the day wanted for it: as much as six hours away from the day."""
AFTER_HORIZON_DAYS = 14
"""Days after the last window that are still searched before work is called unplaced."""

_ESSENTIAL = frozenset({"receive", "acclimation", "transfer", "death round"})
"""Work done on public holidays too."""


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
        Litres of mixed water it draws when it begins, rounded up.
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


@dataclass(frozen=True, slots=True)
class Unplaced:
    """Work that stands in no timetable, why, and the cheapest way found to place it."""

    uid: str
    kind: str
    batch: str
    vat: str
    why: str
    cheapest: str = ""


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


def build(
    needs: Iterable[Need],
    site: Site,
    *,
    now: datetime,
    holidays: frozenset[date] = frozenset(),
    dusk: Mapping[date, time] | None = None,
    overtime: Mapping[str, int] | None = None,
    first_day: date | None = None,
    prepared_water: PreparedWater | None = None,
) -> Problem:
    """Turn needs into jobs.

    Parameters
    ----------
    needs
        Work to place; order does not matter.
    now
        Nothing begins before it.
    holidays
        Days on which only essential work is done (receiving, transfers, rounds) and what has no other day.
    dusk
        Farm day → clock time from which it is dark; the last working hour where not given.
    overtime
        Person id → minutes added to the end of every shift.
    first_day
        Earliest day the timetable shows (for published work that has begun); the day of ``now`` by default.
    prepared_water
        The mixing tank and what each need draws; not limiting where not given.
    """
    zone = site.farm.zone
    wanted = sorted(needs, key=lambda need: need.uid)
    start = first_day or now.astimezone(zone).date()
    last = max([now, *(need.latest for need in wanted)]).astimezone(zone).date() + timedelta(days=AFTER_HORIZON_DAYS)
    origin = datetime.combine(start, time(0), zone).astimezone(UTC)
    people = tuple(person for person in site.people.values() if person.role != "read-only")
    days = tuple(
        _day(
            start + timedelta(days=offset),
            origin,
            site,
            people,
            holidays=holidays,
            dusk=dusk or {},
            overtime=overtime or {},
        )
        for offset in range((last - start).days + 1)
    )
    lanes: dict[str, tuple[str, ...]] = {}
    for station in site.stations.values():
        lanes[station.kind] = (*lanes.get(station.kind, ()), *[station.id] * station.places)
    places = {kind: len(names) for kind, names in sorted(lanes.items())}
    empty = Problem(origin, _ceil(now, origin), days, people, places, (), (), lanes)
    if prepared_water is not None:
        refill = -(-prepared_water.refill_minutes // SLOT_MIN)
        empty = replace(empty, tank_l=max(1, floor(prepared_water.tank_l)), refill=refill)
    return _with_jobs(empty, wanted, {} if prepared_water is None else prepared_water.drawn_l)


def _with_jobs(empty: Problem, wanted: list[Need], drawn_l: Mapping[str, float]) -> Problem:
    ranks = _ranks(wanted)
    drafts = [_job(empty, need, ranks[need.uid], ceil(drawn_l.get(need.uid, 0.0))) for need in wanted]
    kept = [draft for draft in drafts if isinstance(draft, Job)]
    index = {job.uid: number for number, job in enumerate(kept)}
    jobs = tuple(_linked(job, index) for job in kept)
    unplaced = tuple(draft for draft in drafts if isinstance(draft, Unplaced))
    return replace(empty, jobs=jobs, unplaced=unplaced)


def _day(
    day: date,
    origin: datetime,
    site: Site,
    people: tuple[Person, ...],
    *,
    holidays: frozenset[date],
    dusk: Mapping[date, time],
    overtime: Mapping[str, int],
) -> Day:
    zone = site.farm.zone
    first = _ceil(datetime.combine(day, time(0), zone), origin)
    after = _ceil(datetime.combine(day + timedelta(days=1), time(0), zone), origin)
    shifts = tuple(
        _shift(person, day, origin, site, extra_min=overtime.get(person.id, 0), midnight=after)
        if person.works_on(day)
        else None
        for person in people
    )
    ends = [shift[1] for shift in shifts if shift is not None]
    last_hour = max(ends, default=after) - 60 // SLOT_MIN
    dark = _ceil(datetime.combine(day, dusk[day], zone), origin) if day in dusk else last_hour
    return Day(day, first, after - first, shifts, day in holidays, dark)


def _shift(
    person: Person, day: date, origin: datetime, site: Site, *, extra_min: int, midnight: int
) -> tuple[int, int] | None:
    zone = site.farm.zone
    begins = _ceil(datetime.combine(day, person.starts, zone), origin)
    ends = _floor(datetime.combine(day, person.ends, zone) + timedelta(minutes=extra_min), origin)
    return (begins, min(ends, midnight)) if begins < min(ends, midnight) else None


def _job(problem: Problem, need: Need, rank: int, water_l: int) -> Job | Unplaced:
    if problem.tank_l and water_l > problem.tank_l:
        why = f"draws {water_l} L of mixed water at once; the mixing tank holds {problem.tank_l} L"
        cheapest = "cut the work into parts, or have more mixed water ready"
        return Unplaced(need.uid, need.kind, need.batch, need.vat, why, cheapest)
    slots = max(1, -(-need.minutes // SLOT_MIN))
    who = tuple(index for index, person in enumerate(problem.people) if not need.skill or need.skill in person.skills)
    if len(who) < need.people:
        skill = f" with the skill '{need.skill}'" if need.skill else ""
        short = f"needs {need.people} at once" if need.people > 1 else "needs someone"
        cheapest = f"teach someone: add '{need.skill}' to a person's skills" if need.skill else "add a person"
        return Unplaced(need.uid, need.kind, need.batch, need.vat, f"{short}{skill}; the farm has {len(who)}", cheapest)
    earliest = max(problem.now, _ceil(need.earliest, problem.origin))
    latest = _floor(need.latest, problem.origin)
    days = _days_for(problem, need, slots, who, earliest=earliest, latest=latest)
    if not days:
        why = f"takes {need.minutes} min at one go; nobody who may do it has a shift that long before the horizon"
        return Unplaced(need.uid, need.kind, need.batch, need.vat, why, "lengthen a shift or cut the work into parts")
    wanted = problem.days[problem.day_of(_floor(need.nominal, problem.origin))]
    return Job(
        uid=need.uid,
        need=need,
        slots=slots,
        earliest=earliest,
        latest=latest,
        low=wanted.first,
        high=wanted.first + wanted.slots - 1,
        weight=_weight(need),
        after=-1,
        lag_min=max(0, -(-round(need.lag_min_days * 1440) // SLOT_MIN)),
        lag_max=None if need.lag_max_days is None else round(need.lag_max_days * 1440) // SLOT_MIN,
        who=who,
        people=need.people,
        uses=_uses(problem, need),
        rank=rank,
        days=days,
        water_l=water_l if problem.tank_l else 0,
    )


def _weight(need: Need) -> int:
    """Cost of a slot of lateness: tenfold where it breaks a cycle, more again with the animals and days it would cost."""
    waiting = log10(1.0 + need.delays.animal_days) if need.delays else 0.0
    return round(LATE_COST * (STRICT if need.strict else 1) * (1.0 + waiting))


def _uses(problem: Problem, need: Need) -> tuple[str, ...]:
    station = (need.station,) if need.station in problem.places else ()
    if not need.batch:
        return station
    part = need.uid.partition("/part-")[2]
    return (*station, f"{need.batch}/{need.vat}/{part}")


def _days_for(
    problem: Problem, need: Need, slots: int, who: tuple[int, ...], *, earliest: int, latest: int
) -> tuple[int, ...]:
    """Days on which enough people who may do it have a shift long enough; holidays only for what cannot wait."""
    able = [
        index
        for index, day in enumerate(problem.days)
        if day.first + day.slots > earliest
        and sum(_room(day.shifts[person], earliest) >= slots for person in who) >= need.people
    ]
    if need.kind in _ESSENTIAL:
        return tuple(able)
    ordinary = [index for index in able if not problem.days[index].holiday]
    if any(problem.days[index].first <= latest for index in ordinary):
        return tuple(ordinary)
    return tuple(able)


def _room(shift: tuple[int, int] | None, earliest: int) -> int:
    return 0 if shift is None else shift[1] - max(shift[0], earliest)


def _linked(job: Job, index: Mapping[str, int]) -> Job:
    return replace(job, after=index.get(job.need.after, -1))


def _ranks(needs: Iterable[Need]) -> dict[str, int]:
    """Order of work: released, then quarantine from the oldest entry to the newest, then sick."""
    keys = {need.uid: _clean_key(need) for need in needs}
    order = {key: number for number, key in enumerate(sorted(set(keys.values())))}
    return {uid: order[key] for uid, key in keys.items()}


def _clean_key(need: Need) -> tuple[int, str]:
    stage = ("released", "quarantine", "sick").index(need.condition)
    entered = need.entered.astimezone(UTC).date().isoformat() if need.entered is not None else ""
    return stage, entered if stage == 1 else ""


def _ceil(moment: datetime, origin: datetime) -> int:
    return -int(-(moment - origin).total_seconds() // (60 * SLOT_MIN))


def _floor(moment: datetime, origin: datetime) -> int:
    return int((moment - origin).total_seconds() // (60 * SLOT_MIN))
