"""Connections to the books: one engine that writes under a lock, one that only reads."""

from __future__ import annotations

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

_WRITERS_LOCK: Final = 86_283_714  # any number, the same for all who change the tables of one database


def address(url_or_path: str | Path) -> URL:
    """Address of the books from a path or a database URL.

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
    """File of the books, ``None`` when they are not in a plain file."""
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
    """Engine which refuses to write and sees one moment of the books per transaction, of one site."""
    engine = _engine(url)
    if url.get_backend_name() == "sqlite":
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


def _begin(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN")


def _begin_immediate(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")


def _named(site: str) -> Callable[[Connection], None]:
    """Tell the server at each transaction's start whose rows it may show; survives a pooler between the two."""

    def begin(connection: Connection) -> None:
        settings = "SELECT set_config('vatside.site', :site, true), set_config('lock_timeout', :wait, true)"
        connection.execute(text(settings), {"site": site, "wait": f"{BUSY_MS}ms"})

    return begin
