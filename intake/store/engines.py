"""Connections to the ledger: one engine that writes under a lock, one that only reads."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, NoSuchModuleError

from intake.errors import BadInput, Finding, StoreTrouble

__all__ = [
    "BUSY_MS",
    "address",
    "hold_all",
    "hold_site",
    "reading_engine",
    "see_every_site",
    "shown",
    "sqlite_file",
    "writing_engine",
]

BUSY_MS: Final = 10_000
"""How long a writer waits for the writer before it, in ms (measured: 8 writers of 400 counts wait at most 1.8 s)."""

_UNWRITABLE: Final = frozenset(
    {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_FULL, sqlite3.SQLITE_CANTOPEN}
)

_WRITERS_LOCK: Final = 86_283_714  # any number, the same for all who change the tables of one database


def address(url_or_path: str | Path) -> URL:
    """Address of the ledger from a path or a database URL.

    Raises
    ------
    BadInput
        When it is neither a path nor the URL of SQLite or PostgreSQL.
    """
    given = str(url_or_path)
    if "://" not in given:
        return URL.create("sqlite", database=given)
    try:
        url = make_url(given)
        backend = url.get_backend_name()
    except (ArgumentError, ValueError) as error:
        raise _not_an_address("an address that cannot be read") from error
    if backend == "postgresql" and url.drivername == "postgresql":
        url = url.set(drivername="postgresql+psycopg")
    if backend not in ("sqlite", "postgresql"):
        raise _not_an_address(backend)
    return url


def _not_an_address(value: str) -> BadInput:
    return BadInput(Finding("store", value, "a file path or postgresql://user@host/database", "Correct farm.toml."))


def shown(url: URL) -> str:
    """Address for messages, without a password."""
    if url.get_backend_name() == "sqlite":
        return str(url.database)
    return url.render_as_string(hide_password=True)


def sqlite_file(url: URL) -> Path | None:
    """File of the ledger, ``None`` when they are not in a plain file."""
    plain = url.get_backend_name() == "sqlite" and url.database and not str(url.database).startswith(("file:", ":"))
    return Path(str(url.database)) if plain else None


def writing_engine(url: URL, site: str) -> Engine:
    """Engine that writes the rows of one site; on SQLite every transaction holds the writers' lock from its start."""
    engine = _engine(url)
    if url.get_backend_name() == "sqlite":
        _on_connect(engine, ("PRAGMA journal_mode=WAL", "PRAGMA synchronous=FULL", "PRAGMA foreign_keys=ON"))
        # A plain BEGIN that reads first and writes later fails at once when another has written in between.
        event.listen(engine, "begin", _begin_immediate)
    else:
        event.listen(engine, "begin", _named(site))
    return engine


def reading_engine(url: URL, site: str) -> Engine:
    """Engine which refuses to write and sees one moment of the ledger per transaction, of one site."""
    engine = _engine(url)
    if url.get_backend_name() == "sqlite":
        event.listen(engine, "do_connect", _connected_for_reading)
        _on_connect(engine, ("PRAGMA query_only=ON",))
        event.listen(engine, "begin", _begin)
        return engine
    event.listen(engine, "begin", _named(site))
    return engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)


def hold_site(connection: Connection, site: str) -> None:
    """Wait for the other writers of a site; a row lock, which every PostgreSQL-compatible server knows."""
    if connection.dialect.name == "postgresql":
        held = connection.execute(text("SELECT name FROM site WHERE name = :site FOR UPDATE"), {"site": site}).first()
        if held is None:  # nothing to lock would mean no lock
            raise StoreTrouble(Finding("site", site, "a site of this store", "Close the program and start it again."))


def hold_all(connection: Connection) -> None:
    """Wait for whoever is making or changing the tables."""
    if connection.dialect.name == "postgresql":
        connection.execute(text(f"SELECT pg_advisory_xact_lock({_WRITERS_LOCK})"))


def see_every_site(connection: Connection) -> None:
    """Let the rest of a transaction read the rows of all sites."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT set_config('vatside.every_site', 'yes', true)"))


def _engine(url: URL) -> Engine:
    try:
        return create_engine(url, pool_pre_ping=url.get_backend_name() != "sqlite")
    except (ModuleNotFoundError, NoSuchModuleError) as error:
        do = "Install it (pip install 'vatside[postgres]'), or use a file."
        raise StoreTrouble(Finding("store", str(error), "the driver of the database", do)) from error


def _on_connect(engine: Engine, pragmas: tuple[str, ...]) -> None:
    @event.listens_for(engine, "connect")
    def prepare(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # the driver begins nothing by itself
        connection.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        for pragma in pragmas:
            connection.execute(pragma)


def _connected_for_reading(dialect: Any, _record: Any, given: Any, named: Any) -> Any:
    """A connection, also to books on a disk that cannot be written, full or mounted for reading only.

    SQLite keeps a file beside a write-ahead log even to read; where it cannot make one the ledger is read as it lies,
    provided that no log holds entries which the file lacks.
    """
    connection = dialect.connect(*given, **named)
    try:
        connection.execute("SELECT name FROM sqlite_master LIMIT 1").fetchall()
    except sqlite3.OperationalError as error:
        file = Path(str(given[0])) if given else None
        log = None if file is None else file.with_name(file.name + "-wal")
        unwritable = error.sqlite_errorcode & 0xFF in _UNWRITABLE
        if not unwritable or file is None or not file.is_file() or (log and log.is_file() and log.stat().st_size):
            return connection
        connection.close()
        quoted = str(file.absolute()).replace("%", "%25").replace("?", "%3f").replace("#", "%23")
        return dialect.connect(f"file:{quoted}?immutable=1", **{**named, "uri": True})
    return connection


def _begin(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN")


def _begin_immediate(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")


def _named(site: str) -> Callable[[Connection], None]:
    """Name to the server at each transaction's start whose rows it may show; survives a pooler between the two."""

    def begin(connection: Connection) -> None:
        settings = "SELECT set_config('vatside.site', :site, true), set_config('lock_timeout', :wait, true)"
        connection.execute(text(settings), {"site": site, "wait": f"{BUSY_MS}ms"})

    return begin
