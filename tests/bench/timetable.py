"""Bench of the timetable: generated farms of 30 to 3 000 tasks, against serial generation and one CP-SAT model.

Run with ``python -m tests.bench.timetable --sizes 30,120,600 --seconds 60``.  Cost = 100 × slots of lateness + slots of
deviation from the start wanted; everything is invented.
"""

from __future__ import annotations

import argparse
import math
import time
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock
from random import Random
from statistics import median

from intake.farm.site import Person
from intake.quarantine.needs import Need
from intake.timetable.problem import Day, Job, Problem
from intake.timetable.search import solve
from intake.timetable.search.cost import tally
from intake.timetable.search.hours import Hours, bits
from intake.timetable.search.repair import repaired
from intake.timetable.search.replan import lateness_first
from intake.timetable.search.serial import floors, serial
from intake.timetable.search.task_placing import followers
from intake.timetable.search.timetable_model import Model
from tests.bench.timetable_bound import bench_bound
from tests.timetable import slots

OPEN, CLOSE, DAY, HORIZON = 32, 72, 96, 58
ORIGIN = datetime(2027, 3, 1, tzinfo=UTC)


def generate(size: int, seed: int, hands: float = 1.0) -> Problem:
    """A farm of ``size`` tasks, ten a batch: unbox, acclimate, dip, two re-dips, three inspections, check, transfer."""
    dice = Random(f"B{size}/{seed}")  # a bench, not a lock
    staff, rows = max(3, int(hands * size / 120)), []
    arrivals = [_arrival(dice) for _ in range(max(1, size // 30))]
    for batch in range(size // 10):
        day, slot, days = arrivals[batch % len(arrivals)]
        animals = round(math.exp(dice.uniform(math.log(5), math.log(600))))
        rows.append(_batch(batch, day * DAY + slot, days, animals))
    drafts = [row for batch in rows for row in batch]
    people = tuple(_person(number, staff) for number in range(staff))
    return _problem(drafts, people, size, hands)


def _arrival(dice: Random) -> tuple[int, int, int]:
    day = dice.choice([day for day in range(14) if day % 7 < 5])
    return day, dice.randint(32, 36), dice.choice([21, 28])


def _person(number: int, staff: int) -> Person:
    weekend = number < max(2, staff // 2)
    days = ("mon", "tue", "wed", "thu", "fri", *(("sat", "sun") if weekend else ()))
    dips = number % 2 == 0 or staff < 4
    return Person(
        id=f"p{number:02d}", days=days, skills=("dip",) if dips else ("inspect",), starts=clock(8), ends=clock(18)
    )


def _batch(batch: int, at: int, days: int, animals: int) -> list[dict[str, object]]:
    """Windows and lags as in the generator of the study (start to start, in slots)."""
    unbox, acclimate = 1 + math.ceil(animals / 100), 3 + batch % 4
    dip = 2 + math.ceil(animals / 150)
    look = 1 + math.ceil(animals / 200)
    end = at // DAY * DAY + days * DAY + OPEN
    name = f"b{batch:03d}"
    rows: list[dict[str, object]] = [
        {"uid": f"{name}/0", "slots": unbox, "earliest": at, "latest": at + 16, "target": at},
        {"uid": f"{name}/1", "slots": acclimate, "station": "acclimation", "after": 0, "lags": (unbox, unbox + 8)},
        {"uid": f"{name}/2", "slots": dip, "station": "dip", "dip": 1, "after": 1, "lags": (acclimate, acclimate + 12)},
        {"uid": f"{name}/3", "slots": dip, "station": "dip", "dip": 1, "after": 2, "lags": (6 * DAY, 8 * DAY)},
        {"uid": f"{name}/4", "slots": dip, "station": "dip", "dip": 1, "after": 3, "lags": (6 * DAY, 8 * DAY)},
    ]
    wanted = [at, at + unbox, at + unbox + acclimate]
    wanted += [wanted[2] + 7 * DAY, wanted[2] + 14 * DAY]
    for row, target in zip(rows, wanted, strict=True):
        row["target"] = target
    for week in range(1, 4):
        day = at // DAY + 7 * week
        rows.append({
            "uid": f"{name}/{4 + week}",
            "slots": look,
            "earliest": (day - 1) * DAY + OPEN,
            "latest": (day + 1) * DAY + CLOSE,
            "target": day * DAY + OPEN + 4,
        })  # fmt: skip
    check = {"uid": f"{name}/8", "slots": 2, "earliest": end - DAY, "latest": end + 3 * DAY, "target": end}
    rows.append(check | {"after": 4, "lags": (3 * DAY, None)})
    move = {"uid": f"{name}/9", "slots": 1 + math.ceil(animals / 50), "people": 2, "target": end + 2}
    rows.append(move | {"after": 8, "lags": (2, 2 * DAY)})
    for number, row in enumerate(rows):
        row["base"] = batch * 10
        row["number"] = number
    return rows


def _problem(drafts: list[dict[str, object]], people: tuple[Person, ...], size: int, hands: float) -> Problem:
    days = tuple(_day(number, people) for number in range(HORIZON))
    places = {"dip": max(1, int(hands * size / 400)), "acclimation": max(2, int(hands * size / 120))}
    problem = Problem(ORIGIN, 0, days, people, places, ())
    return replace(problem, jobs=tuple(_job(problem, row) for row in drafts))


def _day(number: int, people: tuple[Person, ...]) -> Day:
    names = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    shifts = tuple(
        (number * DAY + OPEN, number * DAY + CLOSE) if names[number % 7] in person.days else None for person in people
    )
    return Day(date(2027, 3, 1) + timedelta(days=number), number * DAY, DAY, shifts, False, number * DAY + CLOSE)


def _job(problem: Problem, row: dict[str, object]) -> Job:
    slots, people = int(row["slots"]), int(row.get("people", 1))  # type: ignore[call-overload]
    who = tuple(index for index, person in enumerate(problem.people) if not row.get("dip") or "dip" in person.skills)
    lags: tuple[int, int | None] = row.get("lags", (0, None))  # type: ignore[assignment]
    earliest = int(row.get("earliest", 0))  # type: ignore[call-overload]
    days = tuple(
        index
        for index, day in enumerate(problem.days)
        if day.first + DAY > earliest and sum(day.shifts[person] is not None for person in who) >= people
    )
    return Job(
        uid=str(row["uid"]),
        need=_need(str(row["uid"])),
        slots=slots,
        earliest=earliest,
        latest=int(row.get("latest", HORIZON * DAY)),  # type: ignore[call-overload]
        low=int(row["target"]),  # type: ignore[call-overload]
        high=int(row["target"]),  # type: ignore[call-overload]
        weight=100,
        after=int(row["base"]) + int(row["after"]) if "after" in row else -1,  # type: ignore[call-overload]
        lag_min=lags[0],
        lag_max=lags[1],
        who=who,
        people=people,
        uses=(str(row["station"]),) if "station" in row else (),
        rank=0,
        days=days,
    )


def _need(uid: str) -> Need:
    facts = {"kind": "inspection", "batch": "", "vat": "", "system": "", "title": uid, "minutes": 15, "why": ""}
    known = {"evidence": "default", "source": "invented", "unsourced": True}
    return Need(uid=uid, earliest=ORIGIN, nominal=ORIGIN, latest=ORIGIN, **facts, **known)  # type: ignore[arg-type]


def planted(size: int, seed: int, hands: float) -> Problem:
    """A generated farm whose windows are drawn round a timetable that exists: lateness 0 is known to be possible.

    ``hands``: 1 hides a timetable of a farm whose busy days are overfull, so that every hour of theirs is taken; 2 one
    with some air.
    """
    problem = generate(size, seed, hands)
    hidden, dice = serial(problem), Random(f"planted{size}/{seed}")
    jobs = []
    for index, job in enumerate(problem.jobs):
        start = hidden.start[index]
        lag = None
        if job.after >= 0 and job.lag_max is not None:
            lag = max(job.lag_max, start - hidden.start[job.after])
        early, late = start - dice.randint(0, 40), start + dice.randint(0, 40)
        jobs.append(replace(job, earliest=max(0, early), latest=late, low=max(0, early), high=late, lag_max=lag))
    return replace(problem, jobs=tuple(jobs))


def plain_serial(problem: Problem) -> Hours:
    """The comparator: a time-ordered list, urgent first, each task at the first free time not before it is wanted."""
    hours, after = Hours(problem), followers(problem)
    ready = [index for index, job in enumerate(problem.jobs) if job.after < 0]
    while ready:
        ready.sort(key=lambda index: (problem.jobs[index].low, problem.jobs[index].latest, index))
        index = ready.pop(0)
        job = problem.jobs[index]
        floor = max(job.earliest, job.low)
        if job.after >= 0:
            floor = max(floor, hours.start[job.after] + job.lag_min)
        for day in job.days:
            first = problem.days[day].first
            start = next((first + bit for bit in bits(hours.open_starts(day, job, floor))), None)
            if start is not None:
                hours.put(index, start, tuple(hours.available(job, start)[: job.people]))
                break
        ready += after[index]
    return hours


def raw(problem: Problem, hint: Hours, seconds: float, workers: int, *, effort: float | None = None) -> Hours:
    """The comparator: the whole in one CP-SAT model with a complete hint, all at once.

    ``effort``: deterministic seconds instead of those on the wall, which a loaded machine does not give.
    """
    from ortools.sat.python import cp_model

    free = list(range(len(problem.jobs)))
    model = Model(cp_model, Hours(problem), hint, free)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = workers
    if effort is None:
        solver.parameters.max_time_in_seconds = seconds
    else:
        solver.parameters.max_deterministic_time = effort
    status = solver.solve(model.model)
    answer = Hours(problem)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return hint
    for index in free:
        who = tuple(person for person, literal in model.named[index] if solver.boolean_value(literal))
        answer.put(index, solver.value(model.start[index]), who)
    return answer


def disturbed(hours: Hours, day: int) -> Problem:
    """The same farm on the morning of a day, published as it stands, with one keeper off for that day and the next."""
    problem = hours.problem
    ten = day * DAY + 40
    days = tuple(
        replace(one, shifts=(None, *one.shifts[1:])) if index in (day, day + 1) else one
        for index, one in enumerate(problem.days)
    )
    jobs = tuple(
        replace(
            job,
            pinned=hours.start[index],
            pinned_who=hours.who[index],
            fixed=hours.start[index] < ten,
            earliest=max(job.earliest, min(ten, hours.start[index])),
            days=tuple(number for number in job.days if _staffed(days[number], job)),
        )
        for index, job in enumerate(problem.jobs)
    )
    return replace(problem, days=days, jobs=jobs, now=ten)


def _staffed(day: Day, job: Job) -> bool:
    return sum(day.shifts[person] is not None for person in job.who) >= job.people


def replan(hours: Hours) -> None:
    """Keep the timetable as the program does: by the repair of every act, then by ``timetable`` of four seconds."""
    changed = lateness_first(disturbed(hours, 10))
    afresh = serial(replace(changed, jobs=tuple(job if job.fixed else replace(job, pinned=-1) for job in changed.jobs)))
    free = [index for index, job in enumerate(changed.jobs) if not job.fixed]
    anew = sum(afresh.start[index] != changed.jobs[index].pinned for index in free)
    print(f"  {len(free)} free tasks, {tally(hours).late} slots late before; planned afresh {anew} move")
    wall, cpu = time.perf_counter(), time.process_time()
    answer = repaired(changed, seed=1)
    _moves("repair", answer.hours, len(answer.forced), time.perf_counter() - wall, time.process_time() - cpu)
    wall, cpu = time.perf_counter(), time.process_time()
    again = solve.improve(answer.hours, seconds=4.0, seed=1).hours
    _moves("then timetable, 4 s", again, len(answer.forced), time.perf_counter() - wall, time.process_time() - cpu)


def _moves(name: str, hours: Hours, forced: int, wall: float, cpu: float) -> None:
    """What moved, checked slot by slot; what had begun stays, also with a keeper who went home over it."""
    jobs = hours.problem.jobs
    begun = tuple(f"{job.uid} " for job in jobs if job.fixed)
    wrong = [fault for fault in slots.faults(hours.problem, hours.start, hours.who) if not fault.startswith(begun)]
    assert not wrong, wrong[:3]
    moved = sum(start != job.pinned for start, job in zip(hours.start, jobs, strict=True))
    others = sum(s == j.pinned and w != j.pinned_who for s, w, j in zip(hours.start, hours.who, jobs, strict=True))
    told = f"{moved} moved ({forced} times could not hold), {others} other people, {tally(hours).late} slots late"
    print(f"  {name}: {told}, {wall:.1f} s wall {cpu:.1f} s cpu", flush=True)


def _line(name: str, hours: Hours, wall: float, cpu: float, note: str = "") -> str:
    sums = tally(hours)
    left = hours.start.count(-1)
    told = f"cost {sums.cost:>8}  late {sums.late:>6}  away {sums.away:>7}  unplaced {left}"
    return f"  {name:<26} {told}  {wall:6.1f} s wall {cpu:6.1f} s cpu {note}"


def _timed(name: str, work: object, note: str = "") -> Hours:
    wall, cpu = time.perf_counter(), time.process_time()
    hours = work()  # type: ignore[operator]
    print(_line(name, hours, time.perf_counter() - wall, time.process_time() - cpu, note), flush=True)
    wrong = slots.faults(hours.problem, hours.start, hours.who)
    assert not wrong, wrong[:3]
    assert slots.late(hours.problem, hours.start) == tally(hours).late
    return hours  # type: ignore[no-any-return]


def main() -> None:
    """Run the sizes and seeds asked for; medians and the worst over the seeds at the end of each size."""
    told = argparse.ArgumentParser(description=__doc__)
    told.add_argument("--sizes", default="30,120,600")
    told.add_argument("--seeds", default="1,2,3,4,5")
    told.add_argument("--seconds", type=float, default=60.0)
    told.add_argument("--raw", type=float, default=0.0, help="seconds for one CP-SAT model with a complete hint")
    told.add_argument("--replan", action="store_true", help="and repair it after a disturbance")
    told.add_argument("--hands", type=float, default=1.0, help="times the people and stations of the study")
    told.add_argument("--planted", action="store_true")
    told.add_argument("--bound", action="store_true", help="what the dip benches make unavoidable (a minute at 600)")
    asked = told.parse_args()
    for size in (int(word) for word in asked.sizes.split(",")):
        rows = [_seed(size, int(word), asked) for word in asked.seeds.split(",")]
        for name in rows[0]:
            ratios = [row[name] for row in rows]
            print(f"{size} tasks: {name}: median {median(ratios):.3f}, worst {max(ratios):.3f}, {len(ratios)} seeds")


def _seed(size: int, seed: int, asked: argparse.Namespace) -> dict[str, float]:
    """One instance: its lines, and the ratios that count."""
    make = planted if asked.planted else generate
    problem = make(size, seed, asked.hands)
    print(f"{size} tasks, seed {seed}{', planted' if asked.planted else ''}, bound job by job {sum(floors(problem))}")
    plain = _timed("serial, plain", lambda: plain_serial(problem))
    first = _timed("serial, ours", lambda: serial(problem))
    ours = _timed("improved", lambda: solve.improve(first, seconds=asked.seconds, seed=seed).hours)
    ratios = {"cost, ours / plain serial": tally(ours).cost / max(1, tally(plain).cost)}
    if asked.planted:
        ratios = {"slots late where none need be": float(tally(ours).late)}
    if asked.bound:
        ratios["bound of the dip benches / plain serial"] = bench_bound(problem) / max(1, tally(plain).cost)
    if asked.replan:
        replan(ours)
    if asked.raw:
        one = _timed("one model, hinted", lambda: raw(problem, first, asked.raw, 2))
        ratios["cost, ours / one model"] = tally(ours).cost / max(1, tally(one).cost)
    print("  " + ", ".join(f"{name} {ratio:.3f}" for name, ratio in ratios.items()), flush=True)
    return ratios


if __name__ == "__main__":
    main()
