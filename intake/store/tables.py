"""The two tables of the books, the same on SQLite and PostgreSQL, and the triggers that keep them append-only."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any, Final

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Connection,
    Index,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    RowMapping,
    Table,
    Text,
    UniqueConstraint,
    text,
)

from intake.ledger.entries import Entry, Movement, Record, canonical

__all__ = [
    "METADATA",
    "MOVEMENT",
    "RECORD",
    "SCHEMA",
    "guard",
    "guarded",
    "movement_of",
    "record_of",
    "row_of",
    "stored_time",
]

METADATA: Final = MetaData()

_NUMBER = BigInteger().with_variant(Integer, "sqlite")  # SQLite numbers rows itself only for INTEGER


def _entry_columns() -> tuple[Column[Any], ...]:
    return (
        Column("happened_at", Text, nullable=False),
        Column("recorded_at", Text, nullable=False),
        Column("who", Text, nullable=False),
        Column("key", Text, nullable=False),
        Column("corrects", Text, nullable=True),
    )


MOVEMENT: Final = Table(
    "movement",
    METADATA,
    Column("id", _NUMBER, nullable=False, autoincrement=True),
    Column("batch", Text, nullable=False),
    Column("source", Text, nullable=False),
    Column("target", Text, nullable=False),
    Column("count", _NUMBER, nullable=False),
    *_entry_columns(),
    Column("note", Text, nullable=False),
    PrimaryKeyConstraint("id", name="movement_id"),
    UniqueConstraint("key", name="movement_key"),
    CheckConstraint("count > 0", name="movement_count"),
    CheckConstraint("source <> target", name="movement_places"),
    sqlite_strict=True,
)

RECORD: Final = Table(
    "record",
    METADATA,
    Column("id", _NUMBER, nullable=False, autoincrement=True),
    Column("kind", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("payload", Text, nullable=False),
    *_entry_columns(),
    PrimaryKeyConstraint("id", name="record_id"),
    UniqueConstraint("key", name="record_key"),
    sqlite_strict=True,
)

SCHEMA: Final = Table(
    "schema_version",
    METADATA,
    Column("version", Integer, nullable=False),
    PrimaryKeyConstraint("version", name="schema_version_number"),
    sqlite_strict=True,
)

Index("movement_batch", MOVEMENT.c.batch)
Index("movement_recorded_at", MOVEMENT.c.recorded_at)
Index("record_recorded_at", RECORD.c.recorded_at)
Index("record_subject", RECORD.c.kind, RECORD.c.subject)

_GUARDED: Final = ("movement", "record")

_SQLITE_GUARD: Final = """
CREATE TRIGGER {table}_no_{act} BEFORE {act} ON {table}
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END
"""

# INSERT OR REPLACE deletes the older row without asking the DELETE trigger (SQLite, "REPLACE" conflict resolution), so
# a used key or number is refused before the conflict arises.
_SQLITE_GUARD_REPLACE: Final = """
CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}
WHEN EXISTS (SELECT 1 FROM {table} WHERE key = NEW.key OR id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'the books are append-only'); END
"""

_POSTGRES_REFUSE: Final = """
CREATE OR REPLACE FUNCTION books_append_only() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'the books are append-only'; END $$
"""

_POSTGRES_GUARD: Final = """
CREATE TRIGGER {table}_no_{act} BEFORE {act} ON {table} FOR EACH STATEMENT EXECUTE FUNCTION books_append_only()
"""


def _triggers(dialect: str) -> dict[str, str]:
    if dialect == "sqlite":
        made = {f"{t}_no_{a}": _SQLITE_GUARD.format(table=t, act=a) for t in _GUARDED for a in ("update", "delete")}
        return made | {f"{t}_no_replace": _SQLITE_GUARD_REPLACE.format(table=t) for t in _GUARDED}
    acts = ("update", "delete", "truncate")
    return {f"{t}_no_{a}": _POSTGRES_GUARD.format(table=t, act=a) for t in _GUARDED for a in acts}


def guard(connection: Connection) -> None:
    """Create the triggers which refuse UPDATE, DELETE, REPLACE and TRUNCATE on the books."""
    dialect = connection.dialect.name
    if dialect == "postgresql":
        connection.execute(text(_POSTGRES_REFUSE))
    for statement in _triggers(dialect).values():
        connection.execute(text(statement))


def guarded(connection: Connection) -> set[str]:
    """Names of the triggers that should stand and do not; empty when the books are append-only."""
    if connection.dialect.name == "sqlite":
        query = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    else:
        query = "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'"
    standing = {str(name) for name in connection.execute(text(query)).scalars()}
    return set(_triggers(connection.dialect.name)) - standing


def stored_time(moment: datetime) -> str:
    """Moment as it is stored: UTC, fixed width, so that text order is time order."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def row_of(entry: Entry) -> dict[str, object]:
    """Columns of an entry, without its number."""
    row: dict[str, object] = {
        "happened_at": stored_time(entry.happened_at),
        "recorded_at": stored_time(entry.recorded_at),
        "who": entry.who,
        "key": entry.key,
        "corrects": entry.corrects,
    }
    if isinstance(entry, Movement):
        names = ("batch", "source", "target", "count", "note")
        return row | {name: getattr(entry, name) for name in names}
    return row | {"kind": entry.kind, "subject": entry.subject, "payload": canonical(entry.payload)}


def movement_of(row: RowMapping) -> Movement:
    """Movement of a row."""
    return Movement(**{**row, **_times(row)})


def record_of(row: RowMapping) -> Record:
    """Record of a row."""
    return Record(**{**row, **_times(row), "payload": json.loads(row["payload"])})


def _times(row: RowMapping) -> dict[str, Any]:
    return {name: datetime.fromisoformat(row[name]) for name in ("happened_at", "recorded_at")}
