"""The timetable as a command: needs gathered from stays present and planned, times kept where they were published."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from datetime import timedelta
from typing import Any

from intake.app.landing.kept_day import keep_missing_days
from intake.app.queries.biosecurity.treatment_question import barred, to_vats
from intake.app.queries.planning.landing_work import landing_tasks
from intake.app.queries.planning.published_timetable import stored_tasks, task_of
from intake.app.queries.planning.timetable_needs import dusk_of, holidays_of, mixed_water, needs, stays_ahead
from intake.app.session import House
from intake.farm.floor import Stay
from intake.quarantine import Need
from intake.quarantine.repeats import COUNTS_WITHIN_H
from intake.timetable import Progress, Task, Timetable, schedule
from intake.timetable.problem import Unplaced
from intake.timetable.relief import reliefs, with_reliefs

__all__ = ["reschedule"]


def reschedule(
    house: House,
    *,
    seconds: float = 8.0,
    seed: int = 0,
    afresh: bool = False,
    progress: Callable[[Progress], None] | None = None,
) -> Timetable:
    """Place all work, keep it as published and give the answer.

    Parameters
    ----------
    afresh
        Forget the published times of what has not been done, instead of moving as little as can be.
    """
    keep_missing_days(house)
    before = {str(row["uid"]): task_of(row) for row in stored_tasks(house)}
    finished = {one.task for one in house.floor().done}
    past = {uid for uid, task in before.items() if uid in finished}
    stays, counts = _steady(house)
    asked, unasked = _allowed(house, to_vats(house, needs(house, stays)))
    wanted = asked if afresh else tuple(_held(need, before.get(need.uid)) for need in asked)
    water = mixed_water(house, wanted)
    off, dusk = holidays_of(house, range(house.today.year, house.today.year + 2)), dusk_of(house)
    table = schedule(
        wanted,
        house.site,
        now=house.now,
        published=None if afresh else {uid: task for uid, task in before.items() if uid not in past},
        done=finished,
        seconds=seconds,
        seed=seed,
        progress=progress,
        holidays=off,
        dusk=dusk,
        prepared_water=water,
    )
    if unasked:
        table = replace(table, unplaced=(*table.unplaced, *unasked))
    if len(table.unplaced) > len(unasked):
        found = reliefs(
            wanted, house.site, table, now=house.now, done=finished, holidays=off, dusk=dusk, prepared_water=water
        )
        table = with_reliefs(table, found)
    ahead = {task.uid for task in table.tasks}
    kept = [row for row in stored_tasks(house) if row["uid"] in past and row["uid"] not in ahead]
    tasks = [*kept, *(_kept_chain(_payload(task), before.get(task.uid), table) for task in table.tasks)]
    if tasks != stored_tasks(house):
        told = {"tasks": tasks, "broken": [list(pair) for pair in table.broken], "counts": counts}
        with house.act() as act:
            act.unchanged("timetable", "timetable", what="the timetable")
            act.note("timetable", "timetable", told)
    return with_landing(house, table)


def with_landing(house: House, table: Timetable) -> Timetable:
    """The timetable with the landing days' work in it, as it is published."""
    landing = tuple(task_of(row) for row in landing_tasks(house))
    return replace(table, tasks=tuple(sorted((*landing, *table.tasks), key=lambda task: (task.start, task.uid))))


def _allowed(house: House, asked: Sequence[Need]) -> tuple[tuple[Need, ...], tuple[Unplaced, ...]]:
    """The work the rules let be placed, and the treatments they do not, each with its rule."""
    stops = barred(house, asked)
    left = tuple(
        replace(need, after="" if need.after in stops else need.after) for need in asked if need.uid not in stops
    )
    kept_out = [need for need in asked if need.uid in stops]
    return left, tuple(Unplaced(one.uid, one.kind, one.batch, one.vat, stops[one.uid]) for one in kept_out)


_DRIFT = 0.05
"""Share by which a headcount may drift before the work on it is told anew: a death a day would otherwise change every event
of a lot in every calendar (house rule, no source)."""


def _steady(house: House) -> tuple[tuple[Stay, ...], dict[str, int]]:
    """Stays with the counts last scheduled for, where they drifted little since; and those counts, to be kept."""
    record = house.last("timetable", "timetable")
    told: Any = record.payload.get("counts") if record else None
    before: dict[str, int] = dict(told or {})
    stays, counts = [], {}
    for stay in stays_ahead(house):
        name = f"{stay.batch}/{stay.vat}"
        was = before.get(name, stay.count)
        count = was if abs(stay.count - was) <= _DRIFT * was else stay.count
        counts[name] = count
        stays.append(replace(stay, count=count))
    return tuple(stays), counts


def _held(need: Need, was: Task | None) -> Need:
    """A need that may begin when it was published, if it would still count then.

    Work is recorded at its end, an hour after it began; without this every repeat would move on by a day for that hour.
    """
    if was is None or need.kind not in COUNTS_WITHIN_H or was.start >= need.earliest:
        return need
    held = was.start >= need.earliest - timedelta(hours=COUNTS_WITHIN_H[need.kind])
    return replace(need, earliest=was.start) if held else need


def _kept_chain(row: dict[str, Any], was: Task | None, table: Timetable) -> dict[str, Any]:
    """Keep naming the work it follows: a reader should see no change where nothing changed.

    That is so once the work before it is done, and for a release check, which follows every bath and names one of them.
    """
    if was is None or not was.follows or row["follows"] == was.follows:
        return row
    still = any(task.uid == was.follows for task in table.tasks) and row["kind"] == "release check"
    return {**row, "follows": was.follows} if still or not row["follows"] else row


def _payload(task: Task) -> dict[str, Any]:
    plain = asdict(task)
    plain["start"], plain["end"] = task.start.isoformat(), task.end.isoformat()
    plain["staff"], plain["protection"] = list(task.staff), list(task.protection)
    return plain
