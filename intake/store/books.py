"""The books on disk: appending under one lock, reading at one moment, nothing updated, nothing deleted."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, RowMapping, Select, Table, func, insert, select

from intake.errors import BadInput, Finding, Refused, StoreTrouble
from intake.ledger.conservation import CLOCK_SLACK, Shortage, shortages
from intake.ledger.entries import Entry, Movement, Record, faults
from intake.store import backup as copies
from intake.store import migrations
from intake.store.engines import address, reading_engine, shown, sqlite_file, writing_engine
from intake.store.migrations import version
from intake.store.tables import MOVEMENT, RECORD, guarded, movement_of, record_of, row_of, stored_time
from intake.store.trouble import told

__all__ = ["Books", "Unit"]


class Unit:
    """One act on the books: everything in it is written together or not at all.

    Attributes
    ----------
    already
        Keys given to this unit that had been recorded before, with the same content.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._touched: set[str] = set()
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
        return _entries(self._connection, kind, subject, until)

    def settle(self) -> None:
        """Refuse now if a place of a batch this unit touched falls below zero at any moment.

        Raises
        ------
        Refused
            Naming batch, place, what the books have there and what was to leave.
        """
        found: list[Shortage] = []
        for batch in sorted(self._touched):
            found.extend(shortages(_entries(self._connection, "movement", batch, None)))
        if found:
            raise Refused([shortage.as_finding() for shortage in found])

    def _append(self, table: Table, entry: Entry) -> int:
        found = faults(entry)
        if found:
            raise BadInput(found)
        row = row_of(entry)
        earlier = self._connection.execute(select(table).where(table.c.key == entry.key)).mappings().first()
        if earlier is not None:
            return self._recorded_before(row, earlier)
        self._check_clock(entry)
        if entry.corrects is not None:
            known = select(table.c.id).where(table.c.key == entry.corrects)
            if self._connection.execute(known).first() is None:
                raise Refused(Finding("corrects", entry.corrects, f"the key of an earlier {table.name}"))
        return int(self._connection.execute(insert(table).values(row).returning(table.c.id)).scalar_one())

    def _recorded_before(self, row: Mapping[str, object], earlier: RowMapping) -> int:
        """Same content under the same key is the same act posted again; when it was posted does not matter."""
        other = [name for name, value in row.items() if name != "recorded_at" and earlier[name] != value]
        if other:
            raise Refused(
                Finding(
                    f"key {row['key']}",
                    ", ".join(f"{name} {row[name]}" for name in other),
                    "the same as recorded before: " + ", ".join(f"{name} {earlier[name]}" for name in other),
                    "This act was recorded already; give a new one a new key, or correct the earlier one.",
                )
            )
        self.already.append(str(row["key"]))
        return int(earlier["id"])

    def _check_clock(self, entry: Entry) -> None:
        newest = [self._connection.execute(select(func.max(t.c.recorded_at))).scalar() for t in (MOVEMENT, RECORD)]
        last = max((datetime.fromisoformat(moment) for moment in newest if moment), default=None)
        if last is not None and entry.recorded_at < last - CLOCK_SLACK:
            raise Refused(
                Finding(
                    "clock",
                    entry.recorded_at.isoformat(timespec="seconds"),
                    f"not before the last entry, recorded {last.isoformat(timespec='seconds')}",
                    "Set this computer's clock and repeat.",
                )
            )
        if entry.happened_at > entry.recorded_at + CLOCK_SLACK:
            happened = entry.happened_at.isoformat(timespec="minutes")
            now = entry.recorded_at.isoformat(timespec="minutes")
            raise Refused(
                Finding("happened at", happened, f"a time not after now, {now}", "Record it once it is done.")
            )


