"""The vat plan on paper: who stands where from when to when, what moves first, what does not fit and what would help."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from intake.app.output_files import save
from intake.app.queries.planning.accepted_plan import accepted
from intake.app.queries.planning.announced_shipments import lands_at
from intake.app.queries.planning.present_stock import commitments, freedoms, leaving, to_clear
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
        days=tuple(f"{day0 + timedelta(days=offset):%a %d %b}" for offset in range(days)),
        systems=_systems(house, plan, day0, days),
        announced=plan["announced"],
        placed=plan["placed"],
        state=f"plan {plan['plan']}, {plan['status']}",
        aim=plan.get("aim", {}).get("words", ""),
        moves=tuple(page.PlanMove(m["batch"], m["count"], m["from_vat"], m["to_vat"], m["by"]) for m in plan["moves"]),
        short=tuple(
            page.PlanShort(
                row["batch"],
                batches[row["batch"]].name if row["batch"] in batches else "",
                row["count"],
                ("only after quarantine: " if row.get("after_quarantine") else "")
                + "; ".join(_binding(house, b) for b in row["binding"]),
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
            *(
                f"{_named(house, row['system'])}{row['words'].removeprefix(row['system'])}."
                for row in plan.get("waters", ())
            ),
            *(f"! {_warning(house, words)}" for words in plan.get("warnings", ())),
        ),
        counted_on=tuple(plan.get("counted_on", ())),
        names={row["batch"]: batches[row["batch"]].name for row in plan["placements"] if row["batch"] in batches},
    )
    with page.printed_at(house.now.astimezone(house.site.farm.zone)):
        return page.plan(house.site.farm.measures.content(content), paper)


def _named(house: House, system: str) -> str:
    """A system by its name, as it stands at its vats; the id of one that is gone."""
    return house.site.systems[system].name if system in house.site.systems else system


def _warning(house: House, words: str) -> str:
    """A warning that begins with systems, with their names."""
    systems, closed, rest = words.partition(" closed to newcomers")
    return f"{', '.join(_named(house, one) for one in systems.split(', '))}{closed}{rest}" if closed else words


def _binding(house: House, row: Mapping[str, Any]) -> str:
    name, shown = house.site.farm.measures.binding(row)
    return f"{name} in {row['where']}: {shown(row['need'])} of {shown(row['have'])}"


def _vats(places: Sequence[Mapping[str, Any]]) -> str:
    return ", ".join(f"{one['vat']} {one['count']}" for one in places)


def _systems(house: House, plan: Mapping[str, Any], day0: date, days: int) -> tuple[PlanSystem, ...]:
    import forms as page

    bars: dict[str, list[PlanBar]] = {}
    for vat, bar in (*_coming(house, plan, day0), *_standing(house, plan, day0, days)):
        if min(bar.until_day, days) > max(bar.from_day, 0):
            bars.setdefault(vat, []).append(bar)
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


def _coming(house: House, plan: Mapping[str, Any], day0: date) -> list[tuple[str, PlanBar]]:
    """Vat and bar of every placement; the last of a batch ends because nothing is planned beyond."""
    import forms as page

    landings, starts = _landings(house, plan), {(row["batch"], row["from"]) for row in plan["placements"]}
    enters = {(row["vat"], row["from"]) for row in plan["placements"]}
    found = []
    for row in plan["placements"]:
        before = landings.get(row["until"], "") if (row["vat"], row["until"]) in enters else ""
        bar = page.PlanBar(
            row["batch"], int(row["count"]), _offset(row["from"], day0), _offset(row["until"], day0), "arriving",
            *_full(house, row), row["stage"], leaves=(row["batch"], row["until"]) in starts, out_before=before,
        )  # fmt: skip
        found.append((row["vat"], bar))
    return found


def _standing(house: House, plan: Mapping[str, Any], day0: date, days: int) -> list[tuple[str, PlanBar]]:
    """Vat and bar of the stock that the plan does not place: where it is, where a move leads, and the place kept for it next."""
    import forms as page

    coming = {row["batch"] for row in plan["placements"]}
    stays = {(s.batch, s.vat): s for s in house.floor().stays if s.batch not in coming and s.vat in house.site.vats}
    left = {key: stay.count for key, stay in stays.items()}
    landings = _landings(house, plan)
    found = []

    free = freedoms(house, ahead=False)
    cleared, kept = to_clear(house), [one for one in commitments(house, free) if one.batch not in coming]
    going = {one.batch for one in kept} | {move["batch"] for move in plan["moves"]} | {batch for batch, _ in cleared}

    def add(
        batch: str, vat: str, count: int, span: tuple[float, float], before: str = "", *, last: bool = False
    ) -> None:
        if count > 0:
            full = _full(house, {"batch": batch, "vat": vat, "count": count})
            stage = next((stay.stage for (name, _), stay in stays.items() if name == batch), "")
            leaves = not last and (batch in going or stage == "quarantine")
            bar = page.PlanBar(batch, count, *span, "present", *full, stage, leaves=leaves, out_before=before)
            found.append((vat, bar))

    gone = leaving(house, free)

    def end_of(batch: str, vat: str) -> float:
        return float((gone[batch, vat] - day0).days) if (batch, vat) in gone else float(days)

    for move in plan["moves"]:
        batch, count, day = move["batch"], int(move["count"]), _offset(move["by"], day0)
        # Once the move is done the ledger has them where it led; the picture still shows what was to be done.
        here = move["from_vat"] if left.get((batch, move["from_vat"]), 0) >= count else move["to_vat"]
        left[batch, here] = max(0, left.get((batch, here), 0) - count)
        add(batch, move["from_vat"], count, (0, day), landings.get(move["by"], ""))
        add(batch, move["to_vat"], count, (day, end_of(batch, move["to_vat"])))
    for (batch, vat), count in left.items():
        since = (
            (stays[batch, vat].since.astimezone(house.site.farm.zone).date() - day0).days
            if (batch, vat) in stays
            else 0
        )
        add(batch, vat, count, (max(0, since), end_of(batch, vat)))
    for one in kept:
        span = float((one.start - day0).days), float((one.until - day0).days)
        add(one.batch, one.vat, one.count, span, last=True)
    return found


def _landings(house: House, plan: Mapping[str, Any]) -> dict[str, str]:
    """Day → time of day of the first landing on it, of the shipments planned."""
    batches, zone = house.floor().batches, house.site.farm.zone
    planned = [batches[row["batch"]] for row in plan["placements"] if row["batch"] in batches]
    times = sorted(lands_at(house, batch).astimezone(zone) for batch in planned if batch.shipment)
    return {f"{at:%Y-%m-%d}": f"{at:%H:%M}" for at in reversed(times)}


def _offset(day: str, day0: date) -> float:
    return float((date.fromisoformat(day) - day0).days)


def _full(house: House, row: Mapping[str, Any]) -> tuple[float | None, str]:
    """Share of the vat's bench the batch takes, in percent."""
    batch = house.floor().batches.get(str(row["batch"]))
    if batch is None:
        return None, ""
    one = house.library.group(batch.group).footprint.of(batch.size_mm)
    return 100.0 * one * int(row["count"]) / (house.site.vat(str(row["vat"])).area_m2 * 1e4), "bench"
