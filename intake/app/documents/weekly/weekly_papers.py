"""Paper for the weeks after the day: dip and inspection log, daily round, batch histories, supplier report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from intake.app.documents.cautions import ALWAYS, OXIDISER, cautions_of
from intake.app.documents.weekly.work_calendar import timed_work
from intake.app.output_files import save
from intake.app.queries.biosecurity.reading_alarms import reading_alarms
from intake.app.queries.planning.published_timetable import published_tasks
from intake.app.queries.reports import supplier_scorecard
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.floor import Batch
from intake.ledger import Movement, movements, standing
from intake.report.losses import summary
from intake.report.survival import curve
from intake.units import show_length

if TYPE_CHECKING:
    from forms import HistoryContent, HistoryEvent, Rate

__all__ = ["print_dips", "print_histories", "print_round", "print_suppliers"]


def print_dips(house: House, out: Path, batches: Sequence[Batch], paper: str) -> list[Path]:
    """Print the log of dips and inspections of these batches, in order of date."""
    import forms as page

    floor = house.floor()
    found = []
    for batch in batches:
        vats = sorted({stay.vat for stay in floor.stays if stay.batch == batch.id})
        alive = floor.headcount(batch.id) or None
        found += [
            (start, page.DipLogRow(work, vat or ", ".join(vats), batch.id, alive))
            for start, vat, work in timed_work(house, batch)
        ]
    if not found:
        raise BadInput(Finding("print dips", "no work", "a timetable", "Run `vatside timetable` first."))
    found.sort(key=lambda one: (one[0], one[1].vat, one[1].batch))
    shipments = ", ".join(sorted({b.shipment for b in batches}))
    content = page.DipLogContent(
        house.site.farm.name,
        f"Dips and inspections {shipments}",
        tuple(row for _, row in found),
        _cautions_by_batch(house, batches),
    )
    return [save(out / f"dips-{shipments.replace(', ', '-')}.pdf", page.dip_log(content, paper))]


def _cautions_by_batch(house: House, batches: Sequence[Batch]) -> tuple[str, ...]:
    """Cautions of several batches, each with the batches it is about; those that always apply last."""
    about: dict[str, list[str]] = {}
    always: list[str] = []
    for batch in batches:
        for line in cautions_of(house, [batch]):
            if line in ALWAYS or line == OXIDISER:
                always.append(line)
            else:
                about.setdefault(line, []).append(batch.id)
    return (*(f"{', '.join(ids)}: {line}" for line, ids in about.items()), *dict.fromkeys(always))


def print_round(house: House, out: Path, batches: Sequence[Batch], paper: str) -> list[Path]:
    """Print today's round: clean water first, then quarantine from the oldest lot to the newest, never back."""
    import forms as page

    del batches
    floor, today = house.floor(), house.today
    due: dict[str, list[str]] = {}
    for task in published_tasks(house):
        start = datetime.fromisoformat(str(task["start"])).astimezone(house.site.farm.zone)
        if start.date() == today and task["vat"]:
            due.setdefault(str(task["vat"]), []).append(f"{start:%H:%M} {task['title']}")
    stops: list[tuple[Any, Any]] = []
    for system in house.site.systems.values():
        inside = [stay for vat in house.site.vats_of(system.id) for stay in floor.in_vat(vat.id)]
        if not inside:
            continue
        newest = max(stay.since for stay in inside)
        sick = any(hold.batch in {s.batch for s in inside} and not hold.lifted for hold in floor.holds)
        rank = (2 if sick else 1 if system.role == "quarantine" else 0, newest)
        vats = tuple(
            page.RoundVat(
                stay.vat,
                stay.batch,
                floor.batches[stay.batch].name,
                stay.count,
                f"day {(house.now - stay.since).days}" if stay.stage == "quarantine" else stay.stage,
                "; ".join(due.get(stay.vat, ())),
            )
            for stay in inside
        )
        last = (
            "Before the next system: take off gloves; wash hands, boots and sleeves. (confirm: wash or disinfect?)"
            if rank[0]
            else "Rinse hands and nets."
        )
        state = "held" if sick else "quarantine" if system.role == "quarantine" else "released"
        stops.append((rank, page.RoundStop(system.name, state, vats, last)))
    if not stops:
        raise BadInput(Finding("print round", "no animals", "animals in the vats"))
    content = page.RoundContent(
        house.site.farm.name,
        f"{today:%a %d %b %Y}",
        tuple(stop for _, stop in sorted(stops, key=lambda s: s[0])),
        cautions=(*(one.words for one in reading_alarms(house)), *ALWAYS),
    )
    return [save(out / f"round-{today}.pdf", page.round_sheet(content, paper))]


def print_histories(house: House, out: Path, batches: Sequence[Batch], paper: str) -> list[Path]:
    """Print what happened to each batch, with its survival drawn."""
    import forms as page

    if not batches:
        raise BadInput(Finding("print history", "no batch", "a batch", "Name one with --batch."))
    return [save(out / f"history-{batch.id}.pdf", page.history(_history(house, batch), paper)) for batch in batches]


