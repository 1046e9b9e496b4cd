"""The ledger as one reader sees them: every answer is of the same moment, and what was asked before is not read again."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Final, TypeVar

from sqlalchemy import Engine

from intake.farm.floor import Batch, Floor
from intake.ledger import (
    ALWAYS,
    CARRIED,
    LATELY,
    LOOSE,
    READ_LATELY,
    Entry,
    Movement,
    Present,
    Record,
    account,
    balances,
    batch_from,
    batches,
    fold,
    is_vat,
    quarantine_since,
    records,
    stream_of,
)
from intake.ledger.present import LASTING
from intake.store.asking.questions import Reach, recorded_order
from intake.store.asking.stood import Asked
from intake.store.trouble import told

__all__ = ["Source", "View"]

Answer = TypeVar("Answer")


@dataclass(frozen=True, slots=True)
class Source:
    """Where a view reads: connections that only read, the address for messages, the site, and all of its entries."""

    engine: Engine
    where: str
    site: str
    everything: Callable[[], tuple[Entry, ...]]
    inside: Asked | None = None
    """Questions inside a transaction that has written and not ended; ``None``: to what is written for good."""


class View:
    """One site's books up to a reach.

    Attributes
    ----------
    reach
        How far they were read.
    """

    def __init__(self, source: Source, reach: Reach, known: Mapping[Any, Any] | None = None) -> None:
        self._source, self.reach = source, reach
        self._known: dict[Any, Any] = dict(known or {})
        self._behind: dict[Any, _Behind] = {}
        self._present: Present | None = None
        self._floor: Floor | None = None
        self._reading = threading.Lock()

    @contextmanager
    def _asking(self) -> Iterator[Asked]:
        source = self._source
        if source.inside is not None:
            yield source.inside.up_to(self.reach)
            return
        with told(source.where), source.engine.begin() as connection:
            yield Asked(connection, source.site, self.reach)

    def _once(self, key: tuple[object, ...], ask: Callable[[Asked], Answer]) -> Answer:
        if key not in self._known:
            with self._asking() as questions:
                self._known[key] = ask(questions)
        answer: Answer = self._known[key]
        return answer

    def entries(self) -> tuple[Entry, ...]:
        """All entries: for the check, reports, exports and copies only, since the cost grows with the farm's age."""
        found = self._source.everything()
        if any((entry.id or 0) > self._limit(entry) for entry in found):
            return tuple(entry for entry in found if (entry.id or 0) <= self._limit(entry))
        return found

    def _limit(self, entry: Entry) -> int:
        return self.reach.movement if isinstance(entry, Movement) else self.reach.record

    def count(self) -> int:
        """How many entries there are."""
        return sum(self._once(("count",), lambda ask: ask.counts()))

    def latest(self, kind: str) -> dict[str, Record]:
        """Subject → its last standing record of one kind, in the order the subjects were first recorded."""
        return self._once(("latest", kind), lambda ask: ask.latest(kind))

    def latest_from(self, kind: str, topic: str, subjects: Iterable[str]) -> dict[str, Record]:
        """As :meth:`latest`, of these subjects and of those recorded with this topic or a later one."""
        asked = tuple(sorted(set(subjects)))
        key = ("latest from", kind, topic, asked)
        behind = self._behind.pop(key, None)

        def ask(questions: Asked) -> dict[str, Record]:
            caught_up = None if behind is None else behind.caught_up(questions, kind, topic)
            return questions.latest_from(kind, topic, asked) if caught_up is None else caught_up

        return self._once(key, ask)

    def last(self, kind: str, subject: str) -> Record | None:
        """The last standing record of one kind and subject."""
        if ("latest", kind) in self._known:
            return self.latest(kind).get(subject)
        return self._once(("last", kind, subject), lambda ask: ask.latest(kind, subject)).get(subject)

    def standing(
        self, kind: str, subject: str | None = None, since: datetime | None = None, *, loose: bool = False
    ) -> tuple[Record, ...]:
        """Records of one kind that were neither replaced nor withdrawn, in the order they happened."""
        asked = ("standing", kind, subject, since, loose)
        return self._once(asked, lambda ask: ask.standing(kind, subject, since=since, loose=loose))

    def of_kind(self, kind: str, subject: str | None = None) -> tuple[Record, ...]:
        """All records of one kind, replaced ones too, in the order they were recorded."""
        return self._once(("kind", kind, subject), lambda ask: ask.of_kind(kind, subject))

    def of_shipment(self, shipment: str) -> tuple[Record, ...]:
        """Records of one shipment: its facts, lines, receipt and claims."""
        return self._once(("shipment", shipment), lambda ask: ask.of_shipment(shipment))

    def stream(self, wanted: Iterable[str]) -> tuple[Entry, ...]:
        """Everything that belongs to these batches, in the order it was recorded."""
        asked = tuple(sorted(set(wanted)))
        if len(asked) == 1 and self._present is not None and asked[0] in self._present.accounts:
            return self._present.accounts[asked[0]].entries
        return self._once(("stream", asked), lambda ask: ask.streams(asked))

    def shipment_stream(self, shipment: str) -> tuple[Entry, ...]:
        """Everything of a shipment and its batches, in the order it was recorded."""

        def read(ask: Asked) -> tuple[Entry, ...]:
            return ask.of_shipments((shipment,), [one.id for one in self.lines_of(shipment)])

        return self._once(("stream of shipment", shipment), read)

    def about(self, kind: str, topics: Iterable[str]) -> tuple[Record, ...]:
        """Records of one kind with these topics, replaced ones too, in the order they were recorded."""
        asked = tuple(sorted(set(topics)))
        return self._once(("about", kind, asked), lambda ask: ask.about(kind, asked))

    def readings_of(self, places: Iterable[str]) -> tuple[Record, ...]:
        """Standing readings of these places, of any age, in the order they happened."""
        asked = tuple(sorted(set(places)))
        return self._once(("readings of", asked), lambda ask: ask.readings_of(asked))

    def moved(self) -> tuple[Entry, ...]:
        """All movements, in the order they were recorded."""
        return self._once(("moved",), lambda ask: ask.moved())

    def landed(self) -> tuple[Entry, ...]:
        """Movements that say how many animals of each batch came, and how many of them dead."""
        return self._once(("landed",), lambda ask: ask.landed())

    def stood_since(self, places: Iterable[str], since: datetime | None) -> frozenset[str]:
        """Batches that live, and those of which animals left one of these places from a moment on (ever, if ``None``)."""
        asked = tuple(sorted(set(places)))
        return self._once(("stood since", asked, since), lambda ask: ask.stood_since(asked, since))

    def last_out_of(self, place: str, many: int) -> tuple[str, ...]:
        """So many batches of which animals left a place last, the latest first."""
        return self._once(("last out", place, many), lambda ask: ask.last_out_of(place, many))

    def ended_in(self, place: str) -> frozenset[str]:
        """Batches of which animals ended in a place that is no vat."""
        return self._once(("ended in", place), lambda ask: ask.ended_in(place))

    def lately(self, now: datetime, back: timedelta = LATELY) -> tuple[Entry, ...]:
        """Everything of the batches alive or stirred so long back, and no less than :data:`LATELY`, as it was recorded."""
        if back > LATELY:
            with self._asking() as ask:
                return ask.streams(ask.living() | ask.stirred(now - back))
        accounts = self.present(now).accounts.values()
        return recorded_order(entry for one in accounts for entry in one.entries)

    def act(self, key: str) -> tuple[Entry, ...]:
        """Entries an act wrote with its key and ``key.2``, ``key.3`` and so on."""
        return self._once(("act", key), lambda ask: ask.act(key)) if key else ()

    def noted(self, keys: Iterable[str]) -> tuple[Record, ...]:
        """Records with these keys, replaced ones too, in the order they were recorded."""
        asked = tuple(sorted(set(keys)))
        return self._once(("noted", asked), lambda ask: ask.noted(asked))

    def corrections(self, keys: Iterable[str]) -> tuple[Entry, ...]:
        """Entries that correct those of these keys."""
        asked = tuple(sorted(set(keys)))
        return self._once(("corrections", asked), lambda ask: ask.corrections(asked))

    def recorded_after(self, moment: datetime) -> tuple[Entry, ...]:
        """Entries recorded after a moment, less those of a clock called wrong, in the order they were recorded."""
        with self._asking() as ask:
            return ask.recorded_after(moment)

    def last_recorded(self) -> datetime | None:
        """When the newest entry was recorded, by clocks no one called wrong; ``None`` for empty books."""
        return self._once(("last recorded",), lambda ask: ask.last_recorded())

    def batches(self) -> dict[str, Batch]:
        """Every batch ever named, by id, in the order they were first recorded."""
        return self._once(("batches",), lambda ask: _named(ask.latest("batch").values()))

    def batch(self, name: str) -> Batch | None:
        """One batch; ``None`` when the ledger does not know it."""
        if ("batches",) in self._known:
            return self.batches().get(name)
        if self._present is not None and name in self._present.accounts:
            return next((one for _, one in self._present.accounts[name].parts.batches if one.id == name), None)
        return self._once(("batch", name), lambda ask: _named(ask.latest("batch", name).values())).get(name)

    def lines_of(self, shipment: str) -> tuple[Batch, ...]:
        """Batches of one shipment, in the order they were first recorded."""
        told_of = batches(record for record in self.of_shipment(shipment) if record.kind == "batch")
        return tuple(one for one in told_of.values() if one.shipment == shipment)

    def held(self, name: str) -> dict[str, int]:
        """Place → animals of one batch, all its movements added up; empty places left out."""
        return {place: count for (_, place), count in balances(self.stream((name,))).items()}

    def alive(self, now: datetime) -> dict[tuple[str, str], int]:
        """(batch, place) → animals alive in the vats and on the dock at a moment."""
        found = self.present(now).held(now)
        return {spot: count for spot, count in found.items() if is_vat(spot[1]) or spot[1] == "dock"}

    def present(self, now: datetime) -> Present:
        """What is alive and what happened lately, read once; whoever asks meanwhile waits for the answer."""
        with self._reading:
            if self._present is None or not self._present.covers(now):
                self._present = self._load(now)
            return self._present

    def _load(self, now: datetime) -> Present:
        since, read_since = now - LATELY, now - READ_LATELY
        with self._asking() as ask:
            scope = ask.living() | ask.stirred(since) | ask.last_to_leave()
            accounts = {batch: account(entries) for batch, entries in ask.by_batch(scope).items()}
            found_since = quarantine_since(accounts.values(), since)
            loose = [record for kind in ALWAYS for record in ask.standing(kind)]
            loose += ask.standing("finding", since=found_since)
            loose += [record for kind in ("finding", *LASTING) for record in ask.lasting(kind)]
            for kind in LOOSE:
                if kind != "finding":
                    begin = read_since if kind == "reading" else since
                    loose += ask.carried(kind, begin) if kind in CARRIED else ()
                    loose += ask.standing(kind, since=begin, loose=True)
            recorded = ask.last_recorded() or since
        each = {record.key: record for record in loose}
        in_order = tuple(sorted(each.values(), key=lambda record: (record.happened_at, record.id or 0)))
        return Present(since, read_since, found_since, accounts, in_order, recorded)

    def floor(self, now: datetime) -> Floor:
        """The farm at a moment: what lived then and happened lately; longer ago than a month, folded from all entries."""
        last = self.last_recorded()
        if last is not None and now < last - _NOT_LONG_AGO:
            return fold(self.entries(), now)
        kept = self._floor
        if kept is not None and kept.at <= now < kept.at + _AS_GOOD_AS_NOW and self._settled() <= kept.at:
            return replace(kept, at=now)
        self._floor = self.present(now).floor(now, Named(self))
        return self._floor

    def _settled(self) -> datetime:
        """Until when entries happen: from then on a moment more changes nothing but the end of what is lately."""
        return self._once(("settled",), lambda ask: ask.last_happened()) or datetime.min.replace(tzinfo=UTC)

    def floor_of(self, names: Iterable[str], now: datetime) -> Floor:
        """The farm at a moment as far as these batches go: their stays, work, findings, losses, holds and receipts."""
        asked = tuple(sorted(set(names)))
        if self._present is not None:
            return self.floor(now)
        with self._asking() as ask:
            entries = ask.streams(asked)
            shipments = {one.shipment for one in batches(entries).values() if one.shipment}
            came = [record for shipment in sorted(shipments) for record in ask.standing("received", shipment)]
        return replace(fold((*entries, *came), now), batches=Named(self))

    def within(self, inside: Asked, everything: Callable[[], tuple[Entry, ...]]) -> View:
        """The same books as a transaction sees them that has written to them and not ended."""
        source = replace(self._source, everything=everything, inside=inside)
        if not inside.still(self.reach):
            return View(source, inside.reach())
        return self.read_by(source).grown(inside.reach(), *inside.since(self.reach))

    def read_by(self, source: Source) -> View:
        """All that this view knows, with other connections for what it does not know yet."""
        here = View(source, self.reach, self._known)
        here._behind, here._present = dict(self._behind), self._present
        return here

    def grown(self, reach: Reach, new: tuple[Entry, ...], batch_of: Mapping[str, str]) -> View:
        """The view of the same books after further entries, with all that this one knows and they have not changed."""
        kinds = {entry.kind for entry in records(new)}
        kept = {key: answer for key, answer in self._known.items() if _unchanged(key, kinds)}
        newer = View(self._source, reach, kept if len(kept) < _MOST_ANSWERS else {})
        if len(kept) < _MOST_ANSWERS:
            newer._behind = _behind(self._known, self._behind, tuple(records(new)))
        before = self._present
        if before is not None:
            names = {one for one in batch_of.values() if one} | {e.batch for e in new if isinstance(e, Movement)}
            missing = names - set(before.accounts)
            with newer._asking() as ask:  # two views of the same books
                streams = ask.by_batch(missing) if missing else {}
            newer._present = before.grown(new, batch_of, streams)
        return newer


