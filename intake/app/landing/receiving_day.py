"""The question of a receiving day, gathered from farm, list and step tables, and what it takes to have ready."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from intake.app.landing.acclimation_course import BAGS_IN_A_BOX, acclimation_of
from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.queries.planning.announced_shipments import lands_at
from intake.app.queries.planning.landing_work import hands_taken
from intake.app.queries.planning.published_timetable import stored_tasks
from intake.app.session import House
from intake.errors import BadInput, Finding, UnknownName
from intake.farm.floor import Batch
from intake.receiving import (
    BoxDraw,
    BoxFacts,
    DayPlan,
    DayProblem,
    HourNeed,
    Lane,
    Preparation,
    Progress,
    Underway,
    frame_day,
    prepare,
    run_day,
)
from intake.receiving.acclimation import Acclimation

__all__ = [
    "BAGS_IN_A_BOX",
    "Slip",
    "TakenSpan",
    "day_of",
    "first_vats",
    "framed",
    "prepared",
    "prepared_by_system",
    "taken_now",
    "water_lacking",
]


@dataclass(frozen=True, slots=True)
class Slip:
    """How the day differs from what was announced.

    Attributes
    ----------
    lands
        Another landing than announced.
    leaking, off_temperature
        Boxes (``S1/7``, or ``7`` when one shipment lands) that jump the queue.
    without
        Stations (all places, or so many: ``tubs:3``), single places and people who are not there.
    extra
        Batch → boxes more than the list says.
    opened
        Box → when it was opened, where someone said so without a reading.
    """

    lands: datetime | None = None
    leaking: tuple[str, ...] = ()
    off_temperature: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    extra: Mapping[str, int] = field(default_factory=dict)
    opened: Mapping[str, datetime] = field(default_factory=dict)

    def joined(self, later: Slip) -> Slip:
        """Add what slipped since."""
        return Slip(
            later.lands or self.lands,
            tuple(dict.fromkeys((*self.leaking, *later.leaking))),
            tuple(dict.fromkeys((*self.off_temperature, *later.off_temperature))),
            tuple(dict.fromkeys((*self.without, *later.without))),
            {**self.extra, **later.extra},
            {**self.opened, **later.opened},
        )


def day_of(  # what can be said of a day, each by its name
    house: House,
    batches: Sequence[Batch],
    *,
    seconds: float = 5.0,
    leaking: Sequence[str] = (),
    off_temperature: Sequence[str] = (),
    lands: datetime | None = None,
    slip: Slip | None = None,
    progress: Callable[[Progress], object] | None = None,
    stop: Callable[[], bool] | None = None,
) -> DayPlan:
    """Run the boxes of these batches over tables, tubs and people, from the first.

    Parameters
    ----------
    leaking, off_temperature, lands
        As in :class:`Slip`; added to ``slip``.

    Raises
    ------
    BadInput
        No batch, or a box that is not on the list.
    UnknownName
        A station or person that is not there.
    """
    asked = (slip or Slip()).joined(Slip(lands, tuple(leaking), tuple(off_temperature)))
    return run_day(framed(house, batches, asked), seconds=seconds, progress=progress, stop=stop)


TakenSpan = tuple[str, datetime, datetime]
"""A person or place with other work, from when to when."""


def framed(
    house: House,
    batches: Sequence[Batch],
    slip: Slip,
    state: Iterable[Underway] = (),
    taken: Iterable[TakenSpan] | None = None,
) -> DayProblem:
    """The day as a question; see :func:`day_of`.

    ``taken``: hands and places with other work; as published now where it is not given.  A kept day keeps those it was
    first planned with: once it is kept, other work gives way to it.
    """
    if not batches:
        raise BadInput(Finding("receiving day", "no batch", "a shipment to come"))
    rows = [_with_extra(batch, slip.extra) for batch in batches]
    _known(slip.extra, [batch.id for batch in batches])
    shipments = sorted({batch.shipment for batch in rows})
    minutes: dict[str, float] = {}
    tubs: dict[str, int] = {}
    draws: dict[str, tuple[BoxDraw, ...]] = {}
    for batch in batches:
        found = acclimation_of(house, batch)
        if found is not None:
            minutes[batch.id] = max(10, round(found.minutes))
            tubs[batch.id] = max(1, found.setup.tubs)
            draws[batch.id] = _draws(found)
    problem = frame_day(
        house.site,
        house.library,
        rows,
        lands={name: slip.lands or lands_at(house, next(b for b in rows if b.shipment == name)) for name in shipments},
        boxes=_facts(rows, shipments, slip),
        acclimation_minutes=minutes,
        tubs=tubs,
        draws=draws,
        taken=taken_now(house, shipments) if taken is None else taken,
        state=state,
    )
    loose = [batch.id for batch in batches if batch.id not in minutes]
    if loose:
        words = f"No acclimation table for {', '.join(loose)}: no vat in the plan, or water outside the formulas."
        told = f"{words} Their minutes are a default, and no water is counted for them."
        problem = replace(problem, notes=(*problem.notes, told))
    return _without(house, problem, slip.without)


RINSE_BAGS = 1.0
"""Bag volumes of the vat's water to rinse with (design default, no source)."""


