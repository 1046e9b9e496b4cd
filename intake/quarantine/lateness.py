"""What it costs to be late: where a missed repeat begins its series again, who then waits, and until when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from intake.farm.floor import Floor, Stay
from intake.farm.site import Site
from intake.quarantine.needs import Delay, Need
from intake.quarantine.quarantine_clock import days_after, in_quarantine
from intake.quarantine.release import Course, shared_end

__all__ = ["delay_of", "priced"]


def priced(
    needs: Sequence[Need], courses: Mapping[str, Course], stays: Sequence[Stay], floor: Floor, site: Site
) -> tuple[Need, ...]:
    """Needs with the price of missing their deadline, where missing it makes someone wait longer.

    Parameters
    ----------
    needs
        Needs of the lots in ``courses``; those without a deadline are returned as they are.
    courses
        From :func:`~intake.quarantine.release.courses_of`, for the same stays.
    """
    return tuple(
        replace(need, delays=delay_of(need, courses, stays, floor, site)) if need.deadline else need for need in needs
    )


def delay_of(
    need: Need, courses: Mapping[str, Course], stays: Sequence[Stay], floor: Floor, site: Site
) -> Delay | None:
    """What follows when a repeat is done just after its deadline: the series runs again from there.

    ``None`` where no one waits longer for it, or the need restarts nothing.
    """
    course = courses.get(need.batch)
    if course is None or need.deadline is None:
        return None
    inside = in_quarantine(stays)
    before = {lot: one.own_end for lot, one in courses.items()}
    last = days_after(need.deadline, need.again_d)
    after = {**before, need.batch: max(before[need.batch], course.clock.ends_after(last))}
    if after[need.batch] == before[need.batch]:
        return None
    waters = {site.vat(stay.vat).system for stay in inside if stay.batch == need.batch}
    beside = {stay.batch for stay in inside if site.vat(stay.vat).system in waters}
    lots, until, days = [], need.deadline, 0.0
    for lot in sorted(beside):
        was, _ = shared_end(lot, inside, before, site, floor.at)
        then, _ = shared_end(lot, inside, after, site, floor.at)
        if then > was:
            lots.append(lot)
            until = max(until, then)
            days = max(days, (then - was).total_seconds() / 86400)
    animals = sum(stay.count for stay in inside if stay.batch in lots)
    return Delay(need.deadline, until, animals, tuple(lots), days) if lots else None
