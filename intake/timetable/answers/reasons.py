"""Why work moved or is late, in plain words: the root of it, not the first rule met."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from intake.timetable.problem import SLOT_MIN, Job, Problem
from intake.timetable.search.hours import Hours
from intake.timetable.solution import Task

__all__ = ["Reason", "fact_against", "why_late", "why_moved", "why_others"]

_DEEP = 6
"""A chain of displacements is followed so far."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a published task moved: ``forced`` when facts forbid its time whatever else is done, else to make room."""

    words: str
    forced: bool


def why_moved(
    hours: Hours, index: int, published: Mapping[str, Task], now: datetime, seen: frozenset[int] = frozenset()
) -> Reason:
    """The root cause of a move: followed through the work that took the place, to the fact that began it."""
    problem, job = hours.problem, hours.problem.jobs[index]
    was = published[job.uid]
    fact = fact_against(hours, index, was, now)
    if fact is not None:
        return Reason(fact, forced=True)
    before = _pushed(hours, index, was)
    if before is not None:
        return Reason(
            _root_of(hours, before, published, now, seen | {index}, _pushed_words(problem, job, before)), forced=True
        )
    other, words = _in_the_way(hours, index, was)
    if other is None:
        return Reason(words, forced=False)
    return Reason(_root_of(hours, other, published, now, seen | {index}, words), forced=False)


def _root_of(
    hours: Hours, other: int, published: Mapping[str, Task], now: datetime, seen: frozenset[int], words: str
) -> str:
    """The words of what blocks it, led by the reason it is there."""
    job = hours.problem.jobs[other]
    was = published.get(job.uid)
    if was is None:
        return f"{words} (new)"
    if other in seen or len(seen) > _DEEP or _slot(hours.problem, was.start) == hours.start[other]:
        return words
    return f"{why_moved(hours, other, published, now, seen).words}; {words}"


def fact_against(hours: Hours, index: int, was: Task, now: datetime) -> str | None:
    """The fact that forbids a published time, whatever other work does; ``None`` when there is none."""
    problem, job = hours.problem, hours.problem.jobs[index]
    old, zone = _slot(problem, was.start), was.start.tzinfo
    if was.end <= now:
        return f"not recorded as done by {now.astimezone(zone):%a %d %b %H:%M}"
    if old < problem.now:
        return "its start time has passed"
    if old < job.earliest:
        return f"not before {problem.moment(job.earliest).astimezone(zone):%a %d %b %H:%M}"
    away = [name for name in was.staff if not _free_by_shift(problem, name, old, job.slots)]
    if away:  # whoever else could do it then has something else to do, or it would be there under another name
        return _away(problem, away, was.start)
    if old > job.latest:
        return f"must begin by {problem.moment(job.latest).astimezone(zone):%a %d %b %H:%M}"
    return None


def _pushed(hours: Hours, index: int, was: Task) -> int | None:
    """The job before it that no longer leaves the lag its protocol asks."""
    job = hours.problem.jobs[index]
    if job.after < 0 or hours.start[job.after] < 0:
        return None
    gap = _slot(hours.problem, was.start) - hours.start[job.after]
    return job.after if gap < job.lag_min or (job.lag_max is not None and gap > job.lag_max) else None


def _pushed_words(problem: Problem, job: Job, before: int) -> str:
    lag = f"at least {_span(job.lag_min)}"
    if job.lag_max is not None:
        lag = f"{_span(job.lag_min)} to {_span(job.lag_max)}"
    return f"{lag} after {problem.jobs[before].need.title}"


def why_others(hours: Hours, index: int, was: Task, published: Mapping[str, Task], now: datetime) -> Reason:
    """Why other people are named at the published time."""
    problem, job = hours.problem, hours.problem.jobs[index]
    start = hours.start[index]
    away = [name for name in was.staff if not _free_by_shift(problem, name, start, job.slots)]
    if away:
        return Reason(_away(problem, away, was.start), forced=True)
    unable = sorted(set(was.staff) - {problem.people[person].id for person in job.who})
    if unable:
        return Reason(f"{', '.join(unable)} does not have the skill '{job.need.skill}'", forced=True)
    if len(was.staff) != job.people:
        return Reason(f"{job.people} people are needed", forced=True)
    other, words = _in_the_way(hours, index, was)
    root = words if other is None else _root_of(hours, other, published, now, frozenset({index}), words)
    return Reason(root, forced=False)


def why_late(hours: Hours, index: int) -> str:
    """What keeps a late job from beginning in time."""
    problem, job = hours.problem, hours.problem.jobs[index]
    if job.latest < problem.now:
        return "its last moment had passed already"
    before = job.after
    if before >= 0 and hours.start[before] >= 0 and hours.start[before] + job.lag_min > job.latest:
        return f"the task before it ({problem.jobs[before].need.title}) ends too late for it"
    limit = job.latest
    if before >= 0 and hours.start[before] >= 0 and job.lag_max is not None:
        limit = min(limit, hours.start[before] + job.lag_max)
    return _short_of(hours, job, index, limit)


