"""Whose story an entry belongs to: one batch or none, one shipment or none, so that a question reads only its own entries.

Every fact that is derived from the entries belongs to one batch or to none: a counter movement has the batch of what it
counters, a correcting record belongs where what it corrects belongs.  So whatever is written makes the account of at most
one batch out of date, however old the entry is that it corrects.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from intake.ledger.entries import Entry, Movement, Record, is_vat

__all__ = ["CARRIED", "NOWHERE", "Stream", "by_batch", "stream_of"]

_SUBJECT_IS_BATCH: Final = frozenset({"batch", "box", "hold", "lift", "photo", "sale", "standing"})
_SUBJECT_IS_SHIPMENT: Final = frozenset({"shipment", "received", "claim"})

_TOPIC: Final = {
    "reading": "quantity",
    "finding": "what",
    "done": "where",
    "batch": "parent",
    "photo": "sha256",
    "task": "end",
}

CARRIED: Final = frozenset({"reading", "cleaned"})
"""Kinds of which the last one of each subject and topic counts, however long ago it was."""


@dataclass(frozen=True, slots=True)
class Stream:
    """Where a record belongs.

    Attributes
    ----------
    batch, shipment
        Id of the batch or shipment whose story it is part of; empty when of none.
    topic
        What else such records are looked up by: the quantity of a reading, what a finding saw, where a treatment was
        done, the parent of a batch, the hash of a photo, when a published event ends.
    """

    batch: str = ""
    shipment: str = ""
    topic: str = ""


NOWHERE: Final = Stream()


def stream_of(record: Record) -> Stream:
    """Where a record that corrects nothing belongs; one that corrects another belongs where that one does."""
    payload = record.payload
    batch = shipment = topic = ""
    if record.kind in _SUBJECT_IS_BATCH:
        batch = record.subject
        shipment = _text(payload, "shipment") if record.kind in ("batch", "photo") else ""
    elif record.kind == "stage":
        batch = _text(payload, "batch") or record.subject
    elif record.kind == "finding":
        batch = _text(payload, "batch") if "batch" in payload else "" if is_vat(record.subject) else record.subject
    elif record.kind in ("done", "despite"):
        batch = _text(payload, "batch")
    elif record.kind == "prescription":
        batch = _text(payload, "batch") or record.subject.partition("/")[0]
    elif record.kind in _SUBJECT_IS_SHIPMENT:
        shipment = record.subject
    elif record.kind == "published":
        fields = payload.get("fields")
        topic = _text(fields, "end") if isinstance(fields, Mapping) else _text(payload, "end")  # kept as changes
    if record.kind in _TOPIC:
        topic = _text(payload, _TOPIC[record.kind])
    return Stream(batch, shipment, topic)


def by_batch(entries: Iterable[Entry]) -> dict[str, list[Entry]]:
    """Movements, and records whose subject is a batch, parted by batch: read once instead of once for each batch."""
    found: dict[str, list[Entry]] = {}
    for entry in entries:
        if isinstance(entry, Movement):
            found.setdefault(entry.batch, []).append(entry)
        elif entry.kind in _SUBJECT_IS_BATCH:
            found.setdefault(entry.subject, []).append(entry)
    return found


def _text(payload: Mapping[str, object], name: str) -> str:
    value = payload.get(name)
    return "" if value is None else str(value)
