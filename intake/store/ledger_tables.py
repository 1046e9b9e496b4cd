"""The tables of the ledger, the same on SQLite and PostgreSQL, and how an entry becomes a row and comes back."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any, Final

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Index,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
    UniqueConstraint,
)

from intake.ledger.entries import Entry, Movement, Record, canonical

__all__ = [
    "DERIVED",
    "FACTS",
    "HOLDING",
    "LIVING",
    "METADATA",
    "MOVEMENT",
    "PROVED",
    "RECORD",
    "SCHEMA",
    "SITE",
    "movement_of",
    "record_of",
    "row_of",
    "seal",
    "stored_time",
]

METADATA: Final = MetaData()

_NUMBER = BigInteger().with_variant(Integer, "sqlite")  # SQLite numbers rows itself only for INTEGER

_TIMES_AND_KEYS: Final = ("happened_at", "recorded_at", "who", "key", "corrects")

FACTS: Final[Mapping[str, tuple[str, ...]]] = {
    "movement": ("batch", "source", "target", "count", *_TIMES_AND_KEYS, "note"),
    "record": ("kind", "subject", "payload", *_TIMES_AND_KEYS),
}
"""Table → columns that are the entry itself and go into its seal, in this order for ever."""

DERIVED: Final = ("batch", "shipment", "topic")
"""Columns of a record that say where it belongs (:class:`~intake.ledger.streams.Stream`): found out from the entry, not
part of it, and not sealed."""


def _entry_columns() -> tuple[Column[Any], ...]:
    return (
        Column("happened_at", Text, nullable=False),
        Column("recorded_at", Text, nullable=False),
        Column("who", Text, nullable=False),
        Column("key", Text, nullable=False),
        Column("corrects", Text, nullable=True),
    )


def _store_columns() -> tuple[Column[Any], ...]:
    return (Column("site", Text, nullable=False), Column("seal", Text, nullable=False))


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
    *_store_columns(),
    PrimaryKeyConstraint("id", name="movement_id"),
    UniqueConstraint("site", "key", name="movement_key"),
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
    *_store_columns(),
    *(Column(name, Text, nullable=False) for name in DERIVED),
    PrimaryKeyConstraint("id", name="record_id"),
    UniqueConstraint("site", "key", name="record_key"),
    sqlite_strict=True,
)

SITE: Final = Table(
    "site",
    METADATA,
    Column("name", Text, nullable=False),
    PrimaryKeyConstraint("name", name="site_name"),
    sqlite_strict=True,
)
"""Sites of the store; a writer locks the row of its own site, so that sites do not wait for each other."""

SCHEMA: Final = Table(
    "schema_version",
    METADATA,
    Column("version", Integer, nullable=False),
    PrimaryKeyConstraint("version", name="schema_version_number"),
    sqlite_strict=True,
)

HOLDING: Final = Table(
    "holding",
    METADATA,
    Column("site", Text, nullable=False),
    Column("batch", Text, nullable=False),
    Column("place", Text, nullable=False),
    Column("count", _NUMBER, nullable=False),
    PrimaryKeyConstraint("site", "batch", "place", name="holding_spot"),
    sqlite_strict=True,
)
"""Animals of a batch in a place, all movements added up; kept by a trigger of the database with each movement.

Not part of the books: never believed by ``check``, made again from the movements at any time.  The plain sum is enough,
since netting changes when animals stood somewhere and never how many stand there at the end.
"""

PROVED: Final = Table(
    "proved",
    METADATA,
    Column("site", Text, nullable=False),
    Column("movement", _NUMBER, nullable=False),
    Column("movement_seal", Text, nullable=False),
    Column("record", _NUMBER, nullable=False),
    Column("record_seal", Text, nullable=False),
    Column("at", Text, nullable=False),
    Column("program", Text, nullable=False),
    PrimaryKeyConstraint("site", name="proved_site"),
    sqlite_strict=True,
)
"""How far a site's books were last proved whole, when and by which version of the program; not part of the books."""

