"""One batch: counts, survival, history with what can be undone, work ahead, and what stands before its release."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from intake.app.act_recording import batch_named
from intake.app.queries.overview.due_work import DayOfWork, due_work
from intake.app.queries.overview.entry_words import OUTSIDE, entry_words
from intake.app.queries.overview.floor_today import ReleaseFact, releases
from intake.app.session import House
from intake.farm.floor import Batch
from intake.ledger import Movement, Record, balances, vat_id
from intake.report import loss_bars, summary, survival_steps
from intake.report.losses import Losses, by_day
from intake.report.survival import curve

__all__ = ["BatchFacts", "HistoryLine", "batch_facts"]


@dataclass(frozen=True, slots=True)
class HistoryLine:
    """One entry about the batch in words.

    Attributes
    ----------
    undo
        Key by which it can be undone, empty when it cannot or was.
    taken_back
        Whether a later entry took it back.
    """

    at: datetime
    recorded: datetime
    who: str
    words: str
    key: str
    undo: str
    taken_back: bool


@dataclass(frozen=True, slots=True)
class BatchFacts:
    """One batch as its page shows it; pictures are SVG text, empty while there is nothing to draw."""

    batch: Batch
    group: str
    places: tuple[tuple[str, int, str], ...]
    alive: int
    losses: Losses | None
    survival: str
    bars: str
    release: ReleaseFact | None
    held: tuple[tuple[datetime, str], ...]
    history: tuple[HistoryLine, ...]
    work: tuple[DayOfWork, ...]
    photos: tuple[tuple[str, datetime, str], ...]
    evidence: tuple[str, ...]


def batch_facts(house: House, identity: str) -> BatchFacts:
    """Everything the batch's page shows.

    Raises
    ------
    UnknownName
        No such batch; the closest are offered.
    """
    floor = house.floor()
    batch = batch_named(floor, identity)
    entries = house.stream(identity)
    stages = {stay.vat: stay.stage for stay in floor.stays if stay.batch == identity}
    places = tuple(
        (vat_id(place) or place, count, stages.get(vat_id(place), ""))
        for (whose, place), count in sorted(balances(entries).items())
        if whose == identity and count > 0 and (vat_id(place) or place == "dock")
    )
    alive = curve(entries, identity, house.now)
    days = by_day(entries, identity, house.now)
    supplier = house.site.suppliers.get(batch.supplier)
    return BatchFacts(
        batch=batch,
        group=house.library.group(batch.group).name,
        places=places,
        alive=sum(count for _, count, _ in places),
        losses=summary(entries, identity, house.now),
        survival=survival_steps([(identity, alive)], title=f"{identity} alive by day, to {house.today}")
        if alive
        else "",
        bars=loss_bars(days, title=f"Losses of {identity} by day", zone=house.site.farm.zone) if days else "",
        release=releases(house).get(identity),
        held=tuple((hold.since, hold.reason) for hold in floor.holds if hold.batch == identity and not hold.lifted),
        history=tuple(sorted(_history(house, identity), key=lambda line: line.recorded, reverse=True)),
        work=tuple(due_work(house, batch=identity, days=60)),
        photos=tuple(_photos(house, identity)),
        evidence=supplier.evidence if supplier else (),
    )


def _photos(house: House, batch: str) -> Iterator[tuple[str, datetime, str]]:
    for entry in house.stream(batch):
        if isinstance(entry, Record) and entry.kind == "photo":
            yield str(entry.payload.get("sha256")), entry.happened_at, str(entry.payload.get("evidence") or "")


def _history(house: House, batch: str) -> Iterator[HistoryLine]:
    seen = house.about("reading", f"weak {batch}", f"alive {batch}")
    story = sorted((*house.stream(batch), *house.readings_of(batch), *seen), key=lambda entry: entry.recorded_at)
    taken = {entry.corrects for entry in story if entry.corrects}
    for entry in story:
        if isinstance(entry, Movement):
            if entry.batch == batch:
                back = entry.key in taken
                undo = "" if back or entry.corrects or entry.source in OUTSIDE else entry.key
                yield HistoryLine(
                    entry.happened_at, entry.recorded_at, entry.who, entry_words(entry), entry.key, undo, back
                )
        elif _about(entry, batch) and (words := entry_words(entry)):
            back = entry.key in taken
            yield HistoryLine(entry.happened_at, entry.recorded_at, entry.who, words, entry.key, "", back)


def _about(entry: Record, batch: str) -> bool:
    return (
        entry.subject == batch
        or entry.payload.get("batch") == batch
        or str(entry.payload.get("quantity")).endswith(f" {batch}")
    )