def _short_of(hours: Hours, job: Job, index: int, limit: int) -> str:
    """Which of hands, places, water and rest of the animals runs out first before the last moment."""
    problem, empty = hours.problem, Hours(hours.problem)
    days = [day for day in job.days if problem.days[day].first <= limit]
    days = [day for day in days if problem.days[day].first + problem.days[day].slots > job.earliest]
    skill = f" with the skill '{job.need.skill}'" if job.need.skill else ""
    if not any(_upto(problem, day, empty.open_starts(day, job, job.earliest), limit) for day in days):
        return f"no one{skill} is at work between {_when(problem, job.earliest)} and {_when(problem, limit)}"
    hands = [_upto(problem, day, _hands(hours, job, day), limit) for day in days]
    if not any(hands):
        return f"everybody{skill} is taken until {_when(problem, limit)}{_by_what(hours, job, days, index)}"
    stations = [kind for kind in job.uses if kind in problem.places]
    if stations:
        return f"no place at the {stations[0]} station was free until {_when(problem, limit)}"
    if job.water_l:
        return "not enough mixed water was ready in time"
    if job.apart:
        return f"the animals need {_span(problem.recovery)} between two handlings"
    return "the animals are being handled then"


def _hands(hours: Hours, job: Job, day: int) -> int:
    masks = [hours.free_starts(day, person, job) for person in job.who]
    found = 0
    for mask in masks:
        found |= mask
    first = hours.problem.days[day].first
    low = max(0, job.earliest - first)
    return found >> low << low


def _upto(problem: Problem, day: int, mask: int, limit: int) -> int:
    keep = limit - problem.days[day].first + 1
    return mask & ((1 << keep) - 1) if keep > 0 else 0


def _by_what(hours: Hours, job: Job, days: list[int], index: int) -> str:
    """The longest of the work that takes the people's time."""
    able = set(job.who)
    rows = [
        other
        for day in days[:3]
        for other in hours.jobs_on(day)
        if other != index and not able.isdisjoint(hours.who[other])
    ]
    longest = sorted(rows, key=lambda other: (-hours.problem.jobs[other].slots, other))[:2]
    names = ", ".join(hours.problem.jobs[other].need.title for other in longest)
    return f" ({names})" if names else ""


def _in_the_way(hours: Hours, index: int, was: Task) -> tuple[int | None, str]:
    """The job that stands where this one was published, and what it takes."""
    problem, job = hours.problem, hours.problem.jobs[index]
    old = _slot(problem, was.start)
    for other in hours.jobs_on(problem.day_of(old)):
        at = hours.start[other]
        if other == index or not (at < old + job.slots and old < at + problem.jobs[other].slots):
            continue
        words = _shared(hours, job, other, was)
        if words:
            return other, words
    for other in job.apart:
        at = hours.start[other]
        gap = problem.recovery
        if at >= 0 and at - gap < old + job.slots and old < at + problem.jobs[other].slots + gap:
            return other, f"the animals need {_span(gap)} after {problem.jobs[other].need.title}"
    return None, "to keep another task from being late"


def _shared(hours: Hours, job: Job, other: int, was: Task) -> str:
    problem, there = hours.problem, hours.problem.jobs[other]
    title = there.need.title
    named = [problem.people[person].id for person in hours.who[other] if problem.people[person].id in was.staff]
    if named:
        return f"{_names(problem, named)} needed then for {title}"
    shared = [kind for kind in job.uses if kind in there.uses and kind in problem.places]
    if shared:
        return f"the {shared[0]} station is needed then for {title}"
    if job.water_l and there.water_l and job.water_l + there.water_l > problem.tank_l:
        return f"the mixed water is needed then for {title}"
    if job.need.batch and job.need.batch == there.need.batch:
        return f"the animals are being handled then for {title}"
    return ""


def _open(shift: tuple[int, int] | None, start: int, slots: int) -> bool:
    return shift is not None and shift[0] <= start and start + slots <= shift[1]


def _free_by_shift(problem: Problem, name: str, start: int, slots: int) -> bool:
    """Whether someone's shift and pauses leave the time free."""
    day = problem.days[problem.day_of(start)]
    for number, person in enumerate(problem.people):
        if person.id == name:
            paused = day.pauses[number] if day.pauses else ()
            clash = any(first < start + slots and start < after for first, after in paused)
            return _open(day.shifts[number], start, slots) and not clash
    return False


def _away(problem: Problem, names: list[str], moment: datetime) -> str:
    """Who is away, and whether it is leave, a day off or the hours of the day."""
    day = moment.date()
    known = {person.id: person for person in problem.people}
    away = [name for name in names if name not in known]
    if away:
        return f"{', '.join(away)} no longer works here"
    who = _names(problem, names)
    person = known[names[0]]
    if any(leave.holds(day) for leave in person.leave):
        return f"{who} off on {day:%a %d %b}"
    if day in problem.rested.get(person.id, ()):
        return f"{who} off on {day:%a %d %b}, the day off in a row of working days"
    return f"{who} off at that time"


def _names(problem: Problem, ids: list[str]) -> str:
    known = {person.id: person.name or person.id for person in problem.people}
    words = " and ".join(known.get(one, one) for one in ids)
    return f"{words} is" if len(ids) == 1 else f"{words} are"


def _slot(problem: Problem, moment: datetime) -> int:
    return round((moment - problem.origin).total_seconds() / (60 * SLOT_MIN))


def _when(problem: Problem, slot: int) -> str:
    zone = problem.zone
    return f"{problem.moment(slot).astimezone(zone):%a %d %b %H:%M}"


def _span(slots: int) -> str:
    hours = slots * SLOT_MIN / 60
    return f"{hours / 24:.3g} days" if hours >= 24 else f"{hours:.3g} h"
