"""What a batch lost, by day: dead on arrival, the first seven days and later kept apart and shown together.

Dead on arrival understates what a journey cost: losses run on for about a week (in one measured transport of grouper
all were alive at 24 h and 61 % at day 7).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from intake.ledger.balance import balances
from intake.ledger.corrections import netted
from intake.ledger.entries import SOURCES, Entry, Movement, is_vat, movements
from intake.report.intervals import Interval, wilson
from intake.report.survival import Step, curve

__all__ = ["FIRST_WEEK_DAYS", "UNPACKED", "LossDay", "Losses", "by_day", "never_came", "summary", "usual_daily_rate"]

FIRST_WEEK_DAYS: Final = 7
"""Days during which a death is laid to the journey (grouper transport, fish alive to day 7; common practice)."""

UNPACKED: Final = timedelta(days=1)
"""Time from the first movement of a batch within which animals not found are taken as never come, also when the batch had
been booked into a vat by the packing list before it was counted (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class LossDay:
    """One day of a batch, 24 h counted from the moment it came.

    Attributes
    ----------
    day
        0 for the first 24 hours.
    starts_at
        Moment it begins.
    at_risk
        Animals in vats at its start and those that came in during it.
    dead, missing
        Animals found dead, and lost from sight in a vat.
    doa
        Dead when the bag was opened; not among those at risk.
    """

    day: int
    starts_at: datetime
    at_risk: int
    dead: int
    missing: int
    doa: int


@dataclass(frozen=True, slots=True)
class Losses:
    """What became of a batch; counts are animals.

    Attributes
    ----------
    came
        Animals that came, dead or alive (missing ones did not come).
    doa_share
        Dead on arrival of those that came, Wilson interval; ``None`` when none came.
    dead_first_week, dead_later
        Dead in vats (or before reaching one) within seven days, and after.
    first_week
        Survival at day 7 of those alive when opened, or at the last day seen when ``first_week_complete`` is false.
    """

    batch: str
    arrived_at: datetime
    came: int
    doa: int
    doa_share: Interval | None
    dead_first_week: int
    dead_later: int
    first_week: Step | None
    first_week_complete: bool
    missing: int
    wrong: int
    sold: int
    sample: int
    discarded: int
    on_hand: int


def by_day(entries: Iterable[Entry], batch: str, now: datetime) -> tuple[LossDay, ...]:
    """Losses of a batch for each day from its arrival to now; empty when nothing of it has moved.

    Parameters
    ----------
    entries
        Entries of the ledger.
    batch
        Batch id.
    now
        Moment of looking, time-zone aware; the last day may be unfinished.
    """
    moved = _moved(entries, batch, now)
    if not moved:
        return ()
    origin = moved[0].happened_at
    last = int((now - origin) / timedelta(days=1))
    ours: list[list[Movement]] = [[] for _ in range(last + 1)]
    for movement in moved:
        ours[int((movement.happened_at - origin) / timedelta(days=1))].append(movement)
    days: list[LossDay] = []
    standing = 0
    for day, movements_of_day in enumerate(ours):
        came = _count(movements_of_day, lambda m: is_vat(m.target) and not is_vat(m.source))
        gone = _count(movements_of_day, lambda m: is_vat(m.source) and not is_vat(m.target))
        straight = _count(movements_of_day, lambda m: m.target == "dead" and not is_vat(m.source))
        late_doa = _count(movements_of_day, lambda m: m.target == "doa" and is_vat(m.source))
        days.append(
            LossDay(
                day=day,
                starts_at=origin + timedelta(days=day),
                at_risk=standing + came + straight - late_doa,
                dead=_net(movements_of_day, "dead"),
                missing=_count(movements_of_day, lambda m: m.target == "missing" and is_vat(m.source)),
                doa=_net(movements_of_day, "doa"),
            )
        )
        standing += came - gone
    return tuple(days)


def summary(entries: Iterable[Entry], batch: str, now: datetime, *, confidence: float = 0.95) -> Losses | None:
    """Sum up what became of a batch; ``None`` when nothing of it has moved.

    Parameters
    ----------
    entries
        Entries of the ledger.
    batch
        Batch id.
    now
        Moment of looking, time-zone aware.
    confidence
        Of the intervals, between 0 and 1.
    """
    ours = [movement for movement in movements(entries) if movement.batch == batch]
    moved = _moved(ours, batch, now)
    if not moved:
        return None
    origin = moved[0].happened_at
    held = {place: count for (_, place), count in balances(ours, now).items()}
    came = -sum(held.get(place, 0) for place in SOURCES) - never_came(moved)
    week_end = origin + timedelta(days=FIRST_WEEK_DAYS)
    early = _net([m for m in moved if m.happened_at <= week_end], "dead")
    shape = curve(ours, batch, now, confidence=confidence)
    complete = now >= week_end
    doa = held.get("doa", 0)
    return Losses(
        batch=batch,
        arrived_at=origin,
        came=came,
        doa=doa,
        doa_share=wilson(doa, came, confidence) if 0 <= doa <= came and came else None,
        dead_first_week=early,
        dead_later=held.get("dead", 0) - early,
        first_week=shape.at(min(float(FIRST_WEEK_DAYS), shape.last_day)) if shape else None,
        first_week_complete=complete,
        missing=held.get("missing", 0),
        wrong=held.get("wrong", 0),
        sold=held.get("sold", 0),
        sample=held.get("sample", 0),
        discarded=held.get("discarded", 0),
        on_hand=sum(count for place, count in held.items() if is_vat(place) or place == "dock"),
    )


def never_came(moved: Sequence[Movement]) -> int:
    """Animals of one batch that were announced and never came: missing before any vat or while it was unpacked.

    Parameters
    ----------
    moved
        Netted movements of the batch, in the order they happened.  Animals found again are taken off, first from those
        lost from sight later.
    """
    if not moved:
        return 0
    unpacked = moved[0].happened_at + UNPACKED
    early = _count(moved, lambda m: m.target == "missing" and (not is_vat(m.source) or m.happened_at <= unpacked))
    return max(0, min(early, _net(moved, "missing")))


def usual_daily_rate(entries: Iterable[Entry], batches: Iterable[str], now: datetime) -> float | None:
    """Deaths per animal and day after the first week, over several batches; ``None`` when none was watched so long.

    The first week is left out because it belongs to the journey, not to the house.
    """
    kept = tuple(entries)
    days = [day for batch in batches for day in by_day(kept, batch, now) if day.day >= FIRST_WEEK_DAYS and day.at_risk]
    watched = sum(day.at_risk for day in days)
    return sum(day.dead for day in days) / watched if watched else None


def _moved(entries: Iterable[Entry], batch: str, now: datetime) -> list[Movement]:
    ours = (movement for movement in movements(entries) if movement.batch == batch)
    return [movement for movement in netted(ours) if movement.happened_at <= now]


def _net(moved: Sequence[Movement], place: str) -> int:
    return sum((m.target == place) * m.count - (m.source == place) * m.count for m in moved)


def _count(moved: Iterable[Movement], chosen: Callable[[Movement], bool]) -> int:
    return sum(movement.count for movement in moved if chosen(movement))
