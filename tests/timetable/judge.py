"""Judge of timetables: reads needs, tasks and the farm and says what is wrong; it shares no code with the scheduler."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def faults(
    needs: Iterable[Any],
    tasks: Iterable[Any],
    site: Any,
    now: datetime,
    *,
    unplaced: Iterable[Any] = (),
    standing: Iterable[str] = (),
    late: Mapping[str, int] | None = None,
) -> list[str]:
    """Everything wrong with a timetable, a sentence each; empty when it is sound.

    ``standing`` names tasks that may not move and are not held to hours, skills and windows; ``late`` is the lateness
    the timetable admits, uid → minutes.
    """
    wanted = {need.uid: need for need in needs}
    placed = {task.uid: task for task in tasks}
    found = _complete(wanted, list(tasks), [one.uid for one in unplaced])
    free = {uid: task for uid, task in placed.items() if uid in wanted and uid not in set(standing)}
    for uid, task in free.items():
        found += _hours(task, site)
        found += _fits(wanted[uid], task, site, now)
        found += _lags(wanted[uid], task, placed)
        found += _admitted(wanted[uid], task, placed, (late or {}).get(uid, 0))
    found += _one_place(placed, set(standing))
    found += _stations(placed, site, set(standing))
    found += _animals(placed, set(standing))
    return found


def lateness(need: Any, task: Any, placed: Mapping[str, Any]) -> timedelta:
    """How long after its limit a task begins."""
    over = _utc(task.start) - _utc(need.latest)
    if need.after in placed and need.lag_max_days is not None:
        over = max(over, _utc(task.start) - _utc(placed[need.after].start) - timedelta(days=need.lag_max_days))
    return max(over, timedelta(0))


def ways_back(needs: Iterable[Any], tasks: Iterable[Any]) -> list[str]:
    """Each time somebody goes, from one piece of work to the next of a day, from dirtier animals to cleaner ones."""
    wanted = {need.uid: need for need in needs}
    days: dict[tuple[str, Any], list[Any]] = {}
    for task in tasks:
        for name in task.staff:
            days.setdefault((name, task.start.date()), []).append(task)
    words = []
    for (name, day), row in days.items():
        row.sort(key=lambda task: (_utc(task.start), task.uid))
        for task, other in pairwise(row):
            if _dirt(wanted[task.uid]) > _dirt(wanted[other.uid]):
                words.append(f"{name} on {day}: from {task.uid} to {other.uid}")
    return words


def _dirt(need: Any) -> tuple[int, Any]:
    """Released, then quarantine by the day of entry (UTC), then sick."""
    if need.condition == "quarantine":
        return 1, (_utc(need.entered).date().toordinal() if need.entered is not None else 0)
    return (0 if need.condition == "released" else 2), 0


def not_told(needs: Iterable[Any], tasks: Iterable[Any], broken: Iterable[tuple[str, str]]) -> list[str]:
    """Pests' cycles broken by lateness that the timetable does not report, and reported ones that are whole."""
    wanted = {need.uid: need for need in needs}
    placed = {task.uid: task for task in tasks}
    late = [
        uid
        for uid, task in placed.items()
        if wanted[uid].strict and wanted[uid].dip and lateness(wanted[uid], task, placed) >= timedelta(minutes=15)
    ]
    told = {batch for batch, _ in broken}
    words = [f"{uid} is late and {wanted[uid].batch} is not told" for uid in late if wanted[uid].batch not in told]
    return words + [f"{batch} told without reason" for batch in told - {wanted[uid].batch for uid in late}]


def _utc(moment: datetime) -> datetime:
    return moment.astimezone(UTC)


def _complete(wanted: Mapping[str, Any], tasks: list[Any], left: list[str]) -> list[str]:
    names = [task.uid for task in tasks] + left
    words = [f"{uid} stands in the answer {names.count(uid)} times" for uid in wanted if names.count(uid) != 1]
    return words + [f"{uid} was never asked for" for uid in names if uid not in wanted]


