"""What the run sheet, the water list and the box labels of a receiving day say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from intake.app.documents.cautions import gravest_of
from intake.app.documents.cautions.printed_dangers import emergency_of, kills_of
from intake.app.landing.acclimation_course import MODE_WORDS, acclimation_of
from intake.app.landing.kept_day import DayRun, keep_day, kept_day, planned_day
from intake.app.landing.receiving_day import first_vats, prepared_by_system
from intake.app.queries.planning.announced_shipments import lands_at
from intake.app.session import House
from intake.farm.floor import Batch
from intake.language import Language, in_figures, phrase
from intake.receiving import DayPlan, HourNeed, OpeningRow
from intake.receiving.problem import minutes_between

if TYPE_CHECKING:
    from forms import RunBar, RunBox, RunStation, RunWater

__all__ = ["BoxTurn", "box_turns", "current_day", "runsheet_pdf", "short_lanes", "water_rows"]


@dataclass(frozen=True, slots=True)
class BoxTurn:
    """One box in its order with what is in it and where that goes."""

    row: OpeningRow
    box: str
    batches: tuple[Batch, ...]
    vats: tuple[str, ...]
    animals: int
    modes: tuple[str, ...]
    placed: datetime | None


def current_day(house: House, batches: Sequence[Batch]) -> DayRun:
    """The day the crew follows: as kept; planned and kept now where there is none yet.

    Raises
    ------
    Refused
        Bags stay closed too long and no one has decided; nothing is written.
    """
    kept = kept_day(house, batches)
    if kept is not None:
        return kept
    run = planned_day(house, batches)
    keep_day(house, batches, run)
    return run


def box_turns(house: House, plan: DayPlan) -> tuple[BoxTurn, ...]:
    """Boxes in the order of opening."""
    floor, vats = house.floor(), first_vats(house)
    ends = {step.box: step.end for step in plan.steps if step.step == "place"}
    lines = {box.box: box.lines for box in plan.problem.boxes}
    turns = []
    for row in plan.order():
        batches = tuple(floor.batches[line.batch] for line in lines[row.box])
        found = [acclimation_of(house, batch) for batch in batches]
        turns.append(
            BoxTurn(
                row,
                row.box.rsplit("/", 1)[-1],
                batches,
                tuple(dict.fromkeys(vat for batch in batches for vat in vats.get(batch.id, ()))),
                sum(line.count for line in lines[row.box]),
                tuple(dict.fromkeys(MODE_WORDS[one.mode] for one in found if one is not None)),
                ends.get(row.box),
            )
        )
    return tuple(turns)


def short_lanes(house: House) -> dict[str, str]:
    """Place of a station → its short name for narrow columns, made of the station's id: ``tubs 3``."""
    names = {}
    for station in house.site.stations.values():
        label = station.name or station.id
        names[label] = station.id
        names |= {f"{label} {place}": f"{station.id} {place}" for place in range(1, station.places + 1)}
    return names


def runsheet_pdf(house: House, batches: Sequence[Batch], paper: str, run: DayRun | None = None) -> bytes:
    """The run sheet of the day as PDF; without ``run``, of the day as last kept."""
    import forms as page

    run = run or current_day(house, batches)
    plan, zone, language = run.plan, house.site.farm.zone, house.language
    first = min(step.start for step in plan.steps).astimezone(zone)
    midnight = datetime.combine(first.date(), datetime.min.time(), zone)
    last = max(step.end for step in plan.steps)
    landings = dict.fromkeys(
        f"{(run.slip.lands or lands_at(house, batch)).astimezone(zone):%H:%M}" for batch in batches
    )
    content = page.RunSheetContent(
        farm=house.site.farm.name,
        shipment=", ".join(sorted({batch.shipment for batch in batches})),
        date=language.day(first, "%a %d %b %Y"),
        from_h=float(int(_hours(first, midnight))),
        until_h=float(int(_hours(last, midnight)) + 1),
        stations=_stations(house, plan, midnight),
        boxes=_boxes(house, run),
        water=water_rows(house, plan),
        lands=", ".join(landings),
        finish=_finish(plan, zone, language),
        supplier=", ".join(sorted({house.site.supplier(b.supplier).name for b in batches})),
        cautions=gravest_of(house, batches),
        emergency=emergency_of(house),
        kills=kills_of(house, batches),
        notes=(*map(language.retell, plan.notes), *_of_all(plan, language)),
        moved=tuple(map(language.retell, plan.moved)),
        language=language,
    )
    return page.runsheet(in_figures(house.site.farm.measures.content(content), language), paper)


def _of_all(plan: DayPlan, language: Language) -> list[str]:
    """The state every box of the day is in, where it is the same."""
    state = _STATES.get(plan.state_of_all or "", "")
    return [language.say("Every box: {state}.", state=language.say(state))] if state else []


def _finish(plan: DayPlan, zone: object, language: Language) -> str:
    """Expected finish against closing time, in words."""
    if plan.finish is None:
        return ""
    closes = plan.problem.at(plan.problem.closes)
    gap = minutes_between(plan.finish, closes)
    told = f"{plan.finish.astimezone(zone):%H:%M}"  # type: ignore[arg-type]  # the farm's zone
    words = phrase("{time}, {minutes} min before closing at {closes}")
    if gap < 0:
        words = phrase("{time}, {minutes} min AFTER CLOSING at {closes}")
    return language.say(words, time=told, minutes=abs(gap), closes=f"{closes:%H:%M}")


