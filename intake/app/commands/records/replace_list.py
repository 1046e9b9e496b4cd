"""A wrong packing list corrected by its sender: what changed line by line, and the corrected list in its place."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from intake.app.act_recording import judge
from intake.app.commands.announce_shipment import remember_reading
from intake.app.output_files import save
from intake.app.queries.planning.announced_shipments import shipment_facts
from intake.app.queries.planning.packing_list import packing_list_bytes, unknown_replaced
from intake.app.session import House
from intake.errors import Finding, Refused
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from intake.packing import Understanding
from intake.rules import Amending

__all__ = ["difference", "replace_list"]


def difference(house: House, shipment: str, found: Understanding) -> list[str]:
    """What the corrected list changes, a sentence a line; empty when it changes nothing."""
    return [words for _, _, words in _paired(house, shipment, found) if words]


def replace_list(
    house: House,
    shipment: str,
    found: Understanding,
    lands: datetime,
    *,
    answers: Mapping[str, str] | None = None,
    source: Path | None = None,
    despite: str = "",
    key: str = "",
) -> tuple[Batch, ...]:
    """Enter a corrected list for a shipment still to come; a line keeps its batch, one that is gone has none announced.

    Raises
    ------
    UnknownName
        No such shipment.
    Refused
        It was received or canceled, or comes from another supplier.
    """
    facts = shipment_facts(house)
    pairs = _paired(house, shipment, found)
    where = f"shipment {shipment}"
    if shipment in house.floor().received:
        raise Refused(Finding(where, "received", "a shipment still to come", "Record differences: `vatside count`."))
    if facts[shipment].get("cancelled"):
        raise Refused(Finding(where, "canceled", "a shipment still to come", "Read the list without --replaces."))
    if facts[shipment].get("supplier") != found.supplier:
        raise Refused(Finding(where, f"from {facts[shipment].get('supplier')}", f"a shipment of {found.supplier}"))
    batches = tuple(batch for _, batch, _ in pairs)
    counts = {batch.id: batch.announced for old, batch, _ in pairs if old is not None}
    told = {
        **facts[shipment],
        "lands": lands.isoformat(),
        "file": found.file,
        "sha256": found.sha256,
        "replaced": facts[shipment].get("sha256", ""),
        "lines": [json.loads(json.dumps(line.as_dict(), default=str)) for line in found.lines],
    }
    with house.act(key) as act:
        judged = judge(house, act, Amending(house.now, shipment, lands, counts), despite=despite, key=key)
        act.note("shipment", shipment, told)
        for batch in batches:
            act.note("batch", batch.id, batch_payload(batch))
        remember_reading(act, house, found, answers or {})
        if source is not None:
            save(house.folder / "inbox" / f"{shipment}-{source.name}", packing_list_bytes(source), own=True)
        judged.keep(act)
    return batches


def _paired(house: House, shipment: str, found: Understanding) -> list[tuple[Batch | None, Batch, str]]:
    """Each line with the batch it had before, the batch it has now, and what changed in words."""
    facts = shipment_facts(house)
    if shipment not in facts:
        raise unknown_replaced(shipment, facts)
    before = list(house.lines_of(shipment))
    after = list(found.batches(shipment))
    left = list(before)
    pairs: dict[str, Batch] = {}
    for alike in (_same_line, _same_animal):
        for new in after:
            old = next((one for one in left if new.id not in pairs and alike(one, new)), None)
            if old is not None:
                pairs[new.id] = old
                left.remove(old)
    highest = max((one.line for one in before), default=0)
    told: list[tuple[Batch | None, Batch, str]] = []
    for new in after:
        old = pairs.get(new.id)
        if old is None:
            highest += 1
            added = replace(new, id=f"{shipment}-{highest:02d}", line=highest)
            told.append((None, added, f"+ {added.id}: {new.announced:,} × {new.name}, new"))
        else:
            told.append((old, replace(new, id=old.id, line=old.line), _changes(old, new)))
    told += [
        (old, replace(old, announced=0), f"- {old.id}: {old.announced:,} × {old.name}, no longer listed")
        for old in left
        if old.announced
    ]
    return told


def _same_line(one: Batch, other: Batch) -> bool:
    return (one.name, one.size_mm, one.boxes) == (other.name, other.size_mm, other.boxes)


def _same_animal(one: Batch, other: Batch) -> bool:
    return one.name == other.name


def _changes(old: Batch, new: Batch) -> str:
    parts = []
    if old.announced != new.announced:
        parts.append(f"{old.announced:,} → {new.announced:,} animals")
    if old.size_mm != new.size_mm:
        parts.append(f"{old.size_mm:g} mm → {new.size_mm:g} mm")
    if old.boxes != new.boxes:
        parts.append(f"box {', '.join(old.boxes) or 'not stated'} → {', '.join(new.boxes) or 'not stated'}")
    if old.unit_price != new.unit_price:
        was, now = ("none" if price is None else str(price) for price in (old.unit_price, new.unit_price))
        parts.append(f"price {was} → {now} {new.currency or old.currency}".strip())
    for what, before, after in (
        ("permit", old.permit, new.permit),
        ("source", old.source_code, new.source_code),
        ("origin", old.origin, new.origin),
        ("listing", old.listing_text, new.listing_text),
    ):
        if before != after:
            parts.append(f"{what} {before or 'not stated'} → {after or 'not stated'}")
    return f"  {old.id} {new.name}: {', '.join(parts)}" if parts else ""
