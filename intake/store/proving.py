"""Whether the ledger is as it was written: seals and rules of all entries or of those since they were last proved."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import Connection, Table, delete, insert, select

from intake.errors import Finding
from intake.ledger import Entry, Movement, Record, check, faults, shortages
from intake.ledger.conservation import out_of_time, wrong_bases
from intake.ledger.head import Head, digest
from intake.ledger.kept_revisions import base_of
from intake.ledger.streams import Stream
from intake.store.asking.questions import NOTHING_YET, Questions, Reach
from intake.store.derived import placed, wrong_holdings
from intake.store.entry_reading import entry_of, merged, rows_of
from intake.store.ledger_tables import DERIVED, FACTS, MOVEMENT, PROVED, RECORD, seal, stored_time

__all__ = ["Proof", "differs_from", "head_of", "last_proof", "prove", "remember"]

_ALTERED: Final = "Something other than this program altered it or one before it; compare with the last backup."
_OTHERS: Final = "Put back the copy whose head is the printed one: vatside restore FILE --replace."


@dataclass(frozen=True, slots=True)
class Proof:
    """What a check of the ledger found.

    Attributes
    ----------
    faults
        What is wrong; empty when nothing is.
    looked_at
        Entries read.
    since
        When all entries were last proved, if only those since were looked at now; ``None`` when all were.
    reach
        How far the ledger was read.
    """

    faults: tuple[Finding, ...]
    looked_at: int
    since: datetime | None
    reach: Reach


def last_proof(connection: Connection, site: str, program: str) -> tuple[Reach, datetime] | None:
    """How far this program proved the ledger before, and when; ``None`` when never, or when it is not that one any more."""
    row = connection.execute(select(PROVED).where(PROVED.c.site == site)).mappings().first()
    if row is None or row["program"] != program:
        return None
    before = Reach(int(row["movement"]), str(row["movement_seal"]), int(row["record"]), str(row["record_seal"]))
    return (before, datetime.fromisoformat(str(row["at"]))) if Questions(connection, site).still(before) else None


def remember(connection: Connection, site: str, reach: Reach, at: datetime, program: str) -> None:
    """Note that all entries up to a reach were proved at a moment."""
    connection.execute(delete(PROVED).where(PROVED.c.site == site))
    connection.execute(
        insert(PROVED).values(
            site=site,
            movement=reach.movement,
            movement_seal=reach.movement_seal,
            record=reach.record,
            record_seal=reach.record_seal,
            at=stored_time(at),
            program=program,
        )
    )


def prove(connection: Connection, site: str, before: Reach = NOTHING_YET, since: datetime | None = None) -> Proof:
    """Prove the ledger of a site, each row read once.

    Parameters
    ----------
    before, since
        What was proved earlier and when: only entries after it are proved now, and the batches they name.
    """
    found: list[Finding] = []
    entries: list[Entry] = []
    ask = Questions(connection, site)
    reach = ask.reach()
    for table, number, start in (
        (MOVEMENT, before.movement, before.movement_seal),
        (RECORD, before.record, before.record_seal),
    ):
        entries += _read(connection, site, table, number, start, found)
    in_order = tuple(entry for _, entry in merged(("", entry) for entry in entries))
    found += check(in_order) if before == NOTHING_YET else _tail(ask, in_order, before)
    found += wrong_holdings(connection, site)
    return Proof(tuple(found), len(in_order), since, reach)


def _read(
    connection: Connection, site: str, table: Table, number: int, last: str, found: list[Finding]
) -> Iterator[Entry]:
    """Entries after a number, with what is wrong with their seals and with where they are kept."""
    broken = misplaced = False
    streams: dict[tuple[str, str], Stream] = {}
    names = FACTS[table.name]
    query = select(table).where(table.c.site == site, table.c.id > number).order_by(table.c.id)
    for row in rows_of(connection, query):
        last = seal(last, [row[name] for name in names])
        if not broken and last != row["seal"]:
            broken = True  # of all that follow the seals are wrong too
            found.append(
                Finding(f"books, {table.name} {row['id']}", str(row["key"]), "an entry as it was written", _ALTERED)
            )
        if table is RECORD and not misplaced:
            misplaced = _misplaced(connection, row, streams, found)
        try:
            yield entry_of(row)
        except Exception as error:  # noqa: BLE001  # whatever a damaged row does, it is reported with its number
            found.append(
                Finding(f"books, {table.name} {row['id']}", str(error).split("\n")[0], "a sound entry", _ALTERED)
            )


def _misplaced(
    connection: Connection, row: dict[str, Any], known: dict[tuple[str, str], Stream], found: list[Finding]
) -> bool:
    """Whether a record is kept under another batch, shipment or topic than its own words say."""
    site, corrects = str(row["site"]), row["corrects"]
    if corrects is not None and (site, corrects) not in known:
        known |= {(site, key): Stream(*told) for key, told in Questions(connection, site).places_of([corrects]).items()}
    stream = known[site, str(row["key"])] = placed(row, known)
    if tuple(row[name] for name in DERIVED) == (stream.batch, stream.shipment, stream.topic):
        return False
    kept = ", ".join(f"{name} {row[name]!r}" for name in DERIVED)
    found.append(Finding(f"books, record {row['id']}, where it is kept", kept, f"{stream}", _ALTERED))
    return True


def _tail(ask: Questions, new: tuple[Entry, ...], before: Reach) -> Iterator[Finding]:
    """The rules of the ledger, asked of the new entries and of the batches they name."""
    bad = [finding for entry in new for finding in faults(entry)]
    yield from bad
    if bad:
        return
    yield from out_of_time(new, ask.last_recorded_before(before), ask.wrong_clocks())
    keys = {(type(entry), entry.key) for entry in new}
    lacking = [one for one in new if one.corrects and (type(one), one.corrects) not in keys]
    known = {(type(entry), entry.key) for entry in ask.keyed(one.corrects or "" for one in lacking)}
    for one in lacking:
        if (type(one), one.corrects) not in known:
            yield Finding(f"entry {one.key}, corrects", str(one.corrects), "the key of an earlier entry")
    noted = [one for one in new if isinstance(one, Record)]
    yield from wrong_bases(noted, {one.key: one for one in ask.noted(filter(None, map(base_of, noted)))})
    named = sorted({one.batch for one in new if isinstance(one, Movement)})
    for batch, stream in ask.by_batch(named).items():
        moved = [entry for entry in stream if isinstance(entry, Movement)]
        yield from (shortage.as_finding() for shortage in shortages(moved))
        assert all(entry.batch == batch for entry in moved)  # noqa: S101  # by the question


def head_of(ask: Questions) -> Head:
    """Head of the ledger as far as it is read."""
    movements, noted = ask.counts()
    return Head(movements, noted, digest(*ask.seals_at(movements, noted)), ask.last_recorded())


def differs_from(ask: Questions, printed: Head) -> list[Finding]:
    """What differs between this ledger and those a printed head was taken of; empty when they go on from there unaltered."""
    have = head_of(ask)
    where = f"ledger against {printed}"
    if have.movements < printed.movements or have.records < printed.records:
        told = f"{have.movements} movements and {have.records} records"
        return [
            Finding(where, told, f"at least {printed.movements} and {printed.records}: entries were cut off", _OTHERS)
        ]
    if digest(*ask.seals_at(printed.movements, printed.records)) != printed.hash:
        return [
            Finding(where, "another past", "the entries it was printed from: they were rewritten or exchanged", _OTHERS)
        ]
    return []