def water_rows(house: House, plan: DayPlan) -> tuple[RunWater, ...]:
    """Every water to mix by the hour: for which system, how many liters at which temperature and salinity, and its salt."""
    import forms as page

    zone, rows = house.site.farm.zone, []
    for system, ready in prepared_by_system(house, plan).items():
        name = house.site.systems[system].name or system
        for hour in ready.hours:
            for number, water in enumerate(one for one in hour.waters if one.litres >= 0.5):
                counted = f": {_counted(house.language, hour)}" if not number else ""
                rows.append(
                    (
                        hour.starts,
                        page.RunWater(
                            f"{hour.starts.astimezone(zone):%H:%M}",
                            f"{name}{counted}",
                            f"{water.litres:.0f} L",
                            f"{water.salt_kg:.1f} kg",
                            f"{water.temperature_c:.1f} °C, {water.salinity_psu:g} PSU",
                        ),
                    )
                )
    return tuple(row for _, row in sorted(rows, key=lambda pair: pair[0]))


def _counted(language: Language, hour: HourNeed) -> str:
    tubs = language.say_many("{n} tub", "{n} tubs", hour.tubs) if hour.tubs else ""
    buckets = language.say_many("{n} dip bucket", "{n} dip buckets", hour.buckets) if hour.buckets else ""
    return ", ".join(part for part in (tubs, buckets) if part)


def _hours(moment: datetime, midnight: datetime) -> float:
    return minutes_between(midnight, moment) / 60


def _stations(house: House, plan: DayPlan, midnight: datetime) -> tuple[RunStation, ...]:
    import forms as page

    number = {row.box: row.number for row in plan.order()}
    lanes: dict[str, list[RunBar]] = {lane.id: [] for lane in plan.problem.lanes}
    people: dict[str, dict[str, None]] = {}
    for step in plan.steps:
        for lane in step.lanes if step.step != "count" else ():
            lanes.setdefault(lane, []).extend(_bars(house, plan, step.box, step.step, midnight, number[step.box]))
            people.setdefault(lane, {}).update(dict.fromkeys(named(house, one) for one in step.people))
    return tuple(
        page.RunStation(
            _lane(house, lane),
            "" if plan.steps and len(people[lane]) > 3 else ", ".join(people[lane]),
            tuple(sorted(bars, key=_start)),
        )
        for lane, bars in lanes.items()
        if bars
    )


def _lane(house: House, lane: str) -> str:
    """A place's name as the farm file has it; one the plan counts on to be found is said in words."""
    return lane if lane in short_lanes(house) else house.language.retell(lane)


def _start(bar: RunBar) -> float:
    return bar.start_h


def _bars(house: House, plan: DayPlan, box: str, step: str, midnight: datetime, number: int) -> list[RunBar]:
    """Bars of one box at one station; opening and count are one, and a wait in the tub is a bar of its own."""
    import forms as page

    put = next(one for one in plan.placed if one.box == box)
    need = next(one for one in plan.problem.boxes if one.box == box)
    say, short = house.language.say, str(number)
    text = f"{number} · {say('box {box}', box=box.rsplit('/', 1)[-1])}"

    def bar(start: int, end: int, kind: str, words: str = text, brief: str = short) -> RunBar:
        at = plan.problem.at
        return page.RunBar(_hours(at(start), midnight), _hours(at(end), midnight), words, brief, kind)

    if step == "open":
        return [bar(put.open_at, put.counted_at, "open")]
    if step == "dip":
        return [bar(put.finish_at, min(put.placed_at, put.finish_at + need.dip_minutes), "dip")]
    if step != "acclimate":
        return []
    ready = min(put.finish_at, put.tub_at + need.tub_minutes)
    bars = [bar(put.tub_at, ready, "acclimate")] if ready > put.tub_at else []
    return [*bars, bar(ready, put.finish_at, "wait", say("wait"), "")] if put.finish_at > ready else bars


_STATES = {"red": phrase("RED: very long in the bag"), "amber": phrase("AMBER: long in the bag")}


def named(house: House, person: str) -> str:
    """A person's name as the farm file has it; a stand-in of the plan is said in words."""
    known = house.site.people.get(person)
    return known.name if known is not None else house.language.retell(person)


def _boxes(house: House, run: DayRun) -> tuple[RunBox, ...]:
    import forms as page

    zone, of_all, say = house.site.farm.zone, run.plan.state_of_all, house.language.say
    waits = {put.box: put.tub_at - put.counted_at for put in run.plan.placed if put.tub_at - put.counted_at >= 5}
    rows = []
    for turn in box_turns(house, run.plan):
        row = turn.row
        state = "" if row.state == of_all else say(_STATES.get(row.state, ""))
        lost = waits.get(row.box)
        wait = say("counted animals wait {minutes} min for a tub", minutes=lost) if lost else ""
        words = (say("OPEN FIRST") if row.urgent else "", state, wait)
        rows.append(
            page.RunBox(
                order=row.number,
                box=turn.box,
                batch=", ".join(batch.id for batch in turn.batches),
                name=", ".join(dict.fromkeys(batch.name for batch in turn.batches)),
                opens=f"{row.opens.astimezone(zone):%H:%M}",
                hours_in_bag=row.hours_in_bag,
                station=" · ".join(part for part in (_lane(house, row.table), named(house, row.person)) if part),
                mode="; ".join(map(say, turn.modes)),
                vat=", ".join(turn.vats),
                count=turn.animals,
                placed_by=f"{turn.placed.astimezone(zone):%H:%M}" if turn.placed else "",
                warning=". ".join(part for part in words if part),
                done=row.box in run.placed,
            )
        )
    return tuple(rows)
