"""The last lot to enter a quarantine water sets the date of all lots it meets there: one rule for plan and release."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import TypeVar

__all__ = ["shared_end"]

Moment = TypeVar("Moment", int, datetime)


def shared_end(
    own: Moment, entries: Iterable[tuple[Moment, Moment, str]], stands_until: Moment | None = None
) -> tuple[Moment, str]:
    """The end of a lot in shared water, and the lot that sets it (empty where it is its own).

    Parameters
    ----------
    own
        End of the lot by its own clock, findings and baths.
    entries
        Moment of entry, own end and name of every lot in its waters, in any order; the lot itself does no harm.
    stands_until
        A later moment up to which the lot still is there: who enters before it is met as well.

    Notes
    -----
    A lot that enters before the end and ends later prolongs it, and so does each that enters before the end so prolonged.
    One pass in the order of entry gives the least such end.  Who counts in whole days and does not know the hour gives
    entries as one day earlier, so that an entry on the day of an end counts as before it.

    References
    ----------
    The last lot to enter a shared water sets the date: Australian Department of Agriculture, Fisheries and Forestry,
    industry advice 41-2025 (S73), as read in ``husbandry.md`` 5.
    """
    end, setter = own, ""
    for entered, other, name in sorted(entries):
        met = end if stands_until is None or stands_until < end else stands_until
        if entered < met and end < other:
            end, setter = other, name
    return end, setter
