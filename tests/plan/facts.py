"""Plain facts for the judge: exported from a problem, or worked out afresh from farm, library and stock."""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import Any

from intake.plan import Problem

FAR = 10_000


def facts_of_problem(problem: Problem) -> dict[str, Any]:
    """The judge's facts with the problem's own numbers, for tests that start from a problem."""

    def day(number: int) -> str:
        return (problem.day_zero + timedelta(days=number)).isoformat()

    return {
        "vats": {
            vat.id: {
                "system": vat.system,
                "area_mm2": vat.area_mm2,
                "oxygen_ug_per_h": vat.oxygen_ug_per_h,
                "fallow_days": vat.fallow_days,
                "divided": vat.divided,
                "closed": [[day(first), day(last)] for first, last in vat.closed],
            }
            for vat in problem.vats
        },
        "systems": {
            system.id: {
                "role": system.role,
                "ammonia_ug_per_h": system.ammonia_ug_per_h,
                "new_filter_ug_per_h": system.new_filter_ug_per_h,
                "matured": day(system.matured_day),
                "suppliers_share": system.suppliers_share,
            }
            for system in problem.systems
        },
        "batches": {batch.id: _batch(batch, day) for batch in problem.batches},
        "standing": [_standing(standing, day) for standing in problem.standing],
        "apart": [[one, other, kind] for (one, other), kind in problem.apart.items()],
        "most_days_held": problem.most_days_held,
        "release": problem.together,
    }


def _batch(batch: Any, day: Any) -> dict[str, Any]:
    return {
        "group": batch.group,
        "shipment": batch.shipment,
        "supplier": batch.supplier,
        "count": batch.count,
        "min_portion": batch.min_portion,
        "max_vats": batch.max_vats,
        "area_mm2": batch.footprint_mm2,
        "oxygen_ug_per_h": batch.oxygen_ug_per_h,
        "ammonia_ug_per_h": batch.ammonia_ug_per_h,
        "grown": _grown(batch, day),
        "stages": [
            {
                "stage": stage.stage,
                "from": day(stage.start_day),
                "until": day(stage.end_day),
                "vats": list(stage.vats),
            }
            for stage in batch.stages
        ],
    }


def _standing(standing: Any, day: Any) -> dict[str, Any]:
    return {
        "batch": standing.batch,
        "vat": standing.vat,
        "stage": standing.stage,
        "count": standing.count,
        "group": standing.group,
        "shipment": standing.shipment,
        "supplier": standing.supplier,
        "from": day(standing.from_day),
        "until": day(standing.until_day),
        "movable": standing.movable,
        "move_to": list(standing.move_to),
        "served": day(standing.served_day),
        "area_mm2": standing.footprint_mm2,
        "oxygen_ug_per_h": standing.oxygen_ug_per_h,
        "ammonia_ug_per_h": standing.ammonia_ug_per_h,
        "grown": _grown(standing, day),
        "left": [[day(since), count] for since, count in standing.left],
    }


def _grown(some: Any, day: Any) -> list[list[Any]]:
    return [[day(one.from_day), one.footprint_mm2, one.oxygen_ug_per_h, one.ammonia_ug_per_h] for one in some.grown]


def saturation_mg_per_l(temperature_c: float, salinity_psu: float) -> float:
    """Oxygen saturation at 1 atm: Benson & Krause 1984, mg/L form, written out a second time."""
    kelvin = temperature_c + 273.15
    fresh = (
        -139.34411 + 1.575701e5 / kelvin - 6.642308e7 / kelvin**2 + 1.243800e10 / kelvin**3 - 8.621949e11 / kelvin**4
    )
    return math.exp(fresh - salinity_psu * (0.017674 - 10.754 / kelvin + 2140.7 / kelvin**2))


