"""The right by which an entry of the ledger was made, and so the right by which it is undone."""

from __future__ import annotations

from intake.ledger import Entry, Movement, Record
from intake.ledger.entries import LOSSES

__all__ = ["UNDOABLE", "follows", "right_to", "undoable"]

UNDOABLE = (
    "received",
    "box",
    "stage",
    "done",
    "finding",
    "reading",
    "cleaned",
    "hold",
    "lift",
    "despite",
    "farm",
    "sale",
)
"""Kinds of record that may be withdrawn; plans, lists and batches are superseded instead."""

_RIGHT = {
    "received": "receive",
    "cleaned": "clean",
    "lift": "hold",
    "farm": "vats",
    "box": "count",
    "despite": "count",
    "stage": "count",
    "sale": "move",
}
"""Kind of record → the right its own act asks, where that is not the kind's own name."""


def right_to(entry: Entry) -> str:
    """The right an entry's own act asks: who may not do it may not undo it."""
    if isinstance(entry, Record):
        return _RIGHT.get(entry.kind, entry.kind)
    if LOSSES & {entry.source, entry.target}:
        return "count"
    return {"supplier": "receive", "cut-from": "cut", "opening": "shipment"}.get(entry.source, "move")


def follows(entry: Entry) -> bool:
    """Whether an entry only follows from an act (:meth:`~intake.store.Writing.derive`): it goes when the act does."""
    return isinstance(entry, Record) and f"~{entry.kind}/" in entry.key


def undoable(entry: Entry) -> bool:
    """Whether an entry can be undone at all; what a counter entry or a plan says cannot."""
    if entry.corrects or follows(entry):
        return False
    return isinstance(entry, Movement) or entry.kind in UNDOABLE
