"""The ledger on disk: appending under one lock, reading at one moment, nothing updated, nothing deleted."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path

from sqlalchemy import URL, Connection, func, insert, select
from sqlalchemy.exc import SQLAlchemyError

from intake.errors import Finding, StoreTrouble
from intake.ledger.entries import Entry, Movement, Record
from intake.ledger.head import Head
from intake.store import migrations
from intake.store.asking.questions import Questions
from intake.store.copying import backup as copies
from intake.store.engines import (
    BUSY_MS,
    address,
    hold_all,
    hold_site,
    reading_engine,
    shown,
    sqlite_file,
    writing_engine,
)
from intake.store.entry_reading import Wanted, broken_seals, entries_of, occupied, shared_entries
from intake.store.guards import guarded
from intake.store.ledger_tables import MOVEMENT, RECORD, SITE
from intake.store.migrations import newest, version
from intake.store.proving import Proof, differs_from, head_of, last_proof, prove, remember
from intake.store.remembered import NOTHING, Remembered, caught_up
from intake.store.trouble import busy, told
from intake.store.unit import Unit
from intake.store.view import Source, View

__all__ = ["Books"]


class Books:
    """The ledger of one farm, in a SQLite file or a PostgreSQL database that it may share with other sites.

    Attributes
    ----------
    where
        Address for messages, without a password.
    site
        Name of the site whose entries these are; empty for the only one.
    """

    def __init__(self, url: URL, site: str) -> None:
        self._url = url
        self._writer, self._reader = writing_engine(url, site), reading_engine(url, site)
        self.where, self.site = shown(url), site
        self._turn = threading.Lock()
        self._remembered: Remembered = NOTHING
        self._catching_up = threading.Lock()
        self._view: View | None = None

    @classmethod
    def open(
        cls, url_or_path: str | Path, *, create: bool = True, site: str = "", aside: str | Path | None = None
    ) -> Books:
        """Open the ledger, making it or bringing it up to date as needed.

        Parameters
        ----------
        url_or_path
            File path, or ``postgresql://user@host/database``.
        create
            Whether books that do not exist yet are made, and a new site may join a store where others have entries.
        site
            Whose entries; every site of a store reads and writes only its own.
        aside
            Folder for the copy made before older books are brought up to date; beside the file when left out, and
            needed for a server.

        Raises
        ------
        StoreTrouble
            Absent, locked, read-only, damaged, not books at all, of other sites only, or written by a newer program.
        BadInput
            When the address cannot be read.
        """
        url = address(url_or_path)
        file = sqlite_file(url)
        if file is not None and not file.exists() and (not create or not file.parent.is_dir()):
            expected = "a file" if file.parent.is_dir() else "a file in a folder that exists"
            raise StoreTrouble(Finding("books", str(file), expected, "Check the path, or make a new farm first."))
        books = cls(url, site)
        try:
            books._prepare(create, None if aside is None else Path(aside))
        except BaseException:
            books.close()
            raise
        return books

    def _prepare(self, create: bool, aside: Path | None) -> None:
        with told(self.where):
            with self._reader.begin() as connection:  # no lock taken: a reader need not wait for a writer
                before = version(connection)
                known = before == newest() and self._registered(connection)
                missing = guarded(connection, before) if 0 < before <= newest() else set()
                others = occupied(connection) - {self.site} if before == newest() and not known else frozenset()
            if 0 < before < newest():
                copies.before_migration(self._reader, self._aside(before, aside), before)
            if before != newest():
                with self._writer.begin() as connection:
                    hold_all(connection)
                    migrations.migrate(connection)
                    missing = guarded(connection, newest())
                    known = self._registered(connection)
                    others = occupied(connection) - {self.site}
            if others and not known and not create:
                raise self._of_others(others)
            if not known and not missing:
                self._register()
        if missing:
            do = "Someone altered the database; compare with the last backup, restore it if they differ."
            raise StoreTrouble(Finding("books, append-only triggers", "", ", ".join(sorted(missing)), do))

    def _aside(self, have: int, aside: Path | None) -> Path:
        """Where the copy made before a step goes."""
        file = sqlite_file(self._url)
        if file is not None:
            return (aside or file.parent) / file.name
        if aside is None:
            do = "Name a folder for the copy that is made before books are brought up to date."
            raise StoreTrouble(Finding("books, schema version", str(have), f"version {newest()}", do))
        return aside / "books.db"

    def _registered(self, connection: Connection) -> bool:
        return connection.execute(select(SITE.c.name).where(SITE.c.name == self.site)).first() is not None

    def _register(self) -> None:
        with self._writer.begin() as connection:
            hold_all(connection)
            if not self._registered(connection):
                connection.execute(insert(SITE).values(name=self.site))

    def _of_others(self, others: frozenset[str]) -> StoreTrouble:
        names = " or ".join(repr(name) for name in sorted(others))
        do = "Correct `site` in farm.toml, or copy this farm into the database with vatside transfer --to."
        return StoreTrouble(Finding(f"site in {self.where}", self.site or "(no name)", f"a site it knows: {names}", do))

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
        """Append under the site's lock: ``with books.write() as unit: unit.move(…)``.

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
        with self._my_turn(), told(self.where), self._writer.begin() as connection:
            hold_site(connection, self.site)
            unit = Unit(connection, self.site, self._remembered)
            yield unit
            unit.settle()

    @contextmanager
    def _my_turn(self) -> Iterator[None]:
        """Let the threads of one program wait here rather than at SQLite's lock.

        SQLite's waiting is sleeping and asking again, in no order: of eight threads some waited 4 s where a queue takes
        a tenth of that (measured, see docs/decisions/store.md).
        """
        if sqlite_file(self._url) is None:
            yield
            return
        if not self._turn.acquire(timeout=BUSY_MS / 1000):
            raise busy(self.where)
        try:
            yield
        finally:
            self._turn.release()

    def view(self) -> View:
        """The ledger as it is now, for any number of questions that must agree with each other.

        What an earlier view knows and later entries have not changed is not read again; of several threads one catches
        up and the others wait for it.  Books that are not those read before (a copy was put back) are read again.
        """
        with self._catching_up, told(self.where), self._reader.begin() as connection:
            ask = Questions(connection, self.site)
            reach, before = ask.reach(), self._view
            if before is not None and before.reach == reach:
                return before
            if before is not None and ask.still(before.reach):
                self._view = before.grown(reach, *ask.since(before.reach))
            else:
                self._view = View(self._source(), reach)
            return self._view

    def _source(self) -> Source:
        return Source(self._reader, self.where, self.site, self.entries)

    def learn(self, seen: View | None) -> None:
        """Keep what an act read inside its transaction, if anything, now that it is on disk.

        The next :meth:`view` goes on from there if the rows up to its reach still carry their seals.
        """
        with self._catching_up:
            if seen is not None and (self._view is None or seen.reach.record >= self._view.reach.record):
                self._view = seen.read_by(self._source())

    def entries(
        self,
        kind: str | None = None,
        subject: str | None = None,
        until: datetime | None = None,
        *,
        every_site: bool = False,
    ) -> tuple[Entry, ...]:
        """Entries in the order they were recorded.

        Parameters
        ----------
        kind
            ``"movement"``, a record kind, or ``None`` for everything.
        subject
            Subject of the records; of movements, the batch.
        until
            Only what had been recorded by then (what the ledger said at that moment), both ends included.
        every_site
            For comparing suppliers: the movements and the ``batch``, ``shipment`` and ``received`` records of all
            sites of the store, those of others under ``site/id``; nothing else of other sites is reported.
        """
        with told(self.where), self._reader.begin() as connection:
            wanted = Wanted(kind, subject, until)
            if every_site:
                return shared_entries(connection, self.site, wanted)
            if wanted != Wanted():
                return entries_of(connection, self.site, wanted)
            self._remembered = caught_up(connection, self.site, self._remembered)
            return self._remembered.entries

    def movements(self, batch: str | None = None, until: datetime | None = None) -> tuple[Movement, ...]:
        """Movements, of one batch if named, in the order they were recorded."""
        return tuple(entry for entry in self.entries("movement", batch, until) if isinstance(entry, Movement))

    def records(
        self, kind: str | None = None, subject: str | None = None, until: datetime | None = None
    ) -> tuple[Record, ...]:
        """Records, of one kind and subject if named, in the order they were recorded."""
        return tuple(entry for entry in self.entries(kind, subject, until) if isinstance(entry, Record))

    def sites(self) -> tuple[str, ...]:
        """Names of the sites of this store that have entries."""
        with told(self.where), self._reader.begin() as connection:
            return tuple(sorted(occupied(connection)))

    def stamp(self) -> tuple[int, int]:
        """Numbers of the newest movement and record: other numbers, other books; cheap enough for every request."""
        with told(self.where), self._reader.begin() as connection:
            newest_of = [select(func.max(t.c.id)).where(t.c.site == self.site) for t in (MOVEMENT, RECORD)]
            movement, record = (int(connection.execute(query).scalar() or 0) for query in newest_of)
            return movement, record

    def prove(self, now: datetime, *, everything: bool = True, program: str = "") -> Proof:
        """Prove that the ledger is as it was written and keeps its rules.

        Parameters
        ----------
        now
            The present; with ``everything`` and nothing found it is remembered as when all was last proved.
        everything
            All entries; else those since all was last proved by this program, if it ever was.
        program
            Version of the program; what another version proved does not count.
        """
        with told(self.where), self._reader.begin() as connection:
            before = None if everything else last_proof(connection, self.site, program)
            proof = prove(connection, self.site, *(before or ()))
        if before is None and not proof.faults:
            with (
                suppress(SQLAlchemyError),
                self._writer.begin() as connection,
            ):  # a disk that may only be read is no fault
                hold_site(connection, self.site)
                remember(connection, self.site, proof.reach, now, program)
        return proof

    def head(self) -> Head:
        """How many entries there are, and what the last of them seal."""
        with told(self.where), self._reader.begin() as connection:
            return head_of(Questions(connection, self.site))

    def differs_from(self, printed: Head) -> list[Finding]:
        """What differs between this ledger and those a printed head was taken of; empty when they go on from there unaltered."""
        with told(self.where), self._reader.begin() as connection:
            return differs_from(Questions(connection, self.site), printed)

    def faults(self) -> list[Finding]:
        """Rows that do not carry the seal they were written with, whatever altered them; empty when all do."""
        with told(self.where), self._reader.begin() as connection:
            return [finding for table in (MOVEMENT, RECORD) for finding in broken_seals(connection, table)]

    def backup(self, target: str | Path) -> Path:
        """Write a complete, checked copy of the ledger to a SQLite file, while others may go on writing.

        Raises
        ------
        StoreTrouble
            When the target exists, cannot be written, or the copy is not sound; no half copy is left.
        """
        with told(self.where):
            return copies.backup(self._reader, Path(target), site=self.site)
