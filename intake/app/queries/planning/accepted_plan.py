"""What accepted plans promise: rows, commitments and leave dates."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from intake.app.session import House
from intake.farm.floor import Floor
from intake.ledger import latest, standing
from intake.plan.framing import Commitment
from intake.plan.problem import Problem
from intake.plan.solution import Placement

__all__ = ["accepted", "promised"]


def promised(house: House, problem: Problem) -> tuple[Placement, ...]:
    """Where accepted plans have the batches of a question: what to keep to when planning again."""
    coming = {batch.id for batch in problem.batches}
    return tuple(
        Placement(str(row["batch"]), str(row["vat"]), str(row["stage"]), int(row["count"]), 0, 0)
        for row in accepted_rows(house)
        if row["batch"] in coming
    )


def standing_facts(house: House) -> dict[str, Any]:
    """What the plan must know of present stock: promises of accepted plans, leave dates, and what may be moved."""
    floor = house.floor()
    leave, movable = _standing(house, floor)
    return {"commitments": _commitments(house, floor), "leave": leave, "movable": movable}


def _standing(house: House, floor: Floor) -> tuple[dict[str, date], set[str]]:
    """When present batches will be gone, and which of them the plan may move."""
    leave: dict[str, date] = {}
    movable: set[str] = set()
    for batch, record in latest(house.entries(), "standing").items():
        if record.payload.get("leaves"):
            leave[batch] = date.fromisoformat(str(record.payload["leaves"]))
        if record.payload.get("movable"):
            movable.add(batch)
    for row in accepted_rows(house):
        if row["stage"] == "quarantine" and row["batch"] in floor.batches:
            leave.setdefault(str(row["batch"]), date.fromisoformat(str(row["until"])))
    return leave, movable


def _commitments(house: House, floor: Floor) -> tuple[Commitment, ...]:
    """Later stages of received batches, as their accepted plan promised them, for the animals still alive."""
    rows = []
    for row in accepted_rows(house):
        batch = floor.batches.get(str(row["batch"]))
        if batch is None or batch.shipment not in floor.received:
            continue
        start, until = date.fromisoformat(str(row["from"])), date.fromisoformat(str(row["until"]))
        if start > house.today:
            count = min(int(row["count"]), floor.headcount(batch.id))
            rows.append(Commitment(batch.id, str(row["vat"]), str(row["stage"]), count, start, until))
    return tuple(row for row in rows if row.count > 0)


def accepted_rows(house: House) -> list[Mapping[str, Any]]:
    """Placements of accepted plans, the newest plan's word counting for each batch."""
    rows: dict[str, list[Mapping[str, Any]]] = {}
    for record in standing(house.entries(), "plan"):
        if record.payload.get("state") == "accepted":
            plan: Any = record.payload["plan"]
            by_batch: dict[str, list[Mapping[str, Any]]] = {}
            for row in plan["placements"]:
                by_batch.setdefault(str(row["batch"]), []).append(row)
            rows.update(by_batch)
    return [row for some in rows.values() for row in some]


def accepted(house: House) -> Mapping[str, Any] | None:
    """The plan accepted last, as it was stored; ``None`` before the first."""
    plans = [r for r in latest(house.entries(), "plan").values() if r.payload.get("state") == "accepted"]
    return plans[-1].payload if plans else None
