"""Work of the house that the farm file repeats by a rule: its own rounds and days for cuttings."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, time, timedelta

from intake.farm.floor import Floor, Stay
from intake.farm.site import Routine, Site
from intake.quarantine.needs import Need
from intake.quarantine.quarantine_clock import in_quarantine

__all__ = ["routines_for"]

WORDS = {"round": "round", "cutting": "house cuttings"}


def routines_for(
    stays: Sequence[Stay], site: Site, floor: Floor, *, first: datetime, until: datetime
) -> tuple[Need, ...]:
    """A task for each day a routine's rule falls on while animals are in its water.

    Parameters
    ----------
    stays
        Present and planned stays.
    first, until
        Work is laid out for the days from ``first`` to ``until``, both included, farm time.

    References
    ----------
    The farm file; RFC 5545 for the rule.
    """
    zone = site.farm.zone
    recorded = {one.task for one in floor.done}
    needs: list[Need] = []
    for routine in site.routines.values():
        here = [
            stay
            for stay in stays
            if site.vat(stay.vat).system == routine.system and routine.vat in {"", stay.vat} and stay.count
        ]
        day, last = first.astimezone(zone).date(), until.astimezone(zone).date()
        while day <= last:
            standing = [stay for stay in here if stay.since.astimezone(zone).date() <= day]
            if standing and routine.on(day):
                needs.append(_need(routine, standing, site, datetime.combine(day, time(0), zone)))
            day += timedelta(days=1)
    return tuple(need for need in needs if need.uid not in recorded and need.latest >= first)


def _need(routine: Routine, standing: Sequence[Stay], site: Site, morning: datetime) -> Need:
    where = site.systems[routine.system].name or routine.system
    if routine.vat:
        where = f"{site.vat(routine.vat).name or routine.vat}, {where}"
    inside = in_quarantine(standing)
    dark = routine.part_of_day == "after dark"
    nominal = morning + timedelta(hours=15) if dark else morning
    return Need(
        uid=f"{routine.system}/routine/{routine.id}/{morning.date().isoformat()}",
        kind=routine.kind,
        batch="",
        vat="",
        system=routine.system,
        title=f"{routine.name or routine.id}: {WORDS[routine.kind]} in {where}",
        earliest=nominal,
        nominal=nominal,
        latest=morning + timedelta(hours=23, minutes=45),
        minutes=routine.minutes,
        why=f"{routine.note + '; ' if routine.note else ''}farm file, routine {routine.id}: {routine.rule}",
        evidence="practice",
        source="the farm's own rule",
        unsourced=False,
        part_of_day=routine.part_of_day,
        skill=routine.skill,
        agent="",
        strength="",
        protection=("gloves",),
        headcount=sum(stay.count for stay in standing),
        condition="quarantine" if inside else "released",
        entered=min(stay.since for stay in inside or standing),
    )
