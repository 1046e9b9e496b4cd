"""Marks words that are said in another place than where they stand, so that they come into the catalogue."""

from __future__ import annotations

__all__ = ["phrase"]


def phrase(words: str) -> str:
    """The words as they are."""
    return words
