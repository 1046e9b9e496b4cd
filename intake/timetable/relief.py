"""What would place work that is unplaced or late: an hour more, a day more, a second place, a skill; each tried out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from intake.farm.site import ALL_DAYS, Site, Station
from intake.quarantine.needs import Need
from intake.timetable.mixed import PreparedWater
from intake.timetable.schedule import schedule
from intake.timetable.solution import Task, Timetable

__all__ = ["Relief", "reliefs", "with_reliefs"]

_PLACE_MIN = 480
"""A second place at a station is reckoned as dear as a day of work: house rule, so that hours come first."""

_NOTHING_ALONE = "no single change is enough: combine changes, or receive fewer animals at once"

_TEACH_MIN = 960
"""Teaching somebody a skill is reckoned as two days of work: house rule."""


@dataclass(frozen=True, slots=True)
class Relief:
    """One way out, tried by scheduling again.

    Attributes
    ----------
    do
        What to do, as a sentence.
    places
        Uids that are placed by it and were not.
    saves_late_minutes
        Lateness it takes away.
    extra_minutes
        Minutes of work outside today's hours that it uses, by which reliefs are compared.
    """

    do: str
    places: tuple[str, ...]
    saves_late_minutes: int
    extra_minutes: int


@dataclass(frozen=True, slots=True)
class _Try:
    """A changed farm and how to speak of it; ``person`` is whose extra time is counted."""

    site: Site
    words: str
    person: str = ""
    overtime: Mapping[str, int] | None = None
    extra_minutes: int = 0
    tanks: int = 1


def reliefs(
    needs: Iterable[Need],
    site: Site,
    table: Timetable,
    *,
    now: datetime,
    done: Iterable[str] = (),
    seconds: float = 0.5,
    holidays: frozenset[date] = frozenset(),
    dusk: Mapping[date, time] | None = None,
    prepared_water: PreparedWater | None = None,
    at_most: int = 3,
) -> tuple[Relief, ...]:
    """The cheapest ways found to place what is unplaced and to take away lateness, best first.

    Parameters
    ----------
    table
        The timetable to be helped; its times are kept unless they cannot hold.
    seconds
        Effort for each try.
    at_most
        So many are given.

    Returns
    -------
    tuple
        Only what a new timetable has shown to help; empty if nothing is unplaced or late, or nothing helps.
    """
    wanted, finished = tuple(needs), frozenset(done)

    def again(farm: Site, overtime: Mapping[str, int] | None = None, tanks: int = 1) -> Timetable:
        return schedule(
            wanted,
            farm,
            now=now,
            published=table.by_uid(),
            done=finished,
            seconds=seconds,
            holidays=holidays,
            dusk=dusk,
            overtime=overtime,
            prepared_water=None
            if prepared_water is None
            else replace(prepared_water, tank_l=prepared_water.tank_l * tanks),
        )

    trouble = [need for need in wanted if need.uid in {one.uid for one in table.unplaced} | set(table.late)]
    if not trouble:
        return ()
    base = again(site)  # what the same effort gains on the farm as it is, so that no relief is praised for it
    tries = [*_tries(trouble, site), *_more_water(trouble, site, prepared_water)]
    told = (_told(one, site, base, again(one.site, one.overtime, one.tanks)) for one in tries)
    found = [relief for relief in told if relief is not None]
    found.sort(key=lambda one: (-len(one.places), -one.saves_late_minutes // 60, one.extra_minutes, one.do))
    return tuple(found[:at_most])


def with_reliefs(table: Timetable, found: Sequence[Relief]) -> Timetable:
    """The timetable with the cheapest way named beside each piece of unplaced work that a relief places."""
    by_cost = sorted(found, key=lambda relief: relief.extra_minutes)
    rows = []
    for one in table.unplaced:
        ways = [relief.do for relief in by_cost if one.uid in relief.places]
        rows.append(replace(one, cheapest=ways[0] if ways else one.cheapest or _NOTHING_ALONE))
    return replace(table, unplaced=tuple(rows))


def _tries(trouble: Sequence[Need], site: Site) -> Iterator[_Try]:
    """Farms changed in one thing that the trouble could have to do with."""
    skills = sorted({need.skill for need in trouble})
    workers = [person for person in site.people.values() if person.role != "read-only"]
    for person in workers:
        if not any(not skill or skill in person.skills for skill in skills):
            continue
        name = person.name or person.id
        for minutes in (60, 120):
            words = f"let {name} work up to {minutes // 60} h longer"
            yield _Try(site, words, person.id, {person.id: minutes})
        if set(person.days) != set(ALL_DAYS):
            more = {**site.people, person.id: person.model_copy(update={"days": ALL_DAYS})}
            yield _Try(site.model_copy(update={"people": more}), f"let {name} work on days off", person.id)
    for kind in sorted({need.station for need in trouble if need.station}):
        station = next((one for one in site.stations.values() if one.kind == kind), None)
        if station is not None:
            yield _Try(_one_more(site, station), f"set up one more place at {station.name}", "", None, _PLACE_MIN)
    lacking = [skill for skill in skills if skill and not any(skill in person.skills for person in workers)]
    for skill in lacking:
        for person in workers:
            taught = person.model_copy(update={"skills": (*person.skills, skill)})
            more = {**site.people, person.id: taught}
            words = f"teach {person.name or person.id} '{skill}'"
            yield _Try(site.model_copy(update={"people": more}), words, "", None, _TEACH_MIN)


def _more_water(trouble: Sequence[Need], site: Site, water: PreparedWater | None) -> Iterator[_Try]:
    """A second mixing tank, where work in trouble draws mixed water."""
    if water is not None and any(water.drawn_l.get(need.uid, 0.0) > 0 for need in trouble):
        words = f"have {water.tank_l:g} L more mixed water ready: a second mixing tank"
        yield _Try(site, words, "", None, _PLACE_MIN, 2)


def _one_more(site: Site, station: Station) -> Site:
    wider = station.model_copy(update={"places": station.places + 1})
    return site.model_copy(update={"stations": {**site.stations, station.id: wider}})


def _told(one: _Try, site: Site, table: Timetable, answer: Timetable) -> Relief | None:
    left = {row.uid for row in answer.unplaced}
    places = tuple(sorted(row.uid for row in table.unplaced if row.uid not in left))
    saves = table.late_minutes - answer.late_minutes
    if len(left) > len(table.unplaced) or (not places and saves < 15):
        return None
    extra, days = one.extra_minutes, _outside(one.person, site, answer.tasks)
    words = one.words
    if one.person:
        if not days:
            return None
        extra = sum(days.values())
        words += f" on {', '.join(f'{day:%a %d %b}' for day in sorted(days)[:3])}"
        words += f" and {len(days) - 3} more day{'s' if len(days) > 4 else ''}" if len(days) > 3 else ""
    gain = [f"places {len(places)} more"] if places else []
    gain += [f"saves {saves // 60} h {saves % 60:02d} of lateness"] if saves >= 15 else []
    return Relief(f"{words}: {', '.join(gain)}", places, max(0, saves), extra)


def _outside(person: str, site: Site, tasks: Iterable[Task]) -> dict[date, int]:
    """Minutes of a person's tasks outside the hours the farm has today, by day."""
    days: dict[date, int] = {}
    if not person:
        return days
    hours = site.people[person]
    for task in tasks:
        if person not in task.staff:
            continue
        day = task.start.date()
        works = hours.works_on(day)
        regular_end = datetime.combine(day, hours.ends, task.end.tzinfo) if works else task.start
        over = task.end - max(task.start, regular_end)
        if over > timedelta(0):
            days[day] = days.get(day, 0) + round(over.total_seconds() / 60)
    return days
