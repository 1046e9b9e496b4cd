"""Paper for the receiving day: checklists, labels for vats and boxes, run sheet, and the water and salt to have ready."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from intake.app.board_links import count_address
from intake.app.documents.cautions import cautions_of, rule_cautions
from intake.app.documents.cautions.printed_dangers import emergency_of, kills_of
from intake.app.documents.intake_sheets import acclimation_content, paper_units
from intake.app.documents.run_sheet import box_turns, current_day, runsheet_pdf, short_lanes, water_rows
from intake.app.documents.weekly.returned.form_origin import form_subject
from intake.app.landing.acclimation_course import BAGS_IN_A_BOX, Course, Logged, acclimation_of, course_of
from intake.app.landing.kept_day import DayRun
from intake.app.landing.receiving_day import prepared, water_lacking
from intake.app.output_files import save
from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.queries.planning.announced_shipments import lands_at
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.floor import Batch
from intake.farm.shown_units import FarmUnits
from intake.language import Language, in_figures, phrase
from intake.receiving import Preparation

if TYPE_CHECKING:
    from forms.documents.acclimation_checklist import ChecklistContent, LoggedReading

__all__ = ["print_box_labels", "print_checklists", "print_runsheet", "print_water"]

_WATER_NOTES = (
    phrase("Mix each hour's water in advance; keep it aerated and at temperature."),
    phrase("Counted with {bags} bags a box, a bag volume to rinse, 3 baths a dip bucket, a vat in reserve (defaults)."),
    phrase("Salt is weighed as dry sea salt. A mix that holds water needs more of it: read the salinity, then add."),
)
_NO_VAT = Finding("print", "no batch with a vat", "an accepted plan", "Run `vatside plan --accept`.")


def print_checklists(
    house: House, out: Path, batches: Sequence[Batch], paper: str, *, fillable: bool = False
) -> list[Path]:
    """Print one acclimation checklist for each batch with a vat, in the order of the lines.

    Where a reading was taken mid-way, the table is the one made again from it, with the steps before it ticked.
    """
    from forms.documents.acclimation_checklist import checklist

    contents = [_checklist(house, batch, course_of(house, batch)) for batch in batches if acclimation_of(house, batch)]
    if not contents:
        raise BadInput(_NO_VAT)
    name = batches[0].id if len(batches) == 1 else _shipments(batches)
    told = in_figures(house.site.farm.measures.content(contents), house.language)
    steps = [f"{one.batch} {' '.join(f'{step.minute:g}' for step in one.acclimation.steps)}" for one in contents]
    data = checklist(told, paper, fillable=fillable, subject=form_subject("checklists", house.now, *steps))
    return [save(out / f"checklists-{name}.pdf", data)]


def _shipments(batches: Sequence[Batch]) -> str:
    return "-".join(sorted({batch.shipment for batch in batches}))


def _checklist(house: House, batch: Batch, course: Course) -> ChecklistContent:
    from forms.documents.acclimation_checklist import ChecklistContent

    zone, bag = house.site.farm.zone, course.planned.bag
    lands = lands_at(house, batch).astimezone(zone)
    vats = dict.fromkeys(
        str(r["vat"]) for r in accepted_rows(house) if r["batch"] == batch.id and r["stage"] != "grow-out"
    )
    told = acclimation_content(house, batch, course.now)
    say = house.language.say
    per = say("The table is for one tub; each box of this batch takes {number}.", number=max(1, course.now.setup.tubs))
    if not bag.damp:
        per += " " + say(
            "Counted with {number} bags of {volume} a box.", number=BAGS_IN_A_BOX, volume=f"{bag.volume_l:g} L"
        )
    per += " " + say("Water of bags and tubs goes to the waste drain, never into a system.")
    return ChecklistContent(
        farm=house.site.farm.name,
        station=", ".join(s.name for s in house.site.stations.values() if s.kind == "acclimation") or say("Tubs"),
        batch=batch.id,
        name=batch.name,
        acclimation=told,
        vat=", ".join(vats),
        count=batch.announced,
        date=house.language.day(lands, "%a %d %b %Y"),
        starts=f"{_started(course).astimezone(zone):%H:%M}" if course.logged else "",
        boxes=", ".join(batch.boxes),
        cautions=cautions_of(house, [batch]),
        emergency=emergency_of(house),
        kills=kills_of(house, [batch]),
        per=per,
        logged=tuple(row for one in course.logged for row in _logged(house.site.farm.measures, one)),
        done_until=course.logged[-1].minute if course.logged else 0,
        language=house.language,
        count_address=count_address(house, batch.id),
        units=paper_units(house),
    )


def _started(course: Course) -> datetime:
    last = course.logged[-1]
    return last.at - timedelta(minutes=last.minute)


def _logged(measures: FarmUnits, one: Logged) -> list[LoggedReading]:
    from forms.documents.acclimation_checklist import LoggedReading

    expected = one.expected
    rows: list[LoggedReading] = []
    for name, value, words, decimals in (
        ("temperature_c", expected.temperature_c, f"temperature, {measures.unit('temperature_c')}", 1),
        ("salinity_psu", expected.salinity_psu, f"salinity, {measures.unit('salinity_psu')}", 1),
        ("ph", expected.ph_nbs if one.ph_scale == "nbs" else None, f"pH, {one.ph_scale} scale", 2),
        ("tan_n_mg_per_l", None, "total ammonia, mg N/L", 2),
        ("volume_l", expected.volume_l, f"water in the tub, {measures.unit('volume_l')}", 1),
        ("o2_mg_per_l", expected.o2_mg_per_l, "oxygen, mg/L", 1),
    ):
        if name in one.read:
            planned = "–" if value is None else measures.figure(name, value, decimals)
            rows.append(LoggedReading(str(one.minute), words, planned, measures.figure(name, one.read[name], decimals)))
    return rows


def _grid(paper: str) -> str:
    return "letter-2x5" if paper == "letter" else "a4-2x4"


def print_box_labels(house: House, out: Path, batches: Sequence[Batch], paper: str) -> list[Path]:
    """Print a label for each box in the order of opening: its turn in large type, its station, what is in it, its vat."""
    return [_box_labels(house, out, mine, paper) for mine in _landings(house, batches)]


def _box_labels(house: House, out: Path, batches: Sequence[Batch], paper: str) -> Path:
    from forms.documents.labels.label_sheets import LabelContent, labels

    plan, zone = _day(house, batches).plan, house.site.farm.zone
    lanes, say = short_lanes(house), house.language.say
    contents = []
    for turn in box_turns(house, plan):
        row = turn.row
        deadly = any("PALYTOXIN" in text for batch in turn.batches for text in _texts(house, batch))
        first = " ".join(part for part in (say("URGENT") if row.urgent else "", say("box {box}", box=turn.box)) if part)
        lines = (
            " · ".join(
                part for part in (first, f"{row.opens.astimezone(zone):%H:%M}", lanes.get(row.table, "")) if part
            ),
            f"{', '.join(batch.id for batch in turn.batches)}  ×{turn.animals} → {', '.join(turn.vats) or say('no vat yet')}",
            ", ".join(dict.fromkeys(batch.name for batch in turn.batches)),
            say("PALYTOXIN: gloves, eyes covered, keep wet") if deadly else "; ".join(map(say, turn.modes)),
            *((say("RULE BROKEN: read the run sheet"),) if rule_cautions(house, turn.batches) else ()),
        )
        contents.append(
            LabelContent(say("No. {number}", number=row.number), lines, count_address(house, turn.batches[0].id))
        )
    return save(
        out / f"boxlabels-{_shipments(batches)}.pdf",
        labels(
            in_figures(house.site.farm.measures.content(contents), house.language),
            _grid(paper),
            language=house.language,
        ),
    )


def _landings(house: House, batches: Sequence[Batch]) -> list[list[Batch]]:
    """Batches by shipment: a landing day is one shipment's; received ones are left out unless they are asked for alone.

    Raises
    ------
    BadInput
        Nothing is to land.
    """
    found: dict[str, list[Batch]] = {}
    for batch in batches:
        if batch.shipment:
            found.setdefault(batch.shipment, []).append(batch)
    received = house.floor().received
    if len(found) > 1:
        found = {shipment: mine for shipment, mine in found.items() if shipment not in received}
    if not found:
        raise BadInput(Finding("print", "no shipment to land", "a shipment to come, or one by name", "Add --shipment."))
    return [found[shipment] for shipment in sorted(found)]


def _texts(house: House, batch: Batch) -> tuple[str, ...]:
    return tuple(text.upper() for text in house.library.group(batch.group).cautions.text)


def _day(house: House, batches: Sequence[Batch]) -> DayRun:
    if not batches:
        raise BadInput(_NO_VAT)
    return current_day(house, batches)


def print_water(house: House, out: Path, batches: Sequence[Batch], paper: str) -> list[Path]:
    """Print the water and salt to have ready, hour by hour, with places to write what it turned out to be."""
    return [_water(house, out, mine, paper) for mine in _landings(house, batches)]


def _water(house: House, out: Path, batches: Sequence[Batch], paper: str) -> Path:
    from forms.documents.receiving_run_sheet import WaterListContent, water_list

    plan, language = _day(house, batches).plan, house.language
    ready = prepared(house, batches, plan)
    lands = min(lands_at(house, batch) for batch in batches).astimezone(house.site.farm.zone)
    content = WaterListContent(
        farm=house.site.farm.name,
        shipment=", ".join(sorted({batch.shipment for batch in batches})),
        date=language.day(lands, "%a %d %b %Y"),
        rows=water_rows(house, plan),
        totals=_totals(ready, language),
        notes=(
            *map(language.retell, water_lacking(house, ready)),
            *(language.say(words, bags=BAGS_IN_A_BOX) for words in _WATER_NOTES),
        ),
        cautions=cautions_of(house, []),
        emergency=emergency_of(house),
        kills=kills_of(house, []),
        units=paper_units(house),
        language=language,
    )
    told = in_figures(house.site.farm.measures.content(content), language)
    return save(out / f"water-{_shipments(batches)}.pdf", water_list(told, paper))


def _totals(ready: Preparation, language: Language) -> tuple[tuple[str, str], ...]:
    say = language.say
    return (
        (say("Mixed water, all"), f"{ready.ready_before_l:.0f} L"),
        (say("of it for acclimation and rinse"), f"{ready.acclimation_l:.0f} L"),
        (say("of it for dips"), f"{ready.dip_l:.0f} L"),
        (say("of it in reserve"), f"{ready.reserve_l:.0f} L"),
        (say("Salt"), f"{ready.salt_kg:.1f} kg"),
        (say("Fresh water"), f"{ready.fresh_water_l:.0f} L"),
        (say("Tubs, dip buckets"), f"{ready.most_tubs}, {ready.most_buckets}"),
        (say("People at once"), f"{ready.most_people}"),
    )


def print_runsheet(
    house: House, out: Path, batches: Sequence[Batch], paper: str, run: DayRun | None = None
) -> list[Path]:
    """Print a run sheet for each shipment to land, of its day as kept or of ``run``."""
    return [
        save(out / f"runsheet-{_shipments(mine)}.pdf", runsheet_pdf(house, mine, paper, run or _day(house, mine)))
        for mine in _landings(house, batches)
    ]
