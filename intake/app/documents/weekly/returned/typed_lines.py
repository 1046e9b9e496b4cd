"""The fields of one batch's intake sheet, read into lines that a command can record; every fault by its field."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime, time

from intake.app.commands.count_animals import Count
from intake.app.documents.weekly.returned.typed_places import placed_lines
from intake.app.documents.weekly.returned.typed_sheet import LOST, Line, TypedSheet
from intake.errors import BadInput, Finding
from intake.farm.local_time import on_farm_clock
from intake.ledger import Movement, Record
from intake.water.ammonia import nh3_mg_per_l

__all__ = ["lines_of"]

_CLOCK = re.compile(r"(\d{1,2})[:.h]?(\d{2})")
_READ = {"temperature": "temperature_c", "salinity": "salinity_psu", "ph": "ph"}


def lines_of(sheet: TypedSheet) -> list[Line]:
    """Lines of a batch's sheet; faults are noted in it."""
    boxes = sheet.batch.boxes or ("1",)
    _unknown_boxes(sheet, boxes)
    readings: list[Line] = []
    opened: dict[str, dict[str, int]] = {}
    moments: dict[str, datetime | None] = {}
    for row in boxes:
        row_at = _opened(sheet, row)
        moments[row] = row_at
        opened[row] = {head: n for head in LOST if (n := sheet.whole(f"open.{row}.{head}")) is not None}
        readings += _readings(sheet, row, row_at)
    readings += _ammonia(sheet, boxes)
    told = {row: tally for row, tally in opened.items() if any(tally.values())}
    totals = _totals(sheet, opened)
    counts = [_count(sheet, row, tally, moments[row]) for row, tally in told.items()]
    if not any(opened.values()) and any(totals.values()):
        counts.append(_count(sheet, "", totals, None))
    placed = _cards(sheet)
    if sheet.faults or not (counts or placed or readings):
        return []
    return [*placed_lines(sheet, counts, placed), *readings]


def _unknown_boxes(sheet: TypedSheet, boxes: tuple[str, ...]) -> None:
    """Rows of boxes that the packing list does not have."""
    known = tuple(sheet.name(f"open.{box}.") for box in boxes)
    for name in sheet.typed:
        if name.startswith(sheet.name("open.")) and not name.startswith(known):
            expected = f"a box of {sheet.batch.id}: {', '.join(boxes)}"
            sheet.faults.append(Finding(name, sheet.typed[name], expected))


def _opened(sheet: TypedSheet, row: str) -> datetime | None:
    """When a box was opened, on the day the shipment was received."""
    told = f"open.{row}.opened"
    text = sheet.text(told)
    received = sheet.house.floor_of(sheet.batch.id).received.get(sheet.batch.shipment)
    if not text or received is None:
        return None
    found = _CLOCK.fullmatch(text)
    if found is None or int(found[1]) > 23 or int(found[2]) > 59:
        sheet.fault(told, "a time of day, such as 09:40")
        return None
    zone = sheet.house.site.farm.zone
    landed = received.astimezone(zone)
    try:
        at = on_farm_clock(datetime.combine(landed.date(), time(int(found[1]), int(found[2]))), zone, told)
    except BadInput:
        sheet.fault(told, "a time of that day, which the clock showed once")
        return None
    if not received.replace(second=0, microsecond=0) <= at <= sheet.house.now:
        sheet.fault(told, f"a time from {landed:%H:%M}, when {sheet.batch.shipment} was received, until now")
        return None
    return max(at, received)


def _box(sheet: TypedSheet, row: str) -> str:
    """Box of a row: as the list names it, as typed where the list has none, empty where no one said."""
    return row if sheet.batch.boxes else sheet.text(f"open.{row}.box")


def _readings(sheet: TypedSheet, row: str, at: datetime | None) -> list[Line]:
    scale = sheet.text(f"open.{row}.scale").lower()
    place = f"{sheet.batch.shipment}/{_box(sheet, row)}" if sheet.batch.boxes else sheet.batch.id
    found = []
    for name, quantity in _READ.items():
        told = f"open.{row}.{name}"
        value = _value(sheet, told, name)
        if value is None:
            continue
        if name == "ph" and not scale:
            sheet.fault(told, "a pH with its scale", "Choose NBS or total beside it.")
            continue
        found += _reading(sheet, told, place, quantity, value, scale if name == "ph" else "", at)
    return found


