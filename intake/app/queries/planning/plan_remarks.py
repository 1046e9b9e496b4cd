"""What a plan says beside its places: what threatens to jam quarantine, and the growth and sales it counts on."""

from __future__ import annotations

from datetime import datetime, timedelta

from intake.app.queries.planning.announced_shipments import shipment_facts
from intake.app.queries.planning.present_stock import freedoms, sales_counted
from intake.app.session import House
from intake.plan.answers.water_forecast import rhythm
from intake.plan.problem import Problem

__all__ = ["counted_words", "water_warnings"]

_LOOKS_BACK = timedelta(days=180)
"""Landings so far back still make the rhythm of shipments: house rule."""

_MOST_SHOWN = 4


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


def counted_words(house: House, problem: Problem) -> tuple[str, ...]:
    """What the plan counts on beyond what stands and is announced: growth of what comes, and stock that is sold by a day."""
    return (*_growth_words(house, problem), *_sales_words(house, problem))


def _growth_words(house: House, problem: Problem) -> list[str]:
    if house.site.planning.growth != "library":
        how = 'growth = "library" in farm.toml, [planning], counts it'
        return [f"Every animal is counted at the size on record: no growth; {how}."]
    batches, grown = house.floor().batches, list[str]()
    for need in problem.batches:
        known, stage = batches.get(need.id), need.stages[0]
        growth = house.library.group(known.group).growth if known else None
        if known and growth:
            size = growth.size_after(known.size_mm, stage.end_day - stage.start_day)
            if round(size) > round(known.size_mm):
                grown.append(f"{need.id} {known.size_mm:.0f} to {size:.0f} mm")
    if not grown:
        return []
    more = f" and {len(grown) - _MOST_SHOWN} more" if len(grown) > _MOST_SHOWN else ""
    return [f"Growth is counted; until their first stage ends: {', '.join(grown[:_MOST_SHOWN])}{more}."]


def _sales_words(house: House, problem: Problem) -> list[str]:
    rates, batches, found = sales_counted(house), house.floor().batches, list[str]()
    for one in problem.standing:
        if one.left:
            rate, (day, there) = rates[batches[one.batch].group], one.left[-1]
            area = (one.count - there) * one.footprint_mm2 / 1e6
            by = (problem.day_zero + timedelta(days=day)).isoformat()
            found.append(
                f"{one.batch} in {one.vat}: {one.count - there} expected to be sold by {by}, which frees {area:.2f} m² "
                f"({rate.a_week:g} a week of {batches[one.batch].group}: {rate.source})."
            )
    return found
