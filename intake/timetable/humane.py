"""Hours people can stand: pauses in a shift, rest between days, a day off in every row of days."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta

from intake.farm.site import Person, Site, Working
from intake.timetable.slots import SLOT_MIN

__all__ = ["days_off", "kept_rest", "pauses"]

_LUNCH_FROM_H = 6.0
"""A shift of so many hours or more has a lunch (Directive 2003/88/EC, article 4, from memory)."""

_LONGEST_SLOTS = 12
"""The longest piece of work, so that a pause leaves room for it where it can."""


def pauses(shift: tuple[int, int], number: int, noon: int, working: Working) -> tuple[tuple[int, int], ...]:
    """Slots of a shift, first and last-plus-one, in which nothing is booked: lunch, then a pause in what is too long.

    Parameters
    ----------
    number
        Number of the person: lunches and pauses of several people fall one after another.
    noon
        The slot in which the time for lunch begins.
    """
    found: list[tuple[int, int]] = []
    lunch = -(-working.lunch_minutes // SLOT_MIN)
    if lunch and (shift[1] - shift[0]) * SLOT_MIN >= 60 * _LUNCH_FROM_H:
        room = (_minutes(working.lunch_until) - _minutes(working.lunch_from)) // SLOT_MIN
        turns = max(1, room // lunch)
        at = noon + lunch * (number % turns)
        if not shift[0] < at < shift[1] - lunch:  # a late shift: the middle of it
            at = (shift[0] + shift[1] - lunch) // 2
        found.append((at, at + lunch))
    short = -(-working.pause_minutes // SLOT_MIN)
    if short:
        found += _between(shift, found, short, int(working.stretch_h * 60) // SLOT_MIN)
    return tuple(sorted(found))


def _between(
    shift: tuple[int, int], taken: Sequence[tuple[int, int]], short: int, longest: int
) -> list[tuple[int, int]]:
    """Pauses in the stretches that are too long, near their middle."""
    edges = [shift[0], *(slot for pause in taken for slot in pause), shift[1]]
    found = []
    for first, after in zip(edges[::2], edges[1::2], strict=True):
        at = first
        while after - at > longest:
            middle = at + max(min(longest, (after - at - short) // 2), min(_LONGEST_SLOTS, after - at - short))
            found.append((middle, middle + short))
            at = middle + short
    return found


def kept_rest(person: Person, working: Working) -> time:
    """When someone's day ends at the latest so that so many hours lie before the next one begins."""
    spare = timedelta(hours=24) - timedelta(hours=working.rest_h)
    latest = datetime.combine(date.min, person.starts) + spare
    return person.ends if latest.date() > date.min else min(person.ends, latest.time())


def days_off(
    site: Site, people: Sequence[Person], busy: Mapping[date, int], first: date, last: date
) -> dict[str, set[date]]:
    """Person → days off that the farm file does not give: one in each row of days, so that weekends fall to all in turn.

    A day off is given where others keep every skill of that person, and two people, at work; never on a day someone
    has to land animals (``busy``).  The calendar decides, so that the same days come out whenever it is asked.
    """
    most = site.working.days_in_a_row
    found: dict[str, set[date]] = {person.id: set() for person in people}
    if not most or len(people) < 3:
        return found
    for number, person in enumerate(people):
        if len(person.days) <= most:
            continue
        cycle = first.toordinal() - (first.toordinal() + 3 * number) % most
        while cycle <= last.toordinal():
            middle = date.fromordinal(cycle)
            offered = (middle, middle - timedelta(days=1), middle + timedelta(days=1))
            day = next((day for day in offered if _spared(people, found, person, day, busy)), None)
            if day is not None:
                found[person.id].add(day)
            cycle += most
    return found


def _spared(
    people: Sequence[Person], found: Mapping[str, set[date]], person: Person, day: date, busy: Mapping[date, int]
) -> bool:
    """Whether the others can do without someone on a day."""
    others = [one for one in people if one is not person and one.works_on(day) and day not in found[one.id]]
    held = {skill for one in others for skill in one.skills}
    return person.works_on(day) and day not in busy and len(others) >= 2 and set(person.skills) <= held


def _minutes(moment: time) -> int:
    return 60 * moment.hour + moment.minute
