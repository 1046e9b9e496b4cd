"""When a lot's quarantine began, what made it begin again, and how warm its water is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from intake.errors import BadInput
from intake.farm.floor import Batch, Floor, Found, Stay
from intake.farm.site import Site
from intake.library import Group, Library
from intake.quarantine.redip import generation_days

__all__ = ["Clock", "clock_of", "days_after", "entered_at", "in_quarantine", "last_finding", "temperature_of"]

DEPARTURE_C = 1.0
"""Logged water that differs from the plan by more than this makes the series be computed again (husbandry.md 2.3)."""

LOGGED_DAYS = 7.0
"""Days of readings averaged into the logged temperature: house rule, no source."""

_QUANTITIES = frozenset({"temperature", "temperature_c"})


@dataclass(frozen=True, slots=True)
class Clock:
    """The quarantine clock of one batch, from its own entry and the findings in its water.

    Attributes
    ----------
    started
        Entry, or the last positive finding in its water since.
    restarted_by
        That finding, or ``None``.
    days
        Days of quarantine of the group.
    generation_d
        One generation of the pest found, at the water's temperature; ``None`` without a finding or without figures.
    ends
        Earliest end by this batch alone, before its last bath is known.
    why
        How ``ends`` came about, in sentences.
    """

    batch: str
    entered: datetime
    started: datetime
    restarted_by: Found | None
    days: int
    generation_d: float | None
    ends: datetime
    why: tuple[str, ...]

    def ends_after(self, last_bath: datetime | None) -> datetime:
        """Earliest end once the last bath is known: after a finding, one generation must pass since that bath."""
        if last_bath is None:
            return self.ends
        if self.restarted_by is None or self.generation_d is None:
            return max(self.ends, last_bath)
        return max(self.ends, days_after(last_bath, self.generation_d))


def days_after(moment: datetime, days: float) -> datetime:
    """``days`` × 24 hours later, in absolute time: a change of clocks neither lengthens nor shortens it."""
    return (moment.astimezone(UTC) + timedelta(days=days)).astimezone(moment.tzinfo)


def in_quarantine(stays: Iterable[Stay], batch: str = "") -> tuple[Stay, ...]:
    """Stays in quarantine (of one batch, or of all), in the order of vats."""
    return tuple(
        sorted(
            (stay for stay in stays if stay.stage == "quarantine" and stay.count > 0 and batch in ("", stay.batch)),
            key=lambda stay: (stay.batch, stay.vat, stay.since),
        )
    )


def entered_at(batch: Batch, stays: Sequence[Stay], floor: Floor) -> datetime | None:
    """When a batch entered quarantine: its shipment's receipt, else its first stay; ``None`` if it has none."""
    since = [stay.since for stay in in_quarantine(stays, batch.id)]
    if not since:
        return None
    received = floor.received.get(batch.shipment) if batch.shipment else None
    return min(since) if received is None else min(received, *since)


def temperature_of(system: str, site: Site, floor: Floor, now: datetime) -> float:
    """Temperature to calculate with, °C: the planned one, unless the mean logged departs from it by more than 1 °C.

    The mean is taken over the last seven days of readings in the system and its vats.
    """
    planned = site.systems[system].temperature_c
    # a reading at a vat is on record under the vat's place in the ledger
    places = {system, *(name for vat in site.vats_of(system) for name in (vat.id, f"vat:{vat.id}"))}
    logged = [
        reading.value
        for reading in floor.readings
        if reading.place in places
        and reading.quantity in _QUANTITIES
        and days_after(now, -LOGGED_DAYS) <= reading.at <= now
    ]
    if not logged:
        return planned
    mean = sum(logged) / len(logged)
    return mean if abs(mean - planned) > DEPARTURE_C else planned


def last_finding(batch: str, stays: Sequence[Stay], floor: Floor, site: Site, since: datetime) -> Found | None:
    """The last positive finding since ``since`` on the batch itself or in a water it is in."""
    waters = {site.system_of(stay.vat).id for stay in in_quarantine(stays, batch)}
    hits = [
        found
        for found in floor.found
        if found.what
        and found.at >= since
        and (found.batch == batch or (found.vat in site.vats and site.vats[found.vat].system in waters))
    ]
    return max(hits, key=lambda found: (found.at, found.what, found.batch), default=None)


def clock_of(
    batch: Batch, stays: Sequence[Stay], group: Group, library: Library, site: Site, *, floor: Floor, entered: datetime
) -> Clock:
    """The quarantine clock of a batch.

    A positive finding in its water restarts it, whichever lot it was seen on.  After a finding of a pest with a known
    generation time, one generation since the last bath or finding must also pass.

    References
    ----------
    Findings restart every lot in the water, and the last lot to enter sets the date for all: Australian Department of
    Agriculture, Fisheries and Forestry, industry advice 41-2025 (S73), as read in ``husbandry.md`` 5.  One generation after the
    last finding or bath: ``husbandry.md`` 2.3.
    """
    found = last_finding(batch.id, stays, floor, site, entered)
    started = entered if found is None else found.at
    days = group.quarantine.days
    ends = days_after(started, days)
    mark = " (no published length)" if group.quarantine.unsourced else ""
    why = [f"{days} d of quarantine for {group.name}{mark} from {started:%Y-%m-%d}"]
    generation: float | None = None
    if found is not None:
        why.append(
            f"{found.what} found on {found.batch} in {found.vat} on {found.at:%Y-%m-%d} restarted the quarantine"
        )
        generation, word = _generation(found, stays, library, site, floor)
        if generation is not None:
            ends = max(ends, days_after(found.at, generation))
        why.append(word)
    return Clock(batch.id, entered, started, found, days, generation, ends, tuple(why))


def _generation(
    found: Found, stays: Sequence[Stay], library: Library, site: Site, floor: Floor
) -> tuple[float | None, str]:
    pest = library.pests.get(found.what)
    if pest is None:
        return None, f"'{found.what}' is not in the pest library; the group's default days are used"
    vats = [found.vat] if found.vat in site.vats else [stay.vat for stay in in_quarantine(stays, found.batch)]
    if not vats:
        return None, "system of this finding unknown; using the group's default days"
    warmth = temperature_of(site.system_of(vats[0]).id, site, floor, floor.at)
    try:
        generation = generation_days(pest, warmth)
    except BadInput:
        return (
            None,
            f"no published generation time for {pest.name} at {warmth:.3g} °C; the group's default days are used",
        )
    return generation, f"one generation of {pest.name} at {warmth:.3g} °C is {generation:.3g} d"
