"""How corrections count: a counter movement from the moment of what it corrects, a replaced record not at all.

Netting keeps the past honest: asked how many stood in a vat last Monday, the ledger answers with what is now known to
have been true then.  What the ledger *said* last Monday is another question; give only the entries recorded by then.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from intake.ledger.entries import Entry, Movement, Record, movements, records

__all__ = ["counter", "is_counter", "latest", "netted", "standing"]


def counter(movement: Movement, count: int | None = None, *, at: datetime, who: str, key: str) -> Movement:
    """Counter movement which undoes all or part of an earlier one.

    Parameters
    ----------
    movement
        The movement that was wrong.
    count
        Animals to undo; all of them when ``None``.
    at
        When the correction is written down, time-zone aware.
    who, key
        Of the correction.
    """
    return replace(
        movement,
        source=movement.target,
        target=movement.source,
        count=movement.count if count is None else count,
        recorded_at=at,
        who=who,
        key=key,
        corrects=movement.key,
        id=None,
        note=f"corrects {movement.key}",
    )


def is_counter(correction: Movement, corrected: Movement) -> bool:
    """Whether a correction runs opposite to what it corrects; if not, it is the right movement written in its place."""
    return (correction.batch, correction.source, correction.target) == (
        corrected.batch,
        corrected.target,
        corrected.source,
    )


def netted(entries: Iterable[Entry]) -> tuple[Movement, ...]:
    """Movements with their counter movements taken off, in the order they happened.

    The sum over all places is the same as of the raw movements.  A counter movement without its movement, or beyond its
    count, stays as it is (``conservation.check`` reports it).
    """
    moved = list(movements(entries))
    by_key = {movement.key: index for index, movement in enumerate(moved)}
    left = [movement.count for movement in moved]
    # Latest first, so that a counter movement that was itself undone is settled before it is applied.
    for index in range(len(moved) - 1, -1, -1):
        corrected = by_key.get(moved[index].corrects or "")
        if corrected is None or corrected >= index or not is_counter(moved[index], moved[corrected]):
            continue
        taken = min(left[index], left[corrected])
        left[index] -= taken
        left[corrected] -= taken
    kept = [replace(m, count=n) if n != m.count else m for m, n in zip(moved, left, strict=True) if n]
    return tuple(sorted(kept, key=lambda movement: movement.happened_at))


def standing(entries: Iterable[Entry], kind: str | None = None) -> tuple[Record, ...]:
    """Keep the records that were neither replaced nor withdrawn, in the order they happened."""
    kept = list(records(entries, kind))
    replaced = {record.corrects for record in kept if record.corrects}
    kept = [record for record in kept if record.key not in replaced and not record.payload.get("withdrawn")]
    return tuple(sorted(kept, key=lambda record: record.happened_at))


def latest(entries: Iterable[Entry], kind: str) -> dict[str, Record]:
    """Subject → its last standing record of one kind (the present state of each plan, shipment or claim)."""
    return {record.subject: record for record in standing(entries, kind)}
