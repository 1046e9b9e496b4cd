"""Trouble an earlier repair met and could not mend, so that an act that changes nothing about it need not try again."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from typing import Final

from intake.farm.site import Site
from intake.quarantine.needs import Need
from intake.timetable.solution import Task

__all__ = ["Tried", "given_back", "settled", "try_record"]

_Span = tuple[datetime, datetime]

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_HOUR: Final = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Tried:
    """What the last repair was asked and could not mend.

    Attributes
    ----------
    day
        The farm's day of that repair: with the next one the horizon moves on, and all is tried again.
    hands
        Digest of people, stations, hours, mixed water and of the times given to landing days.
    left
        Uid → digest of the need, for work that has no place or a time at which it does not hold.
    given_back
        Uids of work that was closed before it had begun: the room it had is known.
    """

    day: str = ""
    hands: str = ""
    left: Mapping[str, str] = field(default_factory=dict)
    given_back: Sequence[str] = ()


def settled(tried: Tried, trouble: Collection[str], wanted: Iterable[Need], now: Tried) -> frozenset[str]:
    """Those in trouble that would be asked for as they were before, with no more room than there was.

    Parameters
    ----------
    tried
        From the repair before.
    trouble
        Uids that do not hold now.
    wanted
        All that must be done.
    now
        The day, hands and room of this moment (:func:`try_record`).
    """
    if (tried.day, tried.hands) != (now.day, now.hands) or set(now.given_back) - set(tried.given_back):
        return frozenset()
    asked = {need.uid: need for need in wanted}
    return frozenset(
        uid for uid in trouble if uid in asked and uid in tried.left and tried.left[uid] == _as_asked(asked[uid])
    )


def try_record(
    site: Site,
    today: date,
    *,
    taken: Mapping[str, Sequence[_Span]],
    back: Collection[str],
    trouble: Collection[str] = (),
    wanted: Iterable[Need] = (),
) -> Tried:
    """What is to be remembered of a repair; without ``trouble``, what the next one is compared with.

    Parameters
    ----------
    taken
        Person → times given to landing days.
    back
        Uids of work closed before it had begun (:func:`given_back`).
    """
    known = {need.uid: need for need in wanted}
    return Tried(
        day=today.isoformat(),
        hands=_hands(site, taken),
        left={uid: _as_asked(known[uid]) for uid in sorted(trouble) if uid in known},
        given_back=sorted(back),
    )


def given_back(tasks: Mapping[str, Task], closed: Collection[str], now: datetime) -> set[str]:
    """Work closed though it had yet to begin: done sooner, or dropped, its room is free again."""
    return {uid for uid, task in tasks.items() if uid in closed and task.start > now}


def _hands(site: Site, taken: Mapping[str, Sequence[_Span]]) -> str:
    file = site.model_dump_json(include={"people", "stations", "working", "mixing"})
    given = sorted((name, [(one.isoformat(), two.isoformat()) for one, two in rows]) for name, rows in taken.items())
    return _digest(file, given)


def _as_asked(need: Need) -> str:
    """The need without what only the clock moves: its times count to the hour."""
    times = (need.earliest, need.nominal, need.latest, need.deadline)
    return _digest(
        [None if one is None else one // _HOUR for one in (None if at is None else at - _EPOCH for at in times)],
        (need.vat, need.vats, need.minutes, need.people, need.company, need.skill, need.station, need.part_of_day),
        (need.after, need.lag_min_days, need.lag_max_days, need.strict),
    )


def _digest(*parts: object) -> str:
    return sha256(repr(parts).encode()).hexdigest()[:12]
