"""Contact tracing: who shared water with whom, from the movements on record laid over the systems."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any, Literal

from intake.app.act_recording import batch_named
from intake.app.session import House
from intake.errors import BadInput, Finding, UnknownName
from intake.ledger import Record, netted, vat_id, vat_place
from intake.quarantine.exposure import Cleaned, Contact, Meeting, Presence, Replumbed, meetings, presences_of, trace

__all__ = [
    "CONTACT_KIND",
    "contacts",
    "first_seen",
    "last_in_vat",
    "presences",
    "replumbings",
    "shared_water_meetings",
    "trace_rows",
]


Way = Literal["forward", "back"]


def presences(house: House, lots: Iterable[str]) -> tuple[Presence, ...]:
    """Every stay of these batches in every vat, from the first of its animals in to the last out."""
    held: Counter[tuple[str, str]] = Counter()
    since: dict[tuple[str, str], datetime] = {}
    spans: list[tuple[str, str, datetime, datetime | None]] = []
    for movement in netted(house.stream(*lots)):
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


def last_in_vat(house: House, vat: str, many: int) -> tuple[Presence, ...]:
    """Stays in a vat: those that last, then those that ended last; so many."""
    living = house.floor().in_vat(vat)
    lots = {stay.batch for stay in living} | set(house.view.last_out_of(vat_place(vat), many + len(living)))
    found = [one for one in presences(house, lots) if one.vat == vat]
    return tuple(sorted(found, key=lambda one: (one.end or house.now, one.start), reverse=True)[:many])


def shared_water_meetings(
    house: House, lots: Iterable[str], since: datetime, *, back: bool = False
) -> tuple[tuple[Presence, ...], Sequence[Meeting]]:
    """Every stay of whoever stood anywhere from a moment on, and who met whom in one water.

    Parameters
    ----------
    lots
        Batches asked about, whenever they stood.
    since
        Of the others, all stays of those of which animals stood in a vat then or later.
    back
        For looking back too: also who stood, before that moment and not cleaned after, in a water others then entered.
    """
    asked = set(lots) | house.view.stood_since(map(vat_place, house.site.vats), since)
    found, cleaned = presences(house, asked), _cleanings(house)
    if back:
        before = _left_behind(house, found, cleaned, since)
        found = presences(house, asked | before) if before - asked else found
    vats = {system: _vats_of(house, system) for system in house.site.systems}
    return found, meetings(found, cleaned=cleaned, contacts=contacts(house), until=house.now, vats=vats)


def _cleanings(house: House) -> list[Cleaned]:
    return [Cleaned(vat_id(r.subject) or r.subject, r.happened_at) for r in house.standing("cleaned")]


def _vats_of(house: House, system: str) -> list[str]:
    return [vat.id for vat in house.site.vats_of(system)]


def _left_behind(
    house: House, found: Sequence[Presence], cleaned: Sequence[Cleaned], since: datetime
) -> frozenset[str]:
    """Batches that left a water after it was last clean, before others entered it."""
    entered: dict[str, datetime] = {}
    for one in found:  # by start
        if one.start >= since:
            entered.setdefault(one.system, one.start)
    lots: frozenset[str] = frozenset()
    for system, first in entered.items():
        lots |= house.view.stood_since(
            map(vat_place, _ever_in(house, system)), _last_clean(house, system, cleaned, first)
        )
    return lots


def _ever_in(house: House, system: str) -> set[str]:
    """Vats that are or were part of a water."""
    joined = {one.vat for one in replumbings(house) if system in (one.system, one.left, f"before {one.system}")}
    return joined | set(_vats_of(house, system))


def _last_clean(house: House, system: str, cleaned: Sequence[Cleaned], first: datetime) -> datetime | None:
    """When a water was last clean as a whole by a moment: itself, or each of its vats since; ``None`` if never."""
    latest: dict[str, datetime] = {}
    for one in cleaned:
        if one.at <= first:
            latest[one.place] = max(one.at, latest.get(one.place, one.at))
    vats = _vats_of(house, system) if system in house.site.systems else []
    every = [latest[vat] for vat in vats if vat in latest]
    whole = [min(every)] if vats and len(every) == len(vats) else []
    return max([*whole, *(latest[one] for one in (system,) if one in latest)], default=None)


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
    if batch:
        batch_named(house.floor(), batch)
        sources = [batch]
    else:
        ever = house.view.stood_since(map(vat_place, {vat} if vat else _ever_in(house, system)), None)
        stood = presences(house, ever)
        sources = list(dict.fromkeys(p.batch for p in stood if p.vat == vat or p.system == system))
    own = presences(house, sources)
    begins = {one: since or first_seen(house, one, own) for one in sources}
    _, met = shared_water_meetings(house, sources, min(begins.values(), default=house.now), back=True)
    rows = []
    for one, start in begins.items():
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
