"""Quarantine: the work a lot needs, when it may leave, and who shared water with whom."""

from intake.quarantine.daily.rounds import rounds_for
from intake.quarantine.needs import Need, Prescription
from intake.quarantine.protocol import work_for
from intake.quarantine.quarantine_clock import Clock, clock_of, entered_at, temperature_of
from intake.quarantine.redip import Series, generation_days, series
from intake.quarantine.release import Course, Orders, Release, courses_of, free_from, release, release_of
from intake.quarantine.work import needs_for

__all__ = [
    "Clock",
    "Course",
    "Need",
    "Orders",
    "Prescription",
    "Release",
    "Series",
    "clock_of",
    "courses_of",
    "entered_at",
    "free_from",
    "generation_days",
    "needs_for",
    "release",
    "release_of",
    "rounds_for",
    "series",
    "temperature_of",
    "work_for",
]
