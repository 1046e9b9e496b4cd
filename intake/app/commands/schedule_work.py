"""The timetable as a command: published again as a whole, or brought up to the ledger after an act, changes stored alone."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any, Final

from intake.app.landing.kept_day import keep_missing_days
from intake.app.queries.biosecurity.treatment_question import barred, to_vats
from intake.app.queries.planning.landing_work import hands_taken, landing_tasks, last_placings
from intake.app.queries.planning.published_timetable import (
    all_tasks,
    follows_as_before,
    latest_as_before,
    row_history,
    row_of,
    state_at,
    task_of,
    told_of_timetable,
)
from intake.app.queries.planning.task_closing import ROUNDS, closed_rows, is_released
from intake.app.queries.planning.timetable_needs import conditions_of, needs, stays_ahead
from intake.app.queries.planning.timetable_warnings import broken_rows, lapse_rows, tried_before
from intake.app.session import Act, House
from intake.farm.floor import Done, Floor, Stay
from intake.quarantine import Need
from intake.quarantine.repeats import COUNTS_WITHIN_H
from intake.timetable import GRACE_H, Progress, Task, Timetable, not_holding, repair, schedule
from intake.timetable.problem import Unplaced
from intake.timetable.relief import reliefs, with_reliefs
from intake.timetable.settled import Tried, given_back, settled, try_record

__all__ = ["Outcome", "bring_up", "reschedule", "write_outcome"]

_Row = dict[str, Any]

_DRIFT = 0.05
"""Share by which a headcount may drift before the work on it is published again: a death a day would otherwise change every event
of a lot in every calendar (house rule, no source)."""

_SHORT_NUMBERS = 999
"""Short numbers go up to here and begin again with those that are free."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """Rows that changed, and what the timetable as a whole says where that changed; the answer if one was calculated."""

    rows: dict[str, _Row] = field(default_factory=dict)
    told: dict[str, Any] | None = None
    table: Timetable | None = None


@dataclass(frozen=True, slots=True)
class _Question:
    """All rows, the open ones as tasks, what must be done, and the counts it was calculated with."""

    rows: dict[str, _Row]
    before: dict[str, Task]
    wanted: tuple[Need, ...]
    done: frozenset[str]
    counts: dict[str, int]
    left: frozenset[str] = frozenset()
    """Tasks left standing though their time is past."""
    barred: tuple[Unplaced, ...] = ()
    """Treatments the rules do not let be placed."""


def reschedule(
    house: House,
    *,
    seconds: float = 8.0,
    seed: int = 0,
    afresh: bool = False,
    propose: bool = False,
    progress: Callable[[Progress], None] | None = None,
) -> Timetable:
    """Improve the whole timetable, publish it and give the answer.

    Parameters
    ----------
    afresh
        Forget the published times of what has not been done, instead of moving as little as can be.
    propose
        Only show it: nothing is published.

    Raises
    ------
    Refused
        Someone else changed the timetable meanwhile.
    """
    keep_missing_days(house)
    asked = _question(house, afresh=afresh)
    given = conditions_of(house, asked.wanted)
    table = schedule(
        asked.wanted,
        house.site,
        now=house.now,
        published=None if afresh else asked.before,
        done=asked.done,
        seconds=seconds,
        seed=seed,
        progress=progress,
        holidays=given.holidays,
        dusk=given.dusk,
        prepared_water=given.prepared_water,
        taken=given.taken,
    )
    table = replace(table, unplaced=(*table.unplaced, *asked.barred))
    if len(table.unplaced) > len(asked.barred):
        found = reliefs(
            asked.wanted,
            house.site,
            table,
            now=house.now,
            done=asked.done,
            holidays=given.holidays,
            dusk=given.dusk,
            prepared_water=given.prepared_water,
        )
        table = with_reliefs(table, found)
    outcome = _outcome(house, asked, table)
    numbered = replace(table, tasks=tuple(_numbered(one, outcome.rows, asked.rows, house.now) for one in table.tasks))
    if propose or not (outcome.rows or outcome.told):
        return with_landing(house, numbered)
    with house.act() as act:
        act.unchanged("task", what="the timetable")
        write_outcome(act, outcome)
    return with_landing(house, numbered)


def with_landing(house: House, table: Timetable) -> Timetable:
    """The timetable with the landing days' work in it, as it is published."""
    landing = tuple(task_of(row) for row in landing_tasks(house))
    return replace(table, tasks=tuple(sorted((*landing, *table.tasks), key=lambda task: (task.start, task.uid))))


