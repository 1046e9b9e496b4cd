"""The landing day as kept, read as fixed work: its tasks, its last placings, and whose hands and which places it takes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from math import isfinite
from typing import Any

from intake.app.queries.planning.announced_shipments import live_shipments
from intake.app.session import House
from intake.farm.floor import Batch, Stay
from intake.library.treatments import MECHANICAL
from intake.quarantine import Need
from intake.quarantine.daily.settling import settling_for

__all__ = [
    "after_landing",
    "day_subject",
    "hands_taken",
    "kept_days",
    "landing_binds",
    "landing_tasks",
    "last_placings",
    "placed_at",
    "settling_needs",
]

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


def _second(house: House, step: Mapping[str, Any]) -> list[str]:
    people = house.site.people
    names = dict.fromkeys(str(one[0]) for one in step.get("company") or ())
    return [people[name].name or name for name in names if name in people]  # a stand-in is reported as what binds


def landing_binds(house: House) -> list[str]:
    """What holds openings of shipments to come, where a second person lacks, as sentences; the same words once."""
    received = house.floor().received
    held: dict[str, list[str]] = {}
    for step in _steps(house):
        if step.get("binds") and step["shipment"] not in received:
            held.setdefault(str(step["binds"]), []).append(str(step["box"]))
    return [f"{_and_more(boxes)} {words}. This is what binds." for words, boxes in held.items()]


def _and_more(boxes: Sequence[str]) -> str:
    rest = len(boxes) - 3
    return "Opening of " + ", ".join(boxes[:3]) + (f" and {rest} more" if rest > 0 else "")


def _task(house: House, step: Mapping[str, Any]) -> dict[str, Any]:
    batches = [str(batch) for batch, _ in step["batches"]]
    box, part = str(step["box"]).rpartition("/")[2], str(step["uid"]).rpartition("/")[2]
    vats = [str(vat) for vat in step.get("vats") or ()]
    where = f"; into {', '.join(vats)}" if vats else ""
    late = f"; {step['overtime_minutes']} min past the end of the day" if step["overtime_minutes"] else ""
    binds = f"; {step['binds']}" if step.get("binds") else ""
    second = "".join(f"; second person: {name}" for name in _second(house, step))
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
        "why": f"landing day of {step['shipment']}, {step['hours_in_bag']:.1f} h in the bag{places}{where}{second}{late}{binds}",
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
        for person, since, to in step.get("company") or ():
            span = datetime.fromisoformat(str(since)), datetime.fromisoformat(str(to))
            taken.setdefault(str(person), []).append(span)
        for lane in step["lanes"]:
            taken.setdefault(str(lane), []).append((start, datetime.fromisoformat(step["ends"])))
    return {name: sorted(rows) for name, rows in sorted(taken.items())}


SETTLING_DAYS = 30


def after_landing(house: House, needs: Iterable[Need]) -> tuple[Need, ...]:
    """Needs beside the landing day: what it does itself left out, everything else of a batch after its last placing.

    No bath is placed while animals of the lot are marked weak.
    """
    last, weak = last_placings(house), _weak(house)
    rows = [
        need if need.batch not in last else _not_before(house, need, last)
        for need in needs
        if need.batch not in last or need.kind not in _BEFORE_THE_DAY
    ]
    return tuple(_while_weak(house, need, weak) if need.kind == "dip" else need for need in rows)


def _not_before(house: House, need: Need, last: Mapping[str, datetime]) -> Need:
    """A need that begins after the last placing; what followed the acclimation follows the landing day now.

    The rest before a first bath or brushing counts from the last placing, not from the landing.
    """
    placed = last[need.batch]
    if need.kind in {"dip", "inspection"} and need.opens:
        group = house.floor().batches[need.batch].group
        found = house.library.after_arrival.rest_hours(group, house.library.agents(need.dip))
        if found is not None and isfinite(found[0]):
            placed += timedelta(hours=found[0])
    if need.after.rpartition("/")[2] in _BEFORE_THE_DAY and need.after.partition("/")[0] in last:
        need = replace(need, after="", lag_min_days=0.0, lag_max_days=None)
    return _later(need, placed)


def _later(need: Need, at: datetime) -> Need:
    """A need that begins at a moment at the earliest."""
    if need.earliest >= at:
        return need
    return replace(need, earliest=at, nominal=max(need.nominal, at), latest=max(need.latest, at))


def _weak(house: House) -> dict[str, tuple[float, datetime]]:
    """Batch → animals marked weak by its last such count, and when; only lots with some."""
    found: dict[str, tuple[float, datetime]] = {}
    for one in sorted(house.floor().readings, key=lambda one: one.at):
        if one.quantity.startswith("weak "):
            found[one.quantity.removeprefix("weak ")] = (one.value, one.at)
    return {batch: pair for batch, pair in found.items() if pair[0] > 0}


def _while_weak(house: House, need: Need, weak: Mapping[str, tuple[float, datetime]]) -> Need:
    """No bath for a lot with weak animals: it waits a day, until a count says that none are weak."""
    if need.batch not in weak or set(house.library.agents(need.dip, need.agent)) <= MECHANICAL:
        return need
    number, at = weak[need.batch]
    why = f"{need.why}; {number:.0f} marked weak on {at.astimezone(house.site.farm.zone):%d %b}: none until a count says 0 weak"
    return replace(_later(need, house.now + timedelta(days=1)), why=why)


def _placed(house: House) -> dict[str, datetime]:
    """Batch → when its last animals were or will be placed, for lots that landed in the last weeks."""
    since = house.now - timedelta(days=SETTLING_DAYS)
    batches, found = house.floor().batches, dict(last_placings(house))
    for stay in house.floor().stays:
        batch = batches.get(stay.batch)
        if batch is not None and batch.shipment and stay.batch not in found:
            found[stay.batch] = stay.since
    return {batch: at for batch, at in found.items() if at >= since}


def placed_at(house: House, batch: Batch) -> datetime | None:
    """When the last animals of a lot were or will be placed; ``None`` before a plan of its landing, or long after."""
    return _placed(house).get(batch.id)


def settling_needs(house: House, stays: Sequence[Stay]) -> tuple[Need, ...]:
    """Light in steps, first food and clams' feet of the lots that landed in the last weeks, as work on days."""
    return settling_for(
        stays,
        house.floor(),
        house.library,
        house.site,
        placed=_placed(house),
        first=house.now,
        until=house.now + timedelta(days=SETTLING_DAYS),
    )
