"""Frames a receiving day from the farm file, the library and the batches announced, every assumption in words.

Paces and dips are design defaults, to be replaced by the crew's own times; they are held in one place, ``Pace``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from math import ceil

from intake.errors import BadInput, Finding
from intake.farm.floor import Batch
from intake.farm.site import Person, Site
from intake.library import Dip, Library
from intake.library.groups import Group
from intake.library.treatments import MECHANICAL
from intake.receiving.box import BoxDraw, BoxLine, BoxNeed
from intake.receiving.problem import DayProblem, Hand, Lane, Taken, Underway, minutes_between

__all__ = ["BoxFacts", "Pace", "arrival_dip", "frame_day"]


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast the crew works.

    Design defaults, no source: time your own crew and overwrite.  ``husbandry`` arithmetic of 3 minutes a bag agrees
    with them within a factor of two.

    Attributes
    ----------
    dock_minutes
        From landing to standing on the dock of the farm.
    open_minutes
        Open one box, photograph, measure one bag.
    count_per_hour, place_per_hour
        Animals one person counts and sorts, or puts into a vat, in an hour; the smallest step is ``least_minutes``.
    setup_minutes
        Start one tub.
    acclimation_minutes
        Where no step table was computed for a batch.
    """

    dock_minutes: int = 0
    open_minutes: int = 5
    count_per_hour: float = 600.0
    place_per_hour: float = 900.0
    least_minutes: int = 2
    setup_minutes: int = 5
    acclimation_minutes: int = 45

    def minutes(self, animals: int, per_hour: float) -> int:
        """Whole minutes for so many animals, not below the smallest step."""
        return max(self.least_minutes, ceil(60.0 * animals / per_hour))


@dataclass(frozen=True, slots=True)
class BoxFacts:
    """What is known of one box beyond the packing list.

    ``counts`` is animals by batch (empty: the batch is shared out evenly over its boxes); ``drip_lines`` in use while
    it acclimates.
    """

    counts: Mapping[str, int] | None = None
    leaking: bool = False
    off_temperature: bool = False
    drip_lines: int = 0


def arrival_dip(site: Site, library: Library, group: Group) -> Dip | None:
    """The dip a batch of the group gets on the day it arrives, if any: switched on, due on day 0, by hand alone.

    Nothing chemical and nothing osmotic is done on the day of arrival (A020 of the table of the first days).
    """
    for identity in group.dips:
        dip = library.dips[identity]
        wanted = dip.mode == "on" or (dip.mode == "optional" and identity in site.planning.optional_dips)
        by_hand = set(library.agents(dip.id)) <= MECHANICAL
        if dip.kind == "dip" and wanted and dip.first_day == 0 and not dip.prescription and by_hand:
            return dip
    return None


def frame_day(  # one keyword for each kind of fact
    site: Site,
    library: Library,
    batches: Iterable[Batch],
    *,
    lands: Mapping[str, datetime],
    boxes: Mapping[str, BoxFacts] | None = None,
    acclimation_minutes: Mapping[str, float] | None = None,
    water_l: Mapping[str, float] | None = None,
    tubs: Mapping[str, int] | None = None,
    draws: Mapping[str, tuple[BoxDraw, ...]] | None = None,
    taken: Iterable[tuple[str, datetime, datetime]] = (),
    now: datetime | None = None,
    state: Iterable[Underway] = (),
    pace: Pace | None = None,
    drip_lines: int | None = None,
    mixed_water_l: float | None = None,
    remake_minutes: int = 60,
) -> DayProblem:
    """The receiving day of some batches.

    Parameters
    ----------
    batches
        Announced batches; boxes are called ``shipment/box``.
    lands
        Shipment → landing time, time-zone aware.  The day is the farm's date of the first landing.
    boxes
        ``shipment/box`` → what is known of it.
    acclimation_minutes, water_l
        Batch → minutes of its step table, and mixed water for the whole batch, liters.
    tubs, draws
        Batch → tubs one of its boxes takes, and the water those tubs take from the start of the table.
    taken
        People and places with other published work, from when to when.
    now
        Nothing new starts before it.
    state
        Done and started work.
    drip_lines, mixed_water_l, remake_minutes
        Limits, none by default; drawn water is ready again after ``remake_minutes``.

    Raises
    ------
    BadInput
        For a batch without a landing time, times without a zone, a batch of no animals.
    UnknownName
        For an unknown group.
    """
    rows = tuple(batches)
    pace = pace or Pace()
    _checked(rows, lands, now)
    opens, closes = _hours(site, lands)
    trucks = {
        name: max(0, minutes_between(opens, lands[name]) + pace.dock_minutes)
        for name in sorted({b.shipment for b in rows})
    }
    packed, notes = _packed(library, rows, lands)
    loads = _loads(rows, boxes or {})
    facts = boxes or {}
    given = _Given(site, library, pace, acclimation_minutes or {}, water_l or {}, packed, tubs or {}, draws or {})
    needs = tuple(_need(box, load, facts.get(box, BoxFacts()), given) for box, load in loads.items())
    day = opens.astimezone(site.farm.zone).date()
    notes += _closed_notes(site, day, trucks, minutes_between(opens, closes))
    problem = DayProblem(
        origin=opens,
        zone=site.farm.time_zone,
        closes=minutes_between(opens, closes),
        trucks=trucks,
        boxes=needs,
        lanes=_lanes(site),
        people=_hands(site, day, opens),
        drip_lines=drip_lines,
        mixed_water_l=mixed_water_l,
        remake_minutes=remake_minutes,
        underway=tuple(state),
        taken=tuple(
            Taken(name, minutes_between(opens, start), minutes_between(opens, end)) for name, start, end in taken
        ),
        notes=tuple(notes),
    )
    return problem if now is None else replace(problem, now=problem.minute(now))


