"""The one place that reads the clock and draws chance; everything below takes ``now`` and keys as arguments."""

from __future__ import annotations

from datetime import UTC, datetime
from uuid import uuid4

__all__ = ["fresh_key", "now"]


def now() -> datetime:
    """The present in UTC."""
    return datetime.now(UTC)


def fresh_key() -> str:
    """A new idempotency key, for an act that brings none of its own."""
    return uuid4().hex
