"""The daily watch over a farm: its books as a table of deaths by day, and the alarms of the last days."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from typing import Final

import numpy as np

from intake.errors import BadInput, Finding
from intake.ledger.corrections import netted
from intake.ledger.entries import Entry, Movement, movements
from intake.report.alarms.death_record import DeathRecord
from intake.report.alarms.events import QUIET_DAYS, Alarm, episodes, raised, row_of
from intake.report.alarms.from_books import Row, ages, counted_days, fill
from intake.report.alarms.looks import FALSE_SHARE, LEAST_DEATHS, WINDOWS, DayLooks, fewest, look

__all__ = ["FarmAlarm", "FarmWatch", "LookedAt", "watch_farm"]

DAYS_KEPT: Final = 250
"""Days of record read: the usual (180), its guard, the longest window and what is looked back at."""

_CHART_DAYS: Final = 60

_WEEK: Final = WINDOWS.index(7)

_AS_USUAL: Final = 0.05
"""Chance above which the last week of a unit counts as usual again (convention, no source)."""


@dataclass(frozen=True, slots=True)
class LookedAt:
    """One look at one day of a batch, for its control chart.

    Attributes
    ----------
    day
        Days since the batch came, 0 the first.
    ends_at
        Moment the day ends.
    at_risk
        Animals that could have died.
    expected, limit
        Deaths that are usual, and the fewest that alarm.
    chance
        Chance of as many deaths or more when all is as usual.
    """

    day: int
    ends_at: datetime
    deaths: int
    at_risk: int
    expected: float
    limit: int
    chance: float

    @property
    def out(self) -> bool:
        """Whether it alarms."""
        return self.deaths >= self.limit


@dataclass(frozen=True, slots=True)
class FarmAlarm:
    """An alarm with the names of what it is about.

    Attributes
    ----------
    unit, name
        ``farm``, ``water`` or ``batch``, and its id (empty for the farm).
    since, until
        Beginning and end of the days with the smallest chance.
    first_day, last_day
        First and last date on which it alarmed.
    deaths, expected, chance
        Over those days.
    week
        Deaths of the last seven days in the same unit, those that are usual, and the chance of as many or more.
    past
        Whether the unlikely days ended a week ago or longer.
    batches
        Batches with animals in it; ``named`` those unusual by themselves as (batch, deaths, expected), worst first.
    """

    unit: str
    name: str
    since: datetime
    until: datetime
    days: int
    first_day: date
    last_day: date
    deaths: int
    expected: float
    chance: float
    week: tuple[int, float, float]
    past: bool
    batches: int
    named: tuple[tuple[str, int, float], ...]

    @property
    def over(self) -> bool:
        """Whether the unlikely days are past and the last seven days are as usual."""
        return self.past and self.week[2] > _AS_USUAL


@dataclass(frozen=True, slots=True)
class FarmWatch:
    """The whole watch.

    Attributes
    ----------
    alarms
        The latest first.
    charts
        Batch → its looks at single days, for the batches named in an alarm.
    looks
        How often was looked.
    usual_later
        Deaths per animal-day that are usual here two weeks after arrival and later.
    spread
        Day-to-day variance of a batch's rate, as a share of its square.
    learnt_from
        Dates between which the usual was learnt; ``None`` on a farm too young to have any.
    unseen
        Batches so small that no number of deaths can raise an alarm of their own.
    rule
        The rule in words.
    """

    alarms: tuple[FarmAlarm, ...]
    charts: Mapping[str, tuple[LookedAt, ...]]
    looks: int
    usual_later: float | None
    spread: float | None
    learnt_from: tuple[date, date] | None
    unseen: tuple[str, ...]
    rule: str


_RULE: Final = (
    f"Deaths of the last {', '.join(str(days) for days in WINDOWS[:-1])} and {WINDOWS[-1]} days of every batch, every system "
    "and the farm are compared with what is usual for animals as long here. The last two weeks and past outbreaks do not "
    f"count as usual. At most {100 * FALSE_SHARE:g} % of the looks that alarm are expected to be false; fewer than "
    f"{LEAST_DEATHS} deaths never alarm."
)


def watch_farm(
    entries: Iterable[Entry],
    batches: Iterable[str],
    waters: Mapping[str, str],
    now: datetime,
    zone: tzinfo,
    *,
    days_back: int = 7,
    prior: Mapping[str, float] | None = None,
) -> FarmWatch:
    """Look at every batch, every water and the farm on each of the last days.

    Parameters
    ----------
    entries
        Entries of the ledger.
    batches
        Batch ids.
    waters
        Vat → the system it hangs on.
    now
        Moment of looking, time-zone aware.
    zone
        The farm's, for the days of its calendar.
    days_back
        Days looked back at, 1 or more.
    prior
        Batch → factor on the usual losses of its group where that is known, from past shipments.

    Raises
    ------
    BadInput
        For fewer days than 1.
    """
    if days_back < 1:
        raise BadInput(Finding("--days", str(days_back), "1 day or more"))
    books = _Books.of(entries, batches, waters, now, zone, prior or {})
    if books is None:
        return FarmWatch((), {}, 0, None, None, None, (), _RULE)
    last = books.record.days - 1
    seen = {day: look(books.record, day) for day in range(max(0, last - days_back + 1), last + 1)}
    told = [one for one in seen.values() if one is not None]
    found = episodes([raised(one, books.waters_of) for one in told])
    named = dict.fromkeys(books.names[batch] for alarm in found for batch in alarm.named)
    latest = told[-1] if told else None
    return FarmWatch(
        alarms=tuple(books.named(one, seen[one.until], latest) for one in found),
        charts=books.charts(list(named), seen),
        looks=sum(int((one.expected > 0).sum()) for one in told),
        usual_later=float(latest.level.rates[-1]) if latest else None,
        spread=latest.level.spread if latest else None,
        learnt_from=(books.date(latest.level.first), books.date(latest.level.last))
        if latest and latest.level.last >= latest.level.first
        else None,
        unseen=books.unseen(latest) if latest else (),
        rule=_RULE,
    )


@dataclass(frozen=True, slots=True)
class _Books:
    """The table with the names of its rows."""

    record: DeathRecord
    names: tuple[str, ...]
    waters: tuple[str, ...]
    waters_of: tuple[frozenset[int], ...]
    arrived: tuple[int, ...]
    first: date
    zone: tzinfo
    now: datetime

    @classmethod
    def of(
        cls,
        entries: Iterable[Entry],
        batches: Iterable[str],
        waters: Mapping[str, str],
        now: datetime,
        zone: tzinfo,
        prior: Mapping[str, float],
    ) -> _Books | None:
        kept = tuple(entries)
        asked = set(batches)
        moved: defaultdict[str, list[Movement]] = defaultdict(list)
        for movement in netted(movements(kept)):
            if movement.batch in asked and movement.happened_at <= now:
                moved[movement.batch].append(movement)
        if not moved:
            return None
        today = now.astimezone(zone).date()
        arrivals = {batch: its[0].happened_at.astimezone(zone).date() for batch, its in moved.items()}
        first = max(min(arrivals.values()), today - timedelta(days=DAYS_KEPT - 1))
        names = tuple(moved)
        rows: dict[tuple[int, str], Row] = {}
        days = (today - first).days + 1
        for index, batch in enumerate(names):
            fill(rows, index, moved[batch], waters, first, days, zone)
        systems = tuple(sorted({water for _, water in rows}))
        keys = sorted(rows, key=lambda key: (key[0], systems.index(key[1])))
        settled = {batch for batch, its in moved.items() if any(m.source == "opening" for m in its)}
        since = np.array([ages(names[index], arrivals, settled, first, days) for index, _ in keys])
        record = DeathRecord.of(
            np.array([rows[key].deaths for key in keys]),
            np.array([rows[key].at_risk() for key in keys]),
            since,
            batch=[index for index, _ in keys],
            water=[systems.index(water) for _, water in keys],
            counted=counted_days(kept, first, days, now, zone),
            prior=[prior.get(batch, 1.0) for batch in names],
        )
        holds = [frozenset(systems.index(water) for index, water in keys if index == at) for at in range(len(names))]
        arrived = tuple((arrivals[batch] - first).days for batch in names)
        return cls(record, names, systems, tuple(holds), arrived, first, zone, now)

    def date(self, day: int) -> date:
        return self.first + timedelta(days=day)

    def begins(self, day: int) -> datetime:
        at = self.date(day)
        return datetime(at.year, at.month, at.day, tzinfo=self.zone)

    def named(self, alarm: Alarm, looks: DayLooks | None, latest: DayLooks | None) -> FarmAlarm:
        """An alarm with names, each named batch's deaths over the same days, and how its unit has been since."""
        part = slice(alarm.since, alarm.until + 1)
        batches = []
        for index in alarm.named:
            ours = self.record.batch == index
            usual = 0.0
            if looks is not None:
                rates = looks.level.rates[self.record.band[ours, part]] * looks.level.factors[index]
                usual = float((rates * self.record.at_risk[ours, part]).sum())
            batches.append((self.names[index], int(self.record.deaths[ours, part].sum()), usual))
        name = {"farm": "", "water": "", "batch": self.names[alarm.index] if alarm.unit == "batch" else ""}[alarm.unit]
        inside = np.ones(len(self.record.batch), dtype=bool)
        if alarm.unit == "water":
            name, inside = self.waters[alarm.index], self.record.water == alarm.index
        standing_ = self.record.at_risk[inside, part].sum(axis=1) > 0
        return FarmAlarm(
            unit=alarm.unit,
            name=name,
            since=self.begins(alarm.since),
            until=min(self.begins(alarm.until + 1), self.now),
            days=alarm.until - alarm.since + 1,
            first_day=self.date(alarm.first_day),
            last_day=self.date(alarm.last_day),
            deaths=alarm.deaths,
            expected=alarm.expected,
            chance=alarm.chance,
            week=_last_week(alarm, latest),
            past=self.record.days - 1 - alarm.until >= QUIET_DAYS,
            batches=1 if alarm.unit == "batch" else len(np.unique(self.record.batch[inside][standing_])),
            named=tuple(sorted(batches, key=lambda one: one[2] - one[1])),
        )

    def charts(self, named: Sequence[str], seen: Mapping[int, DayLooks | None]) -> dict[str, tuple[LookedAt, ...]]:
        """Single days of the batches named, as far back as a chart shows."""
        if not named:
            return {}
        last = self.record.days - 1
        looked = {
            day: seen.get(day, None) or look(self.record, day) for day in range(max(0, last - _CHART_DAYS), last + 1)
        }
        return {batch: self._chart(self.names.index(batch), looked) for batch in named}

    def _chart(self, index: int, looked: Mapping[int, DayLooks | None]) -> tuple[LookedAt, ...]:
        found = []
        for day, one in looked.items():
            if one is None or day < self.arrived[index]:
                continue
            risk = int(self.record.at_risk[self.record.batch == index, day].sum())
            mean = float(one.expected[index, 0])
            if mean <= 0:
                continue
            ends = min(self.begins(day + 1), self.now)
            deaths, chance = int(one.deaths[index, 0]), float(one.chance[index, 0])
            found.append(
                LookedAt(day - self.arrived[index], ends, deaths, risk, mean, fewest(one, index, 0, risk), chance)
            )
        return tuple(found)

    def unseen(self, looks: DayLooks) -> tuple[str, ...]:
        """Batches that are here and could all die within a week without an alarm of their own."""
        found = []
        for index, name in enumerate(self.names):
            risk = int(self.record.at_risk[self.record.batch == index, -1].sum())
            if risk and all(fewest(looks, index, window, risk) > risk for window in range(len(WINDOWS) - 1)):
                found.append(name)
        return tuple(found)


def _last_week(alarm: Alarm, looks: DayLooks | None) -> tuple[int, float, float]:
    """Deaths, deaths expected and their chance over the seven days to the latest look, in the alarm's own unit."""
    if looks is None:
        return 0, 0.0, 1.0
    row = row_of(alarm.unit, alarm.index, looks)
    return (
        int(looks.deaths[row, _WEEK]),
        float(looks.expected[row, _WEEK]),
        float(looks.chance[row, _WEEK]),
    )
