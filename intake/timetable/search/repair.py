"""A published timetable after news: what still holds stays to the minute, the rest moves least."""

from __future__ import annotations

from dataclasses import dataclass

from intake.timetable import timetable_tuning as tuning
from intake.timetable.problem import Job, Problem
from intake.timetable.search.cost import lapses, late_slots
from intake.timetable.search.hours import Hours
from intake.timetable.search.serial import floors
from intake.timetable.search.solve import fewer_lapses, fewest_moves, less_late
from intake.timetable.search.task_placing import followers, place

__all__ = ["Repaired", "repaired"]


@dataclass(frozen=True, slots=True)
class Repaired:
    """The repaired timetable.

    Attributes
    ----------
    forced
        Jobs whose published time could not hold whatever the others did.
    further
        Jobs that moved to make room.
    proved
        Whether no fewer further moves are possible with so little lateness.
    """

    hours: Hours
    forced: frozenset[int]
    further: frozenset[int]
    proved: bool


def repaired(problem: Problem, *, seed: int = 0, settled: frozenset[int] = frozenset()) -> Repaired:
    """Keep every published time that holds, put the rest down again, move others only where something would be late.

    Parameters
    ----------
    problem
        With published starts pinned (:func:`intake.timetable.search.replan.pin`).
    settled
        Jobs whose trouble an earlier repair met and could not mend: they keep their time, and nothing is moved for them.
    """
    hours, after = Hours(problem), followers(problem)
    rest = _kept(hours, settled)
    forced = frozenset(index for index in rest if problem.jobs[index].pinned >= 0)
    for index in sorted(rest, key=lambda index: _urgent(problem, index)):
        if hours.start[index] < 0:
            place(hours, index, after)
    hours.journal.clear()
    late = [index for index in _trouble(hours, rest) if index not in settled]
    if late:
        hours = less_late(hours, late, floors(problem), seed)
    lapsed = [index for index in late if hours.start[index] >= 0 and _lapses(hours, index)]
    if lapsed:
        hours = fewer_lapses(hours, lapsed, seed)
    further = _moved(hours) - forced
    proved = not further
    if further and len(_reach(hours, further | set(late))) <= tuning.REPAIR_REACH:
        hours, proved = fewest_moves(hours, _reach(hours, further | set(late)), seed)
        further = _moved(hours) - forced
    return Repaired(hours, forced, further, proved)


def _kept(hours: Hours, settled: frozenset[int]) -> list[int]:
    """Put down what stands and what still holds; gives the rest."""
    problem, rest = hours.problem, []
    for index, job in enumerate(problem.jobs):
        if job.fixed:
            hours.put(index, job.pinned, job.pinned_who)
    # work before what follows it: news may put one after the other that was published the other way round
    order = sorted(
        range(len(problem.jobs)), key=lambda index: (_depth(problem, index), problem.jobs[index].pinned, index)
    )
    for index in order:
        job = problem.jobs[index]
        if job.fixed:
            continue
        if job.pinned >= 0 and _holds(hours, index, settled):
            hours.put(index, job.pinned, job.pinned_who)
        else:
            rest.append(index)
    return rest


def _holds(hours: Hours, index: int, settled: frozenset[int]) -> bool:
    """Whether the published time and people are still possible beside what has been put down."""
    problem, job = hours.problem, hours.problem.jobs[index]
    if job.pinned < job.earliest or len(job.pinned_who) != job.people:
        return False
    before = _before(hours, job)
    if before is not None and job.pinned - before < job.lag_min:
        return False
    troubled = late_slots(job, job.pinned, before) > job.was_late or lapses(job, job.pinned, before)
    if troubled and index not in settled:
        return False
    day = problem.day_of(job.pinned)
    at = job.pinned - problem.days[day].first
    if not hours.open_starts(day, job, job.earliest) >> at & 1:
        return False
    return set(job.pinned_who) <= set(hours.available(job, job.pinned))


def _urgent(problem: Problem, index: int) -> tuple[int, int, int]:
    """First what follows from nothing else, then what has least time."""
    job = problem.jobs[index]
    return _depth(problem, index), -job.weight, job.latest


def _depth(problem: Problem, index: int) -> int:
    """How many jobs stand before this one in its chain."""
    depth, before = 0, problem.jobs[index].after
    while before >= 0:
        depth, before = depth + 1, problem.jobs[before].after
    return depth


def _trouble(hours: Hours, rest: list[int]) -> list[int]:
    """Work that stands later than it may and than it was published, or nowhere, or where its series begins again.

    The dearest first.  That its published time was kept says nothing: what came before it may have moved, or been done
    sooner than planned.
    """
    jobs = hours.problem.jobs
    found = [index for index in rest if not jobs[index].fixed and _late(hours, index)]
    found += [index for index, job in enumerate(jobs) if not job.fixed and _later(hours, index)]
    return sorted(dict.fromkeys(found), key=lambda index: -jobs[index].stake if _lapses(hours, index) else 0)


def _later(hours: Hours, index: int) -> bool:
    return hours.start[index] >= 0 and (
        _late(hours, index) > hours.problem.jobs[index].was_late or _lapses(hours, index)
    )


def _late(hours: Hours, index: int) -> int:
    job, start = hours.problem.jobs[index], hours.start[index]
    return 1 if start < 0 else late_slots(job, start, _before(hours, job))


def _lapses(hours: Hours, index: int) -> bool:
    job, start = hours.problem.jobs[index], hours.start[index]
    return job.stake > 0 and start >= 0 and lapses(job, start, _before(hours, job))


def _before(hours: Hours, job: Job) -> int | None:
    return hours.start[job.after] if job.after >= 0 and hours.start[job.after] >= 0 else None


def _moved(hours: Hours) -> frozenset[int]:
    jobs = hours.problem.jobs
    return frozenset(
        index
        for index, start in enumerate(hours.start)
        if jobs[index].pinned >= 0 and start not in (-1, jobs[index].pinned)
    )


def _reach(hours: Hours, indices: frozenset[int] | set[int]) -> list[int]:
    """Jobs that stand on a day these left or came to, and share people with them."""
    problem = hours.problem
    days = {
        problem.day_of(slot)
        for index in indices
        for slot in (hours.start[index], problem.jobs[index].pinned)
        if slot >= 0
    }
    return sorted(
        {index for day in days for index in hours.jobs_on(day) if not problem.jobs[index].fixed}
        | {index for index in indices if hours.start[index] >= 0}
    )