class Books:
    """The ledger of one farm, in a SQLite file or a PostgreSQL database."""

    def __init__(self, url: URL, writer: Engine, reader: Engine) -> None:
        self._url, self._writer, self._reader = url, writer, reader
        self.where = shown(url)
        """Address for messages, without a password."""

    @classmethod
    def open(cls, url_or_path: str | Path, *, create: bool = True) -> Books:
        """Open the books, making them or bringing them up to date as needed.

        Parameters
        ----------
        url_or_path
            File path, or ``postgresql://user@host/database``.
        create
            Whether books that do not exist yet are made.

        Raises
        ------
        StoreTrouble
            Absent, locked, read-only, damaged, not books at all, or written by a newer program.
        BadInput
            When the address cannot be read.
        """
        url = address(url_or_path)
        file = sqlite_file(url)
        if file is not None and not file.exists() and (not create or not file.parent.is_dir()):
            expected = "a file" if file.parent.is_dir() else "a file in a folder that exists"
            raise StoreTrouble(Finding("books", str(file), expected, "Check the path, or make a new farm first."))
        books = cls(url, writing_engine(url), reading_engine(url))
        try:
            books._prepare()
        except BaseException:
            books.close()
            raise
        return books

    def _prepare(self) -> None:
        with told(self.where):
            with self._reader.begin() as connection:  # no lock taken: a reader need not wait for a writer
                before = version(connection)
                missing = guarded(connection)
            if before != max(migrations.STEPS):
                file = sqlite_file(self._url)
                if before and file is not None:
                    copies.before_migration(self._reader, file, before)
                with self._writer.begin() as connection:
                    migrations.migrate(connection)
                    missing = guarded(connection)
        if missing:
            do = "Someone altered the database; compare with the last backup, restore it if they differ."
            raise StoreTrouble(Finding("books, append-only triggers", "", ", ".join(sorted(missing)), do))

    def close(self) -> None:
        """Give up all connections."""
        self._writer.dispose()
        self._reader.dispose()

    def __enter__(self) -> Books:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def write(self) -> Iterator[Unit]:
        """Append under the writers' lock: ``with books.write() as unit: unit.move(…)``.

        The unit is on disk when the ``with`` block has ended without an error; any error undoes all of it.

        Raises
        ------
        Refused
            When a place would fall below zero, a key was used for something else, or the clock runs backwards.
        BadInput
            When an entry is faulty.
        StoreTrouble
            When the database fails; nothing was written.
        """
        with told(self.where), self._writer.begin() as connection:
            unit = Unit(connection)
            yield unit
            unit.settle()

    def entries(
        self, kind: str | None = None, subject: str | None = None, until: datetime | None = None
    ) -> tuple[Entry, ...]:
        """Entries in the order they were recorded.

        Parameters
        ----------
        kind
            ``"movement"``, a record kind, or ``None`` for everything.
        subject
            Subject of the records; of movements, the batch.
        until
            Only what had been recorded by then (what the books said at that moment), both ends included.
        """
        with told(self.where), self._reader.begin() as connection:
            return _entries(connection, kind, subject, until)

    def movements(self, batch: str | None = None, until: datetime | None = None) -> tuple[Movement, ...]:
        """Movements, of one batch if named, in the order they were recorded."""
        return tuple(entry for entry in self.entries("movement", batch, until) if isinstance(entry, Movement))

    def records(
        self, kind: str | None = None, subject: str | None = None, until: datetime | None = None
    ) -> tuple[Record, ...]:
        """Records, of one kind and subject if named, in the order they were recorded."""
        return tuple(entry for entry in self.entries(kind, subject, until) if isinstance(entry, Record))

    def backup(self, target: str | Path) -> Path:
        """Write a complete, checked copy of the books to a SQLite file, while others may go on writing.

        Raises
        ------
        StoreTrouble
            When the target exists, cannot be written, or the copy is not sound; no half copy is left.
        """
        with told(self.where):
            return copies.backup(self._reader, Path(target))


def _entries(
    connection: Connection, kind: str | None, subject: str | None, until: datetime | None
) -> tuple[Entry, ...]:
    found: list[Entry] = []
    if kind in (None, "movement"):
        query = _filtered(MOVEMENT, {"batch": subject}, until)
        found.extend(_read(connection, query, movement_of))
    if kind != "movement":
        query = _filtered(RECORD, {"kind": kind, "subject": subject}, until)
        found.extend(_read(connection, query, record_of))
    return tuple(found) if kind is not None else _merged(found)


def _merged(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Two tables, two numberings: the time recorded decides, and each table keeps its own order."""
    reached: dict[type, datetime] = {}
    keyed: list[tuple[datetime, Entry]] = []
    for entry in entries:
        reached[type(entry)] = max(reached.get(type(entry), entry.recorded_at), entry.recorded_at)
        keyed.append((reached[type(entry)], entry))
    return tuple(entry for _, entry in sorted(keyed, key=lambda pair: pair[0]))


def _filtered(table: Table, wanted: Mapping[str, str | None], until: datetime | None) -> Select[Any]:
    query = select(table).order_by(table.c.id)
    for name, value in wanted.items():
        if value is not None:
            query = query.where(table.c[name] == value)
    return query if until is None else query.where(table.c.recorded_at <= stored_time(until))


def _read(connection: Connection, query: Select[Any], entry_of: Callable[[RowMapping], Entry]) -> Iterable[Entry]:
    for row in connection.execute(query).mappings():
        try:
            yield entry_of(row)
        except (TypeError, ValueError) as error:
            where = f"books, entry {row['id']}"
            raise StoreTrouble(Finding(where, str(error), "a sound entry", "Restore the last backup.")) from error
