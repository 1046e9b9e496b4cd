"""One act on the ledger: what is appended together, under the writers' lock, or not at all."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import datetime
from hashlib import sha256
from typing import Any, Final, Protocol

from sqlalchemy import Connection, RowMapping, Select, Table, insert, select

from intake.errors import BadInput, Finding, Refused
from intake.ledger.clock_ahead import CLOCK
from intake.ledger.conservation import CLOCK_SLACK, Shortage, shortages
from intake.ledger.entries import Entry, Movement, Record, faults
from intake.ledger.kept_revisions import base_of, wrong_base
from intake.ledger.streams import Stream, stream_of
from intake.store.asking.stood import Asked
from intake.store.entry_reading import Wanted, entries_of
from intake.store.ledger_tables import DERIVED, FACTS, MOVEMENT, RECORD, row_of, seal
from intake.store.remembered import NOTHING, Remembered, caught_up

__all__ = ["Unit", "Writing"]

_ROWS_AT_ONCE: Final = 5_000


class Unit:
    """One act on the ledger of one site: everything in it is written together or not at all.

    Attributes
    ----------
    already
        Keys given to this unit that had been recorded before, with the same content.
    """

    def __init__(self, connection: Connection, site: str, remembered: Remembered = NOTHING) -> None:
        self._connection, self._site, self._remembered = connection, site, remembered
        self._touched: set[str] = set()
        self._seals: dict[str, str] = {}
        self._last: datetime | None = None
        self._clock_known = False
        self.already: list[str] = []

    def move(self, movement: Movement) -> int:
        """Append a movement and return its number; the earlier number when its key was recorded before.

        Whether a place falls below zero is judged when the unit ends (or at :meth:`settle`), so the order of the
        movements inside one unit does not matter.

        Raises
        ------
        BadInput
            When the movement itself is faulty.
        Refused
            When its key was used for something else, it corrects nothing known, or the clock stands before the last
            entry.
        """
        self._touched.add(movement.batch)
        return self._append(MOVEMENT, movement)

    def note(self, record: Record) -> int:
        """Append a record and return its number; the earlier number when its key was recorded before.

        Raises
        ------
        BadInput, Refused
            As :meth:`move`.
        """
        return self._append(RECORD, record)

    def entries(
        self, kind: str | None = None, subject: str | None = None, until: datetime | None = None
    ) -> tuple[Entry, ...]:
        """Entries as they stand inside this unit, its own among them; the arguments are those of ``Books.entries``."""
        wanted = Wanted(kind, subject, until)
        if wanted != Wanted():
            return entries_of(self._connection, self._site, wanted)
        self._remembered = caught_up(self._connection, self._site, self._remembered)
        return self._remembered.entries

    @property
    def ask(self) -> Asked:
        """Narrow questions to the ledger as it stands inside this unit."""
        return Asked(self._connection, self._site)

    def copy(self, entries: Iterable[Entry]) -> None:
        """Append entries of other books as they are, in their order, for a site that has none: no clock is asked."""
        rows: dict[str, list[dict[str, object]]] = {MOVEMENT.name: [], RECORD.name: []}
        streams: dict[str, Stream] = {}
        for entry in entries:
            table = MOVEMENT if isinstance(entry, Movement) else RECORD
            row = row_of(entry) | {"site": self._site}
            if isinstance(entry, Record):
                known = streams.get(entry.corrects) if entry.corrects else None
                streams[entry.key] = stream = known or stream_of(entry)
                row |= asdict(stream)
            rows[table.name].append(row | {"seal": self._next_seal(table, row)})
        for table in (MOVEMENT, RECORD):
            for start in range(0, len(rows[table.name]), _ROWS_AT_ONCE):
                self._connection.execute(insert(table), rows[table.name][start : start + _ROWS_AT_ONCE])

    def settle(self) -> None:
        """Refuse now if a place of a batch this unit touched falls below zero at any moment.

        Raises
        ------
        Refused
            Naming batch, place, what the ledger has there and what was to leave.
        """
        found: list[Shortage] = []
        for batch in sorted(self._touched):
            found.extend(shortages(self.entries("movement", batch)))
        if found:
            raise Refused([shortage.as_finding() for shortage in found])

    def happened(self, key: str) -> datetime | None:
        """When the act of this key happened, as it was first sent; ``None`` for a key not used yet."""
        for table in (MOVEMENT, RECORD):
            row = self._connection.execute(self._with_key(table, key)).mappings().first()
            if row is not None:
                return datetime.fromisoformat(str(row["happened_at"]))
        return None

    def _append(self, table: Table, entry: Entry) -> int:
        found = faults(entry)
        if found:
            raise BadInput(found)
        row = row_of(entry)
        earlier = self._connection.execute(self._with_key(table, entry.key)).mappings().first()
        if earlier is not None:
            return self._recorded_before(row, earlier)
        self._check_clock(entry)
        corrected = None
        if entry.corrects is not None:
            corrected = self._connection.execute(self._with_key(table, entry.corrects)).mappings().first()
            if corrected is None:
                raise Refused(Finding("corrects", entry.corrects, f"the key of an earlier {table.name}"))
        if isinstance(entry, Record):
            row |= asdict(_stream(entry, corrected))
            self._check_base(entry)
        row["site"] = self._site
        row["seal"] = self._next_seal(table, row)
        if self._last is None or entry.recorded_at > self._last:
            self._clock_known = False  # asked again, since a clock called wrong may have stamped it
        return int(self._connection.execute(insert(table).values(row).returning(table.c.id)).scalar_one())

    def _check_base(self, record: Record) -> None:
        """A revision kept as changes must give back what was published: no later reader could mend it."""
        base = base_of(record)
        wrong = wrong_base(record, next(iter(self.ask.noted([base])), None)) if base else None
        if wrong is not None:
            raise Refused(wrong)

    def _with_key(self, table: Table, key: str) -> Select[Any]:
        return select(table).where(table.c.site == self._site, table.c.key == key)

    def _next_seal(self, table: Table, row: Mapping[str, object]) -> str:
        if table.name not in self._seals:
            newest = select(table.c.seal).where(table.c.site == self._site).order_by(table.c.id.desc()).limit(1)
            self._seals[table.name] = str(self._connection.execute(newest).scalar() or "")
        self._seals[table.name] = seal(self._seals[table.name], [row[name] for name in FACTS[table.name]])
        return self._seals[table.name]

    def _recorded_before(self, row: Mapping[str, object], earlier: RowMapping) -> int:
        """Same content under the same key is the same act posted again; when it was posted does not matter."""
        other = [name for name, value in row.items() if name != "recorded_at" and earlier[name] != value]
        if other:
            raise Refused(
                Finding(
                    f"key {row['key']}",
                    ", ".join(f"{name} {row[name]}" for name in other),
                    "the same as recorded before: " + ", ".join(f"{name} {earlier[name]}" for name in other),
                    "This entry already exists. Use a new key for a new entry, or correct the earlier one.",
                )
            )
        self.already.append(str(row["key"]))
        return int(earlier["id"])

    def _check_clock(self, entry: Entry) -> None:
        if isinstance(entry, Record) and entry.kind == CLOCK:
            self._clock_known = False  # it says itself that what stands after it was reported wrongly
            return
        if not self._clock_known:
            self._last, self._clock_known = self.ask.last_recorded(), True
        last = self._last
        if last is not None and entry.recorded_at < last - CLOCK_SLACK:
            raise Refused(
                Finding(
                    "clock",
                    entry.recorded_at.isoformat(timespec="seconds"),
                    f"not before the last entry, recorded {last.isoformat(timespec='seconds')}",
                    "Correct this computer's clock and try again.",
                )
            )
        if entry.happened_at > entry.recorded_at + CLOCK_SLACK and entry.corrects is None:
            happened = entry.happened_at.isoformat(timespec="minutes")
            now = entry.recorded_at.isoformat(timespec="minutes")
            raise Refused(
                Finding("happened at", happened, f"a time not after now, {now}", "Record it once it is done.")
            )


def _stream(record: Record, corrected: RowMapping | None) -> Stream:
    """Where a record belongs: where what it corrects belongs, and a correction may not say otherwise.

    Raises
    ------
    Refused
        It would take the fact from one batch, shipment, place or kind to another: that is a withdrawal and a new record.
    """
    own = stream_of(record)
    if corrected is None:
        return own
    before = Stream(*(str(corrected[name]) for name in DERIVED))
    if record.payload.get("withdrawn"):
        return before
    told = {"kind": record.kind, "subject": record.subject, **asdict(own)}
    had = {"kind": corrected["kind"], "subject": corrected["subject"], **asdict(before)}
    if other := [name for name, value in told.items() if value != had[name]]:
        words = ", ".join(f"{name} {told[name]}" for name in other)
        expected = "the same as of what it corrects: " + ", ".join(f"{name} {had[name]}" for name in other)
        do = "Take the earlier record back, and record the right one again."
        raise Refused(Finding(f"correction of {record.corrects}", words, expected, do))
    return before


class Session(Protocol):
    """Who records, and when."""

    @property
    def who(self) -> str:
        """The person who answers for it."""

    @property
    def now(self) -> datetime:
        """The present of the command."""


class Writing:
    """The entries of one command: they share the moment, the person and a key with a running number.

    Attributes
    ----------
    key
        The act's idempotency key.
    written
        Kinds of the entries written for the first time, ``movement`` for movements.
    subjects
        Kind → what its entries were about: a batch for movements.
    derived
        Kind → number of entries that followed from the act.
    """

    def __init__(self, house: Session, unit: Unit, key: str, *, again: bool = False) -> None:
        self._house, self._unit, self._key, self._number = house, unit, key, 0
        self._again = again
        self.key = key
        self.written: set[str] = set()
        self.subjects: defaultdict[str, set[str]] = defaultdict(set)
        self.derived: Counter[str] = Counter()

    def _when(self, key: str, at: datetime | None) -> datetime:
        """The time given; else, for an act sent again with its key, the time it was first sent with; else now."""
        if at is None and self._again:
            at = self._unit.happened(key)
        return at or self._house.now

    def _next_key(self) -> str:
        self._number += 1
        return self._key if self._number == 1 else f"{self._key}.{self._number}"

    def move(  # a movement has these facts, all named at the call
        self,
        batch: str,
        source: str,
        target: str,
        count: int,
        *,
        at: datetime | None = None,
        note: str = "",
        corrects: str | None = None,
    ) -> str:
        """Move animals between two places; gives the entry's key."""
        key = self._next_key()
        house = self._house
        when = self._when(key, at)
        entry = Movement(batch, source, target, count, when, house.now, house.who, key, corrects, note)
        self._unit.move(entry)
        self._wrote("movement", batch, key)
        return key

    def note(
        self,
        kind: str,
        subject: str,
        payload: Mapping[str, object],
        *,
        at: datetime | None = None,
        corrects: str | None = None,
    ) -> str:
        """Write down a fact that moves no animal; gives the entry's key."""
        key = self._next_key()
        house = self._house
        when = self._when(key, at)
        self._unit.note(Record(kind, subject, dict(payload), when, house.now, house.who, key, corrects))
        self._wrote(kind, subject, key)
        return key

    def derive(self, kind: str, subject: str, payload: Mapping[str, object]) -> None:
        """Record what follows from the act, under a key made of the act's and of what it says.

        An act sent again is followed by the same, or later by something else; neither may take the other's key.
        """
        house = self._house
        told = "" if kind == "farm" else sha256(repr(sorted(payload.items())).encode()).hexdigest()[:16]
        key = f"{self._key}~{kind}/{subject}/{told}"
        self._unit.note(Record(kind, subject, dict(payload), house.now, house.now, house.who, key))
        self.written.add(kind)
        self.subjects[kind].add(subject)
        self.derived[kind] += 1

    def _wrote(self, kind: str, subject: str, key: str) -> None:
        if key not in self._unit.already:
            self.written.add(kind)
            self.subjects[kind].add(subject)

    def entries(self, kind: str | None = None, subject: str | None = None) -> tuple[Entry, ...]:
        """Entries inside this transaction, its own among them; of one kind and subject (a movement's batch) if named."""
        return self._unit.entries(kind, subject)

    def latest(self, kind: str) -> dict[str, Record]:
        """As ``House.latest``, inside this transaction."""
        return self._unit.ask.latest(kind)

    def latest_from(self, kind: str, topic: str, subjects: Iterable[str] = ()) -> dict[str, Record]:
        """As ``House.latest_from``, inside this transaction."""
        return self._unit.ask.latest_from(kind, topic, subjects)

    def last(self, kind: str, subject: str) -> Record | None:
        """As ``House.last``, inside this transaction."""
        return self._unit.ask.latest(kind, subject).get(subject)

    def corrections(self, keys: Iterable[str]) -> tuple[Entry, ...]:
        """As ``House.corrections``, inside this transaction."""
        return self._unit.ask.corrections(keys)
