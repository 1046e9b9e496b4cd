"""Which copies of the ledger are kept: the newest of each hour, day and week, fewer the older they are."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Final

__all__ = ["DAYS", "HOURS", "WEEKS", "expendable"]

HOURS: Final = 24
DAYS: Final = 14
WEEKS: Final = 8
"""Of how many hours, days and weeks with copies one is kept (house rule, common practice, no source)."""

_RULES: Final[tuple[tuple[int, Callable[[datetime], object]], ...]] = (
    (HOURS, lambda moment: (moment.date(), moment.hour)),
    (DAYS, lambda moment: moment.date()),
    (WEEKS, lambda moment: moment.isocalendar()[:2]),
)


def expendable(moments: Iterable[datetime]) -> frozenset[datetime]:
    """Copies that may go, of copies made at these moments.

    Hours, days and weeks without a copy do not count, so a farm that was closed for a month loses nothing, and a clock
    that once stood wrong takes one place, not all of them.  The newest copy always stays.

    Parameters
    ----------
    moments
        When the copies were made, all in one time zone.
    """
    newest_first = sorted(set(moments), reverse=True)
    kept: set[datetime] = set()
    for many, period_of in _RULES:
        seen: set[object] = set()
        for moment in newest_first:
            period = period_of(moment)
            if period not in seen and len(seen) < many:
                seen.add(period)
                kept.add(moment)
    return frozenset(newest_first) - kept
