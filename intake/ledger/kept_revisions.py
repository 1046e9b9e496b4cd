"""Revisions of a published event: kept whole, or as what changed against an earlier one of it that is kept whole.

One entry more, and never a chain of them, gives back what a reader saw.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from difflib import SequenceMatcher
from hashlib import sha256
from typing import Any, Final

from intake.errors import Finding
from intake.ledger.entries import Record, canonical

__all__ = ["PUBLISHED", "base_of", "fingerprint_of", "kept", "whole_of", "wrong_base"]

PUBLISHED: Final = "published"
"""Kind of the records that hold a revision."""

_OWN_NAME: Final = "*"
"""Stands in a key for what the keys of all revisions of one event share."""

_WORTH: Final = 0.85
"""Changes longer than this share of the whole are not worth a second entry to read: the whole is kept again."""


def fingerprint_of(fields: Mapping[str, Any]) -> str:
    """SHA-256 of everything a reader sees of an event."""
    return sha256(json.dumps(fields, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def base_of(record: Record) -> str:
    """Key of the whole revision a revision is kept against; empty when it is whole itself, or no revision."""
    base = str(record.payload.get("base") or "") if record.kind == PUBLISHED else ""
    return base.replace(_OWN_NAME, _name(record.subject))


def _name(subject: str) -> str:
    return f"{PUBLISHED}/{subject}"


def kept(payload: Mapping[str, Any], base: Record | None) -> dict[str, Any]:
    """A whole revision as it is written down.

    Parameters
    ----------
    payload
        ``sequence``, ``stamp``, ``fingerprint`` and ``fields``, all that a reader sees.
    base
        The last revision of the event that is kept whole, if there is one.

    Returns
    -------
    dict
        The payload itself; or, where that is clearly shorter, ``changes`` instead of ``fields``, with the key of ``base``
        (:func:`base_of` reads it) and the ``end`` of the event, by which it is looked up.
    """
    if base is None or _OWN_NAME in base.key:
        return dict(payload)
    rest = {name: value for name, value in payload.items() if name != "fields"}
    fields, earlier = payload["fields"], base.payload["fields"]
    key = base.key.replace(_name(base.subject), _OWN_NAME)
    short = {**rest, "base": key, "end": fields.get("end", ""), "changes": _difference(earlier, fields)}
    return short if len(canonical(short)) <= _WORTH * len(canonical(payload)) else dict(payload)


def whole_of(record: Record, base: Record | None) -> Mapping[str, Any]:
    """The whole payload of a revision, given the one it is kept against.

    Raises
    ------
    ValueError
        The one it is kept against is not known, or is no whole one of the same event.
    """
    if not base_of(record):
        return record.payload
    if base is None or (base.kind, base.subject) != (PUBLISHED, record.subject) or "fields" not in base.payload:
        raise ValueError(f"no whole revision of {record.subject} under {base_of(record)}")
    names = ("sequence", "stamp", "fingerprint")
    changes: Any = record.payload["changes"]
    fields = _applied(base.payload["fields"], changes)
    return {name: record.payload[name] for name in names} | {"fields": fields}


def wrong_base(record: Record, base: Record | None) -> Finding | None:
    """What is wrong with a revision kept as changes; ``None`` when it gives the fields its fingerprint was taken of."""
    try:
        whole = whole_of(record, base)
        if fingerprint_of(whole["fields"]) == whole["fingerprint"]:
            return None
        value, expected = "other words than were published", "the words its fingerprint was taken of"
    except (KeyError, TypeError, ValueError, IndexError, AttributeError):
        value, expected = base_of(record), f"the key of an earlier whole revision of {record.subject}"
    do = "Restore the last backup: vatside restore --last --replace."
    return Finding(f"record {record.key}, kept as changes", value, expected, do)


def _difference(old: Any, new: Any) -> dict[str, Any]:
    """What turns one value of JSON into another: ``of`` names, ``at`` places of a list, ``lines`` of a text, or ``is``."""
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        changed = {n: _difference(old.get(n), v) for n, v in new.items() if n not in old or old[n] != v}
        gone = [name for name in old if name not in new]
        return {"of": changed} | ({"gone": gone} if gone else {})
    told: dict[str, Any] = {"is": new}
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        pairs = enumerate(zip(old, new, strict=True))
        told = min(told, {"at": {str(n): _difference(*pair) for n, pair in pairs if pair[0] != pair[1]}}, key=_length)
    elif isinstance(old, str) and isinstance(new, str) and "\n" in old:
        before, after = old.split("\n"), new.split("\n")
        steps = SequenceMatcher(None, before, after, autojunk=False).get_opcodes()
        lines = [[first, last, after[start:end]] for tag, first, last, start, end in steps if tag != "equal"]
        told = min(told, {"lines": lines}, key=_length)
    return told


def _applied(old: Any, told: Mapping[str, Any]) -> Any:
    if "is" in told:
        return told["is"]
    if "of" in told:
        gone = set(told.get("gone", ()))
        same = {name: value for name, value in old.items() if name not in gone}
        return same | {name: _applied(old.get(name), one) for name, one in told["of"].items()}
    if "at" in told:
        return [_applied(value, told["at"][str(n)]) if str(n) in told["at"] else value for n, value in enumerate(old)]
    lines = old.split("\n")
    for first, last, words in reversed(told["lines"]):  # from the end, so that the numbers before it stay right
        lines[first:last] = words
    return "\n".join(lines)


def _length(told: Mapping[str, Any]) -> int:
    return len(canonical(told))
