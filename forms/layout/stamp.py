"""What holds for whatever is printed meanwhile: one line in small letters at the foot, and the moment of printing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime

__all__ = ["MOMENT", "STAMP", "printed_at", "stamped"]

STAMP: ContextVar[str] = ContextVar("stamp", default="")
MOMENT: ContextVar[datetime | None] = ContextVar("moment", default=None)


@contextmanager
def stamped(words: str) -> Iterator[None]:
    """Print one line at the foot of every page of every document bound meanwhile."""
    token = STAMP.set(words)
    try:
        yield
    finally:
        STAMP.reset(token)


@contextmanager
def printed_at(moment: datetime | None) -> Iterator[None]:
    """Date every document made meanwhile; None leaves the date out of the bytes, so that equal content gives equal files.

    Parameters
    ----------
    moment
        With its time zone.
    """
    token = MOMENT.set(moment)
    try:
        yield
    finally:
        MOMENT.reset(token)
