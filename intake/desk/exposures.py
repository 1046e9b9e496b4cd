"""Who shared water with whom, and when each lot is free: the books' movements laid over the farm's systems."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, Literal

from intake.desk.house import House
from intake.desk.records import Recorded, batch_named
from intake.desk.work import broken_lags, stays_ahead
from intake.errors import BadInput, Finding, UnknownName
from intake.ledger import netted, standing, vat_id
from intake.quarantine import release
from intake.quarantine.exposure import Cleaned, Meeting, Presence, Reached, holds_after, meetings, presences_of, trace
from intake.quarantine.exposure_picture import layout
from intake.report.contacts_chart import contact_bars

__all__ = ["hold_reached", "presences", "release_rows", "trace_picture", "trace_rows"]

Way = Literal["forward", "back"]


def presences(house: House) -> tuple[Presence, ...]:
    """Every stay of every batch in every vat, from the first of its animals in to the last out."""
    held: Counter[tuple[str, str]] = Counter()
    since: dict[tuple[str, str], datetime] = {}
    spans: list[tuple[str, str, datetime, datetime | None]] = []
    for movement in netted(house.entries()):
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
    return presences_of(spans, house.site)


def _met(house: House) -> tuple[tuple[Presence, ...], Sequence[Meeting]]:
    found = presences(house)
    cleaned = [Cleaned(vat_id(r.subject) or r.subject, r.happened_at) for r in standing(house.entries(), "cleaned")]
    vats = {system: [vat.id for vat in house.site.vats_of(system)] for system in house.site.systems}
    return found, meetings(found, cleaned=cleaned, until=house.now, vats=vats)


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
    found, met = _met(house)
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
        "direction": "may have passed it on to" if way == "forward" else "may have it from",
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


def trace_picture(house: House, batch: str, *, since: datetime | None = None) -> str:
    """Who met whom, as SVG: the stays of every lot from a little before the batch came, and the ways from it.

    Raises
    ------
    UnknownName
        No such batch.
    """
    name = batch_named(house.floor(), batch).name
    found, met = _met(house)
    start = since or _came(house, batch, found)
    reached = trace(batch, met, since=start, direction="forward", until=house.now)
    picture = layout(found, reached, batch=batch, start=start - _BEFORE, end=house.now)
    first = (start - _BEFORE).astimezone(house.site.farm.zone).date()
    return contact_bars(picture, title=f"Who met {batch} {name}", first=first)


_BEFORE = timedelta(days=3)
"""Days drawn before a batch came, so that who left its water just before is seen."""


def _came(house: House, batch: str, found: Sequence[Presence]) -> datetime:
    return min((presence.start for presence in found if presence.batch == batch), default=house.now)


def _forward(house: House, batch: str) -> tuple[Reached, ...]:
    found, met = _met(house)
    return trace(batch, met, since=_came(house, batch, found), direction="forward", until=house.now)


def hold_reached(house: House, batch: str, reason: str, *, key: str = "") -> Recorded:
    """Hold a batch, and every lot in the vats that it may have passed something on to through shared water.

    Raises
    ------
    UnknownName
        No such batch.
    BadInput
        No reason.
    """
    floor = house.floor()
    batch_named(floor, batch)
    if not reason.strip():
        raise BadInput(Finding("--reason", "", "the reason in words", "A hold is only as good as its reason."))
    present = {stay.batch for stay in floor.stays}
    held = {hold.batch for hold in floor.holds if not hold.lifted}
    rows = holds_after(batch, reason.strip(), _forward(house, batch))
    fresh = [(lot, why) for lot, why in rows if lot == batch or (lot in present and lot not in held)]
    with house.act(key) as act:
        keys = [act.note("hold", lot, {"batch": lot, "reason": why}) for lot, why in fresh]
    return Recorded(tuple(f"{lot}: held" for lot, _ in fresh), tuple(keys))


def release_rows(house: House, batch: str = "") -> list[dict[str, Any]]:
    """For each lot in quarantine: free when at the earliest, and what still stands in the way.

    Raises
    ------
    UnknownName
        No such batch.
    """
    floor = house.floor()
    if batch:
        batch_named(floor, batch)
    stays, broken = stays_ahead(house), broken_lags(house)
    rows = []
    for name in dict.fromkeys(stay.batch for stay in floor.stays if stay.stage in {"quarantine", "healing"}):
        if batch and name != batch:
            continue
        told = release(
            floor.batches[name], floor, house.library, house.site, house.now, stays=stays, broken=broken.get(name, ())
        )
        rows.append(
            {
                "batch": name,
                "name": floor.batches[name].name,
                "earliest": told.earliest.isoformat() if told.earliest else None,
                "releasable": told.releasable,
                "stands_in_the_way": list(told.stands_in_the_way),
                "why": list(told.why),
            }
        )
    return rows
