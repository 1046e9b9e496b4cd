"""A receiving day that has begun: what is on record as opened and placed, the plan the crew holds, and what moves.

What counts: a reading on a box (``S1/7``), once its truck is in, means that the box was opened then; a count of a batch
with ``--alive`` means that all its boxes are placed.  ``receive`` says that the truck is in, no more.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from intake.app.landing.kept_day import DayRun, kept_day, spans_of
from intake.app.landing.receiving_day import Slip, framed
from intake.app.queries.planning.announced_shipments import lands_at
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.floor import Batch, Reading
from intake.ledger import READ_LATELY
from intake.receiving import BoxNeed, DayPlan, DayProblem, Progress, Underway, rerun, run_day, started_by
from intake.receiving.placed import Placed
from intake.receiving.problem import joined_tubs, minutes_between, tub_names

__all__ = ["going_on", "records_of"]


def going_on(  # what can be said of a day that has begun, each by its name
    house: House,
    batches: Sequence[Batch],
    slip: Slip,
    at: datetime,
    *,
    closed: Sequence[str] = (),
    seconds: float = 0.5,
    progress: Callable[[Progress], object] | None = None,
    stop: Callable[[], bool] | None = None,
) -> DayRun:
    """Plan the rest of the day from a moment; what is opened and placed stays.

    Parameters
    ----------
    slip
        What changed since the day was last kept.
    at
        Time-zone aware.  Boxes no one recorded that the plan before would have opened by then are taken as opened.
    closed
        Boxes (``S1/7`` or ``7``) that are still closed, whatever the plan before expected.

    Raises
    ------
    BadInput, UnknownName
        As :func:`intake.app.landing.receiving_day.day_of`.
    """
    kept = kept_day(house, batches)
    before = kept.plan if kept else run_day(framed(house, batches, Slip()), seconds=seconds)
    whole = (kept.slip if kept else Slip()).joined(slip)
    problem = framed(house, batches, whole, taken=spans_of(before.problem))
    still = _named(closed, problem)
    done = [work for work in records_of(house, batches, problem, before, at, whole) if work.box not in still]
    problem = replace(problem, underway=tuple(done))
    plan = rerun(problem, before, at, closed=still, seconds=seconds, progress=progress, stop=stop)
    recorded, begun = {work.box for work in done}, {work.box for work in plan.problem.underway}
    due = [work.box for work in started_by(before, at) if work.box in problem_boxes(problem)]
    return DayRun(
        plan,
        whole,
        tuple(sorted(recorded)),
        tuple(sorted(work.box for work in done if work.placed_at is not None)),
        tuple(work.box for work in plan.problem.underway if work.box not in recorded),
        tuple(box for box in due if box not in begun),
        kept.despite if kept else "",
    )


def _named(boxes: Sequence[str], problem: DayProblem) -> frozenset[str]:
    known = {box.box: box.box for box in problem.boxes}
    known |= {box.box.rsplit("/", 1)[-1]: box.box for box in problem.boxes}
    faults = [Finding("--closed", box, "a box of the day") for box in boxes if box not in known]
    if faults:
        raise BadInput(faults)
    return frozenset(known[box] for box in boxes)


def records_of(  # what can be said of a day that has begun
    house: House,
    batches: Sequence[Batch],
    problem: DayProblem,
    before: DayPlan,
    at: datetime,
    slip: Slip | None = None,
) -> tuple[Underway, ...]:
    """What the ledger says has happened to the boxes by a moment, in the order it happened."""
    slip = slip or Slip()
    landed = {batch.shipment: lands_at(house, batch) for batch in batches}
    since = min([at, *landed.values()]) - READ_LATELY
    readings = [one for one in house.measured(since=since) if one.at <= at]
    opened: dict[str, Reading] = {}
    alive: dict[str, datetime] = {}
    for one in readings:
        if one.place in problem_boxes(problem) and one.at >= landed[one.place.rsplit("/", 1)[0]]:
            opened.setdefault(one.place, one)
        if one.quantity.startswith("alive "):
            alive.setdefault(one.quantity.removeprefix("alive "), one.at)
    for name, when in slip.opened.items():
        if name in problem_boxes(problem) and when <= at:
            opened.setdefault(name, Reading(name, "opened", 1.0, "", when, house.who))
    plans = {put.box: put for put in before.placed}
    expected = [work for work in started_by(before, at) if work.box not in opened]
    rows: list[Underway] = []
    for box in sorted(problem.boxes, key=lambda box: opened[box.box].at if box.box in opened else at):
        counted = [alive.get(line.batch) for line in box.lines if line.count]
        placed_at = max((one for one in counted if one is not None), default=None) if all(counted) else None
        reading, put = opened.get(box.box), plans.get(box.box)
        if reading is None and placed_at is None:
            continue
        work = _work(box, reading.at if reading else None, placed_at, before.problem.at(put.open_at) if put else None)
        who = reading.who if reading else ""
        work = _hands(work, rows, problem, (put.table if put else "", who or (put.opener if put else "")))
        if put is not None and work.placed_at is None:
            work = _went_on(work, box, (before, put), at, _free_tubs(problem, put.tub, [*rows, *expected]))
        rows.append(work)
    return tuple(rows)


def _went_on(
    work: Underway, box: BoxNeed, plan: tuple[DayPlan, Placed], at: datetime, free_tub: Callable[[datetime], str]
) -> Underway:
    """A recorded opening followed on as the plan had it, as much later or earlier as the box was opened."""
    before, put = plan
    minute, moment = timedelta(minutes=1), before.problem.at
    shift = work.opened_at - moment(put.open_at)
    tub_at = max(moment(put.tub_at) + shift, work.counted_at)
    if tub_at >= at:
        return work
    work = replace(work, tub_at=tub_at, tub=free_tub(tub_at))
    finish = max(moment(put.finish_at) + shift, tub_at + box.tub_minutes * minute)
    if finish >= at:
        return work
    return replace(work, finish_at=finish, placed_at=finish + box.finishing_minutes * minute)


def _free_tubs(problem: DayProblem, wanted: str, others: Sequence[Underway]) -> Callable[[datetime], str]:
    """Which tub is free from a moment on: the one planned, or the first other one."""

    def free(since: datetime) -> str:
        used = {
            tub
            for one in others
            if one.tub_at is not None and (one.finish_at is None or one.finish_at > since)
            for tub in tub_names(one.tub)
        }
        names = [*tub_names(wanted), *(lane.id for lane in problem.lanes if lane.kind == "acclimation")]
        left = [name for name in dict.fromkeys(names) if name not in used]
        return joined_tubs(left[: max(1, len(tub_names(wanted)))])

    return free


def problem_boxes(problem: DayProblem) -> frozenset[str]:
    """Ids of the boxes of a day."""
    return frozenset(box.box for box in problem.boxes)


def _work(
    box: BoxNeed, opened_at: datetime | None, placed_at: datetime | None, planned_at: datetime | None
) -> Underway:
    """Times of a recorded box; what no one wrote down is filled in by the box's own minutes, never past the records."""
    minutes = timedelta(minutes=1)
    if placed_at is None:
        assert opened_at is not None  # noqa: S101  # one of the two was recorded
        return Underway(box.box, opened_at, opened_at + box.opening_minutes * minutes)
    length = (box.opening_minutes + box.tub_minutes + box.finishing_minutes) * minutes
    start = opened_at or (planned_at if planned_at and planned_at <= placed_at - length else placed_at - length)
    start = min(start, placed_at)
    counted = min(start + box.opening_minutes * minutes, placed_at)
    finish = max(counted, placed_at - box.finishing_minutes * minutes)
    return Underway(box.box, start, counted, tub_at=counted, finish_at=finish, placed_at=placed_at)


def _hands(work: Underway, earlier: Sequence[Underway], problem: DayProblem, wanted: tuple[str, str]) -> Underway:
    """Table and person of a recorded opening: as planned and as signed where that was free, another free one if not."""
    tables = [wanted[0], *(lane.id for lane in problem.lanes if lane.kind == "opening")]
    people = [wanted[1], *(hand.id for hand in problem.people if "open" in hand.skills)]
    known = {lane.id for lane in problem.lanes} | {hand.id for hand in problem.people}

    def free(name: str, role: str) -> bool:
        return name in known and not any(
            getattr(other, role) == name
            and minutes_between(other.opened_at, work.counted_at) > 0
            and minutes_between(work.opened_at, other.counted_at) > 0
            for other in earlier
        )

    table = next((name for name in tables if free(name, "table")), "")
    opener = next((name for name in people if free(name, "opener")), "")
    return replace(work, table=table, opener=opener)