def facts_of_farm(site: Any, library: Any, floor: Any, arrivals: Any, today: date) -> dict[str, Any]:
    """The judge's facts worked out from what the owner and the library say, without the planner's framing.

    Standing stock leaves as the farm tests say (``leave`` is not used here): quarantine after the group's days, other
    stock never.
    """
    alarm = 5.0
    vats = {}
    for vat in site.vats.values():
        system = site.systems[vat.system]
        spare = max(0.0, saturation_mg_per_l(system.temperature_c, system.salinity_psu) - alarm)
        oxygen = vat.turnover_per_h * vat.volume_l * spare + vat.aeration_mg_per_h
        vats[vat.id] = {
            "system": vat.system,
            "area_mm2": vat.area_m2 * 1e6 * (1 - site.planning.headroom_percent / 100),
            "oxygen_ug_per_h": oxygen * 1000,
            "fallow_days": vat.fallow_days,
            "divided": vat.divided,
            "closed": [[gap.first.isoformat(), (gap.last + timedelta(days=1)).isoformat()] for gap in vat.closed],
        }
    systems = {}
    for system in site.systems.values():
        budget = system.nitrogen_budget_mg_per_h * 1000
        systems[system.id] = {
            "role": system.role,
            "ammonia_ug_per_h": budget,
            "new_filter_ug_per_h": budget * site.planning.new_filter_percent / 100,
            "matured": system.matured.isoformat() if system.matured else None,
            "suppliers_share": system.suppliers_share,
        }
    batches = {
        batch.id: _farm_batch(site, library, arrival, batch) for arrival in arrivals for batch in arrival.batches
    }
    standing = [_farm_stay(site, library, floor, stay, today) for stay in floor.stays]
    return {
        "vats": vats,
        "systems": systems,
        "batches": batches,
        "standing": standing,
        "apart": _farm_apart(library),
        "fish": [name for name, group in library.groups.items() if group.kind == "fish"],
        "transfers": [one for arrival in arrivals if (one := _transfers(library, floor, arrival, batches, vats))],
    }


def _transfers(library: Any, floor: Any, arrival: Any, batches: Any, vats: Any) -> dict[str, Any] | None:
    """The tank transfers of a shipment's fish, where the farm has two waters for them without invertebrates.

    Four moves in twelve days (Colorni 1985), and a day until the last vat left is dry.
    """
    moved = [one.id for one in arrival.batches if "fish-tank-transfer" in library.groups[one.group].dips]
    rows = [set(stage["vats"]) for name in moved for stage in batches[name]["stages"] if stage["stage"] == "quarantine"]
    if not rows:
        return None
    soft = {one.batch for one in floor.stays if library.groups[floor.batches[one.batch].group].kind != "fish"}
    taken = {vats[one.vat]["system"] for one in floor.stays if one.batch in soft}
    fit = sorted(vat for vat in set.intersection(*rows) if vats[vat]["system"] not in taken)
    if len({vats[vat]["system"] for vat in fit}) < 2:
        return None
    until = arrival.lands + timedelta(days=13)
    return {"batches": moved, "vats": fit, "from": arrival.lands.isoformat(), "until": until.isoformat()}


def _needs(group: Any, size_mm: float) -> dict[str, float]:
    if group.footprint.rule == "head":
        area_cm2 = group.footprint.area_cm2
    elif group.footprint.rule == "cell":
        area_cm2 = (group.footprint.factor * size_mm / 10) ** 2
    else:
        area_cm2 = ((size_mm + group.footprint.margin_mm) / 10) ** 2
    oxygen_mg = group.oxygen.coefficient * (size_mm / 10) ** group.oxygen.exponent
    return {
        "area_mm2": area_cm2 * 100,
        "oxygen_ug_per_h": oxygen_mg * 1000,
        "ammonia_ug_per_h": oxygen_mg * group.ammonia.mg_n_per_mg_o2 * 1000,
    }


def _farm_batch(site: Any, library: Any, arrival: Any, batch: Any) -> dict[str, Any]:
    group = library.groups[batch.group]
    cutting = arrival.shipment == "" and arrival.supplier == ""
    start = arrival.lands
    stages: list[dict[str, Any]] = []
    lengths = [("healing", 14) if cutting else ("quarantine", group.quarantine.days), ("grow-out", group.grow_out.days)]
    for stage, days in lengths:
        if days == 0:
            continue
        until = start + timedelta(days=days)
        fit = [vat.id for vat in site.vats.values() if _fits(site, group, vat, stage, first=not stages)]
        stages.append({"stage": stage, "from": start.isoformat(), "until": until.isoformat(), "vats": fit})
        start = until
    alone = library.apart(group.id, group.id) in ("vat", "water")
    return {
        "group": group.id,
        "shipment": arrival.shipment,
        "supplier": arrival.supplier,
        "count": batch.announced,
        "min_portion": 1 if alone else min(site.planning.min_portion, batch.announced),
        "max_vats": site.planning.max_vats_per_batch,
        "stages": stages,
        **_growing_needs(site, group, batch.size_mm, arrival.lands, date.fromisoformat(stages[0]["until"])),
    }


