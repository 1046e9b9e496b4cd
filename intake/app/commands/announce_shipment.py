"""Announce a shipment from its packing list, and change its landing or its numbers before it lands."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from intake.app.act_recording import judge
from intake.app.landing.kept_day import move_day, moved_words
from intake.app.output_files import save
from intake.app.queries.planning.announced_shipments import shipment_facts
from intake.app.queries.planning.packing_list import answers_of, packing_list_bytes
from intake.app.session import Act, House
from intake.errors import BadInput, Finding, Refused, UnknownName
from intake.farm.floor import Batch
from intake.ledger import Record, batch_payload
from intake.packing import Understanding, is_lasting
from intake.rules import Amending

__all__ = ["amend", "cancel", "enter", "entered_as", "remember_reading"]


def amend(
    house: House,
    shipment: str,
    *,
    lands: datetime | None = None,
    announced: Mapping[str, int] | None = None,
    despite: str = "",
    key: str = "",
) -> list[str]:
    """Change what was ordered: another landing, or fewer animals of a line.

    Bags that are still to be packed are taken to be packed as much later or earlier as the shipment lands.

    Raises
    ------
    UnknownName
        No such shipment or batch.
    Refused
        The shipment was received (differences are counts now) or canceled.
    """
    facts = shipment_facts(house)
    if shipment not in facts:
        raise UnknownName("shipment", shipment, sorted(facts), "shipment")
    _still_to_come(house, shipment, "Use `vatside count`.")
    said = []
    lines: dict[str, Batch] = {}
    if lands is not None:
        said.append(f"{shipment} lands {lands.astimezone(house.site.farm.zone):%Y-%m-%d %H:%M}")
        later = lands - datetime.fromisoformat(str(facts[shipment]["lands"]))
        lines = _packed_later(house, shipment, later)
        if lines:
            said.append("its bags are not packed yet: their packing moves with it")
    for name, number in (announced or {}).items():
        batch = _line_of(house, shipment, name)
        if number < 0:
            raise BadInput(Finding(name, str(number), "0 or more animals"))
        said.append(f"{name}: {number} announced, was {batch.announced}")
        lines[name] = replace(lines.get(name, batch), announced=number)
    with house.act(key) as act:
        judged = judge(
            house, act, Amending(house.now, shipment, lands, dict(announced or {})), despite=despite, key=key
        )
        if lands is not None:
            act.note("shipment", shipment, {**facts[shipment], "lands": lands.isoformat()})
        for name, batch in lines.items():
            act.note("batch", name, batch_payload(batch))
        judged.keep(act)
        said += moved_words(move_day(act, shipment))
    return [*said, *judged.said]


def _still_to_come(house: House, shipment: str, instead: str) -> None:
    if shipment in house.floor().received:
        raise Refused(Finding(f"shipment {shipment}", "received", "a shipment still to come", instead))
    if shipment_facts(house)[shipment].get("cancelled"):
        raise Refused(
            Finding(
                f"shipment {shipment}", "cancelled", "a shipment still to come", "Read its list with `vatside expect`."
            )
        )


def cancel(house: House, shipment: str, reason: str, *, key: str = "") -> list[str]:
    """Record that a shipment will never come: it is kept on record and gone from plan, timetable, calendars and permits.

    Raises
    ------
    UnknownName
        No such shipment.
    BadInput
        No reason.
    Refused
        It was received, or canceled before.
    """
    facts = shipment_facts(house)
    if shipment not in facts:
        raise UnknownName("shipment", shipment, sorted(facts), "shipment")
    if key and house.told_before(key) is not None:
        return [f"{shipment}: canceled before, with this key"]
    if not reason.strip():
        raise BadInput(Finding("--reason", "", "the reason in words", "The supplier's answer will be looked for."))
    _still_to_come(house, shipment, "Record what is wrong with it: `vatside count`, `vatside claim`.")
    lines = list(house.lines_of(shipment))
    with house.act(key) as act:
        act.note("shipment", shipment, {**facts[shipment], "cancelled": reason.strip()})
    animals = sum(one.announced for one in lines)
    return [f"{shipment} canceled: {animals:,} animals in {len(lines)} lines are no longer expected"]


def _packed_later(house: House, shipment: str, later: timedelta) -> dict[str, Batch]:
    """Lines whose bags are to be packed in the future, packed as much later as stated."""
    lines = list(house.lines_of(shipment))
    waiting_lines = [(batch, batch.packed_at) for batch in lines if batch.packed_at and batch.packed_at > house.now]
    return {batch.id: replace(batch, packed_at=packed + later) for batch, packed in waiting_lines if later}


def _line_of(house: House, shipment: str, batch: str) -> Batch:
    lines = {line.id: line for line in house.lines_of(shipment)}
    if batch not in lines:
        raise UnknownName("batch", batch, sorted(lines), "batch")
    return lines[batch]


def enter(
    house: House,
    found: Understanding,
    lands: datetime,
    *,
    answers: Mapping[str, str] | None = None,
    source: Path | None = None,
    key: str = "",
) -> tuple[Batch, ...]:
    """Enter an understood list: the shipment, a batch for each line, and what was learnt about the supplier's lists.

    Raises
    ------
    BadInput
        A question is open or a problem is left.
    """
    batches = found.batches(found.shipment)
    facts = {
        "supplier": found.supplier,
        "lands": lands.isoformat(),
        "file": found.file,
        "sha256": found.sha256,
        "lines": [json.loads(json.dumps(line.as_dict(), default=str)) for line in found.lines],
    }
    with house.act(key) as act:
        # asked again under the lock: someone else may have entered a list in the meantime
        taken = act.last("shipment", found.shipment)
        if taken is not None and not (key and taken.key == key):
            raise Refused(Finding("shipment", found.shipment, "an id not used yet", "Run it again."))
        act.note("shipment", found.shipment, facts)
        for batch in batches:
            act.note("batch", batch.id, batch_payload(batch))
        remember_reading(act, house, found, answers or {})
        if source is not None:
            # inside the act: a list that cannot be kept is not entered
            save(house.folder / "inbox" / f"{found.shipment}-{source.name}", packing_list_bytes(source), own=True)
    return batches


def remember_reading(act: Act, house: House, found: Understanding, answers: Mapping[str, str]) -> None:
    """Keep, inside an act, how a supplier's list was read and the answers that hold for all of them.

    A list without headings says nothing of the columns of the next one: the map kept before stays.
    """
    if found.map.headed:
        act.note("columns", found.supplier, {"map": found.map.model_dump(mode="json")})
    lasting = {**answers_of(house, found.supplier), **{k: v for k, v in answers.items() if is_lasting(k)}}
    if lasting:
        act.note("names", found.supplier, {"answers": lasting})


def entered_as(house: House, key: str) -> str:
    """Shipment that was entered with this key before; empty for a new key or none."""
    entry = house.told_before(key)
    return entry.subject if isinstance(entry, Record) and entry.kind == "shipment" else ""