def _history(house: House, batch: Batch) -> HistoryContent:
    import forms as page

    zone = house.site.farm.zone
    story = house.stream(batch.id)
    told = summary(story, batch.id, house.now)
    alive = curve(story, batch.id, house.now)
    boxes = {
        str(r.payload.get("movement")): f"box {r.payload.get('box')}"
        for r in standing(story, "box")
        if r.payload.get("movement")
    }
    ours = list(movements(story))
    events = [_event(house, m, boxes) for m in sorted(ours, key=lambda m: (m.happened_at, m.recorded_at))]
    counts = () if told is None else (
        ("announced", batch.announced), ("came", told.came), ("dead on arrival", told.doa),
        ("dead, first 7 days", told.dead_first_week), ("dead later", told.dead_later), ("missing", told.missing),
        ("sold", told.sold), ("alive now", told.on_hand),
    )  # fmt: skip
    facts = (
        ("Supplier", house.site.suppliers[batch.supplier].name if batch.supplier in house.site.suppliers else "house"),
        ("Size", show_length(batch.size_mm, house.site.farm.units)),
        ("Printed", f"{house.now.astimezone(zone):%Y-%m-%d %H:%M}"),
    )
    points = (
        ()
        if alive is None
        else tuple(page.SurvivalPoint(step.day, step.survival, step.low, step.high) for step in alive.steps)
    )
    if points and points[0].day > 0:
        points = (page.SurvivalPoint(0.0, 1.0, 1.0, 1.0), *points)  # no one had died yet
    return page.HistoryContent(
        farm=house.site.farm.name, batch=batch.id, name=batch.name, events=tuple(events), counts=counts, facts=facts,
        survival=points, until_day=alive.last_day if alive is not None else 0.0,
        interval_words="Kaplan–Meier with 95 % log–log intervals; animals sold or moved out are counted as alive until then.",
    )  # fmt: skip


def _event(house: House, movement: Movement, boxes: Mapping[str, str]) -> HistoryEvent:
    import forms as page

    when = movement.happened_at.astimezone(house.site.farm.zone)
    source, target = movement.source.removeprefix("vat:"), movement.target.removeprefix("vat:")
    words = _WORDS.get(movement.target, "moved" if movement.source.startswith("vat:") else "came in")
    who = house.site.people[movement.who].name if movement.who in house.site.people else movement.who
    note = "; ".join(part for part in (boxes.get(movement.key, ""), movement.note) if part)
    return page.HistoryEvent(
        f"{when:%Y-%m-%d %H:%M}", "undone" if movement.corrects else words, who, movement.count, source, target,
        note, movement.corrects or "",
    )  # fmt: skip


_WORDS = {
    "doa": "dead on arrival",
    "dead": "dead",
    "missing": "missing",
    "wrong": "not as ordered",
    "sold": "sold",
    "sample": "taken for a test",
    "discarded": "discarded",
    "dock": "on the dock",
}
"""What a movement into a place is called on paper."""


def print_suppliers(house: House, out: Path, batches: Sequence[Batch], paper: str) -> list[Path]:
    """Print each supplier's rates with their intervals."""
    import forms as page

    del batches
    told = supplier_scorecard.suppliers(house)
    if not told["suppliers"]:
        raise BadInput(Finding("print suppliers", "nothing received", "a received shipment"))
    alike: dict[str, list[str]] = {}
    for places in told["ranking"].values():
        for place in places:
            alike.setdefault(place["supplier"], []).extend(place["cannot_be_told_from"])
    rows = []
    for one in told["suppliers"]:
        others = ", ".join(sorted(set(alike.get(one["supplier"], ()))))
        name = (
            house.site.suppliers[one["supplier"]].name if one["supplier"] in house.site.suppliers else one["supplier"]
        )
        rows.append(
            page.SupplierRow(
                name,
                one["shipments"],
                one["came"],
                _rate(one, "doa"),
                _rate(one, "lost by day 7"),
                note=f"No proven difference from {others}." if others else "",
            )
        )
    received = len(house.floor().received)
    period = f"{received} shipment{'' if received == 1 else 's'} received, to {house.today.isoformat()}"
    method = (
        "Beta-binomial shrinkage towards what is usual among suppliers, 95 % intervals; shipments, not animals, weigh."
    )
    content = page.SupplierContent(house.site.farm.name, period, tuple(rows), method)
    return [save(out / f"suppliers-{date.isoformat(house.today)}.pdf", page.supplier_report(content, paper))]


def _rate(one: dict[str, Any], head: str) -> Rate | None:
    import forms as page

    share = one["shares"].get(head)
    if share is None:
        return None
    if share["low"] is None:
        return page.Rate(100 * share["estimate"], None, None, share["interval"])
    return page.Rate(100 * share["estimate"], 100 * share["low"], 100 * share["high"])