@dataclass(frozen=True, slots=True)
class _Behind:
    """What an earlier view found for "latest from", and the records of the kind since.

    One act writes again few of the thousands of events a calendar shows: only those are read again, when they are asked for.
    """

    answer: Mapping[str, Record]
    new: tuple[Record, ...] = ()

    def caught_up(self, ask: Asked, kind: str, topic: str) -> dict[str, Record] | None:
        """The answer as it is now; ``None`` where its order may be another: subjects stand as they were first recorded."""
        was, touched = self.answer, {one.subject for one in self.new}
        for one in self.new:
            known = was.get(one.subject)
            if one.happened_at < known.happened_at if known else stream_of(one).topic < topic:
                return None
        fresh = ask.latest_of(kind, touched)
        came = [subject for subject in fresh if subject not in self.answer]
        last = max((one.happened_at for one in self.answer.values()), default=datetime.min.replace(tzinfo=UTC))
        if came and any(one.happened_at <= last for one in ask.standing_of(kind, came)):
            return None
        kept = {name: fresh.get(name, one) for name, one in self.answer.items() if name in fresh or name not in touched}
        return kept | {subject: fresh[subject] for subject in came}


def _behind(
    known: Mapping[Any, Any], before: Mapping[Any, _Behind], new: tuple[Record, ...]
) -> dict[tuple[Any, ...], _Behind]:
    """What earlier views found for "latest from" of no named subjects; nothing once a record replaces another."""
    found = {key: _Behind(answer) for key, answer in known.items() if key[0] == "latest from" and not key[3]}
    if any(one.corrects for one in new):
        return {}
    return {
        key: _Behind(one.answer, (*one.new, *(record for record in new if record.kind == key[1])))
        for key, one in (found | dict(before)).items()
        if len(one.new) < _MOST_BEHIND
    }


_MOST_BEHIND: Final = 400
"""Records after which all is read again."""
_NOT_LONG_AGO: Final = timedelta(days=30)
_AS_GOOD_AS_NOW: Final = timedelta(seconds=20)
_MOST_ANSWERS: Final = 2_000
_BY_KIND: Final = frozenset({"latest", "last", "standing", "kind"})


def _unchanged(key: tuple[Any, ...], kinds: set[str]) -> bool:
    """Whether an answer holds after records of these kinds were written."""
    return (key[0] in _BY_KIND and key[1] not in kinds) or (key[0] in ("batches", "batch") and "batch" not in kinds)


def _named(found: Iterable[Record]) -> dict[str, Batch]:
    return {record.subject: batch_from({"id": record.subject, **record.payload}) for record in found}


class Named(Mapping[str, Batch]):
    """Every batch by id, looked up when it is asked for: going through all of them reads the name of each ever kept."""

    def __init__(self, view: View) -> None:
        self._view = view

    def __getitem__(self, name: str) -> Batch:
        found = self._view.batch(name)
        if found is None:
            raise KeyError(name)
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self._view.batches())

    def __len__(self) -> int:
        return len(self._view.batches())
