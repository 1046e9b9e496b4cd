"""The history of a batch on paper: everything recorded of it until a moment, in order of time, with its survival drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from intake.app.documents.weekly.history_words import record_events
from intake.app.output_files import save
from intake.app.session import House
from intake.errors import BadInput, Finding
from intake.farm.floor import Batch
from intake.ledger import Movement, movements, standing
from intake.report.losses import summary
from intake.report.survival import curve
from intake.units import show_length

if TYPE_CHECKING:
    from forms import HistoryContent, HistoryEvent

__all__ = ["print_histories"]


def print_histories(house: House, out: Path, batches: Sequence[Batch], paper: str) -> list[Path]:
    """Print what happened to each batch, with its survival drawn."""
    import forms as page

    if not batches:
        raise BadInput(Finding("print history", "no batch", "a batch", "Name one with --batch."))
    return [
        save(
            out / f"history-{batch.id}.pdf",
            page.history(house.site.farm.measures.content(_history(house, batch)), paper),
        )
        for batch in batches
    ]


def _history(house: House, batch: Batch) -> HistoryContent:
    import forms as page

    zone = house.site.farm.zone
    story = tuple(entry for entry in house.stream(batch.id) if entry.recorded_at <= house.now)
    told = summary(story, batch.id, house.now)
    alive = curve(story, batch.id, house.now)
    boxes = {
        str(r.payload.get("movement")): f"box {r.payload.get('box')}"
        for r in standing(story, "box")
        if r.payload.get("movement")
    }
    ours = list(movements(story))
    told_events = [(m.happened_at, m.recorded_at, _event(house, m, boxes)) for m in ours if m.happened_at <= house.now]
    told_events += record_events(house, batch, story)
    events = [event for _, _, event in sorted(told_events, key=lambda one: one[:2])]
    counts = () if told is None else (
        ("announced", batch.announced), ("came", told.came), ("dead on arrival", told.doa),
        ("dead, first 7 days", told.dead_first_week), ("dead later", told.dead_later), ("missing", told.missing),
        ("sold", told.sold), ("alive now", told.on_hand),
    )  # fmt: skip
    facts = (
        ("Supplier", house.site.suppliers[batch.supplier].name if batch.supplier in house.site.suppliers else "house"),
        ("Size", show_length(batch.size_mm, house.site.farm.units)),
        ("Ledger of", f"{house.now.astimezone(zone):%Y-%m-%d %H:%M}"),
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
