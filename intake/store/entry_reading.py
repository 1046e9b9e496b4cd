"""Questions to the tables: the entries of a site in the order they were recorded, and those that sites share."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

from sqlalchemy import CTE, ColumnElement, Connection, ScalarSelect, Select, Table, func, select

from intake.errors import Finding, StoreTrouble
from intake.ledger.entries import Entry, Movement
from intake.store.engines import see_every_site
from intake.store.ledger_tables import FACTS, MOVEMENT, RECORD, movement_of, record_of, seal, stored_time

__all__ = [
    "SHARED_KINDS",
    "Wanted",
    "broken_seals",
    "entries_of",
    "entry_of",
    "merged",
    "occupied",
    "rows_of",
    "shared_entries",
    "spots_of",
    "vats_left",
]

SHARED_KINDS: Final = frozenset({"batch", "shipment", "received"})
"""Records that other sites may read, beside the movements: what came from whom and when, no person's doings."""

_NAMES_OF_OTHERS: Final = ("id", "batch", "shipment", "parent")


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which entries are asked for; what is ``None`` does not matter.

    Attributes
    ----------
    kind
        ``"movement"`` or a record kind.
    subject
        Subject of the records; of movements, the batch.
    until
        Only what had been recorded by then.
    """

    kind: str | None = None
    subject: str | None = None
    until: datetime | None = None

    def among(self, entries: tuple[Entry, ...]) -> tuple[Entry, ...]:
        """Those of the entries that are asked for, in their order."""
        return tuple(entry for entry in entries if self._is(entry))

    def _is(self, entry: Entry) -> bool:
        if isinstance(entry, Movement):
            kind, subject = "movement", entry.batch
        else:
            kind, subject = entry.kind, entry.subject
        return (
            self.kind in (None, kind)
            and self.subject in (None, subject)
            and (self.until is None or entry.recorded_at <= self.until)
        )


def entries_of(connection: Connection, site: str, wanted: Wanted) -> tuple[Entry, ...]:
    """Entries of one site in the order they were recorded."""
    found = list(_rows(connection, wanted, site))
    return tuple(entry for _, entry in (found if wanted.kind is not None else merged(found)))


def shared_entries(connection: Connection, site: str, wanted: Wanted) -> tuple[Entry, ...]:
    """Movements and shared records of all sites, in the order they were recorded.

    Batches, shipments and keys of other sites are written ``site/id``, since two sites may use the same.
    """
    see_every_site(connection)
    found = [
        (owner, entry)
        for owner, entry in _rows(connection, wanted, None)
        if isinstance(entry, Movement) or entry.kind in SHARED_KINDS
    ]
    return tuple(entry if owner == site else _elsewhere(owner, entry) for owner, entry in merged(found))


def occupied(connection: Connection) -> frozenset[str]:
    """Sites that have entries."""
    see_every_site(connection)
    return frozenset(
        str(name) for t in (MOVEMENT, RECORD) for name in connection.execute(select(t.c.site).distinct()).scalars()
    )


def broken_seals(connection: Connection, table: Table) -> Iterator[Finding]:
    """Rows whose seal does not fit; of each site only the first, since all after it follow from it."""
    last: dict[str, str] = {}
    broken: set[str] = set()
    names = FACTS[table.name]
    # only what is sealed: books of an older version lack the columns that were added since
    wanted = [table.c[name] for name in dict.fromkeys(("id", "site", "key", "seal", *names))]
    for row in connection.execute(select(*wanted).order_by(table.c.id)).mappings():
        site = str(row["site"])
        last[site] = seal(last.get(site, ""), [row[name] for name in names])
        if site not in broken and last[site] != row["seal"]:
            broken.add(site)
            where = f"books, {table.name} {row['id']}" + (f" of {site}" if site else "")
            do = "Something other than this program altered it or one before it; compare with the last backup."
            yield Finding(where, str(row["key"]), "an entry as it was written", do)


def _rows(connection: Connection, wanted: Wanted, site: str | None) -> Iterator[tuple[str, Entry]]:
    if wanted.kind in (None, "movement"):
        yield from _read(connection, _filtered(MOVEMENT, {"site": site, "batch": wanted.subject}, wanted.until))
    if wanted.kind != "movement":
        names = {"site": site, "kind": wanted.kind, "subject": wanted.subject}
        yield from _read(connection, _filtered(RECORD, names, wanted.until))


def merged(entries: Iterable[tuple[str, Entry]]) -> list[tuple[str, Entry]]:
    """Two tables, several sites: the time recorded decides, and each numbering keeps its own order."""
    reached: dict[tuple[type, str], datetime] = {}
    keyed: list[tuple[datetime, tuple[str, Entry]]] = []
    for site, entry in entries:
        series = (type(entry), site)
        reached[series] = max(reached.get(series, entry.recorded_at), entry.recorded_at)
        keyed.append((reached[series], (site, entry)))
    return [pair for _, pair in sorted(keyed, key=lambda one: one[0])]


def _filtered(table: Table, wanted: Mapping[str, str | None], until: datetime | None) -> Select[Any]:
    narrow = any(value is not None for name, value in wanted.items() if name != "site")
    query = select(table).order_by(
        table.c.id + 0 if narrow else table.c.id
    )  # an index finds few, all are walked in order
    for name, value in wanted.items():
        if value is not None:
            query = query.where(table.c[name] == value)
    return query if until is None else query.where(table.c.recorded_at <= stored_time(until))


def _read(connection: Connection, query: Select[Any]) -> Iterator[tuple[str, Entry]]:
    for row in rows_of(connection, query):
        yield str(row["site"]), entry_of(row)


def rows_of(connection: Connection, query: Select[Any]) -> Iterator[dict[str, Any]]:
    """Rows by the names of their columns, as plain dictionaries: a mapping of the library costs twice as much."""
    answer = connection.execute(query)
    names = tuple(answer.keys())
    return (dict(zip(names, row, strict=True)) for row in answer)


def entry_of(row: Mapping[str, Any]) -> Entry:
    """The entry a row of the tables holds.

    Raises
    ------
    StoreTrouble
        What is there cannot be read as one.
    """
    try:
        return movement_of(row) if "source" in row else record_of(row)
    except (TypeError, ValueError, RecursionError) as error:
        where = f"books, entry {row['id']}"
        do = "Restore the last backup: vatside restore --last --replace."
        raise StoreTrouble(Finding(where, str(error), "a sound entry", do)) from error


def _elsewhere(site: str, entry: Entry) -> Entry:
    def named(name: str) -> str:
        return f"{site or 'unnamed site'}/{name}"

    corrects = None if entry.corrects is None else named(entry.corrects)
    if isinstance(entry, Movement):
        return replace(entry, batch=named(entry.batch), key=named(entry.key), corrects=corrects)
    payload = {
        name: named(value) if name in _NAMES_OF_OTHERS and isinstance(value, str) and value else value
        for name, value in entry.payload.items()
    }
    return replace(entry, subject=named(entry.subject), payload=payload, key=named(entry.key), corrects=corrects)


def spots_of(site: str, kind: str) -> CTE:
    """Every topic and subject with records of a kind, each found from the one before it; ``NULL`` ends a topic.

    It steps through the index: grouping would read all that was ever recorded.
    """

    def first(column: ColumnElement[Any], *given: ColumnElement[bool]) -> ScalarSelect[Any]:
        return select(func.min(column)).where(RECORD.c.site == site, RECORD.c.kind == kind, *given).scalar_subquery()

    topics = select(first(RECORD.c.topic).label("topic")).cte("topics", recursive=True)
    more = first(RECORD.c.topic, RECORD.c.topic > topics.c.topic)
    topics = topics.union_all(select(more).where(topics.c.topic.is_not(None)))
    of_topic = first(RECORD.c.subject, RECORD.c.topic == topics.c.topic).label("subject")
    spots = select(topics.c.topic, of_topic).where(topics.c.topic.is_not(None)).cte("spots", recursive=True)
    later = first(RECORD.c.subject, RECORD.c.topic == spots.c.topic, RECORD.c.subject > spots.c.subject)
    return spots.union_all(select(spots.c.topic, later).where(spots.c.subject.is_not(None)))


def vats_left(site: str) -> CTE:
    """Every vat animals ever left (``place``), each found from the one before it; ``NULL`` ends them."""
    source, place = MOVEMENT.c.source, func.min(MOVEMENT.c.source).label("place")
    first = select(place).where(MOVEMENT.c.site == site, source >= "vat:", source < "vat;")
    places = select(first.scalar_subquery().label("place")).cte("places", recursive=True)
    later = select(place).where(MOVEMENT.c.site == site, source > places.c.place, source < "vat;")
    return places.union_all(select(later.scalar_subquery()).where(places.c.place.is_not(None)))
