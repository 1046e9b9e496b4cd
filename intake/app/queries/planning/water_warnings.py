"""What threatens to jam quarantine: waters closed to newcomers, and shipments that come too often for any to empty."""

from __future__ import annotations

from datetime import datetime, timedelta

from intake.app.queries.planning.announced_shipments import shipment_facts
from intake.app.queries.planning.present_stock import freedoms
from intake.app.session import House
from intake.plan.answers.water_forecast import rhythm
from intake.plan.problem import Problem

__all__ = ["water_warnings"]

_LOOKS_BACK = timedelta(days=180)
"""Landings so far back still make the rhythm of shipments: house rule."""


def water_warnings(house: House, problem: Problem) -> tuple[str, ...]:
    """Warnings in sentences: lots without a day close their water to newcomers; the rhythm of shipments leaves none empty."""
    found = []
    for (batch, stage), free in freedoms(house, ahead=False).items():
        if stage == "quarantine" and free.free_from is None:
            waters = ", ".join(free.waters)
            found.append(
                f"{waters} closed to newcomers: {batch} has no day yet ({free.unknown[0]}). Decide about {batch}."
            )
    told = rhythm(problem, _landings(house))
    if told is not None and told.words:
        found.append(told.words)
    return tuple(found)


def _landings(house: House) -> list[datetime]:
    """When shipments landed or are to land, from half a year ago on."""
    received = house.floor().received
    moments = [
        received.get(shipment, datetime.fromisoformat(str(facts["lands"])))
        for shipment, facts in shipment_facts(house).items()
    ]
    return [moment.astimezone(house.site.farm.zone) for moment in moments if moment >= house.now - _LOOKS_BACK]
