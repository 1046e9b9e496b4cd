"""Record what inspections saw and what instruments read."""

from __future__ import annotations

import difflib
from datetime import datetime

from intake.app.act_recording import Recorded, batch_named, judge
from intake.app.commands.records.complete_task import done
from intake.app.session import House
from intake.errors import BadInput, Finding, UnknownName
from intake.farm.floor import Floor
from intake.farm.shown_units import reading_words
from intake.ledger import vat_place
from intake.rules import Measuring, Noticing
from intake.rules.limits import READINGS

__all__ = ["check_reading", "done", "finding", "reading"]


_CLEAN = ("", "clean", "nothing")


def finding(  # the facts of a finding, all named
    house: House,
    batch: str,
    what: str,
    *,
    vat: str = "",
    note: str = "",
    at: datetime | None = None,
    despite: str = "",
    key: str = "",
) -> Recorded:
    """Record what an inspection saw; an empty ``what`` or ``clean`` is a clean inspection.

    Raises
    ------
    UnknownName
        No such batch or vat, or a word so near to a pest's name or to ``clean`` that it must be a typing error.
    RulesBroken
        The batch never stood in that vat.
    """
    lot = batch_named(house.floor(), batch)
    if vat:
        house.site.vat(vat)
    seen = "" if what.strip().lower() in _CLEAN else what.strip()
    known = [*house.library.pests, *house.library.hazards]
    if seen and seen not in known:
        # a finding starts the clock of every lot in the water again, so a typing error must not pass for one
        close = difflib.get_close_matches(seen.lower(), [*_CLEAN, *dict.fromkeys(known)], n=3, cutoff=0.75)
        if close:
            raise UnknownName("WHAT", seen, [word or "clean" for word in close], "pest of the library, or other words")
    with house.act(key) as act:
        judge(house, act, Noticing(at or house.now, lot, vat, seen), despite=despite, key=key)
        keys = [act.note("finding", batch, {"batch": batch, "vat": vat, "what": seen, "note": note}, at=at)]
    said = f"{batch}: {seen} found; quarantine restarts for every lot in that system" if seen else f"{batch}: clean"
    return Recorded((said,), tuple(keys))


def reading(  # the facts of a reading, all named
    house: House,
    place: str,
    quantity: str,
    value: float,
    *,
    scale: str = "",
    at: datetime | None = None,
    despite: str = "",
    key: str = "",
) -> Recorded:
    """Record a measurement in a vat, system, batch or box, in SI or °C; outside its alarm limits it is an alarm at once.

    Raises
    ------
    RulesBroken
        A value that is one of another unit, or so far from the setting or the last reading that it is asked again.
    BadInput
        A pH without its scale, a gravity without its two temperatures, or no such quantity.
    UnknownName
        No such vat, system, batch or box.
    """
    _check_place(house, house.floor(), place)
    if quantity not in READINGS:
        raise UnknownName("quantity", quantity, list(READINGS), "quantity")
    if place in house.site.vats:
        place = vat_place(place)
    with house.act(key) as act:
        judged = judge(house, act, Measuring(at or house.now, place, quantity, value), despite=despite, key=key)
        check_reading(quantity, value, scale)
        keys = [act.note("reading", place, {"quantity": quantity, "value": value, "scale": scale}, at=at)]
        judged.keep(act, at=at)
    said = f"{place.removeprefix('vat:')}: {reading_words(quantity, value)} {scale}".strip()
    return Recorded((said, *judged.said), tuple(keys), judged.told)


def _check_place(house: House, floor: Floor, place: str) -> None:
    name, (shipment, _, box) = place.removeprefix("vat:"), place.partition("/")
    lines = house.lines_of(shipment)
    of_shipment = bool(lines) and (not box or any(box in line.boxes for line in lines))
    if name not in house.site.vats and name not in house.site.systems and name not in floor.batches and not of_shipment:
        boxes = {f"{b.shipment}/{one}" for b in floor.batches.values() for one in b.boxes}
        shipments = {batch.shipment for batch in floor.batches.values() if batch.shipment}
        known = [*house.site.vats, *house.site.systems, *floor.batches, *shipments, *sorted(boxes)]
        close = difflib.get_close_matches(place, known, n=3, cutoff=0.5)
        raise UnknownName("PLACE", place, close, "vat, system, batch, shipment or box such as S1/3")


def check_reading(quantity: str, value: float, scale: str) -> None:
    """Refuse what no instrument shows, and a pH or gravity without its scale.

    Raises
    ------
    BadInput
        Naming the range or the scales.
    """
    low, high = READINGS[quantity]
    if not low <= value <= high:
        raise BadInput(Finding(quantity, f"{value:g}", f"{low:g} to {high:g}", "Check the reading and its unit."))
    scales = {"ph": ("nbs", "total"), "specific_gravity": ("20C/4C", "20C/20C", "25C/25C", "15C/4C", "60F/60F")}
    if quantity in scales and scale not in scales[quantity]:
        raise BadInput(
            Finding(
                "--scale", scale, " or ".join(scales[quantity]), "Add the scale: --scale nbs or --scale total (pH)."
            )
        )
