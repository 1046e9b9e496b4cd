"""Times as a person writes them, without their offset, on the clock of a farm that is put forward and back."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from intake.errors import BadInput, Finding

__all__ = ["on_farm_clock"]


def on_farm_clock(read: datetime, zone: ZoneInfo, where: str) -> datetime:
    """A moment as read, in the farm's zone when it names none.

    Parameters
    ----------
    where
        Option or field, for the message.

    Raises
    ------
    BadInput
        The farm's clock skips this time, or shows it twice: which is meant is asked, not guessed (PEP 495).
    """
    if read.tzinfo is not None:
        return read
    first, second = read.replace(tzinfo=zone, fold=0), read.replace(tzinfo=zone, fold=1)
    if first.utcoffset() == second.utcoffset():
        return first
    back = first.astimezone(UTC).astimezone(zone)
    skipped = back.replace(tzinfo=None) != read
    both = sorted((first.astimezone(UTC).astimezone(zone), second.astimezone(UTC).astimezone(zone)))
    choices = " or ".join(one.isoformat(timespec="minutes") for one in both)
    what = "a time the clocks skip that night" if skipped else "a time that comes twice that night"
    raise BadInput(
        Finding(where, f"{read.isoformat(timespec='minutes')}, {what}", choices, "Write it with its offset.")
    )
