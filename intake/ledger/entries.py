"""What the ledger is made of: a movement of animals between two places, and a record of anything else that happened.

An entry is a fact and is never changed.  Entries are not refused on construction, so that damaged books can still be
read and described; :func:`faults` says what is wrong with one and the store asks it before writing.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, TypeAlias

from intake.errors import Finding

__all__ = [
    "FIXED_PLACES",
    "LOSSES",
    "RECORD_KINDS",
    "SOURCES",
    "Entry",
    "Movement",
    "Record",
    "canonical",
    "faults",
    "is_vat",
    "movements",
    "records",
    "vat_id",
    "vat_place",
]

SOURCES: Final = frozenset({"supplier", "cut-from", "opening"})
"""Where animals come from; the only places that may go below zero."""

LOSSES: Final = frozenset({"doa", "dead", "missing", "wrong"})
"""Heads of loss: dead when the bag was opened, dead after arrival, never found, not the species ordered."""

FIXED_PLACES: Final = SOURCES | LOSSES | {"dock", "sold", "sample", "discarded"}
"""Every place that is not a vat."""

RECORD_KINDS: Final = frozenset(
    {
        "task",
        *("batch", "shipment", "columns", "plan", "received", "stage", "done", "finding", "reading", "hold", "lift"),
        *("cleaned", "published", "claim", "feed", "photo", "standing", "names", "timetable", "prescription", "farm"),
        *("person", "device", "box", "despite", "clock", "past", "sale"),
    }
)
"""What a record may be about."""

_VAT: Final = "vat:"

# A lone surrogate cannot be written to any file or database: it comes from damaged bytes.
_CONTROL: Final = re.compile("[\\x00-\\x1f\\x7f\\ud800-\\udfff]")
_CONTROL_IN_NOTE: Final = re.compile("[\\x00-\\x08\\x0b-\\x1f\\x7f\\ud800-\\udfff]")


@dataclass(frozen=True, slots=True)
class Movement:
    """Animals of one batch that went from one place to another.

    Attributes
    ----------
    batch
        Batch id.
    source, target
        ``supplier``, ``cut-from``, ``opening`` (first stocktake), ``dock``, ``vat:<id>``, ``doa``, ``dead``,
        ``missing``, ``wrong``, ``sold``, ``sample``, ``discarded``.
    count
        Animals, 1 or more.
    happened_at, recorded_at
        When it was true and when it was written down; both time-zone aware.
    who
        Person who answers for the entry.
    key
        Idempotency key: the same act posted twice carries the same key.
    corrects
        Key of the movement this one corrects, or ``None``.  A correction runs the other way (a counter movement) and
        counts from the moment of what it corrects; the right movement is a further entry.
    note
        Free words.
    id
        Number the store gave it; ``None`` before.
    """

    batch: str
    source: str
    target: str
    count: int
    happened_at: datetime
    recorded_at: datetime
    who: str
    key: str
    corrects: str | None = None
    note: str = ""
    id: int | None = None


@dataclass(frozen=True, slots=True)
class Record:
    """Anything that happened and moved no animal.

    Attributes
    ----------
    kind
        One of :data:`RECORD_KINDS`.
    subject
        What it is about: a batch, vat, shipment, plan or supplier id, a task's uid, a place, as the kind says.
    payload
        Values JSON can hold.
    happened_at, recorded_at, who, key, id
        As for a :class:`Movement`.
    corrects
        Key of the record this one replaces, or ``None``; a payload ``{"withdrawn": true}`` replaces it by nothing.
    """

    kind: str
    subject: str
    payload: Mapping[str, object] = field(hash=False)
    happened_at: datetime
    recorded_at: datetime
    who: str
    key: str
    corrects: str | None = None
    id: int | None = None


Entry: TypeAlias = Movement | Record


def vat_place(vat: str) -> str:
    """Name of a vat as a place of the ledger: ``Q1`` becomes ``vat:Q1``; a place is returned as it is."""
    return vat if vat.startswith(_VAT) else _VAT + vat


def vat_id(place: str) -> str:
    """Vat id of a place, empty when the place is not a vat."""
    return place.removeprefix(_VAT) if place.startswith(_VAT) else ""


def is_vat(place: str) -> bool:
    """Whether animals in this place are alive and standing in water of the farm."""
    return place.startswith(_VAT)


def movements(entries: Iterable[Entry]) -> Iterator[Movement]:
    """Only the movements, in the order given."""
    return (entry for entry in entries if isinstance(entry, Movement))


def records(entries: Iterable[Entry], kind: str | None = None) -> Iterator[Record]:
    """Only the records, of one kind if named, in the order given."""
    return (entry for entry in entries if isinstance(entry, Record) and kind in (None, entry.kind))


def canonical(payload: Mapping[str, object]) -> str:
    """Payload as the text that is stored and compared.

    Raises
    ------
    TypeError, ValueError
        When JSON cannot hold a value (an object, a NaN).
    """
    return json.dumps(payload, ensure_ascii=False, sort_keys=True, allow_nan=False, separators=(",", ":"))


def faults(entry: Entry) -> tuple[Finding, ...]:
    """Find what is wrong with an entry taken alone; empty when it may be written.

    Parameters
    ----------
    entry
        A movement or a record.
    """
    found = list(_faults_of_text(entry))
    for name in ("happened_at", "recorded_at"):
        moment: datetime = getattr(entry, name)
        if moment.tzinfo is None or moment.utcoffset() is None:
            found.append(Finding(_where(entry, name), moment.isoformat(), "a time with its time zone"))
    found.extend(_faults_of_movement(entry) if isinstance(entry, Movement) else _faults_of_record(entry))
    return tuple(found)


def _where(entry: Entry, name: str) -> str:
    label = f"movement of batch {entry.batch}" if isinstance(entry, Movement) else f"record {entry.kind}"
    return f"{label}, {name}"


def _faults_of_text(entry: Entry) -> Iterator[Finding]:
    required = ("batch", "who", "key") if isinstance(entry, Movement) else ("subject", "who", "key")
    for name in required:
        if not getattr(entry, name).strip():
            yield Finding(_where(entry, name), "", "some text")
    texts = {name: getattr(entry, name) for name in required}
    if isinstance(entry, Movement):
        texts["note"] = entry.note
    for name, text in texts.items():
        if (_CONTROL_IN_NOTE if name == "note" else _CONTROL).search(text):
            yield Finding(_where(entry, name), ascii(text), "text without control characters", "Type it again.")


def _faults_of_movement(entry: Movement) -> Iterator[Finding]:
    if type(entry.count) is not int or entry.count < 1:  # True is no count
        yield Finding(_where(entry, "count"), str(entry.count), "a whole number of animals, 1 or more")
    elif entry.count > 10**9:
        yield Finding(_where(entry, "count"), str(entry.count), "at most 1,000,000,000 animals")
    for name in ("source", "target"):
        place: str = getattr(entry, name)
        if place not in FIXED_PLACES and not vat_id(place).strip():
            expected = "vat:<id> or one of " + ", ".join(sorted(FIXED_PLACES))
            yield Finding(_where(entry, name), place, expected)
    if entry.source == entry.target:
        yield Finding(_where(entry, "target"), entry.target, "another place than the one the animals left")


def _faults_of_record(entry: Record) -> Iterator[Finding]:
    if entry.kind not in RECORD_KINDS:
        yield Finding("record kind", entry.kind, "one of " + ", ".join(sorted(RECORD_KINDS)))
    try:
        canonical(entry.payload).encode()
    except (TypeError, ValueError, RecursionError) as error:  # UnicodeEncodeError is a ValueError
        yield Finding(_where(entry, "payload"), str(error), "values JSON can hold")
