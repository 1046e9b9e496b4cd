"""The vat plan on paper: who stands where from when to when, what moves first, what does not fit and what would help."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from intake.app.output_files import save
from intake.app.queries.planning.accepted_plan import accepted
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.floor import Batch

if TYPE_CHECKING:
    from forms import PlanBar, PlanSystem

__all__ = ["plan_pdf", "print_plan", "print_proposal"]

_MOST_DAYS = 75


def print_plan(house: House, out: Path, batches: Sequence[Batch], paper: str) -> list[Path]:
    """Print the plan accepted last.

    Raises
    ------
    BadInput
        None was accepted.
    """
    del batches
    stored = accepted(house)
    if stored is None:
        raise BadInput(Finding("print plan", "no accepted plan", "an accepted plan", "Run `vatside plan --accept`."))
    first = date.fromisoformat(str(stored["facts"]["day_zero"]))
    return [save(out / f"plan-{stored['plan']['plan']}.pdf", plan_pdf(house, stored["plan"], first, paper))]


def print_proposal(house: House, plan: Mapping[str, Any], day_zero: date, out: Path, paper: str = "") -> list[Path]:
    """Print a plan that was only proposed."""
    data = plan_pdf(house, plan, day_zero, paper or house.site.farm.paper)
    return [save(out / f"plan-{plan['plan']}.pdf", data)]


def plan_pdf(house: House, plan: Mapping[str, Any], first: date, paper: str) -> bytes:
    """Draw a plan as the command contract gives it, from its first day on."""
    import forms as page

    starts = [date.fromisoformat(row["from"]) for row in plan["placements"]]
    ends = [date.fromisoformat(row["until"]) for row in plan["placements"]]
    day0 = max(first, min(starts, default=first) - timedelta(days=2))
    days = max(7, min(_MOST_DAYS, (max(ends, default=first + timedelta(days=14)) - day0).days + 1))
    batches = house.floor().batches
    content = page.PlanContent(
        farm=house.site.farm.name,
        shipment=", ".join(sorted({batches[r["batch"]].shipment for r in plan["placements"] if r["batch"] in batches})),
        days=tuple(f"{day0 + timedelta(days=offset):%d %b}" for offset in range(days)),
        systems=_systems(house, plan, day0, days),
        announced=plan["announced"],
        placed=plan["placed"],
        state=f"plan {plan['plan']}, {plan['status']}",
        moves=tuple(page.PlanMove(m["batch"], m["count"], m["from_vat"], m["to_vat"], m["by"]) for m in plan["moves"]),
        short=tuple(
            page.PlanShort(
                row["batch"],
                batches[row["batch"]].name if row["batch"] in batches else "",
                row["count"],
                "; ".join(f"{b['resource']} in {b['where']}: {b['need']:g} of {b['have']:g}" for b in row["binding"]),
            )
            for row in plan["short"]
        ),
        relief=tuple(
            page.PlanRelief(row["do"], f"{row['frees']:g} m²", f"{row['cost']:.0f} min", row["places"])
            for row in plan["relief"]
        ),
        changes=tuple(
            page.PlanChange(row["batch"], row["stage"], _vats(row["before"]), _vats(row["after"]), row["why"])
            for row in plan.get("changes", ())
        ),
        held=tuple(
            page.PlanHeld(row["batch"], row["count"], row["until"], row["days"], row["because"])
            for row in plan.get("held", ())
        ),
        waters=(
            *(f"{row['words']}." for row in plan.get("waters", ())),
            *(f"! {words}" for words in plan.get("warnings", ())),
        ),
    )
    return page.plan(content, paper)


def _vats(places: Sequence[Mapping[str, Any]]) -> str:
    return ", ".join(f"{one['vat']} {one['count']}" for one in places)


def _systems(house: House, plan: Mapping[str, Any], day0: date, days: int) -> tuple[PlanSystem, ...]:
    import forms as page

    bars: dict[str, list[PlanBar]] = {}
    coming = {row["batch"] for row in plan["placements"]}
    for row in plan["placements"]:
        start, until = _span(row["from"], row["until"], day0, days)
        if until > start:
            bars.setdefault(row["vat"], []).append(
                page.PlanBar(
                    row["batch"], int(row["count"]), start, until, "arriving", *_full(house, row), row["stage"]
                )
            )
    for stay in house.floor().stays:
        if stay.batch not in coming and stay.vat in house.site.vats:
            gone = _gone(house, stay.batch)
            start, until = _span(day0.isoformat(), gone or (day0 + timedelta(days=days)).isoformat(), day0, days)
            if until > start:
                row = {"batch": stay.batch, "vat": stay.vat, "count": stay.count}
                bars.setdefault(stay.vat, []).append(
                    page.PlanBar(stay.batch, stay.count, start, until, "present", *_full(house, row), stay.stage)
                )
    return tuple(
        page.PlanSystem(
            system.name,
            tuple(
                page.PlanVat(
                    vat.id,
                    tuple(sorted(bars.get(vat.id, []), key=lambda b: (b.from_day, b.batch))),
                    f"{vat.area_m2:.1f} m²",
                )
                for vat in house.site.vats_of(system.id)
            ),
            f"{system.temperature_c:.1f} °C, {system.salinity_psu:g} PSU",
        )
        for system in house.site.systems.values()
    )


def _gone(house: House, batch: str) -> str:

    record = house.last("standing", batch)
    return str(record.payload.get("leaves") or "") if record else ""


def _span(start: str, until: str, day0: date, days: int) -> tuple[int, int]:
    first = (date.fromisoformat(start) - day0).days
    last = (date.fromisoformat(until) - day0).days
    return max(0, first), min(days, last)


def _full(house: House, row: Mapping[str, Any]) -> tuple[float | None, str]:
    """Share of the vat's bench the batch takes, in percent."""
    batch = house.floor().batches.get(str(row["batch"]))
    if batch is None:
        return None, ""
    one = house.library.group(batch.group).footprint.of(batch.size_mm)
    return 100.0 * one * int(row["count"]) / (house.site.vat(str(row["vat"])).area_m2 * 1e4), "bench"
