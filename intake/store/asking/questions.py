"""Narrow questions to the tables of one site, each answered from an index: what one batch, shipment, kind or act wrote.

A question may be asked as of a reach, a pair of row numbers: since a site's rows are numbered in the order they are
written, rows up to a number are what a reader saw who stopped there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, ScalarSelect, Select, Table, and_, exists, func, not_, select, text

from intake.ledger.clock_ahead import CLOCK, Span, believed, spans_of
from intake.ledger.entries import Entry, Record
from intake.ledger.present import LASTING
from intake.store.entry_reading import entry_of, merged, rows_of, spots_of
from intake.store.ledger_tables import HOLDING, LIVING, MOVEMENT, RECORD, stored_time

__all__ = ["AT_ONCE", "NOTHING_YET", "Questions", "Reach", "parts", "recorded_order"]

AT_ONCE: Final = 400  # values in one list; SQLite takes 32,766 in a statement, and a shorter one is kept prepared
_ACT_AT_ONCE: Final = 8
_READ: Final = {
    table.name: [one for one in table.c if one.name not in ("site", "seal", "shipment", "topic")]
    for table in (MOVEMENT, RECORD)
}
"""Columns an answer is made of: the rest is for looking up."""
_LATER: Final = RECORD.alias("later")
_REPLACED: Final = and_(_LATER.c.site == RECORD.c.site, _LATER.c.corrects == RECORD.c.key)
_IN_FORCE: Final = RECORD.c.payload.not_like('%"withdrawn":true%')  # as canonical() writes it


@dataclass(frozen=True, slots=True)
class Reach:
    """How far the ledger of a site were read: number and seal of the newest movement and record."""

    movement: int = 0
    movement_seal: str = ""
    record: int = 0
    record_seal: str = ""


NOTHING_YET: Final = Reach()


class Questions:
    """Questions to one site's rows, inside one transaction; with a reach, only to rows up to it."""

    def __init__(self, connection: Connection, site: str, reach: Reach | None = None) -> None:
        self._connection, self._site, self._reach = connection, site, reach

    def reach(self) -> Reach:
        """Newest rows there are now."""
        found: list[tuple[int, str]] = []
        for table in (MOVEMENT, RECORD):
            query = select(table.c.id, table.c.seal).where(table.c.site == self._site).order_by(table.c.id.desc())
            row = self._connection.execute(query.limit(1)).first()
            found.append((0, "") if row is None else (int(row[0]), str(row[1])))
        return Reach(*found[0], *found[1])

    def still(self, before: Reach) -> bool:
        """Whether this is the ledger that was read before: the newest rows then still carry their seals."""
        for table, number, seal in (
            (MOVEMENT, before.movement, before.movement_seal),
            (RECORD, before.record, before.record_seal),
        ):
            query = select(table.c.seal).where(table.c.site == self._site, table.c.id == number)
            if number and self._connection.execute(query).scalar() != seal:
                return False
        return True

    def counts(self) -> tuple[int, int]:
        """How many movements and records there are."""
        found = [self._of(table, order=()).with_only_columns(func.count()) for table in (MOVEMENT, RECORD)]
        movements, noted = (int(self._connection.execute(query).scalar_one()) for query in found)
        return movements, noted

    def since(self, before: Reach) -> tuple[tuple[Entry, ...], dict[str, str]]:
        """Entries after a reach, in the order they were recorded, and of each record's key the batch it belongs to."""
        newer = (
            self._of(MOVEMENT, MOVEMENT.c.id > before.movement, order=(MOVEMENT.c.id,)),
            self._of(RECORD, RECORD.c.id > before.record, order=(RECORD.c.id,)),
        )
        rows = [row for query in newer for row in rows_of(self._connection, query)]
        batch_of = {str(row["key"]): str(row["batch"]) for row in rows if "source" not in row}
        return recorded_order(entry_of(row) for row in rows), batch_of

    def streams(self, batches: Iterable[str]) -> tuple[Entry, ...]:
        """Everything that belongs to these batches, in the order it was recorded."""
        return recorded_order(entry for _, entry in self._of_batches(batches))

    def by_batch(self, batches: Iterable[str]) -> dict[str, tuple[Entry, ...]]:
        """The stream of each of these batches, in the order it was recorded."""
        wanted = sorted(set(batches))
        found: dict[str, list[Entry]] = {batch: [] for batch in wanted}
        for batch, entry in self._of_batches(wanted):
            found[batch].append(entry)
        return {batch: recorded_order(entries) for batch, entries in found.items()}

    def _of_batches(self, batches: Iterable[str]) -> Iterator[tuple[str, Entry]]:
        """Movements and records of these batches, in no order: whoever asks puts them in theirs."""
        for part in parts(sorted(set(batches))):
            yield from self._rows(self._of(MOVEMENT, MOVEMENT.c.batch.in_(part), order=()))
            yield from self._rows(self._of(RECORD, RECORD.c.batch.in_(part), text("record.batch <> ''"), order=()))

    def _rows(self, query: Select[Any]) -> Iterator[tuple[str, Entry]]:
        return ((str(row["batch"]), entry_of(row)) for row in rows_of(self._connection, query))

    def places_of(self, keys: Iterable[str]) -> dict[str, tuple[str, str, str]]:
        """Key of a record → batch, shipment and topic it belongs to."""
        columns = (RECORD.c.key, RECORD.c.batch, RECORD.c.shipment, RECORD.c.topic)
        found: dict[str, tuple[str, str, str]] = {}
        for part in parts(sorted(set(keys))):
            query = select(*columns).where(RECORD.c.site == self._site, RECORD.c.key.in_(part))
            for key, *stream in self._connection.execute(query):
                found[str(key)] = (str(stream[0]), str(stream[1]), str(stream[2]))
        return found

    def of_shipment(self, shipment: str) -> tuple[Record, ...]:
        """Records of one shipment: its facts, lines, receipt and claims."""
        return self._records(self._of(RECORD, RECORD.c.shipment == shipment, text("record.shipment <> ''")))

    def of_shipments(self, shipments: Iterable[str], batches: Iterable[str]) -> tuple[Entry, ...]:
        """Records of these shipments and everything of these batches, each once, in the order it was recorded."""
        found = {(type(entry), entry.id): entry for _, entry in self._of_batches(batches)}
        for part in parts(sorted(set(shipments))):
            query = self._of(RECORD, RECORD.c.shipment.in_(part), text("record.shipment <> ''"))
            found |= {(Record, record.id): record for record in self._records(query)}
        return recorded_order(found.values())

    def of_kind(self, kind: str, subject: str | None = None, *, after: Reach = NOTHING_YET) -> tuple[Record, ...]:
        """Records of one kind, of one subject if named, replaced ones too, in the order they were recorded.

        Parameters
        ----------
        after
            Only those written after this reach.
        """
        return self._records(self._of(RECORD, *self._kind(kind, subject), RECORD.c.id + 0 > after.record))

    def standing(
        self, kind: str, subject: str | None = None, *, since: datetime | None = None, loose: bool = False
    ) -> tuple[Record, ...]:
        """Records of one kind that were neither replaced nor withdrawn, in the order they happened.

        Parameters
        ----------
        since
            Only what happened from this moment on.
        loose
            Only what belongs to no batch.
        """
        given = [*self._kind(kind, subject), *self._in_force()]
        if since is not None:
            given.append(RECORD.c.happened_at >= stored_time(since))
        if loose:
            given.append(RECORD.c.batch == "")
        return self._records(self._of(RECORD, *given, order=(RECORD.c.happened_at, RECORD.c.id)))

    def latest(self, kind: str, subject: str | None = None) -> dict[str, Record]:
        """Subject → its last standing record of one kind, in the order the subjects were first recorded."""
        by_time = (RECORD.c.happened_at, RECORD.c.id)
        if subject is not None:
            newest = [column.desc() for column in by_time]
            query = self._of(RECORD, *self._kind(kind, subject), *self._in_force(), order=newest).limit(1)
            return {record.subject: record for record in self._records(query)}
        return self._latest(kind)

    def latest_from(self, kind: str, topic: str, subjects: Iterable[str]) -> dict[str, Record]:
        """As :meth:`latest`, of these subjects and of those with any record of this topic or a later one."""
        later = self._of(RECORD, *self._kind(kind, None), RECORD.c.topic >= topic, order=())
        found = self._latest(kind, RECORD.c.subject.in_(later.with_only_columns(RECORD.c.subject)))
        return found | self.latest_of(kind, set(subjects) - set(found))

    def latest_of(self, kind: str, subjects: Iterable[str]) -> dict[str, Record]:
        """As :meth:`latest`, of these subjects."""
        found: dict[str, Record] = {}
        for part in parts(sorted(subjects)):
            found |= self._latest(kind, RECORD.c.subject.in_(part))
        return found

    def standing_of(self, kind: str, subjects: Iterable[str]) -> tuple[Record, ...]:
        """As :meth:`standing`, of these subjects."""
        given = (*self._kind(kind, None), *self._in_force())
        return self._by_time(*(self._of(RECORD, *given, RECORD.c.subject.in_(p)) for p in parts(sorted(subjects))))

    def _latest(self, kind: str, *given: ColumnElement[bool]) -> dict[str, Record]:
        """Each subject is looked up by itself through the index: ranking would read every version there ever was."""
        told = self._of(RECORD, *self._kind(kind, None), *given, order=()).with_only_columns(RECORD.c.subject)
        subjects = told.distinct().subquery()
        mine = (*self._kind(kind, None), RECORD.c.subject == subjects.c.subject, *self._in_force())

        def of(column: ColumnElement[Any], *order: ColumnElement[Any]) -> ScalarSelect[Any]:
            found = self._of(RECORD, *mine, order=order).with_only_columns(column)
            return found.limit(1).correlate(subjects).scalar_subquery()

        first, newest = (RECORD.c.happened_at, RECORD.c.id), (RECORD.c.happened_at.desc(), RECORD.c.id.desc())
        asked = select(of(RECORD.c.id, *newest), of(RECORD.c.happened_at, *first), of(RECORD.c.id, *first))
        spots = [row for row in self._connection.execute(asked.select_from(subjects)) if row[0] is not None]
        numbers = [int(row[0]) for row in sorted(spots, key=lambda row: (row[1], row[2]))]
        queries = (self._of(RECORD, RECORD.c.id.in_(part), order=()) for part in parts(numbers))
        found = {record.id: record for query in queries for record in self._records(query)}
        return {found[number].subject: found[number] for number in numbers}

    def carried(self, kind: str, before: datetime) -> tuple[Record, ...]:
        """Of each subject and topic the last standing record of a kind that happened before a moment.

        Steps from one topic and subject to the next through the index: grouping would read all that was ever recorded.
        """
        spots = spots_of(self._site, kind)
        mine = (*self._kind(kind, None), RECORD.c.topic == spots.c.topic, RECORD.c.subject == spots.c.subject)
        asked = self._of(RECORD, *mine, *self._in_force(), RECORD.c.happened_at < stored_time(before), order=())
        newest = asked.with_only_columns(RECORD.c.id).order_by(RECORD.c.happened_at.desc(), RECORD.c.id.desc())
        found = select(newest.limit(1).correlate(spots).scalar_subquery().label("id")).where(
            spots.c.subject.is_not(None)
        )
        numbers = [int(number) for number in self._connection.execute(found).scalars() if number is not None]
        return self._by_time(*(self._of(RECORD, RECORD.c.id.in_(part), order=()) for part in parts(numbers)))

    def lasting(self, kind: str) -> tuple[Record, ...]:
        """Standing findings of a pest or disease, treatments done in a vat's water, readings of copper, however old."""
        topic = RECORD.c.topic > "" if kind == "finding" else RECORD.c.topic == LASTING[kind]
        return self._by_time(self._of(RECORD, *self._kind(kind, None), *self._in_force(), topic, order=()))

    def moved(self) -> tuple[Entry, ...]:
        """All movements."""
        return self._merged(self._of(MOVEMENT, order=(MOVEMENT.c.id,)))

    def readings_of(self, places: Iterable[str]) -> tuple[Record, ...]:
        """Standing readings of these places, in the order they happened."""
        given = (*self._kind("reading", None), *self._in_force())
        each = parts(sorted(set(places)))
        return self._by_time(*(self._of(RECORD, *given, RECORD.c.subject.in_(part), order=()) for part in each))

    def about(self, kind: str, topics: Iterable[str]) -> tuple[Record, ...]:
        """Records of one kind with these topics, replaced ones too, in the order they were recorded."""
        found = [
            self._of(RECORD, *self._kind(kind, None), RECORD.c.topic.in_(part)) for part in parts(sorted(set(topics)))
        ]
        return tuple(record for query in found for record in self._records(query))

    def keyed(self, keys: Iterable[str]) -> tuple[Entry, ...]:
        """Entries with these keys, in the order they were recorded."""
        found: list[Select[Any]] = []
        for part in parts(sorted(set(keys))):
            found += [self._of(table, table.c.key.in_(part)) for table in (MOVEMENT, RECORD)]
        return self._merged(*found)

    def noted(self, keys: Iterable[str]) -> tuple[Record, ...]:
        """Records with these keys, in the order they were recorded."""
        asked = (self._of(RECORD, RECORD.c.key.in_(part), order=()) for part in parts(sorted(set(keys))))
        return tuple(
            sorted((one for query in asked for one in self._records(query)), key=lambda record: record.id or 0)
        )

    def act(self, key: str) -> tuple[Entry, ...]:
        """Entries an act wrote with its key and ``key.2``, ``key.3`` …, in the order they were recorded."""
        found: dict[str, Entry] = {}
        number = 1
        while True:
            keys = [key if one == 1 else f"{key}.{one}" for one in range(number, number + _ACT_AT_ONCE)]
            came = self.keyed(keys)
            found |= {entry.key: entry for entry in came}
            if not {entry.key for entry in came} >= set(keys):
                break
            number += _ACT_AT_ONCE
        return recorded_order(found.values())

    def corrections(self, keys: Iterable[str]) -> tuple[Entry, ...]:
        """Entries that correct those of these keys."""
        found: list[Select[Any]] = []
        for part in parts(sorted(set(keys))):
            found += [self._of(table, table.c.corrects.in_(part)) for table in (MOVEMENT, RECORD)]
        return self._merged(*found)

    def living(self) -> frozenset[str]:
        """Batches with animals in a vat or on the dock, by all movements there are."""
        query = select(HOLDING.c.batch).where(HOLDING.c.site == self._site, text(LIVING)).distinct()
        return frozenset(str(batch) for batch in self._connection.execute(query).scalars())

    def held(self, batches: Iterable[str] | None = None) -> dict[tuple[str, str], int]:
        """(batch, place) → animals, of all batches or these, by all movements there are; empty places left out."""
        chosen: list[list[str] | None] = [None] if batches is None else [*parts(sorted(set(batches)))]
        found: dict[tuple[str, str], int] = {}
        for part in chosen:
            query = select(HOLDING.c.batch, HOLDING.c.place, HOLDING.c.count).where(
                HOLDING.c.site == self._site, HOLDING.c.count != 0
            )
            query = query if part is None else query.where(HOLDING.c.batch.in_(part))
            found |= {(str(batch), str(place)): int(count) for batch, place, count in self._connection.execute(query)}
        return found

    def stirred(self, since: datetime) -> frozenset[str]:
        """Batches of which anything was recorded from a moment on."""
        found: set[str] = set()
        for table in (MOVEMENT, RECORD):
            given = (table.c.site == self._site, table.c.recorded_at >= stored_time(since), table.c.batch != "")
            found.update(
                str(one) for one in self._connection.execute(select(table.c.batch).where(*given).distinct()).scalars()
            )
        return frozenset(found)

    def seals_at(self, movements: int, noted: int) -> tuple[str, str]:
        """Seals of the last of so many movements and records, counted from the first; empty for none."""
        found = []
        for table, many in ((MOVEMENT, movements), (RECORD, noted)):
            query = (
                self._of(table, order=(table.c.id,)).with_only_columns(table.c.seal).offset(max(0, many - 1)).limit(1)
            )
            found.append(str(self._connection.execute(query).scalar() or "") if many else "")
        return found[0], found[1]

    def last_recorded_before(self, before: Reach) -> datetime | None:
        """When the newest entry up to a reach was recorded."""
        return Questions(self._connection, self._site, before).last_recorded()

    def wrong_clocks(self) -> tuple[Span, ...]:
        """Spans of recorded time that a clock ahead stamped."""
        return spans_of(self.of_kind(CLOCK))

    def recorded_after(self, moment: datetime) -> tuple[Entry, ...]:
        """Entries recorded after a moment, less those of a clock called wrong, in the order they were recorded."""
        found = self._merged(*(self._of(t, t.c.recorded_at > stored_time(moment)) for t in (MOVEMENT, RECORD)))
        spans = self.wrong_clocks()
        return tuple(entry for entry in found if believed(entry.recorded_at, spans))

    def last_recorded(self) -> datetime | None:
        """When the newest entry was recorded, by clocks no one called wrong; ``None`` for empty books."""
        spans = [(stored_time(first), stored_time(last)) for first, last in self.wrong_clocks()]
        newest = []
        for table in (MOVEMENT, RECORD):
            told = (not_(table.c.recorded_at.between(*span)) for span in spans)
            query = self._of(table, *told, order=()).with_only_columns(func.max(table.c.recorded_at))
            newest.append(self._connection.execute(query).scalar())
        return max((datetime.fromisoformat(str(one)) for one in newest if one), default=None)

    def last_happened(self) -> datetime | None:
        """The latest moment anything happened of what was recorded since the day before the newest entry."""
        last = self.last_recorded()
        if last is None:
            return None
        lately = stored_time(last - timedelta(days=1))
        found = [
            self._connection.execute(
                select(func.max(t.c.happened_at)).where(t.c.site == self._site, t.c.recorded_at >= lately)
            ).scalar()
            for t in (MOVEMENT, RECORD)
        ]
        return max((datetime.fromisoformat(str(one)) for one in found if one), default=None)

    def _kind(self, kind: str, subject: str | None) -> list[ColumnElement[bool]]:
        given = [RECORD.c.site == self._site, RECORD.c.kind == kind]
        return given if subject is None else [*given, RECORD.c.subject == subject]

    def _in_force(self) -> tuple[ColumnElement[bool], ...]:
        replaced = _REPLACED if self._reach is None else and_(_REPLACED, _LATER.c.id <= self._reach.record)
        return ~exists(select(_LATER.c.id).where(replaced)), _IN_FORCE

    def _of(self, table: Table, *given: Any, order: Sequence[Any] | None = None) -> Select[Any]:
        query = select(*_READ[table.name]).where(table.c.site == self._site, *given)
        # SQLite would rather walk all rows in the order of their numbers than sort the few an index finds: not by this
        number = table.c.id + 0
        if self._reach is not None:
            query = query.where(number <= (self._reach.movement if table is MOVEMENT else self._reach.record))
        return query.order_by(*((number,) if order is None else order))

    def _records(self, query: Select[Any]) -> tuple[Record, ...]:
        found = (entry_of(row) for row in rows_of(self._connection, query))
        return tuple(entry for entry in found if isinstance(entry, Record))

    def _by_time(self, *queries: Select[Any]) -> tuple[Record, ...]:
        """Records in the order they happened; sorted here, since SQLite would walk them all to find them in order."""
        found = [record for query in queries for record in self._records(query)]
        return tuple(sorted(found, key=lambda record: (record.happened_at, record.id or 0)))

    def _merged(self, *queries: Select[Any]) -> tuple[Entry, ...]:
        """Entries of several questions, each once, in the order they were recorded."""
        return recorded_order(entry_of(row) for query in queries for row in rows_of(self._connection, query))


def recorded_order(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Entries in the order they were recorded."""
    numbered = sorted(entries, key=lambda one: (isinstance(one, Record), one.id or 0))
    return tuple(entry for _, entry in merged(("", entry) for entry in numbered))


def parts(values: Sequence[Any]) -> Iterator[list[Any]]:
    """Values in lists short enough for one statement."""
    return (list(values[start : start + AT_ONCE]) for start in range(0, len(values), AT_ONCE))
