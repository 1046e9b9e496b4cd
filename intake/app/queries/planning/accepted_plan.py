"""What accepted plans say: their placements, and the plan accepted last."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from intake.app.queries.planning.announced_shipments import shipment_facts
from intake.app.session import House
from intake.plan.model.pins import Pins
from intake.plan.problem import Problem
from intake.plan.solution import Placement

__all__ = ["accepted", "accepted_rows", "kept_pins", "last_accepted", "promised"]


def promised(house: House, problem: Problem) -> tuple[Placement, ...]:
    """Where accepted plans have the batches of a question: what to keep to when planning again."""
    coming = {batch.id for batch in problem.batches}
    return tuple(
        Placement(str(row["batch"]), str(row["vat"]), str(row["stage"]), int(row["count"]), 0, 0)
        for row in accepted_rows(house)
        if row["batch"] in coming
    )


def accepted_rows(house: House) -> list[Mapping[str, Any]]:
    """Placements of accepted plans, each with its plan's id, the newest plan's word counting for each batch.

    Batches of shipments that were canceled have none.
    """
    rows: dict[str, list[Mapping[str, Any]]] = {}
    for record in house.standing("plan"):
        if record.payload.get("state") == "accepted":
            plan: Any = record.payload["plan"]
            by_batch: dict[str, list[Mapping[str, Any]]] = {}
            for row in plan["placements"]:
                by_batch.setdefault(str(row["batch"]), []).append({**row, "plan": record.subject})
            rows.update(by_batch)
    cancelled = {shipment for shipment, facts in shipment_facts(house).items() if facts.get("cancelled")}
    known = house.floor().batches if cancelled else {}
    gone = {batch for batch in rows if batch in known and known[batch].shipment in cancelled} if cancelled else set()
    return [row for batch, some in rows.items() if batch not in gone for row in some]


def accepted(house: House) -> Mapping[str, Any] | None:
    """The plan accepted last, as it was stored; ``None`` before the first."""
    plans = [r for r in house.latest("plan").values() if r.payload.get("state") == "accepted"]
    return plans[-1].payload if plans else None


def last_accepted(house: House) -> date | None:
    """Farm day on which a plan was last accepted."""
    days = [record.happened_at for record in house.standing("plan") if record.payload.get("state") == "accepted"]
    return max(days).astimezone(house.site.farm.zone).date() if days else None


def kept_pins(house: House, problem: Problem) -> Pins:
    """What a person decided and accepted last, as far as its batches are still to come and its vats are there."""
    plan = accepted(house)
    facts: Any = plan.get("facts") if plan else None
    pins = Pins.of((facts or {}).get("pins") or {})
    batches, vats = {one.id for one in problem.batches}, {one.id for one in problem.vats}
    systems = {one.id for one in problem.systems}

    def there(told: Mapping[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
        found = {name: tuple(vat for vat in some if vat in vats) for name, some in told.items() if name in batches}
        return {name: some for name, some in found.items() if some}

    return Pins(
        there(pins.pin),
        there(pins.keep_out),
        tuple(vat for vat in pins.free if vat in vats),
        {system: share for system, share in pins.ceiling.items() if system in systems},
    )
