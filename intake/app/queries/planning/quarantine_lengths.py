"""How long each arriving batch would be in quarantine by its own clock, planned baths included, as release calculates it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, time

from intake.app.queries.planning.announced_shipments import shipment_facts
from intake.app.queries.planning.timetable_needs import orders_of
from intake.app.session import House
from intake.farm.floor import Batch, Stay
from intake.plan.framing import Arrival
from intake.plan.model.eligibility import suited
from intake.quarantine import courses_of

__all__ = ["quarantine_days"]


def quarantine_days(house: House, arrivals: Sequence[Arrival]) -> dict[str, int]:
    """Batch id → days from landing to the end of its own quarantine, in the water that suits it where that takes longest.

    Repeats depend on the temperature of the water, so each quarantine system is asked with every batch in it; a batch that no
    system suits is left out, and so are house cuttings, which have no quarantine.
    """
    found: dict[str, int] = {}
    for system in house.site.systems.values():
        if system.role != "quarantine":
            continue
        stays, lands = [], {}
        for arrival in arrivals:
            for batch in arrival.batches if arrival.shipment or arrival.supplier else ():
                group = house.library.group(batch.group, f"batch {batch.id}, group")
                vats = [
                    vat
                    for vat in suited(house.site, group, "quarantine", landing=True)[0]
                    if vat in _vats(house, system.id)
                ]
                if vats:
                    lands[batch.id] = _lands(house, arrival)
                    stays.append(Stay(batch.id, vats[0], batch.announced, lands[batch.id], "quarantine"))
        for batch_id, end in _ends(house, arrivals, stays).items():
            zone = house.site.farm.zone
            days = (end.astimezone(zone).date() - lands[batch_id].astimezone(zone).date()).days
            found[batch_id] = max(days, found.get(batch_id, 0))
    return found


def _vats(house: House, system: str) -> set[str]:
    return {vat.id for vat in house.site.vats_of(system)}


def _lands(house: House, arrival: Arrival) -> datetime:
    """The announced hour on the day of the plan, which is today for what is overdue; noon for a what-if."""
    told = shipment_facts(house).get(arrival.shipment)
    hour = datetime.fromisoformat(str(told["lands"])).astimezone(house.site.farm.zone).timetz() if told else time(12)
    return datetime.combine(arrival.lands, hour.replace(tzinfo=house.site.farm.zone))


def _ends(house: House, arrivals: Sequence[Arrival], stays: Sequence[Stay]) -> dict[str, datetime]:
    if not stays:
        return {}
    floor = house.floor()
    coming: dict[str, Batch] = {batch.id: batch for arrival in arrivals for batch in arrival.batches}
    floor = replace(floor, batches={**floor.batches, **coming})
    courses = courses_of(floor, house.library, house.site, stays=stays, orders=orders_of(house))
    return {name: course.own_end for name, course in courses.items() if name in coming}
