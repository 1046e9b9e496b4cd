"""What became of each line of a shipment: as first entered, as listed now, and as it arrived."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from intake.app.queries.planning.announced_shipments import shipment_facts
from intake.app.session import House
from intake.errors import UnknownName
from intake.ledger import Record, balances
from intake.ledger.entries import LOSSES

__all__ = ["ArrivedLine", "arrived_lines"]


@dataclass(frozen=True, slots=True)
class ArrivedLine:
    """One line, in animals.

    Attributes
    ----------
    ordered
        As the shipment was first entered: the order, or the first list; 0 for a line that a corrected list added.
    listed
        As the list stands now, after amendments and corrected lists; 0 for a line that was dropped.
    missing, wrong, doa
        Counted so far; all 0 before the shipment is received.
    arrived
        Animals of this kind that were in the boxes, dead or alive: listed less missing and wrong; ``None`` before.
    alive
        In the vats or on the dock now.
    """

    batch: str
    name: str
    ordered: int
    listed: int
    arrived: int | None
    missing: int
    wrong: int
    doa: int
    alive: int

    def as_dict(self) -> dict[str, Any]:
        """The line as ``--json`` prints it."""
        return asdict(self)


def arrived_lines(house: House, shipment: str) -> tuple[ArrivedLine, ...]:
    """The lines of a shipment in the order they were first entered.

    Raises
    ------
    UnknownName
        No such shipment.
    """
    known = shipment_facts(house)
    if shipment not in known:
        raise UnknownName("shipment", shipment, sorted(known)[:3], "shipment")
    entries = house.shipment_stream(shipment)
    first: dict[str, Record] = {}
    added: set[str] = set()
    entered = 0
    for entry in entries:
        if isinstance(entry, Record) and entry.kind == "shipment":
            entered += 1
        elif isinstance(entry, Record) and entry.kind == "batch":
            if entered > 1 and entry.subject not in first:
                added.add(entry.subject)
            first.setdefault(entry.subject, entry)
    standing = {batch.id: batch for batch in house.lines_of(shipment)}
    stands = balances(entries, house.now)
    landed = shipment in house.floor().received
    rows = []
    for batch, record in first.items():
        listed = standing[batch].announced if batch in standing else 0
        lost = {head: stands.get((batch, head), 0) for head in LOSSES}
        inside = sum(
            n for (one, place), n in stands.items() if one == batch and (place == "dock" or place[:4] == "vat:")
        )
        rows.append(
            ArrivedLine(
                batch=batch,
                name=str(record.payload["name"]),
                ordered=0 if batch in added else int(str(record.payload["announced"])),
                listed=listed,
                arrived=listed - lost["missing"] - lost["wrong"] if landed else None,
                missing=lost["missing"],
                wrong=lost["wrong"],
                doa=lost["doa"],
                alive=inside,
            )
        )
    return tuple(rows)