def _growing_needs(site: Any, group: Any, size_mm: float, measured: date, first: date) -> dict[str, Any]:
    """Needs on ``first``, and what they come to in the weeks after it, on a farm that counts growth; else those of the size."""
    if site.planning.growth == "none":
        return {**_needs(group, size_mm), "grown": []}
    there = _needs(group, _size_on(group, size_mm, (first - measured).days))
    return {**there, "grown": _weekly(group, size_mm, measured, first)}


def _size_on(group: Any, size_mm: float, days: int) -> float:
    """Size so many days after it was measured: straight on, or nearer to the greatest size by the same share each year."""
    growth = group.growth
    if growth is None or days <= 0:
        return size_mm
    if growth.k_per_year and size_mm < growth.most_mm:
        return float(growth.most_mm - (growth.most_mm - size_mm) * math.exp(-growth.k_per_year * days / 365.25))
    return float(size_mm + growth.mm_per_week / 7 * days)


def _weekly(group: Any, size_mm: float, measured: date, first: date) -> list[list[Any]]:
    """Needs from each week on after ``first``, for half a year."""
    days = [first + timedelta(weeks=week) for week in range(26)]
    return [[day.isoformat(), *_needs(group, _size_on(group, size_mm, (day - measured).days)).values()] for day in days]


def _fits(site: Any, group: Any, vat: Any, stage: str, *, first: bool) -> bool:
    system = site.systems[vat.system]
    roles = {"quarantine": ["quarantine"], "healing": ["healing", "grow-out"], "grow-out": ["grow-out"]}[stage]
    light = group.light
    return (
        system.role in roles
        and not vat.reserve
        and group.temperature_c.min <= system.temperature_c <= group.temperature_c.max
        and group.salinity_psu.min <= system.salinity_psu <= group.salinity_psu.max
        and vat.water_depth_mm >= group.depth_min_mm
        and max(vat.flow[0], group.flow.min) <= min(vat.flow[1], group.flow.max)
        and (light is None or max(vat.light_umol[0], light.target_min) <= min(vat.light_umol[1], light.target_max))
        and (light is None or not first or vat.light_umol[0] <= light.day1_max)
    )


def _farm_stay(site: Any, library: Any, floor: Any, stay: Any, today: date) -> dict[str, Any]:
    batch = floor.batches[stay.batch]
    group = library.groups[batch.group]
    since = min(stay.since.date(), today)
    until = today + timedelta(days=FAR)
    if stay.stage == "quarantine":
        until = since + timedelta(days=group.quarantine.days)
    return {
        "batch": stay.batch,
        "vat": stay.vat,
        "stage": stay.stage,
        "count": stay.count,
        "group": group.id,
        "shipment": batch.shipment,
        "supplier": batch.supplier,
        "from": since.isoformat(),
        "until": until.isoformat(),
        "movable": False,
        "move_to": [],
        "served": until.isoformat(),
        **_growing_needs(site, group, batch.size_mm, today, until if stay.stage == "quarantine" else today),
    }


def _farm_apart(library: Any) -> list[list[str]]:
    pairs = []
    names = sorted(library.groups)
    for number, one in enumerate(names):
        for other in names[number:]:
            kind = library.apart(one, other)
            if kind:
                pairs.append([one, other, kind])
            a, b = library.groups[one], library.groups[other]
            dark = a.light is None or b.light is None
            if max(a.flow.min, b.flow.min) > min(a.flow.max, b.flow.max):
                pairs.append([one, other, "vat"])
            if not dark and max(a.light.target_min, b.light.target_min) > min(a.light.target_max, b.light.target_max):
                pairs.append([one, other, "vat"])
    return pairs
