"""Bringing books of an older program up to date: numbered steps, one place, each run once in one transaction."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from sqlalchemy import Connection, func, insert, inspect, select, text

from intake.errors import Finding, StoreTrouble
from intake.store.derived import place_records, refill
from intake.store.guards import guard, unguard
from intake.store.ledger_tables import DERIVED, FACTS, SCHEMA, seal

__all__ = ["STEPS", "migrate", "newest", "version"]

# The statements of a step stay as they were written: they describe the past, not the tables of today.
_ENTRY: Final = """happened_at TEXT NOT NULL, recorded_at TEXT NOT NULL, who TEXT NOT NULL, key TEXT NOT NULL,
corrects TEXT"""
_MOVEMENT: Final = """CREATE TABLE movement (id {id} NOT NULL, batch TEXT NOT NULL, source TEXT NOT NULL,
target TEXT NOT NULL, count {number} NOT NULL, {entry}, note TEXT NOT NULL, {store}
CONSTRAINT movement_id PRIMARY KEY (id), CONSTRAINT movement_key UNIQUE ({unique}),
CONSTRAINT movement_count CHECK (count > 0), CONSTRAINT movement_places CHECK (source <> target)){strict}"""
_RECORD: Final = """CREATE TABLE record (id {id} NOT NULL, kind TEXT NOT NULL, subject TEXT NOT NULL,
payload TEXT NOT NULL, {entry}, {store}
CONSTRAINT record_id PRIMARY KEY (id), CONSTRAINT record_key UNIQUE ({unique})){strict}"""
_VERSION: Final = """CREATE TABLE schema_version (version INTEGER NOT NULL,
CONSTRAINT schema_version_number PRIMARY KEY (version)){strict}"""
_SITE: Final = "CREATE TABLE site (name TEXT NOT NULL, CONSTRAINT site_name PRIMARY KEY (name)){strict}"
_SITE_AND_SEAL: Final = "site TEXT NOT NULL, seal TEXT NOT NULL,"

_INDEXES_1: Final = {
    "movement_batch": "movement (batch)",
    "movement_recorded_at": "movement (recorded_at)",
    "record_recorded_at": "record (recorded_at)",
    "record_subject": "record (kind, subject)",
}
_INDEXES_2: Final = {
    "movement_batch": "movement (site, batch)",
    "movement_order": "movement (site, id)",
    "movement_recorded_at": "movement (site, recorded_at)",
    "record_order": "record (site, id)",
    "record_recorded_at": "record (site, recorded_at)",
    "record_subject": "record (site, kind, subject)",
}

_INDEXES_3: Final = {
    "record_subject": "record (site, kind, subject, happened_at)",
    "record_kind": "record (site, kind, happened_at)",
    "record_topic": "record (site, kind, topic, subject, happened_at)",
    "record_batch": "record (site, batch) WHERE batch <> ''",
    "record_shipment": "record (site, shipment) WHERE shipment <> ''",
    "record_corrects": "record (site, corrects) WHERE corrects IS NOT NULL",
    "movement_corrects": "movement (site, corrects) WHERE corrects IS NOT NULL",
    "movement_source": "movement (site, source, happened_at)",
    "holding_living": "holding (site, batch) WHERE count > 0 AND (place = 'dock' OR substr(place, 1, 4) = 'vat:')",
}
_HOLDING: Final = """CREATE TABLE holding (site TEXT NOT NULL, batch TEXT NOT NULL, place TEXT NOT NULL,
count {number} NOT NULL, CONSTRAINT holding_spot PRIMARY KEY (site, batch, place)){strict}"""
_PROVED: Final = """CREATE TABLE proved (site TEXT NOT NULL, movement {number} NOT NULL, movement_seal TEXT NOT NULL,
record {number} NOT NULL, record_seal TEXT NOT NULL, at TEXT NOT NULL, program TEXT NOT NULL,
CONSTRAINT proved_site PRIMARY KEY (site)){strict}"""


def _words(connection: Connection) -> dict[str, str]:
    if connection.dialect.name == "sqlite":
        return {"id": "INTEGER", "number": "INTEGER", "strict": " STRICT", "entry": _ENTRY}
    return {"id": "BIGSERIAL", "number": "BIGINT", "strict": "", "entry": _ENTRY}


def _first(connection: Connection) -> None:
    """Tables ``movement``, ``record`` and ``schema_version``, and their triggers."""
    words = _words(connection) | {"store": "", "unique": "key"}
    for statement in (_MOVEMENT, _RECORD, _VERSION):
        connection.execute(text(statement.format(**words)))
    _index(connection, _INDEXES_1)
    guard(connection, 1)


def _second(connection: Connection) -> None:
    """Every entry belongs to a site (those there are, to the site without a name) and carries a seal."""
    unguard(connection, 1)
    for name in _INDEXES_1:
        connection.execute(text(f"DROP INDEX {name}"))
    connection.execute(text(_SITE.format(**_words(connection))))
    rebuild = _rebuilt if connection.dialect.name == "sqlite" else _altered
    filled = [rebuild(connection, table) for table in FACTS]
    if any(filled):
        connection.execute(text("INSERT INTO site (name) VALUES ('')"))
    _index(connection, _INDEXES_2)
    guard(connection, 2)


def _rebuilt(connection: Connection, table: str) -> bool:
    """SQLite cannot change a constraint: a new table takes the rows over, numbers included."""
    words = _words(connection) | {"store": _SITE_AND_SEAL, "unique": "site, key"}
    connection.execute(text(f"ALTER TABLE {table} RENAME TO {table}_1"))
    connection.execute(text((_MOVEMENT if table == "movement" else _RECORD).format(**words)))
    seals = _seals(connection, f"{table}_1", table)
    columns = ", ".join(("id", *FACTS[table]))
    statement = f"INSERT INTO {table} ({columns}, site, seal) SELECT {columns}, '', :seal FROM {table}_1 WHERE id = :id"  # noqa: S608  # names of ours
    if seals:
        connection.execute(text(statement), seals)
    connection.execute(text(f"DROP TABLE {table}_1"))
    return bool(seals)


def _altered(connection: Connection, table: str) -> bool:
    """PostgreSQL changes the table in place; no other program can see it half done."""
    add = "ADD COLUMN site TEXT NOT NULL DEFAULT '', ADD COLUMN seal TEXT NOT NULL DEFAULT ''"
    unique = f"DROP CONSTRAINT {table}_key, ADD CONSTRAINT {table}_key UNIQUE (site, key)"
    connection.execute(text(f"ALTER TABLE {table} {add}, {unique}"))
    seals = _seals(connection, table, table)
    if seals:
        connection.execute(text(f"UPDATE {table} SET seal = :seal WHERE id = :id"), seals)  # noqa: S608  # names of ours
    # a program of the version before, still running, must not go on writing without a site
    connection.execute(
        text(f"ALTER TABLE {table} ALTER COLUMN site DROP DEFAULT, ALTER COLUMN seal DROP DEFAULT"),
    )
    return bool(seals)


def _seals(connection: Connection, source: str, table: str) -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = []
    last = ""
    columns = ", ".join(("id", *FACTS[table]))
    for number, *facts in connection.execute(text(f"SELECT {columns} FROM {source} ORDER BY id")):  # noqa: S608  # names of ours
        last = seal(last, facts)
        made.append({"id": number, "seal": last})
    return made


def _third(connection: Connection) -> None:
    """What stands where is kept beside the entries, records say where they belong, and questions find their own rows."""
    unguard(connection, 2)
    for statement in (_HOLDING, _PROVED):
        connection.execute(text(statement.format(**_words(connection))))
    server = connection.dialect.name == "postgresql"
    if server:  # the policy would hide the rows of other sites from the owner of the tables too
        for table in FACTS:
            connection.execute(text(f"ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY"))
    for column in DERIVED:
        # an older program, still running, names no such column: its rows are refused by a trigger, or for want of a value
        connection.execute(text(f"ALTER TABLE record ADD COLUMN {column} TEXT NOT NULL DEFAULT '?'"))
    place_records(connection)
    if server:
        for column in DERIVED:
            connection.execute(text(f"ALTER TABLE record ALTER COLUMN {column} DROP DEFAULT"))
    refill(connection)
    connection.execute(text("DROP INDEX record_subject"))
    _index(connection, _INDEXES_3)
    guard(connection, 3)


def _fourth(_: Connection) -> None:
    """Revisions of calendar events may be kept as changes: the tables stay, a program that cannot read them is refused."""


def _index(connection: Connection, indexes: Mapping[str, str]) -> None:
    for name, columns in indexes.items():
        connection.execute(text(f"CREATE INDEX {name} ON {columns}"))


STEPS: Final[Mapping[int, Callable[[Connection], None]]] = {1: _first, 2: _second, 3: _third, 4: _fourth}
"""Version → step that leads to it; a step that rebuilds a table on SQLite loses its triggers and must guard again."""


def newest() -> int:
    """Version this program reads and writes."""
    return max(STEPS)


def version(connection: Connection) -> int:
    """Read the version of the ledger a connection sees; 0 for an empty database.

    Raises
    ------
    StoreTrouble
        When the database holds tables of something else.
    """
    names = set(inspect(connection).get_table_names())
    if SCHEMA.name in names:
        return int(connection.execute(select(func.coalesce(func.max(SCHEMA.c.version), 0))).scalar_one())
    if names:
        found = ", ".join(sorted(names)[:5])
        raise StoreTrouble(Finding("books", f"tables {found}", "an empty database or books", "Choose another file."))
    return 0


def migrate(connection: Connection, steps: Mapping[int, Callable[[Connection], None]] | None = None) -> tuple[int, ...]:
    """Run the steps the ledger still lacks, inside the caller's transaction.

    Parameters
    ----------
    connection
        Inside a transaction that holds the lock against other programs.
    steps
        Version → step; those of this program when left out.

    Returns
    -------
    tuple
        Versions reached, in order; empty when nothing was to do.

    Raises
    ------
    StoreTrouble
        When the ledger was written by a newer program.
    """
    steps = STEPS if steps is None else steps
    have = version(connection)
    last = max(steps)
    if have > last:
        raise StoreTrouble(
            Finding(
                "books, schema version",
                str(have),
                f"at most {last}",
                "Update Vatside: a newer version wrote this ledger.",
            )
        )
    missing = tuple(number for number in sorted(steps) if number > have)
    for number in missing:
        steps[number](connection)
        connection.execute(insert(SCHEMA).values(version=number))
    return missing