@dataclass(frozen=True, slots=True)
class _Given:
    site: Site
    library: Library
    pace: Pace
    acclimation_minutes: Mapping[str, float]
    water_l: Mapping[str, float]
    packed: Mapping[str, datetime]
    tubs: Mapping[str, int]
    draws: Mapping[str, tuple[BoxDraw, ...]]


def _checked(rows: tuple[Batch, ...], lands: Mapping[str, datetime], now: datetime | None) -> None:
    faults = [
        Finding(f"batch {batch.id}, shipment", batch.shipment, "a shipment with a landing time", "Say when it lands.")
        for batch in rows
        if batch.shipment not in lands
    ]
    faults += [
        Finding(f"batch {batch.id}, announced", str(batch.announced), "1 animal or more")
        for batch in rows
        if batch.announced < 1
    ]
    times = [(f"landing of {name}", at) for name, at in lands.items()]
    times += [(f"batch {batch.id}, packed", batch.packed_at) for batch in rows if batch.packed_at is not None]
    times += [] if now is None else [("now", now)]
    faults += [
        Finding(where, str(at), "a time with its time zone", "Add the zone.")
        for where, at in times
        if at.tzinfo is None
    ]
    if not faults:
        faults += [
            Finding(f"batch {batch.id}, packed", str(batch.packed_at), "a time before landing", "Check day and zone.")
            for batch in rows
            if batch.packed_at is not None and minutes_between(batch.packed_at, lands[batch.shipment]) < 0
        ]
    if not rows:
        faults.append(Finding("batches", "", "at least one batch that arrives"))
    if faults:
        raise BadInput(faults)


def _hours(site: Site, lands: Mapping[str, datetime]) -> tuple[datetime, datetime]:
    """When the team's day opens and closes, in UTC: local hours of the farm's date of the first landing."""
    day = min(at.astimezone(UTC) for at in lands.values()).astimezone(site.farm.zone).date()
    hours = site.receiving.opens, site.receiving.closes
    opens, closes = (datetime.combine(day, hour, site.farm.zone).astimezone(UTC) for hour in hours)
    return opens, closes


def _packed(
    library: Library, rows: tuple[Batch, ...], lands: Mapping[str, datetime]
) -> tuple[dict[str, datetime], list[str]]:
    """Packing time of every batch; unknown ones take the earliest of their shipment, or count as amber on landing."""
    packed, notes = {}, []
    for batch in rows:
        known = [other.packed_at for other in rows if other.shipment == batch.shipment and other.packed_at is not None]
        if batch.packed_at is not None:
            packed[batch.id] = batch.packed_at
        elif known:
            packed[batch.id] = min(known, key=lambda at: at.astimezone(UTC))
            notes.append(f"When {batch.id} was packed is not known: taken as the earliest of its shipment.")
        else:
            amber = library.group(batch.group).bag_hours.amber
            packed[batch.id] = lands[batch.shipment].astimezone(UTC) - timedelta(hours=amber)
            notes.append(f"When {batch.id} was packed is not known: taken as {amber:g} h before landing.")
    return packed, notes


