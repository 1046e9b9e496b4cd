"""The first weeks after placing as work on days: light in steps, first food, clams' feet, one round of it a system and day."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from intake.farm.floor import Batch, Floor, Stay
from intake.farm.site import Site
from intake.library import Library
from intake.quarantine.daily.rounds import short_name
from intake.quarantine.needs import Need
from intake.quarantine.quarantine_clock import in_quarantine

__all__ = ["CareLine", "care_lines", "settling_for"]

LOOK_AT_FOOT = (3, 7, 14)
"""Days after placing on which clams are tilted and their byssus gape is looked at (A056, Z67)."""
MINUTES_EACH = 5
"""Minutes of work for one line (design default)."""
PALE = ("pale", "bleach")
"""Words of a finding that hold a lot's light at its start."""


@dataclass(frozen=True, slots=True)
class CareLine:
    """One thing to do for one lot on one day, with where it is from."""

    day: date
    batch: str
    vat: str
    words: str
    source: str
    unsourced: bool


def care_lines(
    batch: Batch, vats: Sequence[str], placed: datetime, floor: Floor, library: Library
) -> Iterator[CareLine]:
    """Everything the first weeks ask of one lot.

    Parameters
    ----------
    placed
        When its last animals were placed, in the farm's time zone.

    References
    ----------
    The library's table of the first days (``after_arrival.csv``), each row with its own source.
    """
    vat, first = ", ".join(vats), placed.date()
    yield from _light(batch, vat, placed, floor, library)
    food = library.after_arrival.first_food(batch.group)
    if food is not None:
        hours, row = food
        words = f"first food{f': {row.rule}' if row.rule and row.rule != 'as above' else ''}"
        yield CareLine((placed + timedelta(hours=hours)).date(), batch.id, vat, words, row.source, row.unsourced)
    for row in library.after_arrival.of("clam-foot", batch.group):
        if "days" in row.applies_to:
            for days in LOOK_AT_FOOT:
                words = "tilt, look at the byssus gape: loose tissue is a damaged gland"
                yield CareLine(first + timedelta(days=days), batch.id, vat, words, row.source, row.unsourced)


def _light(batch: Batch, vat: str, placed: datetime, floor: Floor, library: Library) -> Iterator[CareLine]:
    ramp, light = library.after_arrival.light(batch.group), library.group(batch.group).light
    if ramp is None or light is None:
        return
    pale = any(
        one.batch == batch.id and one.at >= placed and any(word in f"{one.what} {one.note}".lower() for word in PALE)
        for one in floor.found
    )
    for days, share in ramp.steps():
        par = min(share * light.target_min, light.day1_max) if not days else share * light.target_min
        held = ramp.hold_days if pale and days else 0
        words = f"light {par:.0f} µmol ({share:.0%} of target)"
        if held:
            words += f", held {held} d: pale"
        day = (placed + timedelta(days=days + held)).date()
        yield CareLine(day, batch.id, vat, words, ramp.source, ramp.unsourced)


def settling_for(
    stays: Sequence[Stay],
    floor: Floor,
    library: Library,
    site: Site,
    *,
    placed: Mapping[str, datetime],
    first: datetime,
    until: datetime,
) -> tuple[Need, ...]:
    """One task for each system and day on which a newly landed lot asks for something.

    Parameters
    ----------
    placed
        Batch → when its last animals were, or will be, placed; others have settled.
    first, until
        Work is laid out for these days, both included, farm time.
    """
    zone, recorded = site.farm.zone, {one.task for one in floor.done}
    inside = in_quarantine(stays)
    vats: dict[tuple[str, str], list[str]] = {}
    for stay in inside:
        if stay.batch in placed:
            vats.setdefault((site.vat(stay.vat).system, stay.batch), []).append(stay.vat)
    lines: dict[tuple[str, date], list[CareLine]] = {}
    for (system, lot), here in sorted(vats.items()):
        at = placed[lot].astimezone(zone)
        for line in care_lines(floor.batches[lot], sorted(here), at, floor, library):
            lines.setdefault((system, line.day), []).append(line)
    rows = [_need(system, day, mine, inside, site) for (system, day), mine in sorted(lines.items())]
    low, high = first.astimezone(zone).date(), until.astimezone(zone).date()
    return tuple(
        need for need in rows if need.uid not in recorded and low <= need.nominal.astimezone(zone).date() <= high
    )


def _need(system: str, day: date, lines: Sequence[CareLine], inside: Sequence[Stay], site: Site) -> Need:
    morning = datetime.combine(day, time(0), site.farm.zone)
    mine = [stay for stay in inside if site.vat(stay.vat).system == system]
    marks = [f"{line.batch} in {line.vat}: {line.words}{' †' if line.unsourced else ''}" for line in lines]
    sources = "; ".join(dict.fromkeys(line.source for line in lines))
    return Need(
        uid=f"{system}/care/{day.isoformat()}",
        kind="care",
        batch="",
        vat="",
        system=system,
        title=f"Care {short_name(site, system)}: new lots",
        earliest=morning,
        nominal=morning,
        latest=morning + timedelta(hours=23, minutes=45),
        minutes=MINUTES_EACH * len(lines),
        why=f"first weeks after landing: {sources}",
        evidence="practice" if all(line.unsourced for line in lines) else "derived",
        source=sources,
        unsourced=any(line.unsourced for line in lines),
        agent="",
        strength=f"none: {'; '.join(marks)}",
        headcount=sum(stay.count for stay in mine if stay.batch in {line.batch for line in lines}),
        condition="quarantine",
        entered=min((stay.since for stay in mine), default=None),
    )
