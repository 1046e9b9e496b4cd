"""Short ways to write entries, for tests; all names and animals are invented."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta

from intake.ledger import Movement, Record

START = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)


def hour(hours: float) -> datetime:
    """Moment so many hours after the first."""
    return START + timedelta(hours=hours)


class Scribe:
    """Writes entries with keys of their own; times in hours after ``START``."""

    def __init__(self) -> None:
        self._numbers = itertools.count(1)

    def move(
        self,
        batch: str,
        way: str,
        count: int,
        at: float = 0,
        *,
        recorded: float | None = None,
        key: str = "",
        corrects: str | None = None,
    ) -> Movement:
        """Movement along ``"source > target"``."""
        source, target = way.split(" > ")
        number = next(self._numbers)
        written = hour(at if recorded is None else recorded)
        return Movement(batch, source, target, count, hour(at), written, "Ada", key or f"m{number}", corrects)

    def note(
        self,
        kind: str,
        subject: str,
        at: float = 0,
        /,
        *,
        recorded: float | None = None,
        key: str = "",
        corrects: str | None = None,
        **payload: object,
    ) -> Record:
        """Record of a kind."""
        number = next(self._numbers)
        written = hour(at if recorded is None else recorded)
        return Record(kind, subject, payload, hour(at), written, "Ada", key or f"r{number}", corrects)
