"""Work of the timetable as the board lists it: left from earlier days, today, and the days ahead."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from intake.app.queries.overview.task_states import state_words
from intake.app.queries.planning.deadlines import deadlines
from intake.app.queries.planning.published_timetable import contact_words, disposal_of, shown_tasks, state_at
from intake.app.queries.planning.task_closing import of_a_later_day
from intake.app.session import House

__all__ = ["DayOfWork", "Due", "due_counts", "due_work"]

_OPEN = frozenset({"due", "running", "late"})


@dataclass(frozen=True, slots=True)
class Due:
    """One task.

    Attributes
    ----------
    state
        As everywhere (:func:`~intake.app.queries.planning.published_timetable.state_at`); ``told`` says it in words.
    staff
        Ids and names of those it is planned for.
    after
        Where the water of its bath goes when it is done; empty where nothing is said.
    number
        The short number by which it is recorded while it is open; 0 for work that has none.
    if_late
        The deadline after which its series begins again, and what that would cost; empty where there is none.
    undo
        Key of the act that recorded it as done; empty while it is not.
    early
        Whether it is a round of a later day, which is recorded on its day.
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
    told: str
    if_late: str
    undo: str = ""
    number: int = 0
    after: str = ""
    early: bool = False

    @property
    def open(self) -> bool:
        """Whether it can be recorded as done now."""
        return self.state in _OPEN and not self.early


@dataclass(frozen=True, slots=True)
class DayOfWork:
    """Work of one farm day; ``day`` is ``None`` for what is left from earlier days."""

    day: date | None
    work: tuple[Due, ...]


def due_work(
    house: House,
    *,
    person: str = "",
    batch: str = "",
    vat: str = "",
    task: str = "",
    days: int = 7,
) -> list[DayOfWork]:
    """Work by farm day: left from earlier days first, then today and the days ahead.

    Parameters
    ----------
    person, batch, vat
        Only what is planned for this person, batch or vat.
    task
        Only this one, whatever its day and state.
    days
        Days ahead, today among them; what is over is listed only for today, what was missed for yesterday too.
    """
    zone, today = house.site.farm.zone, house.today
    by_day: dict[date | None, list[Due]] = {}
    rows = shown_tasks(house)
    prices = {uid: found.words for uid, found in deadlines(house, rows.values()).items()}
    for row in [rows[task]] if task in rows else () if task else rows.values():
        day = datetime.fromisoformat(str(row["start"])).astimezone(zone).date()
        if task or (_wanted(row, person, batch, vat) and _listed(state_at(row, house.now), day, today, days)):
            by_day.setdefault(day if day >= today else None, []).append(_due(house, row, prices))
    order = sorted(by_day, key=lambda day: day or date.min)
    return [DayOfWork(day, tuple(sorted(by_day[day], key=lambda one: (one.start, one.uid)))) for day in order]


def due_counts(house: House) -> dict[str, Counter[str]]:
    """Vat → how many pieces of its work are in each state today; system work stands under the system's id."""
    found: dict[str, Counter[str]] = {}
    for day in due_work(house, days=1):
        for one in day.work:
            found.setdefault(one.vat or one.system, Counter())[one.state] += 1
    return found


def _listed(state: str, day: date, today: date, days: int) -> bool:
    """Whether a task stands in a list of so many days."""
    if state not in _OPEN:
        return day == today or (state == "missed" and day == today - timedelta(days=1))
    return day < today + timedelta(days=days)


def _wanted(row: Mapping[str, Any], person: str, batch: str, vat: str) -> bool:
    if person and person not in row["staff"]:
        return False
    return (not batch or row["batch"] == batch) and (not vat or row["vat"] == vat)


def _due(house: House, row: Mapping[str, Any], prices: Mapping[str, str]) -> Due:
    people = house.site.people
    start, end = datetime.fromisoformat(str(row["start"])), datetime.fromisoformat(str(row["end"]))
    uid, system = str(row["uid"]), str(row.get("system") or "")
    state = state_at(row, house.now)
    record = house.last("done", uid) if state == "done" else None
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
        strength=str(row.get("strength") or "").removeprefix("none: "),  # handwork: how it is done
        contact=contact_words(row),
        protection=tuple(str(one) for one in row.get("protection") or ()),
        station=str(row.get("station") or ""),
        headcount=int(row.get("headcount") or 0),
        why=str(row.get("why") or ""),
        unsourced=bool(row.get("unsourced")),
        state=state,
        told=state_words(house, row),
        if_late=prices.get(uid, "") if state in _OPEN else "",
        undo=record.key.partition(".")[0] if record else "",
        number=int(row.get("short") or 0),
        after=disposal_of(house, str(row.get("dip") or "")),
        early=of_a_later_day(house, row, house.now),
    )
