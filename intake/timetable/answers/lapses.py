"""Repeats that stand past the moment at which their series begins again: what that costs, and the least that would do."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime, time, timedelta

from intake.farm.site import Person, Site
from intake.quarantine.needs import Need
from intake.timetable.problem import Unplaced
from intake.timetable.solution import Task

__all__ = ["lapses_told", "lapsing"]

_OVERTIME_MIN = (60, 120)
"""Minutes after a shift that are offered, the fewest first: as in the reliefs for work without a place."""

_NOTHING_ALONE = "no one hour more is enough: ask someone in from outside, or let it begin again"


def lapsing(need: Need, task: Task) -> bool:
    """Whether work planned for then, recorded at its end, no longer follows the repeat before it, and someone waits for it."""
    return need.deadline is not None and need.delays is not None and task.end > need.deadline


def lapses_told(needs: Iterable[Need], tasks: Mapping[str, Task], site: Site) -> list[Unplaced]:
    """Each repeat whose series the timetable lets begin again: when, until when it had to be, the price, and a way out."""
    found = []
    for need in sorted(needs, key=lambda need: need.uid):
        task = tasks.get(need.uid)
        if task is None or need.delays is None or not lapsing(need, task):
            continue
        zone = site.farm.zone
        why = f"planned for {task.start.astimezone(zone):%a %d %b %H:%M}. {need.delays.words(zone)}"
        way = next(_ways(need, task, tasks, site), _NOTHING_ALONE)
        found.append(Unplaced(need.uid, need.kind, need.batch, need.vat, why, way, title=need.title))
    return found


def _ways(need: Need, task: Task, tasks: Mapping[str, Task], site: Site) -> Iterator[str]:
    """Hours one person could add so that the work is done in time, the fewest first."""
    able = [
        person
        for person in site.people.values()
        if person.role != "read-only" and (not need.skill or need.skill in person.skills)
    ]
    if (need.people > 1 and not need.company) or need.deadline is None:
        return
    long = task.end - task.start
    for minutes in _OVERTIME_MIN:
        for person, day in _evenings(need, able, site):
            ends = _at(day, person.ends, site)
            free = max(_free_from(person, day, tasks, site), need.earliest)
            if free + long <= min(ends + timedelta(minutes=minutes), need.deadline):
                yield f"let {person.name or person.id} work up to {minutes // 60} h longer on {day:%a %d %b}"
    for person, day in _evenings(need, able, site, off=True):
        begins = max(_at(day, person.starts, site), need.earliest)
        if begins + long <= min(_at(day, person.ends, site), need.deadline):
            yield f"let {person.name or person.id} work on {day:%a %d %b}, a day off"


def _evenings(need: Need, able: list[Person], site: Site, *, off: bool = False) -> Iterator[tuple[Person, date]]:
    """People and days between the first moment and the last, the last day first: those who work then, or who are off."""
    if need.deadline is None:
        return
    zone = site.farm.zone
    first, day = need.earliest.astimezone(zone).date(), need.deadline.astimezone(zone).date()
    while day >= first:
        yield from ((person, day) for person in able if person.works_on(day) != off and not _away(person, day))
        day -= timedelta(days=1)


def _away(person: Person, day: date) -> bool:
    gone = person.until is not None and day > person.until
    return gone or any(leave.holds(day) for leave in person.leave)


def _free_from(person: Person, day: date, tasks: Mapping[str, Task], site: Site) -> datetime:
    """When the last work of someone's day is over; the beginning of the shift where there is none."""
    zone = site.farm.zone
    ends = [
        task.end for task in tasks.values() if person.id in task.staff and task.start.astimezone(zone).date() == day
    ]
    return max([_at(day, person.starts, site), *ends])


def _at(day: date, moment: time, site: Site) -> datetime:
    return datetime.combine(day, moment, site.farm.zone)
