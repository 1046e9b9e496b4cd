"""A solved problem as the timetable people read: tasks with their reasons, what is late and why, what no one can do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime

from intake.farm.site import Site
from intake.timetable.answers.changes import changes
from intake.timetable.answers.evening import evening_shift
from intake.timetable.answers.reasons import why_late
from intake.timetable.problem import DAY_SLOTS, SLOT_MIN, Problem, Unplaced
from intake.timetable.search.cost import in_part, late_slots, tally
from intake.timetable.search.hours import Hours
from intake.timetable.search.order import ways_back_in
from intake.timetable.search.solve import Solved
from intake.timetable.solution import Change, Task, Timetable

__all__ = ["told"]


def told(
    solved: Solved,
    site: Site,
    *,
    before: Mapping[str, Task],
    done: frozenset[str],
    now: datetime,
    seed: int,
    proved: bool = False,
) -> Timetable:
    """The timetable of a solved problem beside the one published ``before``."""
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
        fewest=proved,
        evening=evening_shift(hours),
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
        why=_why(hours, index, start, late),
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
        vats=need.vats,
        part=need.part_of_day,
        gap_min=max(0, (job.lag_min - problem.jobs[job.after].slots) * SLOT_MIN) if job.after >= 0 else 0,
        same_day=_goes_on(problem, index),
        strict=need.strict and bool(need.dip),
        latest=need.latest.astimezone(zone),
    )
    if was is None:
        return task
    return replace(task, sequence=was.sequence + (_seen(task) != _seen(was)))


def _seen(task: Task) -> tuple[object, ...]:
    return task.start, task.end, task.staff, task.station, task.vat, task.title


def _goes_on(problem: Problem, index: int) -> bool:
    """Whether it goes on from a bath or a landing of the same session."""
    job = problem.jobs[index]
    if job.after < 0 or job.lag_min >= DAY_SLOTS // 2:
        return False
    return problem.jobs[job.after].need.kind in {"dip", "acclimation", "receive"}


def _why(hours: Hours, index: int, start: int, late: int) -> str:
    problem, job = hours.problem, hours.problem.jobs[index]
    notes = [job.need.why]
    if job.water_l:
        notes.append(f"{job.water_l} L of mixed water must stand ready")
    if late and job.latest < problem.now:
        notes.append(f"late: its last start was {problem.moment(job.latest).astimezone(problem.zone):%a %d %b %H:%M}")
    elif late:
        notes.append(f"late by {_hours(late)}: {why_late(hours, index)}")
    if not in_part(problem, job, start):
        notes.append(f"wanted {_PARTS[job.need.part_of_day]}: no one who may do it is free then")
    return "; ".join(note for note in notes if note)


_PARTS = {"after dark": "after dark", "morning": "in the morning", "light": "while the light is on"}


def _hours(minutes: int) -> str:
    return f"{minutes // 60} h {minutes % 60:02d}"


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
