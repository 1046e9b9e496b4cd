"""What holds for whatever is printed meanwhile: one line in small letters at the foot, and the moment of printing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime

__all__ = ["MOMENT", "STAMP", "printed_at", "stamped"]

STAMP: ContextVar[str] = ContextVar("stamp", default="")
MOMENT: ContextVar[datetime | None] = ContextVar("moment", default=None)
_SAID: ContextVar[bool] = ContextVar("said", default=False)


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
    """Date every document made meanwhile; where several say a moment, the outermost holds.

    Parameters
    ----------
    moment
        With its time zone; None for one fixed day, so that equal content gives equal files whenever it is printed.
    """
    if _SAID.get():
        yield
        return
    tokens = _SAID.set(True), MOMENT.set(moment)
    try:
        yield
    finally:
        _SAID.reset(tokens[0])
        MOMENT.reset(tokens[1])
