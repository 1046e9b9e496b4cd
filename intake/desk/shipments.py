"""Packing lists at the desk: read, asked about, remembered by supplier, and entered as a shipment with its batches."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from intake.desk.house import House, save
from intake.desk.plans import shipment_facts, standing_facts
from intake.errors import BadInput, Finding, Refused, StoreTrouble
from intake.farm.floor import Batch
from intake.farm.site import Supplier
from intake.ledger import Record, batch_payload, latest
from intake.library.names import Names, load_names
from intake.packing import ColumnMap, Understanding, is_lasting, read, understand
from intake.plan.framing import Arrival

__all__ = ["capacity_of", "enter", "entered_as", "expect", "mix_of", "shipment_rows"]

_LARGEST_BYTES = 64_000_000


def expect(  # what the command line can say
    house: House,
    file: Path,
    supplier: str,
    lands: datetime,
    *,
    shipment: str = "",
    answers: Mapping[str, str] | None = None,
    forget: bool = False,
) -> Understanding:
    """Read a packing list and say how it was understood; nothing is written.

    Parameters
    ----------
    lands
        When the shipment lands, with a time zone.
    shipment
        Id for it; the next free ``S…`` otherwise.
    answers
        Question key → answer, as typed with ``--answer``; remembered ones are used besides.
    forget
        Propose the columns afresh instead of using the supplier's remembered ones.

    Raises
    ------
    BadInput
        The file cannot be read as a packing list.
    Refused
        The list was entered before, or the id is taken.
    """
    agreed = house.site.supplier(supplier)
    data = _bytes_of(file)
    known = shipment_facts(house)
    identity = shipment or f"S{1 + len(known)}"
    if identity in known:
        raise Refused(Finding("--shipment", identity, "an id not used yet", f"Taken: {', '.join(known)}."))
    remembered = None if forget else _map_of(house, supplier)
    found = understand(
        read(data, file.name),
        supplier=agreed,
        library=house.library,
        names=_names(house),
        remembered=remembered,
        answers={**_answers_of(house, supplier), **(answers or {})},
        lands=lands,
        shipment_id=identity,
    )
    twin = next((name for name, facts in known.items() if facts.get("sha256") == found.sha256), "")
    if twin:
        raise Refused(
            Finding(
                file.name,
                f"entered before as {twin}",
                "a list not seen before",
                f"Use `vatside amend {twin}` if the order changed.",
            )
        )
    return found


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
    lasting = {**_answers_of(house, found.supplier), **{k: v for k, v in (answers or {}).items() if is_lasting(k)}}
    with house.act(key) as act:
        # asked again under the lock: somebody else may have entered a list in the meantime
        taken = latest(act.entries("shipment"), "shipment").get(found.shipment)
        if taken is not None and not (key and taken.key == key):
            raise Refused(Finding("shipment", found.shipment, "an id not used yet", "Run it again."))
        act.note("shipment", found.shipment, facts)
        for batch in batches:
            act.note("batch", batch.id, batch_payload(batch))
        act.note("columns", found.supplier, {"map": found.map.model_dump(mode="json")})
        if lasting:
            act.note("names", found.supplier, {"answers": lasting})
        if source is not None:
            # inside the act: a list that cannot be kept is not entered
            save(house.folder / "inbox" / f"{found.shipment}-{source.name}", _bytes_of(source))
    return batches


def entered_as(house: House, key: str) -> str:
    """Shipment that was entered under this key before; empty for a new key or none."""
    entry = house.told_before(key)
    return entry.subject if isinstance(entry, Record) and entry.kind == "shipment" else ""


def _bytes_of(file: Path) -> bytes:
    try:
        if file.exists() and not file.is_file():
            raise BadInput(Finding(str(file), "no ordinary file", "a packing list: CSV, XLSX or ODS"))
        if file.stat().st_size > _LARGEST_BYTES:
            size = f"{file.stat().st_size / 1e6:.0f} MB"
            raise BadInput(
                Finding(str(file), size, f"at most {_LARGEST_BYTES // 1_000_000} MB", "Send the list alone.")
            )
        return file.read_bytes()
    except FileNotFoundError as error:
        raise BadInput(Finding(str(file), "no such file", "a packing list: CSV, XLSX or ODS")) from error
    except OSError as error:
        raise StoreTrouble(Finding(str(file), error.strerror or str(error), "a readable file")) from error


def _names(house: House) -> Names:
    own = house.folder / "library" / "names.csv"
    return load_names(own.read_bytes() if own.is_file() else None)


def _map_of(house: House, supplier: str) -> ColumnMap | None:
    record = latest(house.entries(), "columns").get(supplier)
    return None if record is None else ColumnMap.model_validate(record.payload["map"])


def _answers_of(house: House, supplier: str) -> dict[str, str]:
    record = latest(house.entries(), "names").get(supplier)
    if record is None:
        return {}
    told: Any = record.payload["answers"]
    return {str(key): str(value) for key, value in told.items()}


def mix_of(house: House, file: Path, lands: datetime | None, supplier: str = "") -> Arrival:
    """A mix as an arrival for a what-if: the same kinds of file as a packing list.

    Parameters
    ----------
    supplier
        Who would send it; left out, a supplier the farm does not know, who shares quarantine water with nobody.

    Raises
    ------
    BadInput
        The mix cannot be understood; every open question is named.
    """
    stranger = Supplier(id="what-if", currency="EUR", time_zone=house.site.farm.time_zone, claim_window_h=1)
    sender = house.site.supplier(supplier) if supplier else stranger
    when = lands or house.now + timedelta(days=7)
    found = understand(
        read(_bytes_of(file), file.name),
        supplier=sender,
        library=house.library,
        names=_names(house),
        remembered=None,
        answers={**(_answers_of(house, supplier) if supplier else {}), "columns": "proposed"},
        lands=when,
        shipment_id="M",
    )
    return Arrival("M", sender.id, when.astimezone(house.site.farm.zone).date(), found.batches("M"))


def capacity_of(  # what the command line can say
    house: House,
    mix: Path,
    first: date | None,
    last: date | None,
    *,
    supplier: str = "",
    every: int = 7,
    seconds: float = 2.0,
    watch: Callable[[date, int], None] | None = None,
) -> list[dict[str, Any]]:
    """Largest part of a mix that fits for each landing day, in animals.

    Raises
    ------
    BadInput
        The days are in the wrong order or the mix cannot be understood.
    """
    from intake.plan.capacity import capacity

    start = first or house.today + timedelta(days=1)
    end = last or start + timedelta(days=28)
    if end < start or every < 1:
        raise BadInput(Finding("--from, --to", f"{start} to {end}", "a first day on or before the last"))
    arrival = mix_of(house, mix, None, supplier)
    announced = sum(batch.announced for batch in arrival.batches)
    rows: list[dict[str, Any]] = []
    for later in range(0, (end - start).days + 1, every):
        lands = start + timedelta(days=later)
        found = capacity(
            house.site, house.library, house.floor(), arrival.batches, [lands], house.today,
            supplier=arrival.supplier, seconds=seconds, **standing_facts(house),
        ).days[0]  # fmt: skip
        rows.append({"day": lands.isoformat(), "fits": found.animals, "announced": announced, "proved": found.proved})
        if watch is not None:
            watch(lands, found.animals)
    return rows


def shipment_rows(house: House) -> list[dict[str, Any]]:
    """Every shipment: from whom, when it lands or landed, how many lines and animals, and where it stands."""
    floor, zone = house.floor(), house.site.farm.zone
    rows = []
    for shipment, facts in shipment_facts(house).items():
        batches = [b for b in floor.batches.values() if b.shipment == shipment]
        received = floor.received.get(shipment)
        rows.append(
            {
                "shipment": shipment,
                "supplier": facts["supplier"],
                "lands": datetime.fromisoformat(str(facts["lands"])).astimezone(zone).isoformat(),
                "received": received.astimezone(zone).isoformat() if received else None,
                "lines": len(batches),
                "announced": sum(b.announced for b in batches),
                "alive": sum(floor.headcount(b.id) for b in batches),
                "file": facts.get("file", ""),
            }
        )
    return rows


def questions_as_answers(found: Understanding) -> Sequence[str]:
    """How to answer each open question on the command line."""
    return [question.how for question in found.questions]
