"""Copies of the books: made whole while others write, checked before they count, and put back by one command."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from sqlalchemy import Connection, Engine, NullPool, RowMapping, Table, create_engine, insert, select, text
from sqlalchemy.engine import URL
from sqlalchemy.exc import SQLAlchemyError

from intake.errors import Finding, StoreTrouble
from intake.ledger.conservation import check
from intake.ledger.entries import Entry
from intake.store import migrations
from intake.store.tables import MOVEMENT, RECORD, guarded, movement_of, record_of
from intake.store.trouble import told

__all__ = ["backup", "before_migration", "restore", "verify"]


def backup(source: Engine, target: Path) -> Path:
    """Write a checked copy of the books to a new SQLite file, in whatever database they are.

    Parameters
    ----------
    source
        Engine of the books.
    target
        File that does not exist yet, in a folder that does.

    Raises
    ------
    StoreTrouble
        When the target exists or cannot be written, or the copy is not sound.  A copy that opens but does not add up is
        kept beside as ``….unsound``, never under the name asked for.
    """
    if target.exists():
        raise StoreTrouble(Finding("backup", str(target), "a name not used yet", "A backup is never overwritten."))
    part = target.with_name(target.name + ".part")
    with _cleaned_up(part):
        if source.dialect.name == "sqlite":
            _vacuum(source.url, part)
        else:
            _copy_rows(source, part)
        try:
            verify(part)
        except StoreTrouble:
            if part.exists():
                part.replace(target.with_name(target.name + ".unsound"))
            raise
        _to_disk(part)
        part.replace(target)
        _to_disk(target.parent)
    return target


def verify(file: Path) -> tuple[Entry, ...]:
    """Check a copy: the pages, the version, the triggers and whether the animals add up.

    Returns
    -------
    tuple
        Its entries.

    Raises
    ------
    StoreTrouble
        Saying what is wrong.
    """
    if not file.is_file():
        raise StoreTrouble(Finding("copy of the books", str(file), "a file that exists", "Check the path."))
    engine = _plain(file, read_only=True)
    try:
        with told(str(file)), engine.begin() as connection:
            pages = [str(line) for line in connection.execute(text("PRAGMA integrity_check")).scalars()]
            found = [] if pages == ["ok"] else [Finding(str(file), line, "sound pages") for line in pages[:5]]
            newest = max(migrations.STEPS)
            have = migrations.version(connection)
            if not 1 <= have <= newest:
                found.append(Finding(f"{file}, schema version", str(have), f"1 to {newest}"))
            missing = ", ".join(sorted(guarded(connection)))
            if missing:
                found.append(Finding(f"{file}, append-only triggers", "", missing))
            if found:
                raise StoreTrouble(found)
            moved, noted = _rows(connection, MOVEMENT), _rows(connection, RECORD)
            entries = ([movement_of(row) for row in moved], [record_of(row) for row in noted])
    except (TypeError, ValueError) as error:
        raise StoreTrouble(Finding(str(file), str(error), "entries that can be read", "Use another copy.")) from error
    finally:
        engine.dispose()
    found = check(entries[0]) + check(entries[1])
    if found:
        raise StoreTrouble(found)
    return (*entries[0], *entries[1])


def _rows(connection: Connection, table: Table) -> list[RowMapping]:
    return list(connection.execute(select(table).order_by(table.c.id)).mappings())


def restore(source: Path, target: Path, *, replace: bool = False) -> Path | None:
    """Put a backup in the place of the books.

    Parameters
    ----------
    source
        Backup file; it is checked first and stays.
    target
        File of the books.
    replace
        Whether books that exist there are moved aside (kept as ``….before-restore``).

    Returns
    -------
    Path or None
        Where the earlier books were kept.

    Raises
    ------
    StoreTrouble
        When the backup is not sound, the target exists and may not be replaced, or another program has it open.
    """
    verify(source)
    kept: Path | None = None
    if target.exists() and not replace:
        raise StoreTrouble(Finding("restore", str(target), "no books there", "Say that they are to be replaced."))
    part = target.with_name(target.name + ".part")
    with _cleaned_up(part):
        _vacuum(URL.create("sqlite", database=str(source)), part)
        verify(part)
        _to_disk(part)
        if target.exists():
            kept = _move_aside(target)
        part.replace(target)
        _to_disk(target.parent)
    return kept


def before_migration(engine: Engine, file: Path, have: int) -> Path | None:
    """Copy books of an older version aside before they are changed; nothing when they are up to date or too new."""
    if have >= max(migrations.STEPS):
        return None
    stem = f"{file.name}.version-{have}"
    number = 1
    while (target := file.with_name(stem if number == 1 else f"{stem}.{number}")).exists():
        number += 1
    return backup(engine, target)


def _move_aside(target: Path) -> Path:
    """Take the old books and their write-ahead log out of the way together: a stray log would spoil the new file."""
    number = 1
    stem = target.name + ".before-restore"
    while (aside := target.with_name(stem if number == 1 else f"{stem}.{number}")).exists():
        number += 1
    engine = _plain(target)
    try:
        with engine.connect() as connection:
            connection.execute(text("PRAGMA busy_timeout=0"))
            mode = connection.execute(text("PRAGMA journal_mode=DELETE")).scalar()  # only the last connection may
    except SQLAlchemyError as error:
        if "locked" in str(error).lower():
            raise StoreTrouble(Finding("restore", str(target), "closed books", "Stop the server first.")) from error
        mode = None  # damaged books are moved aside as they are
    finally:
        engine.dispose()
    if mode == "wal":
        raise StoreTrouble(Finding("restore", str(target), "closed books", "Stop the server first."))
    target.replace(aside)
    for ending in ("-wal", "-shm"):
        log = target.with_name(target.name + ending)
        if log.exists():
            log.replace(aside.with_name(aside.name + ending))
    return aside


def _plain(file: Path, *, read_only: bool = False) -> Engine:
    url = URL.create("sqlite", database=str(file))
    if read_only:
        # A "?" or "#" in a folder name would end the path of a file: URI.
        quoted = str(file.absolute()).replace("%", "%25").replace("?", "%3f").replace("#", "%23")
        url = URL.create("sqlite", database=f"file:{quoted}", query={"mode": "ro", "uri": "true"})
    return create_engine(url, isolation_level="AUTOCOMMIT", poolclass=NullPool)


def _vacuum(url: URL, target: Path) -> None:
    engine = create_engine(url, isolation_level="AUTOCOMMIT", poolclass=NullPool)
    try:
        with told(str(url.database)), engine.connect() as connection:
            connection.execute(text("VACUUM INTO :target"), {"target": str(target)})
    finally:
        engine.dispose()


def _copy_rows(source: Engine, target: Path) -> None:
    """Copy books of a server into a file, numbers included, as of one moment."""
    copy = _plain(target)
    try:
        with source.begin() as reading, copy.connect() as writing:
            writing.execute(text("BEGIN"))
            migrations.migrate(writing)
            for table in (MOVEMENT, RECORD):
                rows = [dict(row) for row in _rows(reading, table)]
                if rows:
                    writing.execute(insert(table), rows)
            writing.execute(text("COMMIT"))
    finally:
        copy.dispose()


def _to_disk(path: Path) -> None:
    """Make sure that a file, or the names in a folder, outlast a power cut."""
    try:
        handle = os.open(path, os.O_RDONLY)
    except PermissionError:  # a folder cannot be opened on every system
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def _cleaned_up(part: Path) -> Iterator[None]:
    """Leave no half copy, and tell a failing disk in words."""
    try:
        part.unlink(missing_ok=True)
        yield
    except StoreTrouble:
        raise
    except OSError as error:
        do = "Check the folder, its rights and the room on the disk."
        raise StoreTrouble(Finding(str(part.parent), str(error), "a folder that can be written", do)) from error
    finally:
        if part.is_file():
            with suppress(OSError):
                part.unlink()
