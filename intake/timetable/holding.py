"""Whether a published timetable still answers what must be done: looked at task by task, without scheduling anything."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from intake.farm.site import Site
from intake.quarantine.needs import Need
from intake.timetable.answers.lapses import lapsing
from intake.timetable.search.replan import GRACE_H, stands_still
from intake.timetable.slots import SLOT_MIN
from intake.timetable.solution import Task

__all__ = ["not_holding"]

_STEP = timedelta(minutes=SLOT_MIN)


def not_holding(
    needs: Iterable[Need], open_tasks: Mapping[str, Task], site: Site, now: datetime, *, grace_h: float = GRACE_H
) -> list[str]:
    """Uids of needs without a published task that answers them, and of open tasks no one needs.

    Parameters
    ----------
    open_tasks
        Uid → published task not yet closed.
    grace_h
        Hours after its end in which a task not recorded stays where it was published.

    Returns
    -------
    list of str
        Empty when every published time still holds: then nothing has to be repaired.
    """
    wanted = {need.uid: need for need in needs}
    found = [uid for uid, need in wanted.items() if not _answers(need, open_tasks, site, now, grace_h)]
    return found + [uid for uid in open_tasks if uid not in wanted]


def _answers(need: Need, tasks: Mapping[str, Task], site: Site, now: datetime, grace_h: float) -> bool:
    task = tasks.get(need.uid)
    if task is None or not _same(need, task):
        return False
    if stands_still(task, now, 0.0, grace_h):
        return True
    if task.start < now or task.start < need.earliest or _to_be_saved(need, task, now):
        return False
    in_time = task.start <= need.latest or (task.late_minutes > 0 and task.latest == need.latest)
    return in_time and _in_lag(need, task, tasks) and _staffed(need, task, site)


def _to_be_saved(need: Need, task: Task, now: datetime) -> bool:
    """Whether its series begins again as it is planned and need not: room may have come with any act."""
    if need.deadline is None or not lapsing(need, task):
        return False
    return max(now, need.earliest) + (task.end - task.start) <= need.deadline


def _same(need: Need, task: Task) -> bool:
    """Whether what was published of the work still holds."""
    slots = max(1, -(-need.minutes // SLOT_MIN))
    return (
        (task.vat, task.title, task.headcount, task.vats) == (need.vat, need.title, need.headcount, need.vats)
        and (task.strength, task.agent, task.part) == (need.strength, need.agent, need.part_of_day)
        and task.end - task.start == slots * _STEP
        and (len(task.staff) == need.people or need.company)
    )


def _in_lag(need: Need, task: Task, tasks: Mapping[str, Task]) -> bool:
    before = tasks.get(need.after)
    if before is None:
        return True
    gap = task.start - before.start
    if gap < timedelta(days=need.lag_min_days) - timedelta(minutes=1):
        return False
    longest = need.lag_max_days
    return longest is None or task.late_minutes > 0 or gap <= timedelta(days=longest)


def _staffed(need: Need, task: Task, site: Site) -> bool:
    zone = site.farm.zone
    start, end = task.start.astimezone(zone), task.end.astimezone(zone)
    for name in task.staff:
        person = site.people.get(name)
        if person is None or person.role == "read-only" or not person.works_on(start.date()):
            return False
        if start.time() < person.starts or end.time() > person.ends or (need.skill and need.skill not in person.skills):
            return False
    return True
