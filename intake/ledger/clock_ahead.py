"""Entries made with a clock that stood ahead: which recorded times are not to be believed, named by a record of their own."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Final

from intake.ledger.entries import Record

__all__ = ["CLOCK", "Span", "believed", "span_payload", "spans_of"]

CLOCK: Final = "clock"
"""Kind of the record that says so; it is written though its own time lies before theirs."""

Span = tuple[datetime, datetime]
"""First and last recorded time that a wrong clock stamped, both included."""


def span_payload(span: Span) -> dict[str, object]:
    """Payload of the record that disbelieves the recorded times of a span."""
    return {"from": span[0].isoformat(), "until": span[1].isoformat()}


def spans_of(records: Iterable[Record]) -> tuple[Span, ...]:
    """Spans named by the records of this kind."""
    told = [record.payload for record in records if record.kind == CLOCK and not record.payload.get("withdrawn")]
    return tuple((datetime.fromisoformat(str(one["from"])), datetime.fromisoformat(str(one["until"]))) for one in told)


def believed(recorded_at: datetime, spans: Iterable[Span]) -> bool:
    """Whether a recorded time was stamped by a clock no one has called wrong."""
    return not any(first <= recorded_at <= last for first, last in spans)
