"""Needs and a farm file turned into the scheduling problem: days with shifts and pauses, jobs with windows in slots."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from math import ceil, floor
from zoneinfo import ZoneInfo

from intake.farm.site import Person, Site
from intake.quarantine.needs import Need
from intake.timetable.humane import days_off, kept_rest, pauses
from intake.timetable.mixed import PreparedWater
from intake.timetable.problem import LATE_COST, STRICT, Day, Job, Problem, Unplaced
from intake.timetable.slots import SLOT_MIN
from intake.timetable.stakes import waiting, with_stakes

__all__ = ["build"]

AFTER_HORIZON_DAYS = 14
"""Days after the last window that are still searched before work is called unplaced."""

_ESSENTIAL = frozenset({"receive", "acclimation", "transfer", "death round"})
"""Work done on public holidays too."""


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
    taken: Mapping[str, Sequence[tuple[datetime, datetime]]] | None = None,
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
    taken
        Person id → times already given to a landing day, first and last-plus-one moment.
    """
    zone = site.farm.zone
    wanted = sorted(needs, key=lambda need: need.uid)
    start = first_day or now.astimezone(zone).date()
    last = max([now, *(need.latest for need in wanted)]).astimezone(zone).date() + timedelta(days=AFTER_HORIZON_DAYS)
    origin = datetime.combine(start, time(0), zone).astimezone(UTC)
    people = tuple(person for person in site.people.values() if person.role != "read-only")
    landings = _landings(wanted, zone)
    off = days_off(site, people, landings, start, last)
    days = tuple(
        _day(
            start + timedelta(days=offset),
            origin,
            site,
            people,
            holidays=holidays,
            dusk=dusk or {},
            overtime=overtime or {},
            off=off,
            taken=taken or {},
        )
        for offset in range((last - start).days + 1)
    )
    lanes: dict[str, tuple[str, ...]] = {}
    for station in site.stations.values():
        lanes[station.kind] = (*lanes.get(station.kind, ()), *[station.id] * station.places)
    places = {kind: len(names) for kind, names in sorted(lanes.items())}
    empty = Problem(
        origin,
        _ceil(now, origin),
        days,
        people,
        places,
        (),
        (),
        lanes,
        changeover=-(-site.working.changeover_minutes // SLOT_MIN),
        recovery=ceil(site.working.recovery_h * 60 / SLOT_MIN),
        rested={name: frozenset(given) for name, given in off.items() if given},
        zone=zone,
    )
    if prepared_water is not None:
        refill = -(-prepared_water.refill_minutes // SLOT_MIN)
        empty = replace(empty, tank_l=max(1, floor(prepared_water.tank_l)), refill=refill)
    return _with_jobs(empty, wanted, {} if prepared_water is None else prepared_water.drawn_l)


def _landings(wanted: Iterable[Need], zone: ZoneInfo) -> dict[date, int]:
    """Days on which animals land, and how many tasks that is."""
    found: dict[date, int] = {}
    for need in wanted:
        if need.kind in {"receive", "acclimation"}:
            day = need.nominal.astimezone(zone).date()
            found[day] = found.get(day, 0) + 1
    return found


def _with_jobs(empty: Problem, wanted: list[Need], drawn_l: Mapping[str, float]) -> Problem:
    ranks = _ranks(wanted)
    waters = {system: number for number, system in enumerate(sorted({need.system for need in wanted}))}
    able: dict[tuple[tuple[int, ...], int, int], list[int]] = {}
    drafts = [_job(empty, need, ranks[need.uid], ceil(drawn_l.get(need.uid, 0.0)), able) for need in wanted]
    kept = [replace(draft, water=waters[draft.need.system]) for draft in drafts if isinstance(draft, Job)]
    index = {job.uid: number for number, job in enumerate(kept)}
    linked = with_stakes(tuple(_linked(job, index) for job in kept), empty.origin)
    jobs = _apart(linked) if empty.recovery else linked
    unplaced = tuple(draft for draft in drafts if isinstance(draft, Unplaced))
    return replace(empty, jobs=jobs, unplaced=unplaced)


_HANDLED = frozenset({"dip", "inspection", "transfer"})


def _apart(jobs: tuple[Job, ...]) -> tuple[Job, ...]:
    """Each job with which others handle the same animals and are not tied to it by its protocol."""
    lots: dict[tuple[str, str, str], list[int]] = {}
    for number, job in enumerate(jobs):
        if job.need.batch and job.need.kind in _HANDLED:
            lots.setdefault((job.need.batch, job.need.vat, job.uid.partition("/part-")[2]), []).append(number)
    others: dict[int, tuple[int, ...]] = {}
    for row in lots.values():
        for number in row:
            tied = {jobs[number].after, number} | {other for other in row if jobs[other].after == number}
            others[number] = tuple(other for other in row if other not in tied)
    return tuple(replace(job, apart=others[number]) if others.get(number) else job for number, job in enumerate(jobs))


def _day(
    day: date,
    origin: datetime,
    site: Site,
    people: tuple[Person, ...],
    *,
    holidays: frozenset[date],
    dusk: Mapping[date, time],
    overtime: Mapping[str, int],
    off: Mapping[str, set[date]],
    taken: Mapping[str, Sequence[tuple[datetime, datetime]]],
) -> Day:
    zone = site.farm.zone
    first = _ceil(datetime.combine(day, time(0), zone), origin)
    after = _ceil(datetime.combine(day + timedelta(days=1), time(0), zone), origin)
    shifts = tuple(
        _shift(person, day, origin, site, extra_min=overtime.get(person.id, 0), midnight=after)
        if person.works_on(day) and day not in off.get(person.id, ())
        else None
        for person in people
    )
    ends = [shift[1] for shift in shifts if shift is not None]
    last_hour = max(ends, default=after) - 60 // SLOT_MIN
    dark = _ceil(datetime.combine(day, dusk[day], zone), origin) if day in dusk else last_hour
    noon = _ceil(datetime.combine(day, site.working.lunch_from, zone), origin)
    paused = tuple(
        ()
        if shift is None
        else (*pauses(shift, number, noon, site.working), *_given(taken.get(people[number].id, ()), shift, origin))
        for number, shift in enumerate(shifts)
    )
    paused = tuple(tuple(sorted(row)) for row in paused)
    lit = (
        _ceil(datetime.combine(day, site.working.lights_on, zone), origin),
        _floor(datetime.combine(day, site.working.lights_off, zone), origin),
    )
    return Day(day, first, after - first, shifts, day in holidays, dark, paused, lit)


def _given(
    spans: Sequence[tuple[datetime, datetime]], shift: tuple[int, int], origin: datetime
) -> list[tuple[int, int]]:
    """Times already given away, as slots within a shift."""
    rows = [(max(shift[0], _floor(first, origin)), min(shift[1], _ceil(after, origin))) for first, after in spans]
    return [(first, after) for first, after in rows if first < after]


def _shift(
    person: Person, day: date, origin: datetime, site: Site, *, extra_min: int, midnight: int
) -> tuple[int, int] | None:
    zone = site.farm.zone
    begins = _ceil(datetime.combine(day, person.starts, zone), origin)
    latest = kept_rest(person, site.working)
    ends = _floor(datetime.combine(day, latest, zone) + timedelta(minutes=extra_min), origin)
    return (begins, min(ends, midnight)) if begins < min(ends, midnight) else None


def _job(
    problem: Problem,
    need: Need,
    rank: int,
    water_l: int,
    able: dict[tuple[tuple[int, ...], int, int], list[int]],
) -> Job | Unplaced:
    if problem.tank_l and water_l > problem.tank_l:
        why = f"draws {water_l} L of mixed water at once; the mixing tank holds {problem.tank_l} L"
        cheapest = "cut the work into parts, or have more mixed water ready"
        return Unplaced(need.uid, need.kind, need.batch, need.vat, why, cheapest)
    slots = max(1, -(-need.minutes // SLOT_MIN))
    who = tuple(index for index, person in enumerate(problem.people) if not need.skill or need.skill in person.skills)
    people = need.people
    if need.company and len(who) < people:
        people = 1  # said in the reason: a farm of one cannot be given a second pair of hands
    if len(who) < people:
        skill = f" with the skill '{need.skill}'" if need.skill else ""
        short = f"needs {need.people} at once" if need.people > 1 else "needs someone"
        cheapest = f"teach someone: add '{need.skill}' to a person's skills" if need.skill else "add a person"
        words = f"{short}{skill}; the farm has {len(who)}"
        return Unplaced(need.uid, need.kind, need.batch, need.vat, words, cheapest, need.skill, need.title)
    earliest = max(problem.now, _ceil(need.earliest, problem.origin))
    latest = _floor(need.latest, problem.origin)
    days = _days_for(problem, need, slots, who, people=people, earliest=earliest, latest=latest, able=able)
    if not days:
        why = f"takes {need.minutes} min at one go; no one who may do it has so long between two pauses before the horizon"
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
        people=people,
        uses=_uses(problem, need),
        rank=rank,
        days=days,
        water_l=water_l if problem.tank_l else 0,
    )


def _weight(need: Need) -> int:
    """Cost of a slot of lateness: tenfold where it breaks a cycle, more again with the animals and days it would cost."""
    priced = need.delays.animal_days if need.delays else 0.0
    return round(LATE_COST * (STRICT if need.strict else 1) * waiting(priced))


def _uses(problem: Problem, need: Need) -> tuple[str, ...]:
    station = (need.station,) if need.station in problem.places else ()
    if not need.batch:
        return station
    part = need.uid.partition("/part-")[2]
    return (*station, f"{need.batch}/{need.vat}/{part}")


def _days_for(
    problem: Problem,
    need: Need,
    slots: int,
    who: tuple[int, ...],
    *,
    people: int,
    earliest: int,
    latest: int,
    able: dict[tuple[tuple[int, ...], int, int], list[int]],
) -> tuple[int, ...]:
    """Days on which enough people who may do it have a stretch long enough; holidays only for what cannot wait."""
    key = who, slots, people
    if key not in able:
        able[key] = [day for day in range(len(problem.days)) if _enough(problem.days[day], *key, 0)]
    begin = problem.day_of(earliest)
    days = [day for day in able[key] if day > begin]
    if problem.days[begin].first + problem.days[begin].slots > earliest and _enough(
        problem.days[begin], *key, earliest
    ):
        days.insert(0, begin)
    if need.kind in _ESSENTIAL:
        return tuple(days)
    ordinary = [index for index in days if not problem.days[index].holiday]
    if any(problem.days[index].first <= latest for index in ordinary):
        return tuple(ordinary)
    return tuple(days)


def _enough(day: Day, who: tuple[int, ...], slots: int, people: int, earliest: int) -> bool:
    return sum(_room(day, person, earliest) >= slots for person in who) >= people


def _room(day: Day, person: int, earliest: int) -> int:
    """Slots of the longest stretch of someone's day without a pause."""
    shift = day.shifts[person]
    if shift is None:
        return 0
    longest, first = 0, max(shift[0], earliest)
    for begins, ends in day.pauses[person] if day.pauses else ():
        longest, first = max(longest, begins - first), max(ends, earliest)
    return max(longest, shift[1] - first)


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
