"""From looks to alarms: one message for one event, said of the farm, a water or a batch, and kept going while it lasts.

Step 8 of the method.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from intake.report.alarms.looks import DayLooks
from intake.report.alarms.naming import STRUCK_CHANCE, struck_chance

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["QUIET_DAYS", "Alarm", "Unit", "episodes", "raised", "row_of"]

Unit = Literal["farm", "water", "batch"]

QUIET_DAYS: Final = 7
"""A unit that alarms again within so many days continues the same alarm."""

_REST_CHANCE: Final = 0.05
_REST_CHANCE_OF_ONE: Final = 0.005
"""Where a single batch is unusual by itself, the others must be much more so before its water or the farm is blamed."""

_NAMED_CHANCE: Final = 0.01

_MANY: Final = 2
"""So many batches that alarm at once over a week or less are one event of their water or the farm, where that is unusual too and
not by its worst batch alone."""

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
        Batches probably struck, the least likely first.
    inside
        All batches of the unit.
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
    inside: frozenset[int] = frozenset()


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
    alone, wide = _units(looks, water_of_batch)
    waters = [group for group in wide if group < looks.waters]
    apart = sorted(one for one in alone if not water_of_batch[one] & set(waters))
    apart = apart if not wide else _beside(looks, apart)
    window = wide.get(looks.waters) if len(waters) != 1 else None
    if window is None and _everywhere(looks, waters, _lately(looks, apart), water_of_batch):
        window = _together(looks, looks.waters)
    if window is not None:
        return (_alarm(looks, "farm", 0, window, np.ones(looks.batches, dtype=bool)),)
    found = [_alarm(looks, "water", water, wide[water], _standing(water_of_batch, water)) for water in waters]
    return (*found, *(_alarm(looks, "batch", one, None, np.arange(looks.batches) == one) for one in apart))


def _units(looks: DayLooks, water_of_batch: Sequence[frozenset[int]]) -> tuple[set[int], dict[int, int]]:
    """Batches that alarm, and waters and the farm (the last) that do, each with its window."""
    units, batches = looks.alarms, looks.batches
    alone = {int(one) for one in np.flatnonzero(units[:batches].any(axis=1))}
    wide: dict[int, int] = {}
    small = (looks.chance[:batches] <= _NAMED_CHANCE).any(axis=1)
    for group in range(looks.waters + 1):
        inside = _standing(water_of_batch, group) if group < looks.waters else np.ones(batches, dtype=bool)
        windows = np.flatnonzero(units[batches + group])
        most = _REST_CHANCE_OF_ONE if (small & inside).sum() == 1 else _REST_CHANCE
        together = [int(one) for one in windows if looks.rest[group, one] <= most]
        if together:
            wide[group] = min(together, key=lambda one: looks.chance[batches + group, one])
        elif len(windows):
            alone.add(int(looks.worst[group, windows[0]]))
    for water in set(range(looks.waters)) - set(wide):
        here = [one for one in alone if water in water_of_batch[one]]
        window = _together(looks, water) if len(_lately(looks, here)) >= _MANY else None
        if window is not None:
            wide[water] = window
    return alone, wide


def _beside(looks: DayLooks, batches: Sequence[int]) -> list[int]:
    """Batches that alarm also when only they and others outside are asked: a large outbreak raises the bar of nobody else."""
    rows = looks.chance[batches]
    return [one for one, least in zip(batches, rows.min(axis=1), strict=True) if least <= looks.alone]


def _everywhere(
    looks: DayLooks, waters: Sequence[int], batches: Sequence[int], water_of_batch: Sequence[frozenset[int]]
) -> bool:
    """Whether alarms of one day are in so many places that they are one event of the farm."""
    if len(waters) > 1 or len(batches) >= _MANY:
        return True
    here = {int(one) for one in np.flatnonzero(looks.standing[: looks.waters])}
    return len(here) > 1 and here <= {*waters, *(water for one in batches for water in water_of_batch[one])}


def _lately(looks: DayLooks, batches: Iterable[int]) -> list[int]:
    """Batches whose least likely window is a week or shorter."""
    return [one for one in batches if looks.starts[int(looks.chance[one].argmin())] > looks.day - QUIET_DAYS]


def _together(looks: DayLooks, group: int) -> int | None:
    """Window in which a water or the farm is unusual with and without its worst batch, for where several batches alarm."""
    chance = np.maximum(looks.chance[looks.batches + group], looks.rest[group])
    best = int(chance.argmin())
    return best if chance[best] <= _REST_CHANCE else None


def _standing(water_of_batch: Sequence[frozenset[int]], water: int) -> NDArray[Any]:
    return np.array([water in waters for waters in water_of_batch], dtype=bool)


def _named(looks: DayLooks, inside: NDArray[Any], window: int) -> list[int]:
    """Batches of an alarming unit that are unlikely by themselves or probably struck, the least likely first."""
    struck = (looks.chance[: looks.batches] <= _NAMED_CHANCE).any(axis=1) & inside
    expected, deaths = looks.expected[: looks.batches, window], looks.deaths[: looks.batches, window]
    here = np.flatnonzero(inside & (expected > 0))
    chance = struck_chance(deaths[here], expected[here], looks.shape[here, window])
    struck[here] |= (chance > STRUCK_CHANCE) & (deaths[here] > expected[here])
    return sorted((int(one) for one in np.flatnonzero(struck)), key=lambda one: float(looks.chance[one].min()))


def row_of(unit: Unit, index: int, looks: DayLooks) -> int:
    """Row of a unit in the tables of a day's looks: batches first, then waters, the farm last."""
    return {"batch": index, "water": looks.batches + index, "farm": looks.batches + looks.waters}[unit]


def _alarm(looks: DayLooks, unit: Unit, index: int, window: int | None, inside: NDArray[Any]) -> Alarm:
    row = row_of(unit, index, looks)
    at = int(looks.chance[row].argmin()) if window is None else window
    named = [index] if unit == "batch" else _named(looks, inside, at)
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
        inside=frozenset(int(one) for one in np.flatnonzero(inside)),
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
                alarm = _merged(one, alarm)
            known.append(alarm)
    return tuple(sorted(known, key=lambda one: (-one.last_day, one.chance)))


def _same_event(before: Alarm, now: Alarm) -> bool:
    if now.last_day - before.last_day > QUIET_DAYS:
        return False
    if (before.unit, before.index) == (now.unit, now.index):
        return True
    if before.unit == now.unit:
        return False
    narrow, wide = sorted((before, now), key=lambda one: _WIDE.index(one.unit), reverse=True)
    # deaths of the same days in the same place, though the wider unit's message had not named the batch
    during = now.since <= before.last_day and bool(narrow.inside & wide.inside)
    return during or bool(set(before.named) & set(now.named))


def _merged(before: Alarm, now: Alarm) -> Alarm:
    """One event: of the wider unit, with the figures of its least likely window."""
    wide = min((before, now), key=lambda one: (_WIDE.index(one.unit), one.chance))
    named = tuple(dict.fromkeys((*wide.named, *before.named, *now.named)))
    first, last = min(before.first_day, now.first_day), max(before.last_day, now.last_day)
    return replace(wide, first_day=first, last_day=last, named=named)
