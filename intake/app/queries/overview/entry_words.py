"""What one entry of the ledger says, in words a page or a command shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, Final

from intake.farm.shown_units import reading_words
from intake.ledger import Entry, Movement, Record, vat_id

__all__ = ["OUTSIDE", "entry_words"]

OUTSIDE: Final = {
    "supplier": "the supplier",
    "cut-from": "its parent",
    "opening": "the first stocktake",
    "doa": "dead on arrival",
}
"""Places outside the vats that a movement names, in words."""


def entry_words(entry: Entry) -> str:
    """One entry in words; empty for a record that only other records speak of."""
    if isinstance(entry, Movement):
        return _moved(entry)
    told = entry.payload
    if told.get("withdrawn"):
        return f"{entry.kind} withdrawn"
    if entry.kind == "despite":
        rules: Any = told.get("rules") or []
        return f"overrides {', '.join(str(one['id']) for one in rules)}: {told.get('reason')}"
    return _ABOUT[entry.kind](entry) if entry.kind in _ABOUT else ""


def _moved(entry: Movement) -> str:
    source, target = (OUTSIDE.get(place, vat_id(place) or place) for place in (entry.source, entry.target))
    note = f" ({entry.note})" if entry.note and not entry.corrects else ""
    took = "undone: " if entry.corrects else ""
    return f"{took}{entry.count}: {source} → {target}{note}"


def _finding(entry: Record) -> str:
    told = entry.payload
    return f"inspection in {told.get('vat') or '–'}: {told.get('what') or 'clean'} {told.get('note') or ''}".strip()


def _reading(entry: Record) -> str:
    told = entry.payload
    return f"{reading_words(str(told.get('quantity')), told.get('value'))} {told.get('scale') or ''}".strip()


def _done(entry: Record) -> str:
    told = entry.payload
    where = f" in {told['vat']}" if told.get("vat") else ""
    kind = str(told.get("kind")).replace("-", " ")
    kind = "round" if kind == "death round" else kind  # as tables and calendars name it
    return f"done: {kind}{where} {told.get('note') or ''}".strip()


def _sale(entry: Record) -> str:
    told = entry.payload
    price = f"{told['price']} {told.get('currency')} each" if told.get("price") else ""
    reference = f"reference {told['reference']}" if told.get("reference") else ""
    return f"sold {told.get('count')} from {told.get('vat')}: {'; '.join(filter(None, (price, reference)))}"


def _shipment(entry: Record) -> str:
    told = entry.payload
    if told.get("cancelled"):
        return f"shipment {entry.subject}, cancelled: {told['cancelled']}"
    lands = datetime.fromisoformat(str(told.get("lands")))  # kept in farm time, with its offset
    return f"shipment {entry.subject}, lands {lands:%a} {lands.day} {lands:%b %Y %H:%M}"


def _vat_use(entry: Record) -> str:
    told = entry.payload
    if told.get("what") == "replumbed":
        return f"{told.get('vat')}: from {told.get('left')} to {told.get('joined')}"
    if told.get("what") == "carried":
        return f"{told.get('tool')} carried from {told.get('source')} to {told.get('target')}"
    return f"{entry.subject}: {told.get('what')} {told.get('reason') or ''}".strip()


_ABOUT: Final[Mapping[str, Callable[[Record], str]]] = {
    "finding": _finding,
    "reading": _reading,
    "done": _done,
    "sale": _sale,
    "shipment": _shipment,
    "farm": _vat_use,
    "hold": lambda one: f"held: {one.payload.get('reason')}",
    "lift": lambda one: f"hold lifted: {one.payload.get('reason')}",
    "stage": lambda one: f"{one.payload.get('vat') or 'all vats'}: {one.payload.get('stage')}",
    "photo": lambda one: f"photo {one.payload.get('evidence') or ''}".strip(),
    "received": lambda one: f"shipment {one.subject} received",
    "cleaned": lambda one: f"{one.subject} cleaned and dry",
    "plan": lambda one: f"plan {one.subject} {one.payload.get('state')}",
    "claim": lambda one: f"claim {one.subject}: {one.payload.get('state') or 'changed'}",
    "prescription": lambda one: f"{one.payload.get('dip')} ordered: {one.payload.get('reason')}",
    "standing": lambda one: f"{one.subject} to leave by {one.payload.get('leaves')}",
}
