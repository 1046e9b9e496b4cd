"""Deaths and animals at risk by day, filled from the entries of the ledger."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, tzinfo
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from intake.ledger.corrections import standing
from intake.ledger.entries import Entry, Movement, is_vat, movements, vat_id

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["COUNTING_KINDS", "Row", "ages", "counted_days", "fill"]

_SETTLED_AGE: Final = 99

_LONGEST_GAP: Final = 4
"""Days without any record that the next count is taken to cover; after longer silence the farm is taken to have looked and
found nothing (design default: a long weekend)."""

COUNTING_KINDS: Final = frozenset({"reading", "finding", "done", "box"})


class Row:
    """Animals of one batch in one water: found dead, came in and went out, by day."""

    def __init__(self, days: int) -> None:
        self.deaths = np.zeros(days)
        self.came = np.zeros(days)
        self.went = np.zeros(days)

    def at_risk(self) -> NDArray[Any]:
        """Animals that stood here at the day's beginning and those that came in during it."""
        before = np.concatenate([[0.0], np.cumsum(self.came - self.went)[:-1]])
        return np.maximum(before + self.came, self.deaths)


def fill(
    rows: dict[tuple[int, str], Row],
    index: int,
    moved: Sequence[Movement],
    waters: Mapping[str, str],
    first: date,
    days: int,
    zone: tzinfo,
) -> None:
    """Add one batch's movements to its rows; what happened before the first day stands at its beginning."""
    main = next((waters.get(vat_id(m.target), "") for m in moved if is_vat(m.target)), "")
    for movement in moved:
        day = max(0, (movement.happened_at.astimezone(zone).date() - first).days)
        source, target = _water(movement.source, waters), _water(movement.target, waters)
        if target is not None:
            _row(rows, index, target, days).came[day] += movement.count
        if source is not None:
            _row(rows, index, source, days).went[day] += movement.count
        if "dead" in (movement.target, movement.source):
            sign = 1 if movement.target == "dead" else -1
            found = _row(rows, index, source or target or main, days)
            found.deaths[day] = max(0.0, found.deaths[day] + sign * movement.count)


def _water(place: str, waters: Mapping[str, str]) -> str | None:
    return waters.get(vat_id(place), "") if is_vat(place) else None


def _row(rows: dict[tuple[int, str], Row], index: int, water: str, days: int) -> Row:
    return rows.setdefault((index, water), Row(days))


def ages(batch: str, arrivals: Mapping[str, date], settled: set[str], first: date, days: int) -> NDArray[Any]:
    """Days since a batch came, for each day of the table; stock found at the first stocktake is long settled."""
    if batch in settled:
        return np.full(days, _SETTLED_AGE)
    return np.maximum(0, np.arange(days) - (arrivals[batch] - first).days)


def counted_days(entries: Sequence[Entry], first: date, days: int, now: datetime, zone: tzinfo) -> list[bool]:
    """Days on which someone recorded something at the vats; long silence counts as looked and nothing found."""
    known = [False] * days
    moments = [m.happened_at for m in movements(entries) if is_vat(m.source) or is_vat(m.target)]
    moments += [record.happened_at for record in standing(entries) if record.kind in COUNTING_KINDS]
    for at in moments:
        day = (at.astimezone(zone).date() - first).days
        if at <= now and 0 <= day < days:
            known[day] = True
    silent = 0
    for day in range(days):
        silent = 0 if known[day] else silent + 1
        if silent > _LONGEST_GAP:
            known[day - silent + 1 : day + 1] = [True] * silent
            silent = 0
    return known
