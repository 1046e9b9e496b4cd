"""The landing day as the crew follows it: planned once, kept in the ledger with its steps, and read from there."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import Any

from intake.app.landing.receiving_day import Slip, TakenSpan, first_vats, framed
from intake.app.landing.stopping import watched
from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.queries.planning.announced_shipments import shipment_facts, waiting
from intake.app.queries.planning.landing_work import day_subject, kept_days
from intake.app.session import Act, House
from intake.errors import Finding, Refused
from intake.farm.floor import Batch
from intake.receiving import (
    ClosedTooLong,
    DayPlan,
    DayProblem,
    Progress,
    closed_too_long,
    landing_steps,
    last_placings,
    reliefs,
    replay,
    run_day,
)
from intake.receiving.placed import Placed
from intake.receiving.solution import plan_of

__all__ = [
    "UNDECIDED",
    "DayRun",
    "keep_day",
    "keep_missing_days",
    "kept_day",
    "landing_batches",
    "move_day",
    "moved_words",
    "planned_day",
    "spans_of",
]

_TIMES = ("open_at", "counted_at", "tub_at", "finish_at", "placed_at")
_NAMES = ("table", "opener", "tub", "setter", "dip_place", "finisher")


UNDECIDED = "planned with the timetable; no one has decided yet"
"""Why a day with bags closed too long is kept when the timetable plans it."""


@dataclass(frozen=True)
class DayRun:
    """A day's plan with what it rests on.

    Attributes
    ----------
    slip
        How it differs from the list, all differences so far.
    opened, placed
        Boxes the ledger says are opened, and of those placed.
    taken_as_opened
        Boxes that no one recorded and that the plan before would have opened by now.
    taken_as_closed
        Boxes that were due as well, but are called closed, or whose table or person was busy with recorded work.
    despite
        Why the day is followed although bags stay closed too long; empty where none do or no one has said.
    """

    plan: DayPlan
    slip: Slip
    opened: tuple[str, ...] = ()
    placed: tuple[str, ...] = ()
    taken_as_opened: tuple[str, ...] = ()
    taken_as_closed: tuple[str, ...] = ()
    despite: str = ""

    @cached_property
    def refused(self) -> tuple[ClosedTooLong, ...]:
        """Boxes whose bags stay closed too long."""
        return closed_too_long(self.plan)


def keep_day(house: House, batches: Sequence[Batch], run: DayRun) -> None:
    """Write down the day as the crew follows it from now on: run sheet, board, timetable and calendars read it.

    Raises
    ------
    Refused
        Bags stay closed too long and no reason was given; nothing is written.
    """
    if run.refused and not run.despite:
        raise Refused(
            Finding(
                f"landing day of {batches[0].shipment}, {one.box}",
                f"{one.hours:.1f} h in the bag at {one.opens}",
                f"opened on the day it lands, at most {one.limit_h:g} h in the bag",
                "; ".join(relief.do for relief in reliefs(run.plan)[:3]) + '; or --despite "reason"',
            )
            for one in run.refused
        )
    with house.act() as act:
        _write(act, house, batches, run)


def _write(act: Act, house: House, batches: Sequence[Batch], run: DayRun) -> None:
    for shipment in sorted({batch.shipment for batch in batches}):
        act.unchanged("timetable", day_subject(shipment), what=f"the receiving day of {shipment}")
        act.note("timetable", day_subject(shipment), _told(house, run, shipment))


def move_day(act: Act, shipment: str) -> DayRun | None:
    """Keep the landing day anew inside the act that changed the shipment; ``None`` where none was kept before.

    The day before is the plan to start from.  Bags that stay closed too long are kept as planned until someone decides.
    """
    house = act.inside()
    batches = landing_batches(house, shipment)
    if not batches or house.last("timetable", day_subject(shipment)) is None:
        return None
    run = planned_day(house, batches)
    _write(act, house, batches, replace(run, despite=run.despite or (UNDECIDED if run.refused else "")))
    return run


def moved_words(run: DayRun | None) -> list[str]:
    """The landing day planned again, in words; nothing where no day was kept."""
    if run is None:
        return []
    order = run.plan.order()
    first = f", first box {order[0].opens:%Y-%m-%d %H:%M}" if order else ""
    return [f"its landing day is planned again{first}", *(one.words for one in run.refused)]


def _told(house: House, run: DayRun, shipment: str) -> dict[str, Any]:
    problem, slip, vats = run.plan.problem, run.slip, first_vats(house)
    rows = [
        {"box": put.box}
        | {name: problem.at(getattr(put, name)).isoformat() for name in _TIMES}
        | {name: getattr(put, name) for name in _NAMES}
        for put in run.plan.placed
        if put.box.startswith(f"{shipment}/")
    ]
    steps = [
        step.as_dict() | {"vats": list(dict.fromkeys(v for line in step.batches for v in vats.get(line.batch, ())))}
        for step in landing_steps(run.plan)
        if step.shipment == shipment
    ]
    mine = {line.batch for box in problem.boxes if box.shipment == shipment for line in box.lines}
    last = {batch: at.isoformat() for batch, at in last_placings(run.plan).items() if batch in mine}
    facts = shipment_facts(house).get(shipment, {})
    return {
        "announced_for": str(facts.get("lands", "")),
        "lands": slip.lands.isoformat() if slip.lands else None,
        "leaking": list(slip.leaking),
        "off_temperature": list(slip.off_temperature),
        "without": list(slip.without),
        "extra": dict(slip.extra),
        "opened": {box: at.isoformat() for box, at in slip.opened.items()},
        "taken": [
            [one.name, problem.at(one.start).isoformat(), problem.at(one.end).isoformat()] for one in problem.taken
        ],
        "placed": rows,
        "steps": steps,
        "last": last,
        "rule": run.plan.rule,
        "refused": [one.as_dict() for one in run.refused if one.box.startswith(f"{shipment}/")],
        "despite": run.despite,
    }


def kept_day(house: House, batches: Sequence[Batch]) -> DayRun | None:
    """The day as it was last kept; ``None`` before the first, or when no box of it is left."""
    record = house.last("timetable", day_subject(batches[0].shipment)) if batches else None
    if record is None or "placed" not in record.payload:
        return None
    told: Mapping[str, Any] = record.payload
    slip = Slip(
        datetime.fromisoformat(told["lands"]) if told["lands"] else None,
        tuple(told["leaking"]),
        tuple(told["off_temperature"]),
        tuple(told["without"]),
        dict(told["extra"]),
        {box: datetime.fromisoformat(at) for box, at in dict(told.get("opened") or {}).items()},
    )
    problem = framed(house, batches, slip, taken=_spans(told)).completed()
    rows = {row["box"]: row for row in told["placed"]}
    boxes = tuple(box for box in problem.boxes if box.box in rows)
    if not boxes:
        return None
    problem = replace(problem, boxes=boxes)
    placed = [_placed(problem, rows[box.box]) for box in boxes]
    rule = str(told.get("rule") or "")
    plan = plan_of(problem, placed, aims=(), rule=rule, seconds=0.0, reproducible=True)
    return DayRun(plan, slip, despite=str(told.get("despite") or ""))


def _spans(told: Mapping[str, Any]) -> list[TakenSpan]:
    """Hands and places with other work when the day was first planned."""
    rows: Any = told.get("taken") or ()
    return [(str(name), datetime.fromisoformat(start), datetime.fromisoformat(end)) for name, start, end in rows]


def spans_of(problem: DayProblem) -> list[TakenSpan]:
    """The same of a day as planned."""
    return [(one.name, problem.at(one.start), problem.at(one.end)) for one in problem.taken]


def planned_day(  # what can be said of a day, each by its name
    house: House,
    batches: Sequence[Batch],
    *,
    slip: Slip | None = None,
    seconds: float = 5.0,
    progress: Callable[[Progress], object] | None = None,
    stop: Callable[[], bool] | None = None,
) -> DayRun:
    """The day as kept, brought to the facts of now; planned from the first where none was kept.

    Without news the kept day comes back as it is, at once.

    Raises
    ------
    BadInput, UnknownName
        As :func:`intake.app.landing.receiving_day.day_of`.
    """
    kept = kept_day(house, batches)
    whole = (kept.slip if kept else Slip()).joined(slip or Slip())
    problem = framed(house, batches, whole, taken=None if kept is None else spans_of(kept.plan.problem))
    if kept is None:
        watch = None if stop is None else watched(stop)
        return DayRun(run_day(problem, seconds=seconds, progress=progress, stop=stop, watch=watch), whole)
    plan = replay(problem.completed(), kept.plan, progress=progress, stop=stop)
    return DayRun(plan, whole, despite=kept.despite)


def keep_missing_days(house: House, seconds: float = 0.3) -> None:
    """Plan and keep the landing day of every shipment to come that has a plan of vats and no day yet, or whose facts moved.

    Bags that stay closed too long are kept as they are planned: the day says so until someone decides.
    """
    placed = {str(row["batch"]) for row in accepted_rows(house)}
    for shipment in waiting(house):
        batches = landing_batches(house, shipment)
        if not batches or not any(batch.id in placed for batch in batches):
            continue
        run = planned_day(house, batches, seconds=seconds)
        kept = kept_day(house, batches)
        stale = shipment not in kept_days(house)
        if kept is None or stale or kept.plan.placed != run.plan.placed:
            keep_day(house, batches, replace(run, despite=run.despite or (UNDECIDED if run.refused else "")))


def landing_batches(house: House, shipment: str) -> list[Batch]:
    """The lines of a shipment that are to land."""
    return [one for one in house.lines_of(shipment) if one.announced > 0]


def _placed(problem: DayProblem, row: Mapping[str, Any]) -> Placed:
    told: dict[str, Any] = {name: problem.minute(datetime.fromisoformat(row[name])) for name in _TIMES}
    told |= {name: row[name] for name in _NAMES}
    return Placed(box=row["box"], **told)
