"""Whether a lot may leave quarantine, when at the earliest, and what still stands in the way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from intake.farm.floor import Batch, Floor, Stay
from intake.farm.site import Site
from intake.library import Library
from intake.quarantine.clock import Clock, clock_of, days_after, entered_at, in_quarantine
from intake.quarantine.needs import Need, Prescription
from intake.quarantine.protocol import work_for

__all__ = ["Release", "own_end", "release", "shared_end", "water_end"]

UNEXPLAINED_SHARE = 0.05
"""Share of a lot that may die after its first week without being called unexplained: the upper end of the 3–5 % of
days 8–30 (design default, husbandry.md 1.2)."""

TRANSPORT_DAYS = 7.0
"""Deaths in the first week are put down to the journey (design section 13)."""


@dataclass(frozen=True, slots=True)
class Release:
    """The answer for one batch.

    Attributes
    ----------
    earliest
        Farm day on which it could be released if nothing else happens; ``None`` while a person must decide first.
    stands_in_the_way
        What is still open, a sentence each; empty when ``releasable``.
    why
        How ``earliest`` came about.
    """

    batch: str
    earliest: date | None
    stands_in_the_way: tuple[str, ...]
    releasable: bool
    why: tuple[str, ...]


def release(
    batch: Batch,
    floor: Floor,
    library: Library,
    site: Site,
    now: datetime,
    *,
    stays: Sequence[Stay] | None = None,
    asked: Mapping[str, str] | None = None,
    prescriptions: Mapping[str, Prescription] | None = None,
    broken: Sequence[str] = (),
) -> Release:
    """Whether a batch may be released now, and if not, what stands in the way.

    Parameters
    ----------
    stays
        Present stays (default) or present and planned ones.
    asked, prescriptions
        As in :func:`~intake.quarantine.protocol.work_for`, for this batch.
    broken
        Lags that could not be kept, in words: each forbids the release until the series has been run again.

    References
    ----------
    The last lot to enter a shared water sets the date: Australian Department of Agriculture, Fisheries and Forestry,
    industry advice 41-2025 (S73).  Findings and tests, not days: ``husbandry.md`` 1.2 and 10.5.
    """
    present = floor.stays if stays is None else tuple(stays)
    entered = entered_at(batch, present, floor)
    if entered is None:
        return Release(batch.id, None, ("it is not in quarantine",), False, ())
    group = library.group(batch.group)
    clock = clock_of(batch, present, group, library, site, floor=floor, entered=entered)
    open_work = work_for(
        batch,
        present,
        group,
        library,
        site,
        entered=entered,
        floor=floor,
        asked=asked,
        prescriptions=prescriptions,
    )
    own = own_end(clock, open_work, floor)
    shared, last_lot = water_end(batch.id, present, floor, library, site)
    earliest = max(own, shared)
    in_the_way = [
        *_open_work(open_work),
        *_clock_words(clock, own, now),
        *_water_words(batch.id, shared, last_lot, now),
        *_holds(batch.id, floor),
        *_deaths(batch.id, clock, floor, now),
        *(f"days between repeats were not kept: {words}; the series must be run again" for words in broken),
    ]
    person = bool(broken) or bool(_holds(batch.id, floor)) or bool(_deaths(batch.id, clock, floor, now))
    day = max(earliest, now).astimezone(site.farm.zone).date()
    return Release(batch.id, None if person else day, tuple(in_the_way), not in_the_way, clock.why)


def own_end(clock: Clock, open_work: Sequence[Need], floor: Floor) -> datetime:
    """Earliest end of a batch by its own clock and baths, other lots aside."""
    planned = [need.nominal for need in open_work if need.dip]
    done = [one.at for one in floor.done if one.batch == clock.batch and one.at >= clock.entered]
    return clock.ends_after(max([*planned, *done], default=None))


def water_end(batch: str, stays: Sequence[Stay], floor: Floor, library: Library, site: Site) -> tuple[datetime, str]:
    """When the last lot in the waters of a batch has finished, and which lot that is."""
    own: dict[str, datetime] = {}
    for lot in sorted({stay.batch for stay in in_quarantine(stays)}):
        other = floor.batches[lot]
        entered = entered_at(other, stays, floor)
        if entered is None:
            continue
        group = library.group(other.group)
        clock = clock_of(other, stays, group, library, site, floor=floor, entered=entered)
        work = work_for(other, stays, group, library, site, entered=entered, floor=floor)
        own[lot] = own_end(clock, work, floor)
    return shared_end(batch, in_quarantine(stays), own, site)


def shared_end(batch: str, inside: Sequence[Stay], own: Mapping[str, datetime], site: Site) -> tuple[datetime, str]:
    """The end of a batch in shared water, and the lot that sets it: a lot that enters before that moment counts too."""
    waters = {site.vat(stay.vat).system for stay in inside if stay.batch == batch}
    end, last_lot = own[batch], batch
    entries = sorted((stay.since, stay.batch) for stay in inside if site.vat(stay.vat).system in waters)
    for since, lot in entries:
        if since < end < own[lot]:
            end, last_lot = own[lot], lot
    return end, last_lot


def _open_work(work: Sequence[Need]) -> list[str]:
    dips = [need for need in work if need.dip]
    kept = [need for need in work if need.kind in ("receive", "acclimation")]
    words = [f"not done: {need.title}" for need in kept]
    if dips:
        first = min(dips, key=lambda need: (need.nominal, need.uid))
        many = f"{len(dips)} pieces of work are" if len(dips) > 1 else "one piece of work is"
        words.append(f"{many} still to be done; next: {first.title} in {first.vat} on {first.nominal:%Y-%m-%d}")
    return words


def _clock_words(clock: Clock, own: datetime, now: datetime) -> list[str]:
    if now >= own:
        return []
    return [f"its own quarantine runs until {own:%Y-%m-%d}: {'; '.join(clock.why)}"]


def _water_words(batch: str, shared: datetime, last_lot: str, now: datetime) -> list[str]:
    if last_lot == batch or now >= shared:
        return []
    return [f"{last_lot} shares its water and is in quarantine until {shared:%Y-%m-%d}: the last lot sets the date"]


def _holds(batch: str, floor: Floor) -> list[str]:
    return [
        f"on hold since {hold.since:%Y-%m-%d}: {hold.reason}"
        for hold in floor.holds
        if hold.batch == batch and not hold.lifted
    ]


def _deaths(batch: str, clock: Clock, floor: Floor, now: datetime) -> list[str]:
    """Deaths after the first week beyond what is usual, unless a hold set for them was lifted with a reason."""
    week = days_after(clock.entered, TRANSPORT_DAYS)
    late = [loss for loss in floor.losses if loss.batch == batch and loss.head == "dead" and week < loss.at <= now]
    dead = sum(loss.count for loss in late)
    alive = floor.headcount(batch)
    if dead < 2 or dead <= UNEXPLAINED_SHARE * (alive + dead):
        return []
    last = max(loss.at for loss in late)
    if any(hold.batch == batch and hold.lifted and hold.since >= last for hold in floor.holds):
        return []
    told = f"{dead} of {dead + alive} died after the first week and nobody has said why"
    return [f"{told}: hold the lot, have it tested, lift the hold with the result"]