def _loads(rows: tuple[Batch, ...], facts: Mapping[str, BoxFacts]) -> dict[str, list[tuple[Batch, int]]]:
    """Box → its batches with animals; a batch without boxes counts as one box of its own."""
    loads: dict[str, list[tuple[Batch, int]]] = {}
    for batch in rows:
        names = [f"{batch.shipment}/{box}" for box in (batch.boxes or (f"line {batch.line}",))]
        told = {name: (facts[name].counts or {}) for name in names if name in facts}
        known = {name: counts[batch.id] for name, counts in told.items() if batch.id in counts}
        open_names = [name for name in names if name not in known]
        rest = max(0, batch.announced - sum(known.values()))
        share, extra = divmod(rest, len(open_names)) if open_names else (0, 0)
        for name in names:
            turn = open_names.index(name) if name in open_names else 0
            count = known[name] if name in known else share + (turn < extra)
            loads.setdefault(name, []).append((batch, count))
    return loads


def _need(box: str, load: list[tuple[Batch, int]], facts: BoxFacts, given: _Given) -> BoxNeed:
    groups = [given.library.group(batch.group, f"batch {batch.id}, group") for batch, _ in load]
    animals = sum(count for _, count in load)
    pace = given.pace
    dips = [
        (arrival_dip(given.site, given.library, group), group, count)
        for group, (_, count) in zip(groups, load, strict=True)
        if count
    ]
    dip_minutes = sum(
        max(ceil(60.0 * count / group.handling.per_hour), ceil(dip.contact_min or 0))
        for dip, group, count in dips
        if dip is not None
    )
    soak = max(given.acclimation_minutes.get(batch.id, pace.acclimation_minutes) for batch, _ in load)
    water = sum(given.water_l.get(batch.id, 0.0) * count / batch.announced for batch, count in load)
    draws = tuple(draw for batch, count in load if count for draw in given.draws.get(batch.id, ()))
    return BoxNeed(
        box=box,
        shipment=load[0][0].shipment,
        lines=tuple(BoxLine(batch.id, count) for batch, count in load),
        packed_at=min((given.packed[batch.id] for batch, _ in load), key=lambda at: at.astimezone(UTC)),
        sensitivity=max(group.handling.sensitivity for group in groups),
        amber_h=min(group.bag_hours.amber for group in groups),
        red_h=min(group.bag_hours.red for group in groups),
        open_minutes=pace.open_minutes,
        count_minutes=pace.minutes(animals, pace.count_per_hour),
        setup_minutes=pace.setup_minutes,
        acclimation_minutes=ceil(soak),
        place_minutes=pace.minutes(animals, pace.place_per_hour),
        dip_minutes=dip_minutes,
        water_l=sum(draw.litres for draw in draws) if draws else water,
        draws=draws,
        tubs=max(1, sum(given.tubs.get(batch.id, 1) for batch, count in load if count)),
        drip_lines=facts.drip_lines,
        fish=any(group.kind == "fish" for group in groups),
        leaking=facts.leaking,
        off_temperature=facts.off_temperature,
    )


def _lanes(site: Site) -> tuple[Lane, ...]:
    lanes = []
    for station in site.stations.values():
        if station.kind != "inspection":
            name = station.name or station.id
            names = [name] if station.places == 1 else [f"{name} {place}" for place in range(1, station.places + 1)]
            lanes += [Lane(each, station.kind) for each in names]
    return tuple(lanes)


def _hands(site: Site, day: date, opens: datetime) -> tuple[Hand, ...]:
    """People in on that day, their local hours turned into minutes from opening."""

    def minute(person: Person, *, start: bool) -> int:
        hour = person.starts if start else person.ends
        return minutes_between(opens, datetime.combine(day, hour, site.farm.zone))

    return tuple(
        Hand(
            person.id,
            frozenset(person.skills),
            minute(person, start=True),
            minute(person, start=False),
            person.name or person.id,
        )
        for person in site.people.values()
        if person.role != "read-only" and person.works_on(day)
    )


def _closed_notes(site: Site, day: date, trucks: Mapping[str, int], closes: int) -> list[str]:
    notes = [f"{name} lands after closing time." for name, minute in trucks.items() if minute >= closes]
    if not site.receiving.works_on(day):
        notes.append(f"The receiving team does not work on {day:%a %d %b} by the farm file.")
    return notes
