"""The intake sheet of a batch: every fact it prints, gathered from farm, library, plan, timetable and books."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from intake.app.board_links import count_address
from intake.app.documents.cautions.printed_dangers import emergency_of, kills_of, wear_of, wear_words
from intake.app.documents.weekly.work_calendar import sheet_calendar
from intake.app.landing.acclimation_course import table_now
from intake.app.output_files import save
from intake.app.queries.planning.accepted_plan import accepted_rows
from intake.app.queries.planning.announced_shipments import hours_in_bag, lands_at
from intake.app.queries.planning.landing_work import placed_at
from intake.app.queries.planning.present_stock import freedoms
from intake.app.queries.planning.published_timetable import contact_words, disposal_of
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.floor import Batch
from intake.language import ENGLISH, Language, in_figures, phrase
from intake.receiving import arrival_dip
from intake.units import show_length

if TYPE_CHECKING:
    from forms.documents.intake_sheet.sheet_content import Acclimation as AcclimationContent
    from forms.documents.intake_sheet.sheet_content import Bath, Permit, SheetContent, VatShare
    from forms.documents.shared_content import Units
    from intake.receiving.acclimation import Acclimation, Step

__all__ = ["acclimation_content", "brief_step", "paper_units", "print_sheets", "sheet_of"]


_MODES = {
    "float_then_transfer": phrase("Match the temperature, then transfer without bag water"),
    "drip": phrase("Drip: the tub fills"),
    "overflow": phrase("Drip: the tub overflows"),
    "exchange": phrase("Exchange in steps"),
    "damp_direct": phrase("Packed damp: rinse and place"),
}


def print_sheets(
    house: House, out: Path, batches: Sequence[Batch], paper: str, *, fillable: bool = False
) -> list[Path]:
    """Print one sheet for each batch, and all of them in one file."""
    from forms.documents.intake_sheet.sheet_pages import sheet, sheets

    if not batches:
        raise BadInput(Finding("print sheets", "no batch", "a shipment", "Read a packing list with `vatside expect`."))
    contents = in_figures(house.site.farm.measures.content([sheet_of(house, one) for one in batches]), house.language)
    paths = [
        save(out / f"sheet-{one.id}.pdf", sheet(content, paper, fillable=fillable))
        for one, content in zip(batches, contents, strict=True)
    ]
    if len(contents) > 1:
        paths.append(save(out / "sheets.pdf", sheets(contents, paper, fillable=fillable)))
    return paths


def sheet_of(house: House, batch: Batch) -> SheetContent:
    """Everything the intake sheet of a batch says."""
    import forms as page
    from forms.documents.shared_content import LOCAL_RULES, UNSOURCED_NOTE

    group = house.library.group(batch.group)
    rows = [row for row in accepted_rows(house) if row["batch"] == batch.id]
    first = _first_rows(rows)
    supplier = house.site.suppliers.get(batch.supplier)
    lands = lands_at(house, batch).astimezone(house.site.farm.zone)
    found = table_now(house, batch)
    hours = hours_in_bag(house, batch)
    kinds, work = sheet_calendar(house, batch)
    say, retell = house.language.say, house.language.retell
    until = _until(house, batch, first, lands.date())
    protection = [kind.protection for kind in kinds]
    return page.SheetContent(
        farm=house.site.farm.name,
        batch=batch.id,
        name=batch.name,
        announced=batch.announced,
        count_address=count_address(house, batch.id),
        supplier=supplier.name if supplier else batch.supplier,
        shipment=batch.shipment,
        group=retell(group.name),
        common_name="" if batch.written_as == batch.name else batch.written_as,
        size=show_length(batch.size_mm, house.site.farm.units),
        boxes=batch.boxes,
        lands=house.language.day(lands, "%a %d %b %Y %H:%M"),
        in_bag="" if hours is None else f"{hours:.0f} h",
        printed=_printed(house, rows),
        revision=say("revision {number}", number=_revision(house, batch)) + " · " + say("bin any lower"),
        kills=kills_of(house, [batch]),
        wear=wear_of(house, [batch], protection),
        wear_words=wear_words(house, [batch]),
        emergency=emergency_of(house),
        vats=_shares(house, first),
        permits=_permits(house, batch),
        acclimation=None if found is None else acclimation_content(house, batch, found),
        baths=_baths(house, batch),
        onwards=(*_first_weeks(house, batch), *_afterwards(house, batch, rows)),
        weeks_from=lands.date(),
        days=(until - lands.date()).days + 1,
        kinds=kinds,
        work=tuple(one for one in work if lands.date() <= one.day <= until),
        gates=_gates(house, batch, first, until),
        foot=f"{say(UNSOURCED_NOTE)} · {say(LOCAL_RULES)}",
        language=house.language,
        units=paper_units(house),
    )


def paper_units(house: House) -> Units:
    """The units in the headings of the farm's papers."""
    from forms.documents.shared_content import Units

    measures = house.site.farm.measures
    unit = measures.unit
    return Units(
        unit("temperature_c"), unit("volume_l"), unit("salinity_psu"), salinity_decimals=4 if measures.scale else 1
    )


