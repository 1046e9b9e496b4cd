"""All the work the animals of the farm need from now on: every batch's protocol and the rounds past them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime

from intake.farm.floor import Floor, Stay
from intake.farm.site import Site
from intake.library import Library
from intake.quarantine.daily.rounds import rounds_for
from intake.quarantine.daily.routines import routines_for
from intake.quarantine.lateness import priced
from intake.quarantine.needs import Need
from intake.quarantine.quarantine_clock import days_after, in_quarantine
from intake.quarantine.release import Orders, courses_of, shared_end

__all__ = ["needs_for"]


def needs_for(
    stays: Sequence[Stay],
    floor: Floor,
    library: Library,
    site: Site,
    *,
    now: datetime,
    orders: Orders | None = None,
    rounds_days: int = 60,
) -> tuple[Need, ...]:
    """Everything the timetable must place, in the order of uids; what is recorded as done is left out.

    Parameters
    ----------
    stays
        Present stays and, for accepted plans, the planned ones (``since`` in the future, ``stage`` quarantine).
        ``floor.batches`` must know every batch named.
    orders
        What else the ledger says of the lots' courses.
    rounds_days
        Death rounds are laid out for so many days at most.

    Raises
    ------
    Refused
        A prescription bath was asked for without prescriber and reference.
    """
    inside = in_quarantine(stays)
    courses = courses_of(floor, library, site, stays=inside, orders=orders)
    ends = {lot: course.own_end for lot, course in courses.items()}
    shared = {lot: shared_end(lot, inside, ends, site, floor.at) for lot in ends}
    drafts = {lot: priced(course.work, courses, inside, floor, site) for lot, course in courses.items()}
    needs = [_with_water(need, *shared[batch], site) for batch, work in drafts.items() for need in work]
    needs += rounds_for(
        inside, site, floor, first=now, until=_last_days(inside, shared, site, days_after(now, rounds_days))
    )
    needs += routines_for(stays, site, floor, first=now, until=days_after(now, rounds_days))
    return tuple(sorted(needs, key=lambda need: need.uid))


def _with_water(need: Need, end: datetime, last_lot: str, site: Site) -> Need:
    """A release check with the hour of release, moved to the end of the last lot in the water."""
    if need.kind != "release check":
        return need
    free = max(end, need.nominal)
    hour = f"not released before {free.astimezone(site.farm.zone):%a %d %b %H:%M}"
    if end <= need.nominal:
        return replace(need, why=f"{need.why}; {hour}")
    why = f"{need.why}; {last_lot} shares the water, and the last lot to enter sets the date (S73); {hour}"
    return replace(need, earliest=end, nominal=end, latest=days_after(end, 3.0), why=why)


def _last_days(
    inside: Sequence[Stay], shared: Mapping[str, tuple[datetime, str]], site: Site, horizon: datetime
) -> dict[str, date]:
    """System → last day of its rounds: when its last lot is released, or the horizon."""
    ends: dict[str, datetime] = {}
    for stay in inside:
        if stay.batch in shared:
            system = site.vat(stay.vat).system
            ends[system] = max(ends.get(system, shared[stay.batch][0]), shared[stay.batch][0])
    return {system: min(end, horizon).astimezone(site.farm.zone).date() for system, end in ends.items()}