def _value(sheet: TypedSheet, told: str, name: str) -> float | None:
    """A reading as typed, in the unit printed beside it or in the one it names."""
    text = sheet.text(told).replace(",", ".")
    if not text:
        return None
    try:
        return sheet.house.site.farm.measures.read(name, text).value
    except BadInput as error:
        sheet.fault(told, error.findings[0].expected)
        return None


def _reading(
    sheet: TypedSheet, told: str, place: str, quantity: str, value: float, scale: str, at: datetime | None
) -> list[Line]:
    key, entries = sheet.key(told)
    before = [one for one in entries if isinstance(one, Record) and one.kind == "reading"]
    if before and (before[0].payload.get("value"), before[0].payload.get("scale")) != (value, scale):
        sheet.clash(told, f"{before[0].payload.get('value')} {before[0].payload.get('scale')}".strip(), key)
        return []
    return [
        Line(sheet.name(told), "reading", sheet.batch.id, place, key, quantity=quantity, value=value, scale=scale,
             at=at, before=bool(before))
    ]  # fmt: skip


def _ammonia(sheet: TypedSheet, boxes: tuple[str, ...]) -> list[Line]:
    value, form, box = sheet.number("ammonia.read"), sheet.text("ammonia.form"), sheet.text("ammonia.box")
    if value is None:
        return []
    if not form:
        sheet.fault("ammonia.read", "ammonia with what it is given as", "Choose N or NH₃ beside it.")
        return []
    box = box or (boxes[0] if len(boxes) == 1 else "")
    if sheet.batch.boxes and box not in boxes:
        sheet.fault("ammonia.box", f"a box of {sheet.batch.id}: {', '.join(boxes)}")
        return []
    place = f"{sheet.batch.shipment}/{box}" if sheet.batch.boxes else sheet.batch.id
    nitrogen = value if form == "N" else round(value / nh3_mg_per_l(1.0), 4)
    return _reading(sheet, "ammonia.read", place, "tan_n_mg_per_l", nitrogen, "", None)


def _totals(sheet: TypedSheet, opened: Mapping[str, Mapping[str, int]]) -> dict[str, int]:
    """Totals as typed; they must be those of the boxes, and of the balance."""
    found: dict[str, int] = {}
    for head, balance in (("doa", "DOA"), ("missing", "missing"), ("wrong", "wrong")):
        in_boxes = [tally[head] for tally in opened.values() if head in tally]
        for told in (f"total.{head}", f"balance.{balance}"):
            value = sheet.whole(told)
            if value is None:
                continue
            expected = sum(in_boxes) if any(opened.values()) else found.get(head, value)
            if value != expected:
                sheet.fault(told, f"{expected}, as the other fields say", "Count again and correct the sheet.")
            found[head] = value
    return found


def _count(sheet: TypedSheet, row: str, tally: Mapping[str, int], at: datetime | None) -> Line:
    """Animals of one box counted out, at a place not known yet."""
    told = f"open.{row}" if row else "total"
    key, entries = sheet.key(told)
    before = dict.fromkeys(LOST, 0)
    parts = [entries] if entries else []
    while parts and (more := sheet.house.act_of(f"{key}-{len(parts) + 1}")):
        parts.append(more)
    for one in (entry for part in parts for entry in part):
        if isinstance(one, Movement) and one.target in before:
            before[one.target] += one.count
    wanted = {head: tally.get(head, 0) for head in LOST}
    if parts and before != wanted:
        head = next(head for head in LOST if before[head] != wanted[head])
        sheet.clash(f"{told}.{head}", f"{before[head]} {head}", key)
    box = _box(sheet, row) if row else ""
    return Line(sheet.name(told), "count", sheet.batch.id, "", key, Count(**wanted, box=box), at=at, before=bool(parts))


def _cards(sheet: TypedSheet) -> dict[str, int]:
    """Vat → animals counted into it; a second count must be the same."""
    found: dict[str, int] = {}
    for vat in (*sheet.house.site.vats, "vat"):
        told = f"place.{vat}.counted"
        value, second = sheet.whole(told), sheet.whole(f"place.{vat}.second")
        if value is None:
            continue
        if second is not None and second != value:
            sheet.fault(f"place.{vat}.second", f"{value}, the first count", "Count again before it is recorded.")
        found[vat] = value
    placed = sheet.whole("balance.placed")
    if placed is not None and found and placed != sum(found.values()):
        sheet.fault("balance.placed", f"{sum(found.values())}, the sum of the counted cards", "Count again.")
    return found