def _allowed(house: House, asked: Sequence[Need]) -> tuple[tuple[Need, ...], tuple[Unplaced, ...]]:
    """The work the rules let be placed, and the treatments they do not, each with its rule."""
    stops = barred(house, asked)
    left = tuple(replace(need, after="") if need.after in stops else need for need in asked if need.uid not in stops)
    kept_out = [need for need in asked if need.uid in stops]
    return left, tuple(Unplaced(one.uid, one.kind, one.batch, one.vat, stops[one.uid]) for one in kept_out)


def bring_up(house: House, *, overdue: bool = False) -> Outcome:
    """What an act changed in the timetable: closed, forced and new tasks; nothing where every published time still holds.

    Parameters
    ----------
    overdue
        Move what was not recorded in time.  An act does not: work is often recorded one by one after the day, and each
        record would send the others of that day into the next.
    """
    asked = _question(house, standing=not overdue)
    grace_h = GRACE_H if overdue else _STANDS_H
    wanted = {need.uid for need in asked.wanted}
    held = {uid: task for uid, task in asked.before.items() if uid in wanted}
    trouble = not_holding(asked.wanted, held, house.site, house.now, grace_h=grace_h)
    if not trouble:
        return _outcome(house, asked, None)
    known = frozenset() if overdue else settled(tried_before(house), trouble, asked.wanted, _room(house, asked))
    if known.issuperset(trouble):
        return _outcome(house, asked, None, known=known)
    given = replace(conditions_of(house, asked.wanted), grace_h=grace_h, settled=known)
    table = repair(asked.wanted, house.site, now=house.now, published=asked.before, done=asked.done, conditions=given)
    table = replace(table, unplaced=(*table.unplaced, *asked.barred))
    return _outcome(house, asked, table, grace_h)


def _room(house: House, asked: _Question, trouble: Collection[str] = ()) -> Tried:
    """Hands and room of this moment, with what does not hold in them."""
    wanted = {need.uid for need in asked.wanted} | asked.left
    closed = {uid for uid, row in asked.rows.items() if row.get("state", "open") != "open"}
    closed |= {uid for uid in asked.before if uid in asked.done or uid not in wanted}
    tasks = {uid: task_of(asked.rows[uid]) for uid in closed}
    return try_record(
        house.site,
        house.today,
        taken=hands_taken(house),
        back=given_back(tasks, closed, house.now),
        trouble=trouble,
        wanted=asked.wanted,
    )


_STANDS_H = 24.0 * 30
"""Hours in which an act leaves standing what was not recorded: until the timetable is next gone through as a whole."""


def write_outcome(act: Act, outcome: Outcome) -> None:
    """Store the changed rows and what the timetable as a whole says."""
    for uid, row in sorted(outcome.rows.items()):
        act.derive("task", uid, row)
    if outcome.told is not None:
        act.derive("timetable", "timetable", outcome.told)


def _left_behind(floor: Floor, task: Task) -> bool:
    """Work of a quarantine the lot has left for good: it is over with the release, not due until someone looks."""
    return is_released(floor, task.batch) and (task.batch, task.vat) not in {
        (one.batch, one.vat) for one in floor.stays
    }


def _before_its_animals(task: Task, placed: Mapping[str, datetime]) -> bool:
    """Whether work stands before the last of its lot is placed: the landing day has moved since, and its minute is void."""
    return task.batch in placed and task.start < placed[task.batch]


