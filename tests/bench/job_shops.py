"""Bench of the whole search of the timetable on public job shops whose due date is the published optimum.

Run with ``python -m tests.bench.job_shops --seconds 10``.  An operation is late by the slots it starts after the last
moment from which its job can still end by the optimum; "plain" is one CP-SAT model of the same cost without a search
around it.  Both have the same effort in deterministic seconds, so that a loaded machine changes nothing.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from datetime import time as clock

from intake.farm.site import Person
from intake.quarantine.needs import Need
from intake.timetable import timetable_tuning as tuning
from intake.timetable.problem import Day, Job, Problem
from intake.timetable.search import solve
from intake.timetable.search.hours import Hours
from intake.timetable.search.serial import serial
from tests.bench.timetable import raw
from tests.timetable import slots
from tests.timetable.public_sets import Project, projects

NAMES = "ft06,la01,la06,la16,ft10,orb01,la21"
ORIGIN = datetime(2027, 3, 1, tzinfo=UTC)
LATEST = 4
"""The day is so many times the optimum long: room for every timetable a search may begin with."""


def farm(project: Project) -> Problem:
    """A job shop as a farm of one long day: machines are stations, a job's operations its chain, hands are no limit."""
    assert project.optimum is not None
    horizon, count = LATEST * project.optimum, len(project.durations)
    before = {then: first for first, _, then in project.lags}
    following = {first: then for first, _, then in project.lags}
    people = tuple(
        Person(id=f"p{number}", starts=clock(0), ends=clock(23)) for number in range(count - len(project.lags))
    )
    day = Day(date(2027, 3, 1), 0, horizon, tuple((0, horizon) for _ in people), False, horizon)
    jobs, hand = [], -1
    for index, slots_ in enumerate(project.durations):
        hand += index not in before
        tail, then = slots_, index
        while then in following:
            then = following[then]
            tail += project.durations[then]
        machine = next(number for number, row in enumerate(project.demands) if row[index])
        job = Job(
            uid=f"{index:03d}", need=_need(f"{index:03d}"), slots=slots_, earliest=0, latest=project.optimum - tail,
            low=0, high=horizon, weight=100, after=before.get(index, -1), lag_min=_lag(project, index, before),
            lag_max=None, who=(hand,), people=1, uses=(f"m{machine}",), rank=0, days=(0,),
        )  # fmt: skip
        jobs.append(job)
    places = {f"m{number}": 1 for number in range(len(project.capacities))}
    return Problem(ORIGIN, 0, (day,), people, places, tuple(jobs))


def _lag(project: Project, index: int, before: dict[int, int]) -> int:
    return project.durations[before[index]] if index in before else 0


def _need(uid: str) -> Need:
    return Need(
        uid=uid, kind="inspection", batch="", vat="", system="", title=uid, earliest=ORIGIN, nominal=ORIGIN,
        latest=ORIGIN, minutes=15, why="", evidence="default", source="public", unsourced=True,
    )  # fmt: skip


def _timed(work: Callable[[], Hours]) -> tuple[Hours, float]:
    began = time.process_time()
    return work(), time.process_time() - began


def main() -> None:
    """Print a row for each instance."""
    told = argparse.ArgumentParser(description=__doc__)
    told.add_argument("--names", default=NAMES)
    told.add_argument("--seconds", type=float, default=10.0)
    asked = told.parse_args()
    print("| instance | at once: slots late | search: slots late, CPU s | plain CP-SAT: slots late, CPU s |")
    print("| --- | --- | --- | --- |")
    effort = asked.seconds * tuning.DET_PER_SECOND  # the measure the search itself uses
    found = {one.name: one for one in projects("job shop")}
    for name in asked.names.split(","):
        problem = farm(found[name])
        first = serial(problem)
        ours, spent = _timed(lambda: solve.improve(first, seconds=asked.seconds).hours)  # noqa: B023  # called here
        plain, other = _timed(lambda: raw(problem, first, 0.0, 1, effort=effort))  # noqa: B023  # called here
        for hours in (ours, plain):
            assert not slots.faults(problem, hours.start, hours.who)
        late = [slots.late(problem, hours.start) for hours in (first, ours, plain)]
        print(f"| {name} | {late[0]} | {late[1]}, {spent:.1f} | {late[2]}, {other:.1f} |", flush=True)


if __name__ == "__main__":
    main()
