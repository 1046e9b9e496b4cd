"""One line in small letters at the foot of every page, the same for whatever is printed meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

__all__ = ["STAMP", "stamped"]

STAMP: ContextVar[str] = ContextVar("stamp", default="")


@contextmanager
def stamped(words: str) -> Iterator[None]:
    """Print one line at the foot of every page of every document bound meanwhile."""
    token = STAMP.set(words)
    try:
        yield
    finally:
        STAMP.reset(token)
