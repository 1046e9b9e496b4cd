"""Search over the farm as it is now: batches, vats, systems, species, shipments and tasks by any part of their names."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from intake.app.queries.planning.announced_shipments import shipment_facts
from intake.app.queries.planning.published_timetable import published_tasks
from intake.app.session import House

__all__ = ["Hit", "find_anything"]

_MOST = 40
_KINDS = ("batch", "vat", "system", "shipment", "task")


@dataclass(frozen=True, slots=True)
class Hit:
    """Something found: its kind (batch, vat, system, shipment, task), id, and words beside it."""

    kind: str
    id: str
    words: str


def find_anything(house: House, wanted: str) -> tuple[Hit, ...]:
    """What has every word asked for in its id or words, exact ids first; at most forty."""
    asked = wanted.lower().split()
    if not asked:
        return ()
    whole = wanted.strip().lower()
    found = [hit for hit in _all(house) if all(word in f"{hit.id} {hit.words}".lower() for word in asked)]
    found.sort(
        key=lambda hit: (hit.id.lower() != whole, not hit.id.lower().startswith(whole), _KINDS.index(hit.kind), hit.id)
    )
    return tuple(found[:_MOST])


def _all(house: House) -> Iterator[Hit]:
    floor, site = house.floor(), house.site
    inside: dict[str, list[str]] = {}
    for stay in floor.stays:
        inside.setdefault(stay.batch, []).append(f"{stay.count} in {stay.vat}")
    for batch, places in inside.items():
        yield Hit("batch", batch, f"{floor.batches[batch].name} · {', '.join(places)}")
    for vat in site.vats.values():
        yield Hit("vat", vat.id, f"{vat.name} {site.systems[vat.system].name}".strip())
    for system in site.systems.values():
        yield Hit("system", system.id, system.name)
    for name, facts in shipment_facts(house).items():
        sender = site.suppliers.get(str(facts["supplier"]))
        yield Hit("shipment", name, f"{sender.name if sender else facts['supplier']} {str(facts['lands'])[:10]}")
    for row in published_tasks(house):
        if str(row["start"])[:10] >= house.today.isoformat():
            yield Hit(
                "task",
                str(row["uid"]),
                f"{row['title']} {row['batch'] or ''} {row['vat'] or ''} {str(row['start'])[:10]}",
            )
