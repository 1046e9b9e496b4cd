"""The receiving day at the desk: boxes in their order over the stations, water and salt by hour, and the run sheet."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from intake.desk.arrival import acclimation_of, lands_at
from intake.desk.cautions import gravest_of
from intake.desk.house import House
from intake.desk.plans import accepted_rows
from intake.errors import BadInput, Finding
from intake.farm.floor import Batch
from intake.receiving.framing import BoxFacts, frame_day
from intake.receiving.preparation import Preparation, acclimation_water_l, prepare
from intake.receiving.solution import DayPlan
from intake.receiving.solve import run_day

if TYPE_CHECKING:
    from forms import RunBox, RunStation

__all__ = ["day_of", "prepared", "runsheet_pdf"]

_RINSES = 1.0


def day_of(
    house: House,
    batches: Sequence[Batch],
    *,
    seconds: float = 5.0,
    leaking: Sequence[str] = (),
    off_temperature: Sequence[str] = (),
    lands: datetime | None = None,
) -> DayPlan:
    """Run the boxes of these batches over tables, tubs and people.

    Parameters
    ----------
    leaking, off_temperature
        Boxes (``S1/7``, or ``7`` when one shipment lands) that jump the queue.
    lands
        Another landing than announced: a late truck.

    Raises
    ------
    BadInput
        No batch, or a box that is not on the list.
    """
    if not batches:
        raise BadInput(Finding("receiving day", "no batch", "a shipment to come"))
    shipments = sorted({batch.shipment for batch in batches})
    minutes, litres = {}, {}
    for batch in batches:
        found = acclimation_of(house, batch)
        if found is not None:
            minutes[batch.id] = max(10, round(found.minutes))
            bags = max(1, len(batch.boxes)) * 4
            volumes = found.water_used_l / max(0.001, found.bag.volume_l)
            litres[batch.id] = acclimation_water_l(bags, found.bag.volume_l, volumes, _RINSES)
    problem = frame_day(
        house.site,
        house.library,
        list(batches),
        lands={name: lands or lands_at(house, next(b for b in batches if b.shipment == name)) for name in shipments},
        boxes=_facts(batches, shipments, leaking, off_temperature),
        acclimation_minutes=minutes,
        water_l=litres,
    )
    return run_day(problem, seconds=seconds)


def _facts(
    batches: Sequence[Batch], shipments: Sequence[str], leaking: Sequence[str], warm: Sequence[str]
) -> dict[str, BoxFacts]:
    known = {f"{batch.shipment}/{box}" for batch in batches for box in batch.boxes}

    def named(box: str) -> str:
        full = box if "/" in box else f"{shipments[0]}/{box}"
        if full not in known:
            raise BadInput(Finding("box", box, "a box of the packing list", f"Known: {', '.join(sorted(known)[:8])} …"))
        return full

    wet, off = {named(box) for box in leaking}, {named(box) for box in warm}
    return {box: BoxFacts(leaking=box in wet, off_temperature=box in off) for box in wet | off}


def prepared(house: House, batches: Sequence[Batch], plan: DayPlan) -> Preparation:
    """Mixed water, salt, tubs and people by the hour, with one vat of reserve."""
    vats = [str(row["vat"]) for row in accepted_rows(house) if row["batch"] in {b.id for b in batches}]
    system = house.site.system_of(vats[0]) if vats else next(iter(house.site.systems.values()))
    reserve = max((house.site.vat(vat).volume_l for vat in vats), default=0.0)
    return prepare(plan, salinity_psu=system.salinity_psu, temperature_c=system.temperature_c, reserve_l=reserve)


def runsheet_pdf(house: House, batches: Sequence[Batch], paper: str) -> bytes:
    """The run sheet of the day as PDF."""
    import forms as page

    plan = day_of(house, batches)
    ready = prepared(house, batches, plan)
    zone = house.site.farm.zone
    first = min(step.start for step in plan.steps).astimezone(zone)
    midnight = datetime.combine(first.date(), datetime.min.time(), zone)
    last = max(step.end for step in plan.steps)
    water = f"{ready.temperature_c:.1f} °C, {ready.salinity_psu:g} PSU"
    content = page.RunSheetContent(
        farm=house.site.farm.name,
        shipment=", ".join(sorted({batch.shipment for batch in batches})),
        date=f"{first:%a %d %b %Y}",
        from_h=float(int(_hours(first, midnight))),
        until_h=float(int(_hours(last, midnight)) + 1),
        stations=_stations(plan, midnight),
        boxes=_boxes(house, plan),
        water=tuple(
            page.RunWater(
                f"{hour.starts.astimezone(zone):%H:%M}", f"mixed seawater; {hour.tubs} tubs, {hour.people} people",
                f"{hour.mixed_water_l:.0f} L", f"{hour.salt_kg:.1f} kg", water,
            )
            for hour in ready.hours
            if hour.mixed_water_l > 0
        ),
        lands=", ".join(f"{lands_at(house, b).astimezone(zone):%H:%M}" for b in batches[:1]),
        finish=f"{plan.finish.astimezone(zone):%H:%M}" if plan.finish else "",
        supplier=", ".join(sorted({house.site.supplier(b.supplier).name for b in batches})),
        cautions=gravest_of(house, batches),
        emergency=house.site.farm.emergency,
    )  # fmt: skip
    return page.runsheet(content, paper)


def _hours(moment: datetime, midnight: datetime) -> float:
    return (moment - midnight) / timedelta(hours=1)


_KINDS = {"open": "open", "count": "open", "acclimate": "acclimate", "dip": "dip", "place": "place"}


def _stations(plan: DayPlan, midnight: datetime) -> tuple[RunStation, ...]:
    import forms as page

    lanes: dict[str, list[page.RunBar]] = {}
    people: dict[str, dict[str, None]] = {}
    for step in plan.steps:
        if not step.lane:
            continue
        box = step.box.rsplit("/", 1)[-1]
        bar = page.RunBar(_hours(step.start, midnight), _hours(step.end, midnight), box, box, _KINDS[step.step])
        lanes.setdefault(step.lane, []).append(bar)
        people.setdefault(step.lane, {}).update(dict.fromkeys(step.people))
    return tuple(
        page.RunStation(
            lane,
            ", ".join(people[lane]) if lane.startswith(("opening", "dip", "table")) else "",
            tuple(sorted(bars, key=lambda bar: bar.start_h)),
        )
        for lane, bars in lanes.items()
    )


def _boxes(house: House, plan: DayPlan) -> tuple[RunBox, ...]:
    import forms as page

    zone, floor = house.site.farm.zone, house.floor()
    placed = {step.box: step for step in plan.steps if step.step == "place"}
    opened = {step.box: step for step in plan.steps if step.step == "open"}
    first_vats: dict[str, dict[str, None]] = {}
    for row in accepted_rows(house):
        if row["stage"] != "grow-out":
            first_vats.setdefault(str(row["batch"]), {})[str(row["vat"])] = None
    rows = []
    for turn in plan.order():
        lines = opened[turn.box].batches
        names = [line.batch for line in lines]
        mode = acclimation_of(house, floor.batches[names[0]])
        end = placed.get(turn.box)
        warning = " ".join(
            part
            for part in (
                "JUMPS THE QUEUE" if turn.urgent else "",
                f"{turn.state.upper()}: long in the bag" if turn.state else "",
            )
            if part
        )
        rows.append(
            page.RunBox(
                order=turn.number,
                box=turn.box.rsplit("/", 1)[-1],
                batch=", ".join(names),
                name=", ".join(dict.fromkeys(floor.batches[name].name for name in names)),
                opens=f"{turn.opens.astimezone(zone):%H:%M}",
                hours_in_bag=turn.hours_in_bag,
                station=turn.table,
                mode=mode.mode.replace("_", " ") if mode else "",
                vat=", ".join(dict.fromkeys(vat for name in names for vat in first_vats.get(name, {}))),
                count=sum(line.count for line in lines),
                placed_by=f"{end.end.astimezone(zone):%H:%M}" if end else "",
                warning=warning,
            )
        )
    return tuple(rows)
