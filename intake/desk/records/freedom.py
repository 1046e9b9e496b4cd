"""Whether animals may leave the water they are in: quarantine by the release check, cuttings once they have healed."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from intake.desk.house import House
from intake.errors import Finding, Refused
from intake.farm.floor import Floor
from intake.ledger import latest
from intake.plan.framing import HEALING_DAYS
from intake.quarantine import release

__all__ = ["healed_at", "healing_words", "held_words", "refuse_unless_free", "stands_in_the_way"]


def stands_in_the_way(house: House, floor: Floor, batch: str, vat: str) -> tuple[str, ...]:
    """What keeps a batch in one vat from leaving its water; empty when it is free to go."""
    stay = next((stay for stay in floor.in_vat(vat) if stay.batch == batch), None)
    if stay is None:
        return ()
    if stay.stage == "healing":
        return (*healing_words(house, stay.since), *held_words(house, floor, batch))
    if stay.stage != "quarantine":
        return held_words(house, floor, batch)
    record = latest(house.entries(), "timetable").get("timetable")
    pairs: Any = record.payload.get("broken") or [] if record else []
    broken = [str(words) for lot, words in pairs if lot == batch]
    told = release(floor.batches[batch], floor, house.library, house.site, house.now, broken=broken)
    return () if told.releasable else told.stands_in_the_way


def healed_at(since: datetime) -> datetime:
    """When cuttings made at a moment have healed."""
    return since + timedelta(days=HEALING_DAYS)


def healing_words(house: House, since: datetime) -> tuple[str, ...]:
    """That cuttings made at a moment still heal, in words; empty once they have."""
    until = healed_at(since)
    words = f"fresh cuttings heal until {until.astimezone(house.site.farm.zone):%Y-%m-%d}"
    return (words,) if house.now < until else ()


def held_words(house: House, floor: Floor, batch: str) -> tuple[str, ...]:
    """The holds that stand on a batch, wherever it is, in words."""
    zone = house.site.farm.zone
    holds = [hold for hold in floor.holds if hold.batch == batch and not hold.lifted]
    return tuple(f"on hold since {hold.since.astimezone(zone):%Y-%m-%d}: {hold.reason}" for hold in holds)


def refuse_unless_free(house: House, floor: Floor, batch: str, source: str, target: str) -> None:
    """Refuse a sale, or a move into other than quarantine water, of animals that are not free to go or are held.

    Raises
    ------
    Refused
        With everything that still stands in the way.
    """
    leaves = target == "sold" or (target in house.site.vats and house.site.system_of(target).role != "quarantine")
    if not leaves or source not in house.site.vats:
        return
    if target in house.site.vats and house.site.vat(target).system == house.site.vat(source).system:
        return
    why = stands_in_the_way(house, floor, batch, source)
    if why:
        do = "Wait for `vatside release`, or say --despite with the reason, which is kept."
        raise Refused(
            Finding(f"{batch} in {source}", f"to go to {target}", f"a lot that is free: {'; '.join(why[:3])}", do)
        )