LIVING: Final = "count > 0 AND (place = 'dock' OR substr(place, 1, 4) = 'vat:')"
"""Holdings of animals alive at the farm; a partial index, so a question must be put in these very words."""

Index("movement_source", MOVEMENT.c.site, MOVEMENT.c.source, MOVEMENT.c.happened_at)
Index("movement_batch", MOVEMENT.c.site, MOVEMENT.c.batch)
Index("movement_order", MOVEMENT.c.site, MOVEMENT.c.id)
Index("movement_recorded_at", MOVEMENT.c.site, MOVEMENT.c.recorded_at)
Index("record_order", RECORD.c.site, RECORD.c.id)
Index("record_recorded_at", RECORD.c.site, RECORD.c.recorded_at)
Index("record_subject", RECORD.c.site, RECORD.c.kind, RECORD.c.subject, RECORD.c.happened_at)
Index("record_kind", RECORD.c.site, RECORD.c.kind, RECORD.c.happened_at)
Index("record_topic", RECORD.c.site, RECORD.c.kind, RECORD.c.topic, RECORD.c.subject, RECORD.c.happened_at)
# Partial indexes are written out in the migrations: saying so here would draw the other database's dialect into every start.
Index("holding_living", HOLDING.c.site, HOLDING.c.batch)
Index("record_corrects", RECORD.c.site, RECORD.c.corrects)
Index("movement_corrects", MOVEMENT.c.site, MOVEMENT.c.corrects)
Index("record_batch", RECORD.c.site, RECORD.c.batch)
Index("record_shipment", RECORD.c.site, RECORD.c.shipment)


def stored_time(moment: datetime) -> str:
    """Moment as it is stored: UTC, fixed width, so that text order is time order."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def row_of(entry: Entry) -> dict[str, object]:
    """Columns of an entry, without its number, site and seal."""
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


def seal(previous: str, facts: Sequence[object]) -> str:
    """Seal of a row: SHA-256 over the seal of the row before it and its own facts.

    A disk may alter a digit without the database noticing; then the seal of that row no longer fits, and when a row is
    lost the seals of all later ones do not.  Number and site are left out, so that a copy keeps its seals.

    Parameters
    ----------
    previous
        Seal of the row of the same table and site before it; empty for the first.
    facts
        Values of the columns :data:`FACTS` names, in that order.

    References
    ----------
    FIPS PUB 180-4, Secure Hash Standard (2015), from memory; computed by hashlib.
    """
    text = json.dumps(list(facts), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return hashlib.sha256(f"{previous}\n{text}".encode()).hexdigest()


def movement_of(row: Mapping[str, Any]) -> Movement:
    """Movement of a row."""
    moved = (row["batch"], row["source"], row["target"], row["count"])
    return Movement(*moved, *_when(row), row["who"], row["key"], row["corrects"], row["note"], row["id"])


def record_of(row: Mapping[str, Any]) -> Record:
    """Record of a row."""
    payload = _again(row["payload"]) if row["kind"] in _READ_AGAIN else json.loads(row["payload"])
    noted = (row["kind"], row["subject"], payload)
    return Record(*noted, *_when(row), row["who"], row["key"], row["corrects"], row["id"])


_READ_AGAIN = frozenset({"published"})
"""Kinds of which all that a calendar shows is read after every act, though one act changes few of them."""


@lru_cache(maxsize=8192)
def _again(text: str) -> Mapping[str, Any]:
    """A payload that was read before: whoever reads it shares it, and changes nothing in it."""
    told: Mapping[str, Any] = json.loads(text)
    return told


def _when(row: Mapping[str, Any]) -> tuple[datetime, datetime]:
    return datetime.fromisoformat(row["happened_at"]), datetime.fromisoformat(row["recorded_at"])
