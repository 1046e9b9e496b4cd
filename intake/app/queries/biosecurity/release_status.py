"""When each lot is released and what blocks it."""

from __future__ import annotations

from typing import Any

from intake.app.act_recording import batch_named
from intake.app.queries.biosecurity.cutting_rest import healed_at, healing_words
from intake.app.queries.planning.timetable_needs import orders_of, stays_ahead
from intake.app.session import House
from intake.farm.floor import Floor
from intake.plan.framing import HEALING_DAYS
from intake.quarantine import Release, courses_of, free_from, release_of

__all__ = ["held_words", "kept_back", "release_rows", "stands_in_the_way"]


def stands_in_the_way(house: House, floor: Floor, batch: str, vat: str) -> tuple[str, ...]:
    """What keeps a batch in one vat from leaving its water; empty when it is free to go."""
    stay = next((stay for stay in floor.in_vat(vat) if stay.batch == batch), None)
    if stay is None:
        return ()
    if stay.stage == "healing":
        return (*healing_words(house, stay.since), *held_words(house, floor, batch))
    if stay.stage != "quarantine":
        return held_words(house, floor, batch)
    return _releases(house)[batch].stands_in_the_way


def _releases(house: House) -> dict[str, Release]:
    """Batch → the answer, for every lot present in quarantine, with planned newcomers."""
    floor, stays, orders = house.floor(), stays_ahead(house), orders_of(house)
    lots = courses_of(floor, house.library, house.site, stays=stays, orders=orders)
    free = free_from(floor, house.library, house.site, stays=stays, courses=lots)
    inside = dict.fromkeys(stay.batch for stay in floor.stays if stay.stage == "quarantine")
    return {lot: release_of(lot, free, lots, house.site, house.now) for lot in inside}


def held_words(house: House, floor: Floor, batch: str) -> tuple[str, ...]:
    """The holds that stand on a batch, wherever it is, in words."""
    zone = house.site.farm.zone
    holds = [hold for hold in floor.holds if hold.batch == batch and not hold.lifted]
    return tuple(f"on hold since {hold.since.astimezone(zone):%Y-%m-%d}: {hold.reason}" for hold in holds)


def kept_back(house: House, floor: Floor, batch: str, source: str, target: str) -> tuple[str, ...]:
    """What keeps animals from a sale, or from a move into other than quarantine water; empty when nothing does."""
    leaves = target == "sold" or (target in house.site.vats and house.site.system_of(target).role != "quarantine")
    if not leaves or source not in house.site.vats:
        return ()
    if target in house.site.vats and house.site.vat(target).system == house.site.vat(source).system:
        return ()
    return stands_in_the_way(house, floor, batch, source)


def _healing(house: House, batch: str) -> dict[str, Any]:
    """The answer for cuttings: free once the last of them has healed, unless they are held."""
    floor, zone = house.floor(), house.site.farm.zone
    since = max(stay.since for stay in floor.stays if stay.batch == batch and stay.stage == "healing")
    healed, held = healed_at(since), held_words(house, floor, batch)
    open_ = [*healing_words(house, since), *held]
    return {
        "batch": batch,
        "name": floor.batches[batch].name,
        "earliest": None if held else max(healed, house.now).astimezone(zone).date().isoformat(),
        "releasable": not open_,
        "stands_in_the_way": open_,
        "sooner": [],
        "why": [f"{HEALING_DAYS} d to heal from {since.astimezone(zone):%Y-%m-%d} (default, no source)"],
    }


def release_rows(house: House, batch: str = "") -> list[dict[str, Any]]:
    """For each lot in quarantine: free when at the earliest, and what still blocks it.

    Raises
    ------
    UnknownName
        No such batch.
    """
    floor = house.floor()
    if batch:
        batch_named(floor, batch)
    rows = []
    stages = {stay.batch: stay.stage for stay in floor.stays if stay.stage in {"quarantine", "healing"}}
    answers = _releases(house)
    for name, stage in stages.items():
        if batch and name != batch:
            continue
        if stage == "healing":
            rows.append(_healing(house, name))
            continue
        told = answers[name]
        rows.append(
            {
                "batch": name,
                "name": floor.batches[name].name,
                "earliest": told.earliest.isoformat() if told.earliest else None,
                "releasable": told.releasable,
                "stands_in_the_way": list(told.stands_in_the_way),
                "why": list(told.why),
                "sooner": list(told.sooner),
            }
        )
    return rows