def _question(house: House, *, afresh: bool = False, standing: bool = False) -> _Question:
    """Published rows and what must be done; ``standing``: as if what is past and not recorded had been done in time.

    A round stays where it was in any case: not made, it is missed at the end of its day and never moved into the next.
    """
    rows = all_tasks(house)
    placed = last_placings(house)
    open_now = ((uid, task_of(row)) for uid, row in rows.items() if row.get("state", "open") == "open")
    before = {uid: task for uid, task in open_now if not _before_its_animals(task, placed)}
    stays, counts = _steady(house)
    floor = house.floor()
    left = [
        task for task in before.values()
        if task.end <= house.now and (
            task.kind in ROUNDS or (standing and task.batch and not _left_behind(floor, task))
        )
    ]  # fmt: skip
    assumed = [Done(task.uid, task.batch, task.kind, task.end, "") for task in left]
    asked, barred_now = _allowed(house, to_vats(house, needs(house, stays, assumed=assumed)))
    wanted = asked if afresh else tuple(_held(need, before.get(need.uid)) for need in asked)
    done = frozenset(one.task for one in floor.done)
    return _Question(rows, before, wanted, done, counts, frozenset(task.uid for task in left), barred_now)


def _outcome(
    house: House,
    asked: _Question,
    table: Timetable | None,
    grace_h: float = GRACE_H,
    *,
    known: frozenset[str] = frozenset(),
) -> Outcome:
    """The rows that differ from those published.

    Parameters
    ----------
    grace_h
        As the answer was calculated with.
    known
        Without an answer, the work that is known to have no time at which it holds: what was said of it stays.
    """
    wanted = {need.uid for need in asked.wanted} | asked.left
    rows = closed_rows(house, asked.rows, wanted, asked.done)
    numbers = _Numbers(asked.rows, int(told_of_timetable(house).get("last_number") or 0))
    if table is not None:
        rows |= _placed_rows(asked, table, rows, numbers)
    rows |= _priced_rows(house, asked, rows)
    rows = {uid: row for uid, row in rows.items() if row != asked.rows.get(uid)}
    told = _told(house, asked, table, rows, numbers.last, known)
    if table is not None:
        told = _with_tried(house, asked, {**asked.rows, **rows}, told, grace_h)
    return Outcome(rows, told, table)


def _with_tried(
    house: House, asked: _Question, rows: Mapping[str, _Row], told: dict[str, Any] | None, grace_h: float
) -> dict[str, Any] | None:
    """What the timetable says, with what this answer could not mend; ``None`` where neither differs from what is kept."""
    wanted = {need.uid for need in asked.wanted}
    held = {uid: task_of(row) for uid, row in rows.items() if uid in wanted and row.get("state", "open") == "open"}
    trouble = not_holding(asked.wanted, held, house.site, house.now, grace_h=grace_h)
    tried = asdict(_room(house, asked, trouble)) if trouble else {}
    before = told_of_timetable(house)
    if told is None and tried == (before.get("tried") or {}):
        return None
    return {**(told or before), "tried": tried}


def _priced_rows(house: House, asked: _Question, rows: Mapping[str, _Row]) -> dict[str, _Row]:
    """Open rows with the deadline of their series and its price in words, as every list and calendar says them.

    What follows a bath that is only taken for done keeps what it said: its price is known when that bath is recorded.
    """
    zone, found = house.site.farm.zone, dict[str, _Row]()
    taken_for_done = {_series(uid) for uid in asked.left - asked.done}
    for need in asked.wanted:
        if _series(need.uid) in taken_for_done:
            continue
        row = rows.get(need.uid) or asked.rows.get(need.uid)
        if row is None or row.get("state", "open") != "open":
            continue
        price = need.delays
        told = {"deadline": price.deadline.astimezone(zone).isoformat(), "if_late": price.words(zone)} if price else {}
        if {name: row[name] for name in _PRICE if name in row} != told:
            found[need.uid] = {name: value for name, value in row.items() if name not in _PRICE} | told
    return found


