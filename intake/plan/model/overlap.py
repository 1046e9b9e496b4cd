"""Interval overlap: the largest sets of stays with a day in common, and cliques of groups of which no two may meet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol, TypeVar

__all__ = ["Spell", "cliques", "together"]


class Spell(Protocol):
    """Anything with half-open days."""

    @property
    def start(self) -> int:
        """First day."""

    @property
    def end(self) -> int:
        """Day after the last."""


Stay = TypeVar("Stay", bound=Spell)


def together(items: Sequence[Stay], gap: int = 0) -> list[list[Stay]]:
    """Largest sets of items whose days (each lengthened by ``gap``) have one in common."""
    sets: list[frozenset[int]] = []
    for day in sorted({item.start for item in items}):
        active = frozenset(index for index, item in enumerate(items) if item.start <= day < item.end + gap)
        sets = [other for other in sets if not other <= active] if active else sets
        if not any(active <= other for other in sets):
            sets.append(active)
    return [[items[index] for index in sorted(active)] for active in sets]


def cliques(names: Sequence[str], apart: Callable[[str, str], bool]) -> list[tuple[str, ...]]:
    """Largest sets of groups of which no two may meet."""
    found: list[tuple[str, ...]] = []

    def grow(clique: list[str], rest: list[str]) -> None:
        grown = False
        for number, name in enumerate(rest):
            grown = True
            grow([*clique, name], [other for other in rest[number + 1 :] if apart(name, other)])
        if not grown and len(clique) > 1 and not any(set(clique) <= set(other) for other in found):
            found.append(tuple(clique))

    grow([], list(names))
    return found
