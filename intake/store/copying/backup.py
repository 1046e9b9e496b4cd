"""Copies of the ledger: made whole while others write, checked before they count, and put back by one command."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final, TypeVar

from sqlalchemy import Connection, CursorResult, Engine, NullPool, Table, create_engine, text
from sqlalchemy.engine import URL
from sqlalchemy.exc import SQLAlchemyError

from intake.errors import Finding, StoreTrouble
from intake.ledger.conservation import check
from intake.ledger.entries import Entry
from intake.store import migrations
from intake.store.engines import see_every_site
from intake.store.entry_reading import broken_seals
from intake.store.guards import guarded
from intake.store.ledger_tables import MOVEMENT, RECORD, movement_of, record_of
from intake.store.trouble import told

__all__ = ["backup", "before_migration", "ensure_closed", "restore", "verify"]

One = TypeVar("One", bound=Entry)

_ROWS_AT_ONCE: Final = 5_000
_OTHER_COPY: Final = "Use another copy."


def backup(source: Engine, target: Path, *, site: str | None = None) -> Path:
    """Write a checked copy of the ledger to a new SQLite file, in whatever database it is.

    Parameters
    ----------
    source
        Engine of the ledger.
    target
        File that does not exist yet, in a folder that does.
    site
        From a server, only the entries of this site; a file is copied whole.

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
            _copy_rows(source, part, site)
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
    """Check a copy: the pages, the version, the triggers, the seal of every row and whether the animals add up.

    Returns
    -------
    tuple
        Its entries, of all sites in it.

    Raises
    ------
    StoreTrouble
        Saying what is wrong.
    """
    if not file.is_file():
        raise StoreTrouble(Finding("copy of the ledger", str(file), "a file that exists", "Check the path."))
    engine = _plain(file, read_only=True)
    try:
        with told(str(file)), engine.begin() as connection:
            have = _sound_file(connection, file)
            moved = _by_site(connection, MOVEMENT, movement_of)
            noted = _by_site(connection, RECORD, record_of)
            found = [f for table in (MOVEMENT, RECORD) for f in broken_seals(connection, table)] if have > 1 else []
    except (TypeError, ValueError, RecursionError) as error:
        raise StoreTrouble(Finding(str(file), str(error), "entries that can be read", "Use another copy.")) from error
    finally:
        engine.dispose()
    for series in (moved, noted):
        for entries in series.values():
            found.extend(check(entries))
    if found:
        raise StoreTrouble(found)
    return tuple(entry for series in (moved, noted) for entries in series.values() for entry in entries)


def _sound_file(connection: Connection, file: Path) -> int:
    """Version of a copy whose pages and triggers are whole."""
    pages = [str(line) for line in connection.execute(text("PRAGMA integrity_check")).scalars()]
    found = [] if pages == ["ok"] else [Finding(str(file), line, "sound pages", _OTHER_COPY) for line in pages[:5]]
    have = migrations.version(connection)
    if not 1 <= have <= migrations.newest():
        found.append(Finding(f"{file}, schema version", str(have), f"1 to {migrations.newest()}", _OTHER_COPY))
    elif missing := ", ".join(sorted(guarded(connection, have))):
        found.append(Finding(f"{file}, append-only triggers", "", missing, _OTHER_COPY))
    if found:
        raise StoreTrouble(found)
    return have


def _by_site(
    connection: Connection, table: Table, entry_of: Callable[[Mapping[str, Any]], One]
) -> dict[str, list[One]]:
    """Site → its entries; the rows of an older version belong to the site without a name."""
    found: dict[str, list[One]] = {}
    for row in connection.execute(text(f"SELECT * FROM {table.name} ORDER BY id")).mappings():  # noqa: S608  # names of ours
        facts: dict[str, Any] = {str(name): value for name, value in row.items()}
        found.setdefault(facts.get("site", ""), []).append(entry_of(facts))
    return found


def restore(source: Path, target: Path, *, replace: bool = False) -> Path | None:
    """Put a backup in the place of the ledger.

    Parameters
    ----------
    source
        Backup file; it is checked first and stays.
    target
        File of the ledger.
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
        raise StoreTrouble(Finding("restore", str(target), "no books there", "Add --replace to overwrite them."))
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


def before_migration(engine: Engine, file: Path, have: int) -> Path:
    """Copy books of an older version aside, as ``….version-N`` beside the name given, before they are changed."""
    file.parent.mkdir(exist_ok=True)
    stem = f"{file.name}.version-{have}"
    number = 1
    while (target := file.with_name(stem if number == 1 else f"{stem}.{number}")).exists():
        number += 1
    return backup(engine, target)


def _move_aside(target: Path) -> Path:
    """Take the old ledger and their write-ahead log out of the way together: a stray log would spoil the new file."""
    number = 1
    stem = target.name + ".before-restore"
    while (aside := target.with_name(stem if number == 1 else f"{stem}.{number}")).exists():
        number += 1
    ensure_closed(target)
    target.replace(aside)
    for ending in ("-wal", "-shm"):
        log = target.with_name(target.name + ending)
        if log.exists():
            log.replace(aside.with_name(aside.name + ending))
    return aside


def ensure_closed(target: Path) -> None:
    """Refuse to go on while another program has books open; damaged ones are let pass.

    Raises
    ------
    StoreTrouble
        They are open elsewhere.
    """
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


def _copy_rows(source: Engine, target: Path, site: str | None) -> None:
    """Copy books of a server into a file, in the version they have, numbers included, as of one moment."""
    copy = _plain(target)
    try:
        with source.begin() as reading, copy.connect() as writing:
            have = migrations.version(reading)
            writing.execute(text("BEGIN"))
            migrations.migrate(writing, {number: step for number, step in migrations.STEPS.items() if number <= have})
            if site is None:
                see_every_site(reading)
            for table in (MOVEMENT.name, RECORD.name):
                # The policy of the database parts the sites too, but not for a superuser.
                only = "" if site is None or have == 1 else " WHERE site = :site"
                query = f"SELECT * FROM {table}{only} ORDER BY id"  # noqa: S608  # names of ours
                _copy_table(reading.execute(text(query), {"site": site} if only else {}), writing, table)
            if have > 1:
                sites = "SELECT site FROM movement UNION SELECT site FROM record"
                writing.execute(text(f"INSERT INTO site (name) {sites}"))  # names of ours
            writing.execute(text("COMMIT"))
    finally:
        copy.dispose()


def _copy_table(rows: CursorResult[Any], writing: Connection, table: str) -> None:
    names = tuple(rows.keys())
    values = ", ".join(f":{name}" for name in names)
    statement = text(f"INSERT INTO {table} ({', '.join(names)}) VALUES ({values})")  # noqa: S608  # names of ours
    for part in rows.partitions(_ROWS_AT_ONCE):
        writing.execute(statement, [dict(zip(names, row, strict=True)) for row in part])


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
    """Leave no half copy, and report a failing disk in words."""
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
