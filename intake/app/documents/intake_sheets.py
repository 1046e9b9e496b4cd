"""The intake sheet of a batch: every fact it prints, gathered from farm, library, plan, timetable and books."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from intake.app.documents.cautions import cautions_of
from intake.app.landing.acclimation_course import acclimation_of
from intake.app.output_files import save
from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.queries.planning.announced_shipments import hours_in_bag, lands_at
from intake.app.queries.planning.landing_work import placed_at
from intake.app.queries.planning.present_stock import freedoms
from intake.app.queries.planning.published_timetable import published_tasks
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.floor import Batch
from intake.units import show_length

if TYPE_CHECKING:
    from forms.documents.intake_sheet.sheet_content import Acclimation as AcclimationContent
    from forms.documents.intake_sheet.sheet_content import Permit, SheetContent, StageDates, VatShare
    from forms.documents.shared_content import WorkRow
    from intake.receiving.acclimation import Acclimation, Step
from intake.app.board_links import count_address
from intake.app.queries.planning.published_timetable import contact_words

__all__ = ["acclimation_content", "print_sheets", "sheet_of", "timed_work", "work_rows"]


_MODES = {
    "float_then_transfer": "Match the temperature, then transfer without bag water",
    "drip": "Drip: the tub fills",
    "overflow": "Drip: the tub overflows",
    "exchange": "Exchange in steps",
    "damp_direct": "Packed damp: rinse and place",
}


def print_sheets(
    house: House, out: Path, batches: Sequence[Batch], paper: str, *, fillable: bool = False
) -> list[Path]:
    """Print one sheet for each batch, and all of them in one file."""
    from forms.documents.intake_sheet.fit_two_pages import sheet, sheets

    if not batches:
        raise BadInput(Finding("print sheets", "no batch", "a shipment", "Read a packing list with `vatside expect`."))
    contents = [sheet_of(house, one) for one in batches]
    paths = [
        save(out / f"sheet-{one.id}.pdf", sheet(content, paper, fillable=fillable))
        for one, content in zip(batches, contents, strict=True)
    ]
    if len(contents) > 1:
        paths.append(save(out / "sheets.pdf", sheets(contents, paper)))
    return paths


def sheet_of(house: House, batch: Batch) -> SheetContent:
    """Everything the intake sheet of a batch says."""
    import forms as page
    from forms.documents.shared_content import Units

    group = house.library.group(batch.group)
    rows = [row for row in accepted_rows(house) if row["batch"] == batch.id]
    supplier = house.site.suppliers.get(batch.supplier)
    lands = lands_at(house, batch).astimezone(house.site.farm.zone)
    found = acclimation_of(house, batch)
    acclimation = None if found is None else acclimation_content(house, batch, found)
    return page.SheetContent(
        farm=house.site.farm.name,
        batch=batch.id,
        name=batch.name,
        announced=batch.announced,
        count_address=count_address(house, batch.id),
        supplier=supplier.name if supplier else batch.supplier,
        shipment=batch.shipment,
        group=group.name,
        common_name="" if batch.written_as == batch.name else batch.written_as,
        size=show_length(batch.size_mm, house.site.farm.units),
        boxes=", ".join(batch.boxes),
        lands=f"{lands:%a %d %b %Y %H:%M}{_in_bag(house, batch)}",
        vats=_shares(house, rows),
        stages=_stages(rows, published=not group.quarantine.unsourced),
        permits=_permits(house, batch),
        acclimation=acclimation,
        work=work_rows(house, batch),
        loss_dates=_loss_dates(lands.date()),
        release=_release(house, batch),
        cautions=cautions_of(house, [batch]),
        emergency=house.site.farm.emergency,
        units=Units(),
    )


def acclimation_content(house: House, batch: Batch, found: Acclimation) -> AcclimationContent:
    """How a batch is acclimated, as the forms print it."""
    import forms as page
    from forms.documents.acclimation_steps import AcclimationStep

    refused = found.first_breach is not None and not found.bag.measured
    steps = tuple(
        AcclimationStep(
            step.minute, _with_litres(step), step.volume_l, step.temperature_c, step.salinity_psu, step.ph_nbs,
            step.nh3_n_mg_per_l, step.o2_mg_per_l,
        )
        for step in found.steps
        if not refused
    )  # fmt: skip
    return page.Acclimation(
        mode=_MODES[found.mode],
        reason=found.reason if found.bag.measured else f"Expected bag water, not read yet. {found.reason}",
        steps=steps,
        limit=f"No safe table: {found.first_breach}" if refused else found.first_breach or "",
        water=f"{found.water_used_l:.1f} L a tub",
        tubs=found.setup.words,
        published=not house.library.group(batch.group).change.unsourced,
    )


def _with_litres(step: Step) -> str:
    """What to do, and the liters that came in and went out since the row before."""
    if step.water != "tub" or not step.removed_l:
        return step.action
    return f"{step.action} ({step.added_l:.1f} L in, {step.removed_l:.1f} L out.)"


def _in_bag(house: House, batch: Batch) -> str:
    hours = hours_in_bag(house, batch)
    return "" if hours is None else f" · {hours:.0f} h in the bag"


def _shares(house: House, rows: Sequence[Mapping[str, Any]]) -> tuple[VatShare, ...]:
    from forms.documents.intake_sheet.sheet_content import VatShare

    return tuple(
        VatShare(
            row["vat"],
            int(row["count"]),
            house.site.systems[house.site.vat(row["vat"]).system].name,
            row["stage"],
            row["from"],
            row["until"],
        )
        for row in sorted(rows, key=lambda row: (row["from"], row["vat"]))
    )


def _stages(rows: Sequence[Mapping[str, Any]], *, published: bool) -> tuple[StageDates, ...]:
    from forms.documents.intake_sheet.sheet_content import StageDates

    spans: dict[str, tuple[str, str]] = {}
    for row in rows:
        first, last = spans.get(row["stage"], (row["from"], row["until"]))
        spans[row["stage"]] = (min(first, row["from"]), max(last, row["until"]))
    return tuple(
        StageDates(stage, first, last, published or stage != "quarantine")
        for stage, (first, last) in sorted(spans.items(), key=lambda item: item[1])
    )


def _permits(house: House, batch: Batch) -> tuple[Permit, ...]:
    from forms.documents.intake_sheet.sheet_content import Permit

    listed = house.library.listing(batch.group, batch.name)
    note = f"{listed.by}: appendix {listed.appendix} ({listed.as_of})"
    words = [
        f"source code {batch.source_code}" if batch.source_code else "",
        f"origin {batch.origin}" if batch.origin else "",
    ]
    if batch.permit or listed.ask:
        number = batch.permit or "MISSING: request before arrival"
        told = "; ".join(part for part in (note, *words) if part)
        return (Permit("Permit", number, f"{batch.announced}", "", told),)
    return ()


def work_rows(house: House, batch: Batch) -> tuple[WorkRow, ...]:
    """Care of the first weeks, then dips and inspections of a batch as the timetable has them, for its own sheet."""
    return (*_first_weeks(house, batch), *(row for _, _, row in timed_work(house, batch, named=False)))


def _first_weeks(house: House, batch: Batch) -> tuple[WorkRow, ...]:
    """How to place and handle a newly landed lot, its light to the target, first food: each with its mark."""
    from forms.documents.shared_content import WorkRow

    table, group = house.library.after_arrival, house.library.group(batch.group)
    placed = placed_at(house, batch)
    if placed is None:
        return ()
    day = placed.astimezone(house.site.farm.zone)
    told = [("at placing", row.rule, row) for row in table.of("clam-orientation", batch.group)]
    told += [("handling", f"out of water at most {row.value}", row) for row in table.of("air-exposure", batch.group)]
    rows = [WorkRow(date=when, kind="care", what=words, published=not row.unsourced) for when, words, row in told]
    ramp = table.light(batch.group)
    if ramp is not None and group.light is not None:
        start = min(ramp.start_share * group.light.target_min, group.light.day1_max)
        end = day + timedelta(days=ramp.days)
        words = f"light {start:.0f} µmol, in even steps to {group.light.target_min:.0f} on {end:%d %b}"
        words += f"; pale: hold {ramp.hold_days} d" if ramp.hold_days else ""
        rows.append(WorkRow(date=f"{day:%a %d %b}", kind="care", what=words, published=not ramp.unsourced))
    food = table.first_food(batch.group)
    if food is not None:
        when = day + timedelta(hours=food[0])
        rows.append(WorkRow(f"{when:%a %d %b}", "care", "first food", published=not food[1].unsourced))
    return tuple(rows)


def timed_work(house: House, batch: Batch, *, named: bool = True) -> tuple[tuple[datetime, str, WorkRow], ...]:
    """Dips and inspections of a batch with the moment they start and their vat, in order of time.

    Parameters
    ----------
    named
        True shows the species with the work; False shows the vat, for paper that is of one batch.
    """
    from forms.documents.shared_content import WorkRow

    zone = house.site.farm.zone
    rows = []
    for task in sorted(published_tasks(house), key=lambda task: datetime.fromisoformat(str(task["start"]))):
        if task["batch"] != batch.id or task["kind"] not in {"dip", "inspection", "transfer", "release check"}:
            continue
        start, vat = datetime.fromisoformat(str(task["start"])).astimezone(zone), str(task["vat"] or "")
        title = str(task["title"])
        what = title if named else " · ".join(part for part in (title.removesuffix(f": {batch.name}"), vat) if part)
        protection: Any = task.get("protection") or ()
        row = WorkRow(
            date=f"{start:%a %d %b %H:%M}",
            kind=str(task["kind"]),
            what=what,
            strength=str(task.get("strength") or ""),
            minutes=contact_words(task),
            protection=", ".join(protection),
            published=not task.get("unsourced"),
        )
        rows.append((start, vat, row))
    return tuple(rows)


def _loss_dates(first: date) -> tuple[str, ...]:
    return tuple(f"{first + timedelta(days=offset):%a %d %b}" for offset in range(14))


def _release(house: House, batch: Batch) -> tuple[str, ...]:
    group = house.library.group(batch.group)
    told = freedoms(house).get((batch.id, "quarantine")) if batch.shipment in house.floor().received else None
    today: tuple[str, ...] = ()
    if told is not None:
        day = told.day(house.site.farm.zone, house.today)
        words = f"{day:%a %d %b} at the earliest" if day else f"no day yet: {'; '.join(told.unknown)}"
        today = (f"As of {house.today:%a %d %b}: {words}.",)
    return (
        *today,
        f"Not by date alone: {group.quarantine.days} days at the least, all work done, deaths explained or tested.",
        "The last lot to enter this water sets the date for all in it.",
        f"Starts again: {group.quarantine.restart}.",
    )
