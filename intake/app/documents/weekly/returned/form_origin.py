"""What a fillable form says of itself to the program that reads it back: its kind, when it was printed, what it is about."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

__all__ = ["KINDS", "Origin", "form_subject", "origin_of"]

KINDS: Final = ("round", "dips", "checklists", "sample")
"""Forms told by their subject; an intake sheet tells its batches and revisions instead."""
_SHAPE: Final = re.compile(rf"({'|'.join(KINDS)}) of (\S+?)(?:; (.+))?")


@dataclass(frozen=True, slots=True)
class Origin:
    """Kind of a form, the moment of the ledger it was printed from, and what it is about."""

    kind: str
    printed: datetime
    about: tuple[str, ...] = ()


def form_subject(kind: str, printed: datetime, *about: str) -> str:
    """The subject of a form's PDF, the same in every language."""
    return "; ".join((f"{kind} of {printed.astimezone(UTC).isoformat()}", *about))


def origin_of(subject: str) -> Origin | None:
    """What a subject says; ``None`` for one of no such form."""
    found = _SHAPE.fullmatch(subject)
    if found is None:
        return None
    try:
        printed = datetime.fromisoformat(found[2])
    except ValueError:
        return None
    if printed.tzinfo is None:
        return None
    return Origin(found[1], printed, tuple(found[3].split("; ")) if found[3] else ())
