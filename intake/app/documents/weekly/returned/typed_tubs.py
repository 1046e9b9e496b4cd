"""The fields of a returned acclimation checklist: what was read at the tub, at the minute of each step."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

from intake.app.documents.weekly.returned.typed_form import TypedForm
from intake.app.documents.weekly.returned.typed_sheet import Line
from intake.app.queries.planning.announced_shipments import lands_at
from intake.farm.floor import Batch
from intake.ledger import Record

__all__ = ["tub_lines"]

_READ = {"c": ("temperature", "temperature_c"), "psu": ("salinity", "salinity_psu"), "ph": ("ph", "ph")}


def tub_lines(form: TypedForm) -> list[Line]:
    """Lines of every checklist in the file: a reading at the tub for each step with a value."""
    lines: list[Line] = []
    batches = form.house.floor().batches
    for part, told in enumerate(form.origin.about, start=1):
        name, *minutes = told.split(" ")
        form.used.add(f"{part}/emergency")
        if name in batches and all(_number(one) is not None for one in minutes):
            lines += _checklist(form, part, batches[name], [round(float(one)) for one in minutes])
        else:
            form.fault(f"{part}/started", f"a batch of this farm with its steps; {name} is none")
    return lines


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _checklist(form: TypedForm, part: int, batch: Batch, minutes: list[int]) -> list[Line]:
    read: dict[int, tuple[str, dict[str, float]]] = {}
    scale = form.text(f"{part}/ph-scale")
    for step, minute in enumerate(minutes, start=1):
        values = _values(form, part, step, scale)
        if values and minute in read:
            form.fault(f"{part}/c/{step}", f"one reading for minute {minute}")
        if values:
            read[minute] = (f"{part}/c/{step}", values)
    if not read:
        return []
    day = _day(form, batch)
    started, _ = form.clock(f"{part}/started", day, needed=False)
    if started is None:
        form.fault(f"{part}/started", "the time the table began, such as 09:40")
        return []
    found = [_line(form, batch, minute, name, values, scale, started) for minute, (name, values) in read.items()]
    own = {one.key for line in found for one in form.house.act_of(line.key)}
    others = [one for one in form.house.readings_of(batch.id) if "minute" in one.payload and one.key not in own]
    since = form.since(others)
    return [replace(line, since=since) for line in found] if since else found


def _values(form: TypedForm, part: int, step: int, scale: str) -> dict[str, float]:
    """What was read at one step, in SI or °C."""
    found: dict[str, float] = {}
    for short, (kind, quantity) in _READ.items():
        name = f"{part}/{short}/{step}"
        value = form.measured(name, kind)
        if value is None:
            continue
        if quantity == "ph" and not scale:
            form.fault(name, "a pH with its scale", "Choose NBS or total below the table.")
            continue
        found[quantity] = value
    return found


def _day(form: TypedForm, batch: Batch) -> date:
    received = form.house.floor().received.get(batch.shipment)
    return (received or lands_at(form.house, batch)).astimezone(form.house.site.farm.zone).date()


def _line(
    form: TypedForm, batch: Batch, minute: int, name: str, values: dict[str, float], scale: str, started: datetime
) -> Line:
    key, entries = form.key(f"{batch.id}|{minute}")
    was = {str(one.payload.get("read")): one.payload.get("value") for one in entries if isinstance(one, Record)}
    if was and was != values:
        form.clash(name, ", ".join(f"{quantity} {value}" for quantity, value in was.items()), key)
    at = started + timedelta(minutes=minute)
    if at > form.house.now:
        form.fault(name, f"a step that is over; minute {minute} is {at.astimezone(form.house.site.farm.zone):%H:%M}")
    return Line(
        name, "tub", batch.id, batch.id, key, value=float(minute), scale=scale if "ph" in values else "", at=at,
        before=bool(entries), read=values,
    )  # fmt: skip
