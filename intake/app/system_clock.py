"""The one place that reads the clock and draws chance; everything below takes ``now`` and keys as arguments."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, tzinfo
from typing import Final
from uuid import uuid4

from intake.errors import Finding
from intake.ledger.conservation import CLOCK_SLACK

__all__ = ["LONG_SILENCE", "behind", "fresh_key", "leap", "now"]


def now() -> datetime:
    """The present in UTC."""
    return datetime.now(UTC)


def fresh_key() -> str:
    """A new idempotency key, for an act that brings none of its own."""
    return uuid4().hex


LONG_SILENCE: Final = timedelta(days=90)
"""Without an entry for so long, a clock is believed only when the day is confirmed (design default: a season)."""


def leap(now: datetime, last: datetime | None, zone: tzinfo, confirmed: str) -> Finding | None:
    """What must be asked before the first entry after a long silence; ``None`` when nothing.

    One made with a clock that is a year ahead would stand after all that are made in that year.

    Parameters
    ----------
    last
        When the last entry was recorded.
    confirmed
        The day someone confirmed as today, ``2027-11-30``.
    """
    today = f"{now.astimezone(zone):%Y-%m-%d}"
    if last is None or now <= last + LONG_SILENCE or confirmed == today:
        return None
    day = f"{last.astimezone(zone):%Y-%m-%d}"
    do = f"If today is {today}, record it with: vatside --today {today} …; else correct this computer's clock."
    return Finding("clock of this computer", f"{today}, the last entry is of {day}", "a confirmed day", do)


def behind(now: datetime, last: datetime | None, zone: tzinfo) -> Finding | None:
    """What is wrong with a clock that stands before the last entry; ``None`` when it does not."""
    if last is None or now >= last - CLOCK_SLACK:
        return None
    return Finding(
        "clock of this computer",
        f"{now.astimezone(zone):%Y-%m-%d %H:%M}",
        f"a time after the last entry, {last.astimezone(zone):%Y-%m-%d %H:%M}",
        "Correct this computer's clock and try again. If it is right, an entry was made with a clock ahead: "
        "`vatside clock --right` dates such entries today.",
    )