def _hours(task: Any, site: Any) -> list[str]:
    zone = site.farm.zone
    words = []
    for name in task.staff:
        person = site.people[name]
        start, end = task.start.astimezone(zone), task.end.astimezone(zone)
        day = start.date()
        if WEEKDAYS[day.weekday()] not in person.days or any(gap.first <= day <= gap.last for gap in person.leave):
            words.append(f"{task.uid}: {name} is off on {day}")
        if end.date() != day or start.time() < person.starts or end.time() > person.ends:
            words.append(f"{task.uid}: {name} works {person.starts} to {person.ends}, not {start} to {end}")
    return words


def _fits(need: Any, task: Any, site: Any, now: datetime) -> list[str]:
    words = []
    if len(set(task.staff)) != need.people:
        words.append(f"{task.uid}: {len(task.staff)} people instead of {need.people}")
    words += [
        f"{task.uid}: {name} lacks the skill {need.skill}"
        for name in task.staff
        if need.skill and need.skill not in site.people[name].skills
    ]
    words += [f"{task.uid}: {name} only reads" for name in task.staff if site.people[name].role == "read-only"]
    if _utc(task.start) < max(_utc(now), _utc(need.earliest)):
        words.append(f"{task.uid}: begins {task.start}, before {max(_utc(now), _utc(need.earliest))}")
    if not timedelta(0) <= (task.end - task.start) - timedelta(minutes=need.minutes) < timedelta(minutes=15):
        words.append(f"{task.uid}: lasts {task.end - task.start} for {need.minutes} min of work")
    if task.start.minute % 15 or task.start.second:
        words.append(f"{task.uid}: begins off the quarter hour")
    kinds = {station.kind for station in site.stations.values()}
    if need.station in kinds and (not task.station or site.stations[task.station].kind != need.station):
        words.append(f"{task.uid}: at '{task.station}' instead of a station for {need.station}")
    return words


def _lags(need: Any, task: Any, placed: Mapping[str, Any]) -> list[str]:
    if need.after not in placed:
        return []
    gap = _utc(task.start) - _utc(placed[need.after].start)
    if gap < timedelta(days=need.lag_min_days) - timedelta(seconds=1):
        return [f"{task.uid}: only {gap} after {need.after}, {need.lag_min_days} days are needed"]
    return []


def _admitted(need: Any, task: Any, placed: Mapping[str, Any], minutes: int) -> list[str]:
    real = lateness(need, task, placed)
    if abs(real - timedelta(minutes=minutes)) >= timedelta(minutes=15):
        return [f"{task.uid}: late by {real}, the timetable says {minutes} min"]
    return []


def _overlaps(rows: list[tuple[datetime, datetime, str]], places: int, what: str) -> list[str]:
    edges = sorted([(end, -1, uid) for _, end, uid in rows] + [(start, 1, uid) for start, _, uid in rows])
    words, used = [], 0
    for at, step, uid in edges:
        used += step
        if used > places:
            words.append(f"{what}: {used} at once at {at}, with {uid}")
    return words


def _rows(placed: Mapping[str, Any], key: Any, skip: set[str]) -> dict[str, list[tuple[datetime, datetime, str]]]:
    rows: dict[str, list[tuple[datetime, datetime, str]]] = {}
    for task in placed.values():
        for name in key(task):
            if task.uid not in skip:
                rows.setdefault(name, []).append((_utc(task.start), _utc(task.end), task.uid))
    return rows


def _one_place(placed: Mapping[str, Any], standing: set[str]) -> list[str]:
    rows = _rows(placed, lambda task: task.staff, standing)
    return [word for name, row in rows.items() for word in _overlaps(row, 1, name)]


def _stations(placed: Mapping[str, Any], site: Any, standing: set[str]) -> list[str]:
    rows = _rows(placed, lambda task: [task.station] if task.station else [], standing)
    return [word for name, row in rows.items() for word in _overlaps(row, site.stations[name].places, name)]


def _animals(placed: Mapping[str, Any], standing: set[str]) -> list[str]:
    def animals(task: Any) -> list[str]:
        return [f"{task.batch} in {task.vat} {task.uid.partition('/part-')[2]}"] if task.batch else []

    return [word for name, row in _rows(placed, animals, standing).items() for word in _overlaps(row, 1, name)]
