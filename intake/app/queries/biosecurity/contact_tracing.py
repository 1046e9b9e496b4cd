"""Contact tracing: who shared water with whom, from the movements on record laid over the systems."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from typing import Any, Literal

from intake.app.act_recording import batch_named
from intake.app.session import House
from intake.errors import BadInput, Finding, UnknownName
from intake.ledger import Record, netted, vat_id
from intake.quarantine.exposure import Cleaned, Contact, Meeting, Presence, Replumbed, meetings, presences_of, trace

__all__ = ["CONTACT_KIND", "contacts", "first_seen", "presences", "replumbings", "shared_water_meetings", "trace_rows"]


Way = Literal["forward", "back"]


def presences(house: House) -> tuple[Presence, ...]:
    """Every stay of every batch in every vat, from the first of its animals in to the last out."""
    held: Counter[tuple[str, str]] = Counter()
    since: dict[tuple[str, str], datetime] = {}
    spans: list[tuple[str, str, datetime, datetime | None]] = []
    for movement in netted(house.moved()):
        for place, number in ((movement.source, -movement.count), (movement.target, movement.count)):
            vat = vat_id(place)
            if vat not in house.site.vats:
                continue
            spot = (movement.batch, vat)
            before = held[spot]
            held[spot] += number
            if before <= 0 < held[spot]:
                since[spot] = movement.happened_at
            elif held[spot] <= 0 < before:
                spans.append((*spot, since.pop(spot), movement.happened_at))
    spans += [(batch, vat, start, None) for (batch, vat), start in since.items()]
    return presences_of(spans, house.site, replumbings(house))


def shared_water_meetings(house: House) -> tuple[tuple[Presence, ...], Sequence[Meeting]]:
    """Every stay, and who met whom in one water."""
    found = presences(house)
    cleaned = [Cleaned(vat_id(r.subject) or r.subject, r.happened_at) for r in house.standing("cleaned")]
    vats = {system: [vat.id for vat in house.site.vats_of(system)] for system in house.site.systems}
    return found, meetings(found, cleaned=cleaned, contacts=contacts(house), until=house.now, vats=vats)


def trace_rows(
    house: House, *, batch: str = "", vat: str = "", system: str = "", since: datetime | None = None
) -> list[dict[str, Any]]:
    """Lots that could have infected, or been infected by, a batch or whatever stood in a vat or system.

    Raises
    ------
    BadInput
        Not exactly one of batch, vat and system.
    UnknownName
        No such batch, vat or system.
    """
    if sum(map(bool, (batch, vat, system))) != 1:
        raise BadInput(Finding("trace", "", "exactly one of --batch, --vat, --system"))
    if vat:
        house.site.vat(vat)
    if system and system not in house.site.systems:
        raise UnknownName("--system", system, sorted(house.site.systems), "system")
    floor = house.floor()
    found, met = shared_water_meetings(house)
    if batch:
        batch_named(floor, batch)
        sources = [batch]
    else:
        sources = list(dict.fromkeys(p.batch for p in found if p.vat == vat or p.system == system))
    rows = []
    for one in sources:
        begins = [p.start for p in found if p.batch == one]
        start = since or min(begins, default=house.now)
        for way in ("forward", "back"):
            rows += [
                _row(house, reached, way, one)
                for reached in trace(one, met, since=start, direction=way, until=house.now)
            ]
    return rows


def _row(house: House, reached: Any, way: Way, source: str) -> dict[str, Any]:
    meeting = reached.meeting
    zone = house.site.farm.zone
    return {
        "of": source,
        "way": way,
        "direction": "may have exposed" if way == "forward" else "may have been exposed by",
        "batch": reached.batch,
        "name": house.floor().batches[reached.batch].name,
        "where": meeting.place,
        "how": meeting.how,
        "steps": reached.steps,
        "through": reached.through,
        "weak": reached.weak,
        "from": f"{meeting.start.astimezone(zone):%Y-%m-%d}",
        "until": f"{meeting.end.astimezone(zone):%Y-%m-%d}",
        "why": meeting.why,
    }


def first_seen(house: House, batch: str, found: Sequence[Presence]) -> datetime:
    """When a batch first stood in a vat, or now if it never did."""
    return min((presence.start for presence in found if presence.batch == batch), default=house.now)


# Both are facts about the farm itself rather than about a batch or a vat's content.
CONTACT_KIND = "farm"


def replumbings(house: House) -> tuple[Replumbed, ...]:
    """Every change of plumbing in the ledger."""
    return tuple(
        Replumbed(_word(one, "vat"), _word(one, "joined"), one.happened_at, _word(one, "left"))
        for one in house.standing(CONTACT_KIND)
        if one.payload.get("what") == "replumbed"
    )


def contacts(house: House) -> tuple[Contact, ...]:
    """Every tool carried wet between vats in the ledger."""
    return tuple(
        Contact(_word(one, "source"), _word(one, "target"), one.happened_at, _word(one, "tool"))
        for one in house.standing(CONTACT_KIND)
        if one.payload.get("what") == "carried"
    )


def _word(record: Record, name: str) -> str:
    return str(record.payload.get(name) or "")
