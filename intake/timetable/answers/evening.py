"""Work wanted after dark that is in daylight, counted, and what one evening shift a week would put right."""

from __future__ import annotations

from collections import Counter

from intake.timetable.search.cost import in_part
from intake.timetable.search.hours import Hours

__all__ = ["evening_shift", "in_daylight"]

_DAYS = ("Mondays", "Tuesdays", "Wednesdays", "Thursdays", "Fridays", "Saturdays", "Sundays")


def in_daylight(hours: Hours) -> list[int]:
    """Jobs wanted after dark that begin before dusk."""
    return [
        index
        for index, job in enumerate(hours.problem.jobs)
        if job.need.part_of_day == "after dark"
        and hours.start[index] >= 0
        and not in_part(hours.problem, job, hours.start[index])
    ]


def evening_shift(hours: Hours) -> str:
    """The weekday on which an evening shift would take most of that work after dark, in words; empty when there is none.

    Counted by windows alone: who works that evening has nothing else to do then.
    """
    problem = hours.problem
    jobs = in_daylight(hours)
    if not jobs:
        return ""
    fits: Counter[int] = Counter()
    until: dict[int, int] = {}
    for index in jobs:
        job = problem.jobs[index]
        low, high = job.earliest, max(job.latest, hours.start[index])
        days = {day.date.weekday(): day for day in problem.days if low < day.first + day.slots and day.dusk <= high}
        for weekday, day in days.items():
            fits[weekday] += 1
            until[weekday] = max(until.get(weekday, 0), day.dusk - day.first + 8)
    wanted = sum(1 for job in problem.jobs if job.need.part_of_day == "after dark")
    told = f"{len(jobs)} of {wanted} tasks wanted after dark are in daylight"
    if not fits:
        return told
    weekday, number = min(fits.items(), key=lambda row: (-row[1], row[0]))
    clock = f"{until[weekday] // 4 % 24:02d}:{until[weekday] % 4 * 15:02d}"
    return f"{told}; one evening shift a week ({_DAYS[weekday]} until {clock}) would do {number} of them after dark"
