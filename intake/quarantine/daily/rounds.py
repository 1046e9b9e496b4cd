"""Rounds for dead animals: one in the morning through every system with animals in quarantine, two at first."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

from intake.farm.floor import Floor, Stay
from intake.farm.site import Site
from intake.quarantine.clock import days_after, in_quarantine
from intake.quarantine.needs import Need

__all__ = ["rounds_for"]

PER_VAT_MIN = 5
"""Minutes a death round takes in one vat: design default, time your own crew."""


def rounds_for(
    system: str, stays: Sequence[Stay], site: Site, floor: Floor, *, first: datetime, until: datetime
) -> tuple[Need, ...]:
    """Death rounds through one system, a piece of work each day and two on the days after an entry.

    Parameters
    ----------
    system
        System id.
    stays
        Present and planned stays.
    first, until
        Rounds are made for the days from ``first`` to ``until``, both included, farm time.

    References
    ----------
    Two rounds in the first 48 h, the last after lights-out, since a dead clam and the dark period are the risk:
    ``husbandry.md`` 1.3 (derived from S11).  Losses twice daily for two days, then daily: 8.1, common practice, no
    source.
    """
    zone = site.farm.zone
    here = [stay for stay in in_quarantine(stays) if site.vat(stay.vat).system == system]
    recorded = {one.task for one in floor.done}
    needs: list[Need] = []
    day, last = first.astimezone(zone).date(), until.astimezone(zone).date()
    while day <= last:
        standing = [stay for stay in here if stay.since.astimezone(zone).date() <= day]
        fresh = [stay for stay in standing if day - stay.since.astimezone(zone).date() <= timedelta(days=1)]
        if any(stay.since.astimezone(zone).date() < day for stay in standing):
            needs.append(_round(system, standing, site, day, dark=False))
        if fresh:
            needs.append(_round(system, standing, site, day, dark=True))
        day += timedelta(days=1)
    return tuple(need for need in needs if need.uid not in recorded and need.latest >= first)


def _round(system: str, standing: Sequence[Stay], site: Site, day: date, *, dark: bool) -> Need:
    zone = site.farm.zone
    morning = datetime.combine(day, time(0), zone)
    vats = sorted({stay.vat for stay in standing})
    entered = max(stay.since for stay in standing)
    nominal = max(morning + timedelta(hours=15), days_after(entered, 2 / 24)) if dark else morning
    nominal = min(nominal, morning + timedelta(hours=20))
    return Need(
        uid=f"{system}/death-round/{day.isoformat()}/{'evening' if dark else 'morning'}",
        kind="death round",
        batch="",
        vat="",
        system=system,
        title=f"{'Evening' if dark else 'Morning'} round for dead animals: {site.systems[system].name or system}",
        earliest=nominal,
        nominal=nominal,
        latest=morning + timedelta(hours=23, minutes=45),
        minutes=max(15, PER_VAT_MIN * len(vats)),
        why=(
            "first 48 h: twice a day, the second after lights-out, before oxygen is at its lowest"
            if dark
            else "count losses daily, by batch and vat"
        ),
        evidence="derived" if dark else "practice",
        source="husbandry 1.3, derived from S11" if dark else "common practice, no source",
        unsourced=not dark,
        part_of_day="after dark" if dark else "morning",
        agent="",
        strength="",
        protection=("gloves",),
        headcount=sum(stay.count for stay in standing),
        entered=min(stay.since for stay in standing),
    )
