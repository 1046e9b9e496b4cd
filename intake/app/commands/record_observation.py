"""Record work done, what inspections saw and what instruments read."""

from __future__ import annotations

import difflib
from datetime import datetime

from intake.app.queries.planning.published_timetable import published_tasks
from intake.app.recording import Recorded, batch_named, told_as
from intake.app.session import House
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.farm.floor import Floor
from intake.ledger import standing, vat_place

__all__ = ["done", "finding", "reading"]


def done(house: House, task: str, *, at: datetime | None = None, note: str = "", key: str = "") -> Recorded:
    """Record a task of the timetable as done.

    Raises
    ------
    UnknownName
        No such task.
    Refused
        It was recorded before.
    """
    tasks = {str(row["uid"]): row for row in published_tasks(house)}
    if task not in tasks:
        raise UnknownName("task", task, difflib.get_close_matches(task, tasks, n=3, cutoff=0.3), "task")
    row = tasks[task]
    if told_as(house, key, "done", task):
        return Recorded((f"Done before, under this key: {row['title']}",), (key,))
    payload = {"batch": row["batch"], "kind": row["kind"], "vat": row["vat"], "note": note}
    with house.act(key) as act:
        if standing(act.entries("done", task)):
            raise Refused(Finding("task", task, "a task not yet recorded as done", "It was recorded before."))
        keys = [act.note("done", task, payload, at=at or house.now)]
    return Recorded((f"Done: {row['title']} ({row['batch'] or row['vat']})",), tuple(keys))


_CLEAN = ("", "clean", "nothing")


def finding(  # the facts of a finding, all named
    house: House,
    batch: str,
    what: str,
    *,
    vat: str = "",
    note: str = "",
    at: datetime | None = None,
    key: str = "",
) -> Recorded:
    """Record what an inspection saw; an empty ``what`` or ``clean`` is a clean inspection.

    Raises
    ------
    UnknownName
        No such batch or vat, or a word so near to a pest's name or to ``clean`` that it must be a slip.
    """
    batch_named(house.floor(), batch)
    if vat:
        house.site.vat(vat)
    seen = "" if what.strip().lower() in _CLEAN else what.strip()
    if seen and seen not in house.library.pests:
        # a finding starts the clock of every lot in the water again, so a slip of the pen must not pass for one
        close = difflib.get_close_matches(seen.lower(), [*_CLEAN, *house.library.pests], n=3, cutoff=0.75)
        if close:
            raise UnknownName("WHAT", seen, [word or "clean" for word in close], "pest of the library, or other words")
    with house.act(key) as act:
        keys = [act.note("finding", batch, {"batch": batch, "vat": vat, "what": seen, "note": note}, at=at)]
    said = f"{batch}: {seen} found; quarantine restarts for every lot in that system" if seen else f"{batch}: clean"
    return Recorded((said,), tuple(keys))


def reading(  # the facts of a reading, all named
    house: House, place: str, quantity: str, value: float, *, scale: str = "", at: datetime | None = None, key: str = ""
) -> Recorded:
    """Record a measurement in a vat, system, batch or box, in SI or °C.

    Raises
    ------
    BadInput
        A pH without its scale, a gravity without its two temperatures, or no such quantity.
    UnknownName
        No such vat, system, batch or box.
    """
    _check_reading(quantity, value, scale)
    _check_place(house, house.floor(), place)
    if place in house.site.vats:
        place = vat_place(place)
    with house.act(key) as act:
        keys = [act.note("reading", place, {"quantity": quantity, "value": value, "scale": scale}, at=at)]
    return Recorded((f"{place.removeprefix('vat:')}: {quantity} {value:g} {scale}".strip(),), tuple(keys))


_READINGS: dict[str, tuple[float, float]] = {
    "temperature_c": (-2.0, 45.0),
    "salinity_psu": (0.0, 60.0),
    "ph": (4.0, 11.0),
    "tan_n_mg_per_l": (0.0, 100.0),
    "oxygen_mg_per_l": (0.0, 60.0),
    "specific_gravity": (0.98, 1.06),
    "alkalinity_meq_per_l": (0.0, 12.0),
    "light_umol": (0.0, 3000.0),
    "damp": (0.0, 1.0),
    "bag_water_l": (0.0, 200.0),
    "hours_in_bag": (0.0, 240.0),
}


def _check_place(house: House, floor: Floor, place: str) -> None:
    boxes = {f"{b.shipment}/{box}" for b in floor.batches.values() for box in b.boxes}
    shipments = {batch.shipment for batch in floor.batches.values() if batch.shipment}
    known = [*house.site.vats, *house.site.systems, *floor.batches, *shipments, *sorted(boxes)]
    if place.removeprefix("vat:") not in known:
        close = difflib.get_close_matches(place, known, n=3, cutoff=0.5)
        raise UnknownName("PLACE", place, close, "vat, system, batch, shipment or box such as S1/3")


def _check_reading(quantity: str, value: float, scale: str) -> None:
    if quantity not in _READINGS:
        raise UnknownName("quantity", quantity, list(_READINGS), "quantity")
    low, high = _READINGS[quantity]
    if not low <= value <= high:
        raise BadInput(Finding(quantity, f"{value:g}", f"{low:g} to {high:g}", "Check the reading and its unit."))
    scales = {"ph": ("nbs", "total"), "specific_gravity": ("20C/4C", "20C/20C", "25C/25C", "15C/4C", "60F/60F")}
    if quantity in scales and scale not in scales[quantity]:
        raise BadInput(
            Finding(
                "--scale", scale, " or ".join(scales[quantity]), "Add the scale: --scale nbs or --scale total (pH)."
            )
        )