def _draws(found: Acclimation) -> tuple[BoxDraw, ...]:
    """Water all tubs of one box take, and the rinse."""
    several = max(1, found.setup.tubs)
    rows = [
        BoxDraw(draw.minute, round(draw.litres * several, 3), draw.temperature_c, draw.salinity_psu)
        for draw in found.draws
    ]
    rinse = RINSE_BAGS * BAGS_IN_A_BOX * found.bag.volume_l
    if rinse:
        rows.append(BoxDraw(found.minutes, rinse, found.vat.temperature_c, found.vat.salinity_psu))
    return tuple(rows)


def taken_now(house: House, shipments: Sequence[str]) -> list[TakenSpan]:
    """Hands and places other landing days and the published work of other lots take."""
    mine = set(shipments)
    rows = [
        (name, start, end)
        for name, spans in hands_taken(house, but=shipments[0] if len(shipments) == 1 else "").items()
        for start, end in spans
    ]
    batches, done = house.floor().batches, {one.task for one in house.floor().done}
    for task in stored_tasks(house):
        batch = batches.get(str(task["batch"]))
        if task["uid"] in done or (batch is not None and batch.shipment in mine):
            continue
        start, end = datetime.fromisoformat(str(task["start"])), datetime.fromisoformat(str(task["end"]))
        staff: Any = task["staff"]
        rows += [(str(person), start, end) for person in staff]
    return sorted(rows, key=lambda row: (row[1], row[0]))


def _known(extra: Mapping[str, int], batches: Sequence[str]) -> None:
    for name, number in extra.items():
        if name not in batches:
            raise UnknownName("--more-boxes", name, batches, "batch of this day")
        if number < 1:
            raise BadInput(Finding(f"--more-boxes {name}", str(number), "1 box or more"))


def _with_extra(batch: Batch, extra: Mapping[str, int]) -> Batch:
    if batch.id not in extra:
        return batch
    line = batch.id.rsplit("-", 1)[-1]
    more = tuple(f"{line}+{number}" for number in range(1, extra[batch.id] + 1))
    return replace(batch, boxes=(*batch.boxes, *more))


def _facts(batches: Sequence[Batch], shipments: Sequence[str], slip: Slip) -> dict[str, BoxFacts]:
    known = {f"{batch.shipment}/{box}" for batch in batches for box in batch.boxes}

    def named(box: str) -> str:
        full = box if "/" in box else f"{shipments[0]}/{box}"
        if full not in known:
            raise BadInput(Finding("box", box, "a box of the packing list", f"Known: {', '.join(sorted(known)[:8])} …"))
        return full

    wet, off = {named(box) for box in slip.leaking}, {named(box) for box in slip.off_temperature}
    return {box: BoxFacts(leaking=box in wet, off_temperature=box in off) for box in wet | off}


def _without(house: House, problem: DayProblem, absent: Sequence[str]) -> DayProblem:
    """The day without some stations, places or people."""
    lanes, people = list(problem.lanes), list(problem.people)
    for asked in absent:
        name, _, number = asked.partition(":")
        station = house.site.stations.get(name)
        if station is not None or name in {one.name for one in house.site.stations.values()}:
            label = (station.name or station.id) if station is not None else name
            lanes = _fewer(lanes, label, number, asked)
        elif asked in {lane.id for lane in problem.lanes}:
            lanes = [lane for lane in lanes if lane.id != asked]
        elif name in house.site.people:
            people = [hand for hand in people if hand.id != name]
        else:
            known = [*house.site.stations, *house.site.people]
            raise UnknownName("--without", asked, known, "station or person")
    return replace(problem, lanes=tuple(lanes), people=tuple(people))


