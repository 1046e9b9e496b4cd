"""From needs to a timetable: a complete one at once, then a cheaper one, then people's days in order."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import date, datetime, time

from intake.farm.site import Site
from intake.quarantine.needs import Need
from intake.timetable.cost import in_part, late_slots, tally
from intake.timetable.hours import Hours
from intake.timetable.mixed import PreparedWater
from intake.timetable.order import in_order, ways_back_in
from intake.timetable.problem import SLOT_MIN, Problem, Unplaced, build
from intake.timetable.replan import changes, pin, stands_still
from intake.timetable.serial import serial
from intake.timetable.solution import Change, Task, Timetable
from intake.timetable.solve import Progress, Solved, improve

__all__ = ["schedule"]


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
        The mixing tank and the litres each need draws; mixed water is not limiting where not given.
    """
    finished, before = frozenset(done), dict(published or {})
    open_needs = [need for need in needs if need.uid not in finished]
    begun = [
        before[need.uid].start
        for need in open_needs
        if need.uid in before and stands_still(before[need.uid], now, frozen_hours)
    ]
    first = min([now, *begun]).astimezone(site.farm.zone).date()
    problem = build(
        open_needs,
        site,
        now=now,
        holidays=holidays,
        dusk=dusk,
        overtime=overtime,
        first_day=first,
        prepared_water=prepared_water,
    )
    problem = pin(problem, before, now, frozen_hours)
    solved = improve(serial(problem), seconds=seconds, seed=seed, progress=progress)
    ordered = in_order(solved.hours)
    return _told(replace(solved, hours=ordered), site, before=before, done=finished, now=now, seed=seed)


def _told(
    solved: Solved, site: Site, *, before: Mapping[str, Task], done: frozenset[str], now: datetime, seed: int
) -> Timetable:
    hours, problem = solved.hours, solved.hours.problem
    stations = _stations(hours, before)
    tasks = [
        _task(hours, index, site, stations.get(index, ""), before.get(job.uid))
        for index, job in enumerate(problem.jobs)
        if hours.start[index] >= 0
    ]
    tasks.sort(key=lambda task: (task.start, task.uid))
    by_uid = {task.uid: task for task in tasks}
    late = [task for task in tasks if task.late_minutes]
    moved: tuple[Change, ...] = changes(hours, by_uid, before, done, now) if before else ()
    sums = tally(hours)
    return Timetable(
        tasks=tuple(tasks),
        unplaced=(*problem.unplaced, *_left(hours)),
        status="proved" if sums.cost <= solved.bound else "feasible",
        cost=sums.cost,
        bound=solved.bound,
        late=tuple(task.uid for task in late),
        late_minutes=sum(task.late_minutes for task in late),
        away_minutes=sums.away * SLOT_MIN,
        ways_back=ways_back_in(hours),
        broken=tuple(_broken(hours, tasks)),
        changes=moved,
        seed=seed,
        steps=solved.steps,
    )


def _task(hours: Hours, index: int, site: Site, station: str, was: Task | None) -> Task:
    problem, job, need = hours.problem, hours.problem.jobs[index], hours.problem.jobs[index].need
    start = hours.start[index]
    zone = site.farm.zone
    at = hours.start[job.after] if job.after >= 0 and hours.start[job.after] >= 0 else None
    late = late_slots(job, start, at) * SLOT_MIN
    task = Task(
        uid=job.uid,
        kind=need.kind,
        batch=need.batch,
        vat=need.vat,
        system=need.system,
        start=problem.moment(start).astimezone(zone),
        end=problem.moment(start + job.slots).astimezone(zone),
        staff=tuple(problem.people[person].id for person in hours.who[index]),
        station=station,
        title=need.title,
        why=_why(problem, index, start, late),
        dip=need.dip,
        number=need.number,
        of=need.of,
        agent=need.agent,
        strength=need.strength,
        contact_min=need.contact_min,
        contact_max=need.contact_max,
        protection=need.protection,
        headcount=need.headcount,
        evidence=need.evidence,
        source=need.source,
        unsourced=need.unsourced,
        after_dark=need.after_dark,
        follows=need.after,
        late_minutes=late,
    )
    if was is None:
        return task
    return replace(task, sequence=was.sequence + (_seen(task) != _seen(was)))


def _seen(task: Task) -> tuple[object, ...]:
    return task.start, task.end, task.staff, task.station, task.vat, task.title


def _why(problem: Problem, index: int, start: int, late: int) -> str:
    job = problem.jobs[index]
    notes = [job.need.why]
    if job.water_l:
        notes.append(f"{job.water_l} L of mixed water must stand ready")
    if late and job.latest < problem.now:
        notes.append(f"overdue: it was to begin by {problem.moment(job.latest):%Y-%m-%d %H:%M} UTC")
    elif late:
        short = "no place, or not enough mixed water," if job.water_l else "or no place,"
        notes.append(f"late by {_hours(late)}: nobody qualified{short} was free in time")
    if not in_part(problem, job, start):
        notes.append(f"wanted {_part(job.need.part_of_day)}, which no shift or no free hand allows here")
    return "; ".join(note for note in notes if note)


def _hours(minutes: int) -> str:
    return f"{minutes // 60} h {minutes % 60:02d}"


def _part(part: str) -> str:
    return "after dark" if part == "after dark" else "in the morning"


def _stations(hours: Hours, before: Mapping[str, Task]) -> dict[int, str]:
    """A station for each job that needs one: the published one if free, else the first free place."""
    problem = hours.problem
    named: dict[int, str] = {}
    for kind, lanes in problem.lanes.items():
        until = [-1] * len(lanes)
        users = [index for index, job in enumerate(problem.jobs) if kind in job.uses and hours.start[index] >= 0]
        for index in sorted(users, key=lambda index: (hours.start[index], index)):
            start = hours.start[index]
            free = [lane for lane, end in enumerate(until) if end <= start] or [until.index(min(until))]
            was = before.get(problem.jobs[index].uid)
            lane = next((lane for lane in free if was is not None and lanes[lane] == was.station), free[0])
            until[lane] = start + problem.jobs[index].slots
            named[index] = lanes[lane]
    return named


def _left(hours: Hours) -> list[Unplaced]:
    rows = []
    for index, job in enumerate(hours.problem.jobs):
        if hours.start[index] < 0:
            need = job.need
            why = f"no room in the {len(hours.problem.days)} days searched: everybody who may do it is taken"
            rows.append(Unplaced(job.uid, need.kind, need.batch, need.vat, why))
    return rows


def _broken(hours: Hours, tasks: Iterable[Task]) -> list[tuple[str, str]]:
    """Limits that break a pest's cycle if passed, in words."""
    strict = {job.uid for job in hours.problem.jobs if job.need.strict and job.need.dip}
    return [
        (task.batch, f"{task.title} on {task.start:%d %b %H:%M} is {_hours(task.late_minutes)} late")
        for task in tasks
        if task.late_minutes and task.uid in strict
    ]
