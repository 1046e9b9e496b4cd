"""The landing day as kept, read as fixed work: its tasks, its last placings, and whose hands and which places it takes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from intake.app.queries.planning.announced_shipments import live_shipments
from intake.app.session import House
from intake.quarantine import Need

__all__ = ["after_landing", "day_subject", "hands_taken", "kept_days", "landing_tasks", "last_placings"]

_SHOWN_FOR = timedelta(hours=12)
"""A task of a received shipment is shown so long after its end; then counts and readings say what became of it."""
_DAY = "day "
_BEFORE_THE_DAY = frozenset({"receive", "acclimation"})
_TITLES = {"receive": "Open box", "acclimation": "Acclimate box", "placing": "Place box"}
_FOLLOWS = {"tub": "open", "place": "tub"}


def day_subject(shipment: str) -> str:
    """What the kept day of a shipment is called in the ledger."""
    return f"{_DAY}{shipment}"


def kept_days(house: House) -> dict[str, Mapping[str, Any]]:
    """Shipment → its landing day as last kept, where it was made for the landing the shipment is announced for now."""
    facts = live_shipments(house)
    found: dict[str, Mapping[str, Any]] = {}
    for subject, record in house.latest("timetable").items():
        shipment, told = subject.removeprefix(_DAY), record.payload
        if not subject.startswith(_DAY) or shipment not in facts or not told.get("steps"):
            continue
        if str(told.get("announced_for")) == str(facts[shipment]["lands"]):
            found[shipment] = told
    return found


def _steps(house: House) -> Iterable[Mapping[str, Any]]:
    for told in kept_days(house).values():
        steps: Any = told["steps"]
        yield from steps


def landing_tasks(house: House) -> list[dict[str, Any]]:
    """The landing days' work as published tasks, by start; the minutes are those of the run sheet."""
    received, rows = house.floor().received, []
    for step in _steps(house):
        over = datetime.fromisoformat(step["hands_until"]) + _SHOWN_FOR < house.now
        if not (over and step["shipment"] in received):
            rows.append(_task(house, step))
    return sorted(rows, key=lambda row: (row["start"], row["uid"]))


def _task(house: House, step: Mapping[str, Any]) -> dict[str, Any]:
    batches = [str(batch) for batch, _ in step["batches"]]
    box, part = str(step["box"]).rpartition("/")[2], str(step["uid"]).rpartition("/")[2]
    vats = [str(vat) for vat in step.get("vats") or ()]
    where = f"; into {', '.join(vats)}" if vats else ""
    late = f"; {step['overtime_minutes']} min past the end of the day" if step["overtime_minutes"] else ""
    places = f" at {', '.join(step['lanes'])}" if step["lanes"] else ""
    follows = str(step["uid"]).removesuffix(part) + _FOLLOWS[part] if part in _FOLLOWS else ""
    return {
        "uid": step["uid"],
        "kind": step["kind"],
        "batch": batches[0] if batches else "",
        "vat": vats[0] if vats and step["kind"] == "placing" else "",
        "system": house.site.vat(vats[0]).system if vats and step["kind"] == "placing" else "",
        "start": step["start"],
        "end": step["hands_until"],
        "staff": list(step["people"]),
        "station": step["station"],
        "title": f"{_TITLES[step['kind']]} {box}: {', '.join(batches)}",
        "why": f"landing day of {step['shipment']}, {step['hours_in_bag']:.1f} h in the bag{places}{where}{late}",
        "sequence": 0,
        "dip": "",
        "number": 1,
        "of": 1,
        "agent": "",
        "strength": "",
        "contact_min": None,
        "contact_max": None,
        "protection": [],
        "headcount": sum(int(count) for _, count in step["batches"]),
        "evidence": "default",
        "source": "",
        "unsourced": False,
        "after_dark": False,
        "follows": follows,
        "late_minutes": 0,
    }


def last_placings(house: House) -> dict[str, datetime]:
    """Batch → moment its last animals are in their vat by the kept day."""
    found: dict[str, datetime] = {}
    for told in kept_days(house).values():
        last: Any = told.get("last") or {}
        found |= {str(batch): datetime.fromisoformat(at) for batch, at in last.items()}
    return found


def hands_taken(house: House, but: str = "") -> dict[str, list[tuple[datetime, datetime]]]:
    """Person or place → when landing days take it, those of one shipment left out."""
    taken: dict[str, list[tuple[datetime, datetime]]] = {}
    for step in _steps(house):
        if step["shipment"] == but:
            continue
        start, until = datetime.fromisoformat(step["start"]), datetime.fromisoformat(step["hands_until"])
        for person in step["people"]:
            taken.setdefault(str(person), []).append((start, until))
        for lane in step["lanes"]:
            taken.setdefault(str(lane), []).append((start, datetime.fromisoformat(step["ends"])))
    return {name: sorted(rows) for name, rows in sorted(taken.items())}


def after_landing(house: House, needs: Iterable[Need]) -> tuple[Need, ...]:
    """Needs beside the landing day: what it does itself left out, everything else of a batch after its last placing."""
    last = last_placings(house)
    rows = []
    for need in needs:
        placed = last.get(need.batch)
        if placed is None:
            rows.append(need)
        elif need.kind not in _BEFORE_THE_DAY:
            rows.append(_not_before(need, placed, last))
    return tuple(rows)


def _not_before(need: Need, placed: datetime, last: Mapping[str, datetime]) -> Need:
    """A need that begins after the last placing; what followed the acclimation follows the landing day now."""
    if need.after.rpartition("/")[2] in _BEFORE_THE_DAY and need.after.partition("/")[0] in last:
        need = replace(need, after="", lag_min_days=0.0, lag_max_days=None)
    if need.earliest >= placed:
        return need
    return replace(need, earliest=placed, nominal=max(need.nominal, placed), latest=max(need.latest, placed))