def _fewer(lanes: list[Lane], label: str, number: str, asked: str) -> list[Lane]:
    mine = [lane for lane in lanes if lane.id == label or lane.id.rpartition(" ")[0] == label]
    if number and not (number.isdigit() and int(number) > 0):
        raise BadInput(Finding("--without", asked, "a station, or a station and how many places, such as tubs:3"))
    gone = mine if not number else mine[max(0, len(mine) - int(number)) :]
    return [lane for lane in lanes if lane not in gone]


def first_vats(house: House) -> dict[str, tuple[str, ...]]:
    """Batch → vats it goes into on the day, of the accepted plan."""
    found: dict[str, dict[str, None]] = {}
    for row in accepted_rows(house):
        if row["stage"] != "grow-out":
            found.setdefault(str(row["batch"]), {})[str(row["vat"])] = None
    return {batch: tuple(vats) for batch, vats in found.items()}


def prepared_by_system(house: House, plan: DayPlan) -> dict[str, Preparation]:
    """System → mixed water, salt, tubs and people by the hour for the boxes that go there, with one vat of reserve.

    A box counts for the system of its first batch; one without a vat for the first system of the farm.
    """
    vats = first_vats(house)
    fallback = next(iter(house.site.systems))
    home: dict[str, str] = {}
    reserve: dict[str, float] = {}
    for box in plan.problem.boxes:
        of_box = [vat for line in box.lines for vat in vats.get(line.batch, ())]
        system = house.site.vat(of_box[0]).system if of_box else fallback
        home[box.box] = system
        volumes = [house.site.vat(vat).volume_l for vat in of_box if house.site.vat(vat).system == system]
        reserve[system] = max([reserve.get(system, 0.0), *volumes])
    made = {}
    for system in sorted(set(home.values()), key=list(house.site.systems).index):
        water = house.site.systems[system]
        steps = tuple(step for step in plan.steps if home[step.box] == system)
        made[system] = prepare(
            replace(plan, steps=steps),
            salinity_psu=water.salinity_psu,
            temperature_c=water.temperature_c,
            reserve_l=reserve.get(system, 0.0),
        )
    return made


def prepared(house: House, batches: Sequence[Batch], plan: DayPlan) -> Preparation:
    """Mixed water, salt, tubs and people by the hour for the whole day, every system's water and reserve added up.

    Salinity and temperature are those of the system that takes most water.
    """
    del batches
    parts = list(prepared_by_system(house, plan).values())
    most = max(parts, key=lambda one: one.ready_before_l)
    if len(parts) == 1:
        return most
    whole = prepare(plan, salinity_psu=most.salinity_psu, temperature_c=most.temperature_c, reserve_l=0.0)
    by_hour = {
        hour.starts: [h for part in parts for h in part.hours if h.starts == hour.starts] for hour in whole.hours
    }
    return replace(
        whole,
        hours=tuple(_summed(hour, by_hour[hour.starts]) for hour in whole.hours),
        acclimation_l=sum(one.acclimation_l for one in parts),
        dip_l=sum(one.dip_l for one in parts),
        reserve_l=sum(one.reserve_l for one in parts),
        salt_kg=sum(one.salt_kg for one in parts),
        fresh_water_l=sum(one.fresh_water_l for one in parts),
        drawn=tuple(sorted(draw for one in parts for draw in one.drawn)),
    )


def water_lacking(house: House, ready: Preparation) -> tuple[str, ...]:
    """Where the farm's mixing tank does not hold what the day draws; empty where the farm names no tank."""
    mixing = house.site.mixing
    return () if mixing is None else ready.lacking(mixing.tank_l, mixing.refill_minutes)


def _summed(hour: HourNeed, parts: Sequence[HourNeed]) -> HourNeed:
    return replace(
        hour,
        mixed_water_l=sum(one.mixed_water_l for one in parts),
        salt_kg=sum(one.salt_kg for one in parts),
        waters=tuple(water for one in parts for water in one.waters),
    )
