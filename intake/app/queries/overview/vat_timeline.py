"""Vat space over time: who stood, stands and is planned to be in which vat from when to when."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.queries.planning.present_stock import Free, commitments, freedoms, leaving
from intake.app.session import House
from intake.ledger import netted, vat_id

__all__ = ["Bar", "SpaceFacts", "space_facts"]


@dataclass(frozen=True, slots=True)
class Bar:
    """A stay of one batch in one vat.

    Attributes
    ----------
    count
        Most animals that stood, or are planned to stand, there at once.
    first, last
        Farm days, ``last`` not included.
    kind
        ``past``, ``present`` (still there; its end is a promise or open) or ``planned``.
    open_end
        Nothing says yet when a present stay ends.
    """

    batch: str
    name: str
    vat: str
    count: int
    first: date
    last: date
    kind: str
    stage: str
    open_end: bool = False


@dataclass(frozen=True, slots=True)
class SpaceFacts:
    """Bars of every vat from ``first`` to ``last`` (not included); systems in the order of the farm file."""

    first: date
    last: date
    today: date
    systems: tuple[tuple[str, tuple[tuple[str, tuple[Bar, ...]], ...]], ...]


def space_facts(house: House, *, back_days: int = 14, ahead_days: int = 60) -> SpaceFacts:
    """Stays of the last days, those of today and those planned, for every vat."""
    first, last = house.today - timedelta(days=back_days), house.today + timedelta(days=ahead_days)
    bars: dict[str, list[Bar]] = {}
    free = freedoms(house)
    stood = _stood(house, last, leaving(house, free), back_days)
    for bar in (*stood, *_planned(house, free)):
        if bar.first < last and bar.last > first:
            bars.setdefault(bar.vat, []).append(bar)
    systems = tuple(
        (
            system.name,
            tuple(
                (vat.id, tuple(sorted(bars.get(vat.id, ()), key=lambda bar: (bar.first, bar.batch))))
                for vat in house.site.vats_of(system.id)
            ),
        )
        for system in house.site.systems.values()
    )
    return SpaceFacts(first, last, house.today, systems)


def _stood(house: House, horizon: date, ends: Mapping[tuple[str, str], date], back_days: int) -> Iterator[Bar]:
    """Stays that have begun: from the movements, each from the day the first animal came to the day the last left."""
    zone, floor = house.site.farm.zone, house.floor()
    count: Counter[tuple[str, str]] = Counter()
    most: Counter[tuple[str, str]] = Counter()
    since: dict[tuple[str, str], date] = {}
    stage = {(stay.batch, stay.vat): stay.stage for stay in floor.stays}
    moments: dict[datetime, list[tuple[tuple[str, str], int]]] = {}
    for movement in netted(house.lately(back_days)):
        for place, change in ((movement.source, -movement.count), (movement.target, movement.count)):
            if vat_id(place):
                moments.setdefault(movement.happened_at, []).append(((movement.batch, vat_id(place)), change))
    for at, changes in sorted(moments.items()):
        day = at.astimezone(zone).date()
        for spot, change in changes:
            count[spot] += change
        for spot in dict.fromkeys(spot for spot, _ in changes):
            most[spot] = max(most[spot], count[spot])
            if count[spot] > 0:
                since.setdefault(spot, day)
            elif spot in since:
                began = since.pop(spot)
                name = floor.batches[spot[0]].name
                yield Bar(*_spot(spot, name), most.pop(spot), began, max(day, began + timedelta(days=1)), "past", "")
    for spot, began in since.items():
        end = ends.get(spot)
        last = max(end or horizon, house.today + timedelta(days=1))
        name = floor.batches[spot[0]].name
        yield Bar(*_spot(spot, name), count[spot], began, last, "present", stage.get(spot, ""), end is None)


def _spot(spot: tuple[str, str], name: str) -> tuple[str, str, str]:
    return spot[0], name, spot[1]


def _planned(house: House, free: Free) -> Iterator[Bar]:
    """Places kept for lots that are present, moved along with them, and for those still to come."""
    floor = house.floor()
    for one in commitments(house, free):
        yield Bar(
            one.batch, floor.batches[one.batch].name, one.vat, one.count, one.start, one.until, "planned", one.stage
        )
    for row in accepted_rows(house):
        batch, vat = str(row["batch"]), str(row["vat"])
        first, last = date.fromisoformat(str(row["from"])), date.fromisoformat(str(row["until"]))
        if batch not in floor.batches or floor.batches[batch].shipment in floor.received or last <= house.today:
            continue
        yield Bar(batch, floor.batches[batch].name, vat, int(row["count"]), first, last, "planned", str(row["stage"]))
