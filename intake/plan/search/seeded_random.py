"""Chance that depends on a key alone, so that the same search is the same on every machine."""

from __future__ import annotations

from collections.abc import Iterable
from hashlib import sha256

__all__ = ["draw", "shuffled"]


def draw(key: str, below: int) -> int:
    """A number below ``below`` that depends on the key alone."""
    return int.from_bytes(sha256(key.encode()).digest()[:8], "big") % below


def shuffled(items: Iterable[int], key: str) -> list[int]:
    """The items in an order that depends on the key alone."""
    return sorted(items, key=lambda item: sha256(f"{key}/{item}".encode()).digest())