_PRICE: Final = ("deadline", "if_late")


def _series(uid: str) -> str:
    """What the repeats of a bath in one place have in common: the uid without its number and part."""
    return uid.partition("/part-")[0].rpartition("/")[0]


def _placed_rows(asked: _Question, table: Timetable, closed: Mapping[str, _Row], numbers: _Numbers) -> dict[str, _Row]:
    """A row for each task of the answer, as published where nothing changed, numbered where it is new."""
    why = {change.uid: change.why for change in table.moved}
    found: dict[str, _Row] = {}
    for task in table.tasks:
        if task.uid in closed and closed[task.uid].get("state") != "open":
            continue
        was = asked.rows.get(task.uid)
        row = latest_as_before(follows_as_before(row_of(task), asked.before.get(task.uid), table), was)
        row["short"] = (was or {}).get("short") or numbers.next()
        row |= row_history(was, row, why.get(task.uid, ""))
        found[task.uid] = row
    return found


class _Numbers:
    """Short numbers in turn, those of open tasks left out."""

    def __init__(self, rows: Mapping[str, _Row], last: int) -> None:
        self._used = {int(row.get("short") or 0) for row in rows.values() if row.get("state", "open") == "open"}
        self.last = last

    def next(self) -> int:
        """The next free one after the last given."""
        turn = ((self.last + step) % _SHORT_NUMBERS + 1 for step in range(_SHORT_NUMBERS))
        number = next((number for number in turn if number not in self._used), max(self._used, default=0) + 1)
        self._used.add(number)
        self.last = number
        return number


def _numbered(task: Task, rows: Mapping[str, _Row], before: Mapping[str, _Row], now: datetime) -> Task:
    row = rows.get(task.uid) or before.get(task.uid) or {}
    return replace(task, short=int(row.get("short") or 0), state=state_at(row_of(task) | row, now))


def _told(
    house: House,
    asked: _Question,
    table: Timetable | None,
    rows: Mapping[str, _Row],
    last_number: int,
    known: frozenset[str],
) -> dict[str, Any] | None:
    """What the timetable as a whole says now, where that differs from what it said."""
    before = told_of_timetable(house)
    stands = {uid: task for uid, task in asked.before.items() if uid not in rows}
    told = {
        "tried": before.get("tried") or {},
        "broken": broken_rows(house, {**asked.rows, **rows}),
        "counts": asked.counts,
        "unplaced": [one for one in before.get("unplaced") or () if one["uid"] not in asked.before.keys() - known],
        "trouble": "",
        "last_number": last_number,
        "evening": str(before.get("evening") or ""),
        "lapses": lapse_rows(house, asked.wanted, {**asked.rows, **rows}, stands),
    }
    if table is not None:
        names = ("uid", "kind", "batch", "vat", "why", "cheapest")
        told["unplaced"] = [{name: getattr(one, name) for name in names} for one in table.unplaced]
        told["evening"] = table.evening
    return told if any(told[name] != before.get(name, _NOTHING.get(name, "")) for name in told) else None


_NOTHING: Final[Mapping[str, object]] = {"lapses": [], "tried": {}}
"""Warnings from books older than the record of this part of the timetable's report."""


def _steady(house: House) -> tuple[tuple[Stay, ...], dict[str, int]]:
    """Stays with the counts last scheduled for, where they drifted little since; and those counts, to be kept."""
    before: dict[str, int] = dict(told_of_timetable(house).get("counts") or {})
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
    The first of a series, bath or brushing, is held by the rest after placing and by the bath before it, to the minute.
    """
    if was is None or need.opens or need.kind not in COUNTS_WITHIN_H or was.start >= need.earliest:
        return need
    held = was.start >= need.earliest - timedelta(hours=COUNTS_WITHIN_H[need.kind])
    return replace(need, earliest=was.start) if held else need
