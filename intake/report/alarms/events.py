"""From looks to alarms: one message for one event, said of the farm, a water or a batch, and kept going while it lasts.

Step 8 of the method.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from intake.report.alarms.looks import DayLooks

__all__ = ["QUIET_DAYS", "Alarm", "Unit", "episodes", "raised", "row_of"]

Unit = Literal["farm", "water", "batch"]

QUIET_DAYS: Final = 7
"""A unit that alarms again within so many days continues the same alarm."""

_REST_CHANCE: Final = 0.05
_REST_CHANCE_OF_ONE: Final = 0.005
"""Where a single batch is unusual by itself, the others must be much more so before its water or the farm is blamed."""

_NAMED_CHANCE: Final = 0.01
_WIDE: Final[tuple[Unit, ...]] = ("farm", "water", "batch")


@dataclass(frozen=True, slots=True)
class Alarm:
    """An alarm on one unit.

    Attributes
    ----------
    unit, index
        What it is about; the index of the batch or water, 0 for the farm.
    first_day, last_day
        First and last day on which it alarmed.
    since
        First day of the window with the smallest chance.
    until
        Last day of that window.
    deaths, expected, chance
        Of that window.
    named
        Batches with a small chance of their own, the least likely first.
    """

    unit: Unit
    index: int
    first_day: int
    last_day: int
    since: int
    until: int
    deaths: int
    expected: float
    chance: float
    named: tuple[int, ...]


def raised(looks: DayLooks, water_of_batch: Sequence[frozenset[int]]) -> tuple[Alarm, ...]:
    """Alarms of one day, those that say the same event left out.

    Parameters
    ----------
    looks
        All looks of the day.
    water_of_batch
        Waters in which each batch stands.

    Notes
    -----
    A water or the farm alarms only if the rest would be unusual without its worst batch; else that batch alarms.  The farm
    speaks for its waters and batches unless exactly one water alarms, a water for its batches.
    """
    units, batches = looks.alarms, looks.batches
    alone = {int(one) for one in np.flatnonzero(units[:batches].any(axis=1))}
    groups: dict[int, int] = {}
    small = np.flatnonzero((looks.chance[:batches] <= _NAMED_CHANCE).any(axis=1))
    named = sorted((int(one) for one in small), key=lambda one: float(looks.chance[one].min()))
    for group in range(looks.waters + 1):
        windows = np.flatnonzero(units[batches + group])
        inside = [one for one in named if group == looks.waters or group in water_of_batch[one]]
        most = _REST_CHANCE_OF_ONE if len(inside) == 1 else _REST_CHANCE
        together = [int(one) for one in windows if looks.rest[group, one] <= most]
        if together:
            groups[group] = min(together, key=lambda one: looks.chance[batches + group, one])
        elif len(windows):
            alone.add(int(looks.worst[group, windows[0]]))
    waters = [group for group in groups if group < looks.waters]
    if looks.waters in groups and len(waters) != 1:
        return (_alarm(looks, "farm", 0, groups[looks.waters], named),)
    found = [
        _alarm(looks, "water", water, groups[water], [one for one in named if water in water_of_batch[one]])
        for water in waters
    ]
    spoken = {one for one in alone if water_of_batch[one] & set(waters)}
    return (*found, *(_alarm(looks, "batch", one, None, [one]) for one in sorted(alone - spoken)))


def row_of(unit: Unit, index: int, looks: DayLooks) -> int:
    """Row of a unit in the tables of a day's looks: batches first, then waters, the farm last."""
    return {"batch": index, "water": looks.batches + index, "farm": looks.batches + looks.waters}[unit]


def _alarm(looks: DayLooks, unit: Unit, index: int, window: int | None, named: Sequence[int]) -> Alarm:
    row = row_of(unit, index, looks)
    at = int(looks.chance[row].argmin()) if window is None else window
    return Alarm(
        unit=unit,
        index=index,
        first_day=looks.day,
        last_day=looks.day,
        since=int(looks.starts[at]),
        until=looks.day,
        deaths=int(looks.deaths[row, at]),
        expected=float(looks.expected[row, at]),
        chance=float(looks.chance[row, at]),
        named=tuple(named),
    )


def episodes(days: Sequence[Sequence[Alarm]]) -> tuple[Alarm, ...]:
    """Alarms of consecutive days taken together, one for each event, the latest first.

    Parameters
    ----------
    days
        What each day raised, in order.

    Notes
    -----
    An alarm continues one of the same unit that alarmed within :data:`QUIET_DAYS`.  What began with a batch and is now said
    of its water or the farm is one event, said of the wider unit; so is a batch that goes on dying after its water's alarm.
    """
    known: list[Alarm] = []
    for found in days:
        for alarm in found:
            before = [one for one in known if _same_event(one, alarm)]
            known = [one for one in known if one not in before]
            for one in before:
                alarm = _together(one, alarm)
            known.append(alarm)
    return tuple(sorted(known, key=lambda one: (-one.last_day, one.chance)))


def _same_event(before: Alarm, now: Alarm) -> bool:
    if now.last_day - before.last_day > QUIET_DAYS:
        return False
    if (before.unit, before.index) == (now.unit, now.index):
        return True
    return before.unit != now.unit and bool(set(before.named) & set(now.named))


def _together(before: Alarm, now: Alarm) -> Alarm:
    """One event: of the wider unit, with the figures of its least likely window."""
    wide = min((before, now), key=lambda one: (_WIDE.index(one.unit), one.chance))
    named = tuple(dict.fromkeys((*wide.named, *before.named, *now.named)))
    first, last = min(before.first_day, now.first_day), max(before.last_day, now.last_day)
    return replace(wide, first_day=first, last_day=last, named=named)
