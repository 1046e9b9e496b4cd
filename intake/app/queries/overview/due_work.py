"""Work of the timetable as the board lists it: overdue, today, and the days ahead."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from intake.app.queries.planning.deadlines import deadlines
from intake.app.queries.planning.published_timetable import contact_words, published_tasks
from intake.app.session import House

__all__ = ["DayOfWork", "Due", "due_counts", "due_work"]


@dataclass(frozen=True, slots=True)
class Due:
    """One task.

    Attributes
    ----------
    state
        ``done``, ``overdue`` (its time has passed), ``due`` (today) or ``later``.
    staff
        Ids and names of those it is planned for.
    done_by
        Who recorded it as done, empty while it is not.
    if_late
        The deadline after which its series begins again, and what that would cost; empty where there is none.
    """

    uid: str
    title: str
    kind: str
    batch: str
    vat: str
    system: str
    system_name: str
    start: datetime
    end: datetime
    staff: tuple[tuple[str, str], ...]
    strength: str
    contact: str
    protection: tuple[str, ...]
    station: str
    headcount: int
    why: str
    unsourced: bool
    state: str
    done_by: str
    if_late: str


@dataclass(frozen=True, slots=True)
class DayOfWork:
    """Work of one farm day; ``day`` is ``None`` for what is overdue from days before."""

    day: date | None
    work: tuple[Due, ...]


def due_work(
    house: House, *, person: str = "", batch: str = "", vat: str = "", days: int = 7, priced: bool = True
) -> list[DayOfWork]:
    """Work by farm day: overdue from days before first, then today and the days ahead.

    Parameters
    ----------
    person, batch, vat
        Only what is planned for this person, batch or vat.
    days
        Days ahead, today among them; work done is listed only for today.
    priced
        Whether to say what lateness costs.
    """
    finished = {one.task: one.who for one in house.floor().done}
    zone, today = house.site.farm.zone, house.today
    by_day: dict[date | None, list[Due]] = {}
    prices = {uid: delay.words(zone) for uid, delay in deadlines(house).items()} if priced else {}
    for row in published_tasks(house):
        one = _due(house, row, finished, prices)
        day: date | None = one.start.astimezone(zone).date()
        if not _wanted(one, person, batch, vat) or (one.state == "done" and day != today):
            continue
        assert day is not None  # noqa: S101  # a task has a start
        if day >= today + timedelta(days=days):
            continue
        by_day.setdefault(day if day >= today else None, []).append(one)
    order = sorted(by_day, key=lambda day: day or date.min)
    return [DayOfWork(day, tuple(sorted(by_day[day], key=lambda one: (one.start, one.uid)))) for day in order]


def due_counts(house: House) -> dict[str, Counter[str]]:
    """Vat → how many pieces of its work are ``overdue`` and ``due`` today; system work stands under the system's id."""
    found: dict[str, Counter[str]] = {}
    for day in due_work(house, days=1, priced=False):
        for one in day.work:
            found.setdefault(one.vat or one.system, Counter())[one.state] += 1
    return found


def _wanted(one: Due, person: str, batch: str, vat: str) -> bool:
    if person and person not in {identity for identity, _ in one.staff}:
        return False
    return (not batch or one.batch == batch) and (not vat or one.vat == vat)


def _due(house: House, row: Mapping[str, Any], finished: Mapping[str, str], prices: Mapping[str, str]) -> Due:
    people = house.site.people
    start, end = datetime.fromisoformat(str(row["start"])), datetime.fromisoformat(str(row["end"]))
    today = start.astimezone(house.site.farm.zone).date() == house.today
    uid, system = str(row["uid"]), str(row.get("system") or "")
    state = "done" if uid in finished else "overdue" if end < house.now else "due" if today else "later"
    return Due(
        uid=uid,
        title=str(row["title"]),
        kind=str(row["kind"]),
        batch=str(row["batch"] or ""),
        vat=str(row["vat"] or ""),
        system=system,
        system_name=house.site.systems[system].name if system in house.site.systems else system,
        start=start,
        end=end,
        staff=tuple((str(who), people[who].name if who in people else str(who)) for who in row["staff"]),
        strength=str(row.get("strength") or ""),
        contact=contact_words(row),
        protection=tuple(str(one) for one in row.get("protection") or ()),
        station=str(row.get("station") or ""),
        headcount=int(row.get("headcount") or 0),
        why=str(row.get("why") or ""),
        unsourced=bool(row.get("unsourced")),
        state=state,
        done_by=finished.get(uid, ""),
        if_late="" if uid in finished else prices.get(uid, ""),
    )
