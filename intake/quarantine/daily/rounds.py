"""Rounds for dead animals: one walk a morning past all vats in quarantine, clean to dirty, and one in the evening at first."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time, timedelta

from intake.farm.floor import Floor, Stay
from intake.farm.site import Site
from intake.quarantine.needs import Condition, Need
from intake.quarantine.quarantine_clock import days_after, in_quarantine

__all__ = ["rounds_for", "short_name"]

PER_VAT_MIN = 5
"""Minutes a death round takes in one vat: design default, time your own crew."""

LONGEST_WALK_MIN = 90
"""A longer walk is divided, so that two people can share it: house rule, no source."""


def rounds_for(
    stays: Sequence[Stay], site: Site, floor: Floor, *, first: datetime, until: Mapping[str, date]
) -> tuple[Need, ...]:
    """Death rounds, a task for each walk: past all vats each morning, past the fresh lots' waters in the evening.

    Parameters
    ----------
    stays
        Present and planned stays.
    first
        Rounds are made from the day of this moment on, farm time.
    until
        System → last day on which its vats are walked past; a system not named has no rounds.

    References
    ----------
    Two rounds in the first 48 h, the last after lights-out, since a dead clam and the dark period are the risk:
    ``husbandry.md`` 1.3 (derived from S11).  Losses twice daily for two days, then daily: 8.1, common practice, no
    source.  Walked from the oldest entry to the newest, lots on hold or with a finding last.
    """
    zone = site.farm.zone
    sick = _sick(floor)
    recorded = {one.task for one in floor.done}
    inside = [(stay, site.vat(stay.vat).system, stay.since.astimezone(zone).date()) for stay in in_quarantine(stays)]
    needs: list[Need] = []
    day = first.astimezone(zone).date()
    while day <= max(until.values(), default=date.min):
        standing = [
            (stay, system, entered)
            for stay, system, entered in inside
            if entered <= day and day <= until.get(system, date.min)
        ]
        settled = {system for _, system, entered in standing if entered < day}
        fresh = {system for _, system, entered in standing if day - entered <= timedelta(days=1)}
        for waters, dark in ((settled, False), (fresh, True)):
            here = [(stay, system) for stay, system, _ in standing if system in waters]
            needs += _walks(here, site, day, sick, dark=dark)
        day += timedelta(days=1)
    return tuple(need for need in needs if need.uid not in recorded and need.latest >= first)


def short_name(site: Site, system: str) -> str:
    """A system's name without the words all of them share: ``Quarantine A`` is ``A``, ``Fish quarantine`` is ``Fish``."""
    name = site.systems[system].name or system
    short = re.sub(r"(?i)\b(quarantine|system|water)\b", " ", name.replace("-", " "))
    plain = re.sub(r"\s+([,;.])", r"\1", " ".join(short.split())).strip(" ,;.")
    return plain or name


def _sick(floor: Floor) -> frozenset[str]:
    """Batches on hold or with something found."""
    held = {hold.batch for hold in floor.holds if not hold.lifted}
    return frozenset(held | {found.batch for found in floor.found if found.what})


def _walks(
    standing: Iterable[tuple[Stay, str]], site: Site, day: date, sick: frozenset[str], *, dark: bool
) -> list[Need]:
    """The vats in the order of the walk, cut where one walk is too long; the first part keeps the name.

    Each stay comes with the system its vat is on.
    """
    waters: dict[str, list[Stay]] = {}
    for stay, system in standing:
        waters.setdefault(system, []).append(stay)
    order = sorted(waters, key=lambda system: (_dirt(waters[system], sick), system))
    walks: list[list[str]] = [[]]
    minutes = 0
    for system in order:
        more = PER_VAT_MIN * len({stay.vat for stay in waters[system]})
        ill = _dirt(waters[system], sick)[0]
        if walks[-1] and (minutes + more > LONGEST_WALK_MIN or ill != _dirt(waters[walks[-1][-1]], sick)[0]):
            walks.append([])
            minutes = 0
        walks[-1].append(system)
        minutes += more
    return [
        _round({system: waters[system] for system in walk}, site, day, sick, dark=dark, part=part)
        for part, walk in enumerate(walks, start=1)
        if walk
    ]


def _dirt(stays: Sequence[Stay], sick: frozenset[str]) -> tuple[bool, datetime]:
    return any(stay.batch in sick for stay in stays), max(stay.since for stay in stays)


def _round(
    walk: Mapping[str, Sequence[Stay]],
    site: Site,
    day: date,
    sick: frozenset[str],
    *,
    dark: bool,
    part: int,
) -> Need:
    zone, standing = site.farm.zone, [stay for stays in walk.values() for stay in stays]
    morning = datetime.combine(day, time(0), zone)
    vats = tuple(vat for stays in walk.values() for vat in sorted({stay.vat for stay in stays}))
    entered = max(stay.since for stay in standing)
    nominal = max(morning + timedelta(hours=15), days_after(entered, 2 / 24)) if dark else morning
    nominal = min(nominal, morning + timedelta(hours=20))
    condition: Condition = "sick" if any(stay.batch in sick for stay in standing) else "quarantine"
    names = "·".join(short_name(site, system) for system in walk)
    return Need(
        uid=f"round/{day.isoformat()}/{'evening' if dark else 'morning'}" + (f"/{part}" if part > 1 else ""),
        kind="death round",
        batch="",
        vat="",
        system=next(iter(walk)) if len(walk) == 1 else "",
        title=f"{'Evening round' if dark else 'Round'} {names}",
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
        protection=("gloves",),
        headcount=sum(stay.count for stay in standing),
        condition=condition,
        entered=min(stay.since for stay in standing),
        vats=vats,
    )
