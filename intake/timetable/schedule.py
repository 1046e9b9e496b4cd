"""From needs to a timetable: a complete one at once, then a cheaper one; or the published one repaired after news."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time

from intake.farm.site import Site
from intake.quarantine.needs import Need
from intake.timetable.answers.shown_timetable import told
from intake.timetable.build import build
from intake.timetable.mixed import PreparedWater
from intake.timetable.problem import Problem
from intake.timetable.search.cost import tally
from intake.timetable.search.hours import Hours
from intake.timetable.search.order import in_order, in_turn
from intake.timetable.search.repair import repaired
from intake.timetable.search.replan import GRACE_H, pin, stands_still
from intake.timetable.search.serial import serial
from intake.timetable.search.solve import Progress, Solved, improve
from intake.timetable.solution import Task, Timetable

__all__ = ["Conditions", "repair", "schedule"]


@dataclass(frozen=True, slots=True)
class Conditions:
    """What holds on the farm beside its file.

    Attributes
    ----------
    holidays
        Days on which only essential work is placed.
    dusk
        Farm day → clock time from which it is dark; the last working hour where not given.
    frozen_hours
        Published tasks that begin within so many hours do not move even if they no longer fit.
    overtime
        Person id → minutes added to the end of every shift (what-if).
    prepared_water
        The mixing tank and the liters each need draws; mixed water is not limiting where not given.
    grace_h
        Hours after its end in which a task not recorded stays where it was published.
    taken
        Person id → times already given to a landing day, first and last-plus-one moment.
    settled
        Uids whose trouble an earlier repair met and could not mend (:mod:`intake.timetable.settled`).
    """

    holidays: frozenset[date] = frozenset()
    dusk: Mapping[date, time] | None = None
    frozen_hours: float = 0.0
    overtime: Mapping[str, int] | None = None
    prepared_water: PreparedWater | None = None
    grace_h: float = GRACE_H
    taken: Mapping[str, Sequence[tuple[datetime, datetime]]] | None = None
    settled: frozenset[str] = frozenset()


def repair(
    needs: Iterable[Need],
    site: Site,
    *,
    now: datetime,
    published: Mapping[str, Task],
    done: Iterable[str] = (),
    conditions: Conditions | None = None,
    seed: int = 0,
) -> Timetable:
    """The published timetable after news: what still holds stays to the minute, the rest moves least.

    Parameters
    ----------
    needs
        All that must be done from now on.
    published
        Uid → open task of the timetable people have.
    done
        Uids recorded as done; they are left out.

    Returns
    -------
    Timetable
        Its changes distinguish forced moves from further ones; ``fewest`` whether no fewer further ones are possible.
    """
    finished, given = frozenset(done), conditions or Conditions()
    problem = _problem(needs, site, now, published, finished, given)
    settled = frozenset(index for index, job in enumerate(problem.jobs) if job.uid in given.settled)
    found = repaired(problem, seed=seed, settled=settled)
    solved = Solved(in_turn(found.hours), 0, found.proved, 0)
    return told(solved, site, before=published, done=finished, now=now, seed=seed, proved=found.proved)


def _problem(
    needs: Iterable[Need],
    site: Site,
    now: datetime,
    before: Mapping[str, Task],
    finished: frozenset[str],
    given: Conditions,
) -> Problem:
    """The open needs as a problem, published starts pinned."""
    open_needs = [need for need in needs if need.uid not in finished]
    begun = [
        before[need.uid].start
        for need in open_needs
        if need.uid in before and stands_still(before[need.uid], now, given.frozen_hours, given.grace_h)
    ]
    problem = build(
        open_needs,
        site,
        now=now,
        holidays=given.holidays,
        dusk=given.dusk,
        overtime=given.overtime,
        first_day=min([now, *begun]).astimezone(site.farm.zone).date(),
        prepared_water=given.prepared_water,
        taken=given.taken,
    )
    return pin(problem, before, now, given.frozen_hours, given.grace_h)


def schedule(
    needs: Iterable[Need],
    site: Site,
    *,
    now: datetime,
    published: Mapping[str, Task] | None = None,
    done: Iterable[str] = (),
    seconds: float = 10.0,
    seed: int = 0,
    progress: Callable[[Progress], None] | None = None,
    holidays: frozenset[date] = frozenset(),
    dusk: Mapping[date, time] | None = None,
    frozen_hours: float = 0.0,
    overtime: Mapping[str, int] | None = None,
    prepared_water: PreparedWater | None = None,
    taken: Mapping[str, Sequence[tuple[datetime, datetime]]] | None = None,
) -> Timetable:
    """Place every need in time, with people and stations named.

    Parameters
    ----------
    needs
        What must be done (:func:`intake.quarantine.needs_for`).
    now
        Time-zone aware; nothing is placed before it and nothing before it moves.
    published
        Uid → task of the timetable people have; its times are kept unless they cannot hold.
    done
        Uids recorded as done; they are left out.
    seconds
        About how long to improve on one core; 0 gives the serial timetable.  The effort is counted in deterministic
        work, so equal input gives an equal timetable.
    holidays
        Days on which only essential work is placed.
    dusk
        Farm day → clock time from which it is dark; the last working hour where not given.
    frozen_hours
        Published tasks that begin within so many hours do not move even if they no longer fit.
    overtime
        Person id → minutes added to the end of every shift (what-if).
    prepared_water
        The mixing tank and the liters each need draws; mixed water is not limiting where not given.
    taken
        Person id → times already given to a landing day, first and last-plus-one moment.
    settled
        Uids whose trouble an earlier repair met and could not mend (:mod:`intake.timetable.settled`).
    """
    finished, before = frozenset(done), dict(published or {})
    given = Conditions(holidays, dusk, frozen_hours, overtime, prepared_water, taken=taken)
    problem = _problem(needs, site, now, before, finished, given)
    first, proved = serial(problem), False
    if before:
        kept = repaired(problem, seed=seed)
        if _dearness(kept.hours) <= _dearness(first):
            first, proved = kept.hours, kept.proved
    solved = improve(first, seconds=seconds, seed=seed, progress=progress)
    ordered = in_turn(in_order(solved.hours))
    solved = replace(solved, hours=ordered)
    return told(solved, site, before=before, done=finished, now=now, seed=seed, proved=proved or solved.proved)


def _dearness(hours: Hours) -> tuple[int, int]:
    return hours.start.count(-1), tally(hours).cost