def _first_rows(rows: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Placements the animals enter from the bag; later stages are other days' counts."""
    told = sorted(rows, key=lambda row: (row["from"], row["vat"]))
    return [row for row in told if (row["stage"], row["from"]) == (told[0]["stage"], told[0]["from"])]


def _printed(house: House, rows: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    person = house.site.people.get(house.who)
    plans = ", ".join(dict.fromkeys(str(row["plan"]) for row in rows))
    say, who = house.language.say, person.name if person else house.who
    moment = house.language.day(house.now.astimezone(house.site.farm.zone), "%a %d %b %Y %H:%M")
    told = say("printed {moment} by {who}", moment=moment, who=who)
    return (told, say("plan {plans}", plans=plans)) if plans else (told,)


def _revision(house: House, batch: Batch) -> int:
    """Number of the last record this sheet is made of: of its line, plan, tasks, bags, orders; 0 without any.

    Two prints of one sheet say the same number exactly where the books said the same, and the higher one is the later.
    """
    records = [record for record in house.latest("plan").values() if record.payload.get("state") == "accepted"]
    records += [record for record in house.latest("task").values() if record.payload.get("batch") == batch.id]
    records += [record for record in house.latest("prescription").values() if record.payload.get("batch") == batch.id]
    records += house.readings_of(batch.id, *(f"{batch.shipment}/{box}" for box in batch.boxes))
    records += [record for record in (house.last("batch", batch.id),) if record is not None]
    return max((record.id or 0 for record in records), default=0)


def _until(house: House, batch: Batch, first: Sequence[Mapping[str, Any]], lands: date) -> date:
    """Last day of the calendar: when the plan lets the animals leave, or the day the books give if that is later."""
    days = [date.fromisoformat(str(row["until"])) for row in first]
    days.append(lands + timedelta(days=house.library.group(batch.group).quarantine.days))
    told = _freed(house, batch)
    return max([*days, *([told] if told else [])])


def _freed(house: House, batch: Batch) -> date | None:
    told = freedoms(house).get((batch.id, "quarantine")) if batch.shipment in house.floor().received else None
    return told.day(house.site.farm.zone, house.today) if told is not None else None


def acclimation_content(house: House, batch: Batch, found: Acclimation) -> AcclimationContent:
    """How a batch is acclimated, as the forms print it."""
    import forms as page
    from forms.documents.acclimation_steps import AcclimationStep

    told = house.site.farm.measures.number
    refused = found.first_breach is not None and not found.bag.measured
    steps = tuple(
        AcclimationStep(
            step.minute, _with_litres(house, step), told("volume_l", step.volume_l), told("temperature_c", step.temperature_c),
            told("salinity_psu", step.salinity_psu), step.ph_nbs,
            step.nh3_n_mg_per_l, step.o2_mg_per_l, brief_step(step.action, house.language), step.water == "vat",
        )
        for step in found.steps
        if not refused
    )  # fmt: skip
    say, retell = house.language.say, house.language.retell
    unread = say("Expected bag water, not read yet.")
    breach = retell(found.first_breach or "")
    return page.Acclimation(
        mode=say(_MODES[found.mode]),
        reason=retell(found.reason) if found.bag.measured else f"{unread} {retell(found.reason)}",
        steps=steps,
        limit=say("No safe table: {why}", why=breach) if refused else breach,
        water=say("{volume} a tub", volume=f"{found.water_used_l:.1f} L"),
        tubs=retell(found.setup.words),
        published=not house.library.group(batch.group).change.unsourced,
        expected=not found.bag.measured,
    )


def _with_litres(house: House, step: Step) -> str:
    """What to do, and the liters that came in and went out since the row before."""
    if step.water != "tub" or not step.removed_l:
        return house.language.retell(step.action)
    return house.language.say(
        "{do} ({added} L in, {removed} L out.)",
        do=house.language.retell(step.action), added=f"{step.added_l:.1f}", removed=f"{step.removed_l:.1f}",
    )  # fmt: skip


_BRIEFS = (
    (re.compile(r"^Move the animals into the vat\."), phrase("tub water: to waste, never into a system")),
    (re.compile(r"^Set the heater to ([\d.]+ °C)\.$"), phrase("heater {told}")),
    (re.compile(r"^Set the drip to ([\d.]+ L/h)\."), phrase("drip {told}")),
    (re.compile(r"^Hold this temperature and wait (\d+ min)\."), phrase("hold, wait {told}")),
    (re.compile(r"^Stop the drip and wait (\d+ min)\."), phrase("stop the drip, wait {told}")),
    (re.compile(r"^Keep it floating, now in (.+)\.$"), phrase("float in {told}")),
    (re.compile(r"^Open.*[;.] [Ss]et the heater to ([\d.]+ °C)\.$"), phrase("as above, heater {told}")),
    (re.compile(r"^Open.*; drip ([\d.]+ L/h)\.$"), phrase("as above, drip {told}")),
)
"""What the tables of acclimation say → the few words of a rung; a sentence not found here is printed whole."""


def brief_step(action: str, language: Language = ENGLISH) -> str:
    """An acclimation step in the few words that fit a rung; empty where only the whole sentence will do."""
    for pattern, words in _BRIEFS:
        if found := pattern.match(action):
            told = language.retell(found[1]) if found.groups() else ""
            return language.say(words, told=told)
    return ""


def _shares(house: House, rows: Sequence[Mapping[str, Any]]) -> tuple[VatShare, ...]:
    from forms.documents.intake_sheet.sheet_content import VatShare

    shares = []
    for row in rows:
        vat = house.site.vat(row["vat"])
        shares.append(VatShare(row["vat"], int(row["count"]), house.site.systems[vat.system].name))
    return tuple(shares)


def _baths(house: House, batch: Batch) -> tuple[Bath, ...]:
    """The bath of the landing day, between tub and vat; nothing chemical and nothing osmotic is done on that day."""
    from forms.documents.intake_sheet.sheet_content import Bath

    group = house.library.group(batch.group)
    dip = arrival_dip(house.site, house.library, group) if batch.shipment else None
    if dip is None:
        return ()
    retell = house.language.retell
    minutes = contact_words({"contact_min": dip.contact_min, "contact_max": dip.contact_max})
    return (
        Bath(retell(dip.name), retell(dip.strength), minutes, ", ".join(map(retell, dip.protection)),
             retell(disposal_of(house, dip.id)),
             published=not dip.unsourced),
    )  # fmt: skip


def _permits(house: House, batch: Batch) -> tuple[Permit, ...]:
    from forms.documents.intake_sheet.sheet_content import Permit

    listed = house.library.listing(batch.group, batch.name)
    say = house.language.say
    note = say("{by}: appendix {number} ({source})", by=listed.by, number=listed.appendix, source=listed.as_of)
    words = [
        say("source code {code}", code=batch.source_code) if batch.source_code else "",
        say("origin {place}", place=batch.origin) if batch.origin else "",
    ]
    if batch.permit or listed.ask:
        number = batch.permit or say("MISSING: request before arrival")
        told = "; ".join(part for part in (note, *words) if part)
        return (Permit(say("Permit"), number, f"{batch.announced}", "", told),)
    return ()


def _first_weeks(house: House, batch: Batch) -> tuple[str, ...]:
    """How to place and handle a newly landed lot, its light to the target, first food: each with its mark."""
    from forms.documents.shared_content import marked

    table, group = house.library.after_arrival, house.library.group(batch.group)
    placed = placed_at(house, batch)
    if placed is None:
        return ()
    day = placed.astimezone(house.site.farm.zone)
    say, retell = house.language.say, house.language.retell
    told = [
        (say("At placing: {rule}", rule=retell(row.rule)), row) for row in table.of("clam-orientation", batch.group)
    ]
    told += [
        (say("Out of water at most {time}", time=retell(row.value)), row)
        for row in table.of("air-exposure", batch.group)
    ]
    sentences = [f"{marked(words, published=not row.unsourced)}." for words, row in told]
    ramp = table.light(batch.group)
    if ramp is not None and group.light is not None:
        start = min(ramp.start_share * group.light.target_min, group.light.day1_max)
        end = day + timedelta(days=ramp.days)
        words = say(
            "Light {start} µmol, in even steps to {target} on {day}",
            start=f"{start:.0f}", target=f"{group.light.target_min:.0f}", day=house.language.day(end, "%d %b"),
        )  # fmt: skip
        words += "; " + say("pale: hold {days} d", days=ramp.hold_days) if ramp.hold_days else ""
        sentences.append(f"{marked(words, published=not ramp.unsourced)}.")
    food = table.first_food(batch.group)
    if food is not None:
        words = say("First food {day}", day=house.language.day(day + timedelta(hours=food[0]), "%a %d %b"))
        sentences.append(f"{marked(words, published=not food[1].unsourced)}.")
    return tuple(sentences)


def _afterwards(house: House, batch: Batch, rows: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """What starts the quarantine again, and where the plan sends the animals after it."""
    language, say = house.language, house.language.say
    restart = language.retell(house.library.group(batch.group).quarantine.restart)
    told = [say("Quarantine restarts if: {why}.", why=restart)]
    later = [row for row in rows if row["stage"] != (_first_rows(rows)[0]["stage"] if rows else "")]
    if later:
        where = ", ".join(say("{count} in {vat}", count=row["count"], vat=row["vat"]) for row in later)
        day = language.day(date.fromisoformat(str(later[0]["from"])), "%a %d %b")
        stage = language.retell(str(later[0]["stage"]))
        told.append(say("Then {stage} from {day}: {where}.", stage=stage, day=day, where=where))
    return tuple(told)


def _earliest(house: House, batch: Batch, until: date) -> str:
    """The day of release as the books have it today, or why they have none; before landing the plan's day."""
    say, landed = house.language.say, batch.shipment in house.floor().received
    told = freedoms(house).get((batch.id, "quarantine")) if landed else None
    if told is None:
        return say("Not before {day}.", day=house.language.day(until, "%a %d %b %Y"))
    day = told.day(house.site.farm.zone, house.today)
    if day:
        words = say("{day} at the earliest", day=house.language.day(day, "%a %d %b"))
    else:
        words = say("no day yet: {why}", why="; ".join(map(house.language.retell, told.unknown)))
    return say("As of {day}: {words}.", day=house.language.day(house.today, "%a %d %b"), words=words)


def _both(house: House, names: tuple[str, ...]) -> str:
    """Names of systems in a sentence: one, two joined, or a list that ends so."""
    if len(names) < 2:
        return names[0] if names else ""
    return house.language.say("{one} and {other}", one=_both(house, names[:-1]), other=names[-1])


def _gates(house: House, batch: Batch, rows: Sequence[Mapping[str, Any]], until: date) -> tuple[str, ...]:
    """Conditions of release, each to be signed for; the first names the water and the day."""
    from forms.documents.shared_content import marked

    group = house.library.group(batch.group)
    systems = dict.fromkeys(house.site.systems[house.site.vat(row["vat"]).system].name for row in rows)
    say = house.language.say
    water = _both(house, tuple(systems)) or say("this water")
    days = marked(say("{number} days", number=group.quarantine.days), published=not group.quarantine.unsourced)
    return (
        say(
            "{days} from the last lot to enter {water}. {when}",
            days=days,
            water=water,
            when=_earliest(house, batch, until),
        ),
        say("All work done, last inspection found nothing. A find restarts the count"),
        say("Every death explained, or tested with a clean result"),
        say("No lot in this water is held or in quarantine"),
    )
