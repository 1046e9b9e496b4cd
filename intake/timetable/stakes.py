"""What is at stake where a repeat lapses: the last start that still counts, and the cost of a series that begins again."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from math import log10

from intake.quarantine.repeats import COUNTS_WITHIN_H
from intake.timetable.problem import LAPSE_SLOTS, LATE_COST, Job
from intake.timetable.slots import SLOT_MIN

__all__ = ["waiting", "with_stakes"]


def waiting(animal_days: float) -> float:
    """Factor on the cost of lateness that makes animals wait: one more for each power of ten of animal-days."""
    return 1.0 + log10(1.0 + animal_days)


def with_stakes(jobs: tuple[Job, ...], origin: datetime) -> tuple[Job, ...]:
    """Each repeat with its last start that counts and what lies on it.

    A repeat that follows recorded work has its deadline as a moment, one that follows open work as hours after that, so
    that a series is seen to break wherever one of its links is placed.  Work counts from its end, when it is recorded.
    """
    known: dict[int, float] = {}
    return tuple(_with_stake(jobs, number, origin, known) for number in range(len(jobs)))


def _with_stake(jobs: tuple[Job, ...], number: int, origin: datetime, known: dict[int, float]) -> Job:
    job = jobs[number]
    lapse, lag = _moment(job, origin), _lag(jobs, job)
    if lapse is None and lag is None:
        return job
    stake = round(LATE_COST * LAPSE_SLOTS * waiting(_animal_days(jobs, number, known)))
    return replace(job, lapse=lapse, lapse_lag=lag, stake=stake)


def _moment(job: Job, origin: datetime) -> int | None:
    if job.need.deadline is None or job.need.delays is None:
        return None  # no one waits longer for it
    return int((job.need.deadline - origin).total_seconds() // (60 * SLOT_MIN)) - job.slots


def _lag(jobs: tuple[Job, ...], job: Job) -> int | None:
    """Slots after the start of the repeat before it; ``None`` where that is no repeat of the same series."""
    if job.lag_max is None or not _repeats(jobs, job):
        return None
    spare = round(COUNTS_WITHIN_H[job.need.kind] * 60 / SLOT_MIN)
    return job.lag_max + spare - max(0, job.slots - jobs[job.after].slots)


def _repeats(jobs: tuple[Job, ...], job: Job) -> bool:
    if job.after < 0 or job.need.kind not in COUNTS_WITHIN_H:
        return False
    before = jobs[job.after].need
    return bool(job.need.dip) and (before.batch, before.dip) == (job.need.batch, job.need.dip)


def _animal_days(jobs: tuple[Job, ...], number: int, known: dict[int, float]) -> float:
    """Animal-days that lie on a repeat: as many as on the next of its series, at least its own animals for an interval."""
    if number not in known:
        job = jobs[number]
        own = job.need.delays.animal_days if job.need.delays else 0.0
        if not own and _repeats(jobs, job):
            own = max(job.need.headcount * (job.need.lag_max_days or 0.0), _animal_days(jobs, job.after, known))
        known[number] = own
    return known[number]
