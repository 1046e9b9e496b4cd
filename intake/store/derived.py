"""What is kept beside the entries so that questions need not read them all: holdings, and where each record belongs.

All of it can be made again from the entries; ``check`` compares it with them and believes the entries.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import Any, Final

from sqlalchemy import Connection, func, literal, select, text, union_all

from intake.errors import Finding
from intake.ledger.entries import Record
from intake.ledger.streams import NOWHERE, Stream, stream_of
from intake.store.ledger_tables import HOLDING, MOVEMENT

__all__ = ["place_records", "placed", "refill", "wrong_holdings"]

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_ROWS_AT_ONCE: Final = 5_000


def placed(row: Mapping[str, Any], known: Mapping[tuple[str, str], Stream]) -> Stream:
    """Where the record of a row belongs, given where the records before it do, by site and key."""
    if row["corrects"] is not None:
        return known.get((str(row["site"]), str(row["corrects"])), NOWHERE)
    try:
        payload = json.loads(row["payload"])
    except ValueError:  # a damaged row is reported by the check, with its number
        return NOWHERE
    if not isinstance(payload, dict):
        return NOWHERE
    return stream_of(Record(row["kind"], row["subject"], payload, _EPOCH, _EPOCH, "", "", None))


def place_records(connection: Connection) -> None:
    """Write where it belongs beside every record; the triggers against changes must be away."""
    known: dict[tuple[str, str], Stream] = {}
    changes: list[dict[str, object]] = []
    query = text("SELECT id, site, key, kind, subject, payload, corrects FROM record ORDER BY id")
    for found in connection.execute(query).mappings():
        row = {str(name): value for name, value in found.items()}
        stream = known[str(row["site"]), str(row["key"])] = placed(row, known)
        changes.append({"i": row["id"], "b": stream.batch, "s": stream.shipment, "t": stream.topic})
    update = text("UPDATE record SET batch = :b, shipment = :s, topic = :t WHERE id = :i")
    for start in range(0, len(changes), _ROWS_AT_ONCE):
        connection.execute(update, changes[start : start + _ROWS_AT_ONCE])


_SUMS: Final = """SELECT site, batch, place, sum(n) AS count FROM (
SELECT site, batch, source AS place, -count AS n FROM movement UNION ALL
SELECT site, batch, target AS place, count AS n FROM movement) AS one GROUP BY site, batch, place"""


def refill(connection: Connection) -> None:
    """Make the holdings of all sites again from the movements."""
    connection.execute(text("DELETE FROM holding"))
    connection.execute(text(f"INSERT INTO holding (site, batch, place, count) {_SUMS}"))  # words of ours


def wrong_holdings(connection: Connection, site: str) -> Iterator[Finding]:
    """Holdings of a site that are not the sum of its movements, and sums that have no holding."""
    ends = union_all(
        select(MOVEMENT.c.batch, MOVEMENT.c.source.label("place"), (-MOVEMENT.c.count).label("n")).where(
            MOVEMENT.c.site == site
        ),
        select(MOVEMENT.c.batch, MOVEMENT.c.target.label("place"), MOVEMENT.c.count.label("n")).where(
            MOVEMENT.c.site == site
        ),
    )
    kept = select(HOLDING.c.batch, HOLDING.c.place, literal(0).label("n"), HOLDING.c.count.label("kept"))
    raw = ends.subquery()
    both = union_all(
        select(raw.c.batch, raw.c.place, raw.c.n, literal(0).label("kept")),
        kept.where(HOLDING.c.site == site),
    ).subquery()
    summed, held = func.sum(both.c.n), func.sum(both.c.kept)
    query = select(both.c.batch, both.c.place, summed, held).group_by(both.c.batch, both.c.place).having(summed != held)
    for batch, place, right, has in connection.execute(query.order_by(both.c.batch, both.c.place)):
        do = "Something other than this program altered the database; run vatside check --all, then compare with a backup."
        yield Finding(f"holding of {batch}, {place}", str(has), f"{right}, as the movements add up to", do)
