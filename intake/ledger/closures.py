"""Vats closed and opened by a person, read from the records of the farm itself."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from intake.farm.floor import Closure
from intake.ledger.entries import Record

__all__ = ["closed_payload", "closures_of", "opened_of", "opened_payload"]


def closed_payload(vat: str, reason: str, until: datetime | None) -> dict[str, object]:
    """Payload of the record that closes a vat; without ``until`` it stays closed until it is opened."""
    return {"what": "closed", "vat": vat, "reason": reason, "until": until.isoformat() if until else ""}


def opened_payload(vat: str) -> dict[str, object]:
    """Payload of the record that opens a vat."""
    return {"what": "opened", "vat": vat}


def closures_of(records: Iterable[Record]) -> tuple[Closure, ...]:
    """Every closure recorded, each ended by its own day, by an opening, or by the next closure of the vat."""
    told = sorted((one for one in records if _what(one) in {"closed", "opened"}), key=lambda one: one.happened_at)
    found: list[Closure] = []
    for at, one in enumerate(told):
        if _what(one) != "closed":
            continue
        vat = _vat(one)
        after = next((other.happened_at for other in told[at + 1 :] if _vat(other) == vat), None)
        own = str(one.payload.get("until") or "")
        ends = [moment for moment in (after, datetime.fromisoformat(own) if own else None) if moment is not None]
        found.append(Closure(vat, one.happened_at, min(ends, default=None), str(one.payload.get("reason") or "")))
    return tuple(found)


def opened_of(records: Iterable[Record]) -> dict[str, datetime]:
    """Vat id → when it was last opened by a person, unless it has been closed since."""
    found: dict[str, datetime] = {}
    for one in sorted(records, key=lambda one: one.happened_at):
        if _what(one) == "opened":
            found[_vat(one)] = one.happened_at
        elif _what(one) == "closed":
            found.pop(_vat(one), None)
    return found


def _what(record: Record) -> str:
    return str(record.payload.get("what") or "")


def _vat(record: Record) -> str:
    return str(record.payload.get("vat") or "")
