"""Who may not touch, share a vat or share water with whom, by group and, where it matters, by genus or family."""

from __future__ import annotations

from collections.abc import Iterable
from fnmatch import fnmatchcase
from typing import Literal

from intake.library.library_values import Sourced

__all__ = ["Apart", "Incompatible", "kin_of", "kin_parts"]

Apart = Literal["touch", "vat", "water"]

_SIGN = "~"


class Incompatible(Sourced):
    """Two groups (patterns of ids, read both ways) that may not touch, share a vat or share water.

    Attributes
    ----------
    a_taxa, b_taxa
        Only these genera or families of the group; empty: all of it.
    a_except, b_except
        All of the group but these.
    same_name
        Only animals of one name: of a batch among itself too.
    caution
        Shown beside the act and on paper, never in the way of it.
    """

    a: str
    b: str
    a_taxa: tuple[str, ...] = ()
    b_taxa: tuple[str, ...] = ()
    a_except: tuple[str, ...] = ()
    b_except: tuple[str, ...] = ()
    kind: Apart
    why: str
    same_name: bool = False
    caution: bool = False

    @property
    def scopes(self) -> frozenset[str]:
        """Genera and families this pair distinguishes."""
        return frozenset((*self.a_taxa, *self.b_taxa, *self.a_except, *self.b_except))

    def covers(self, one: str, other: str) -> bool:
        """Whether two kins (group ids, with genera or families where they matter) fall under this rule, either way."""
        return (self._is_a(one) and self._is_b(other)) or (self._is_a(other) and self._is_b(one))

    def _is_a(self, kin: str) -> bool:
        return _is(kin, self.a, self.a_taxa, self.a_except)

    def _is_b(self, kin: str) -> bool:
        return _is(kin, self.b, self.b_taxa, self.b_except)


def _is(kin: str, pattern: str, only: tuple[str, ...], but: tuple[str, ...]) -> bool:
    group, taxa = kin_parts(kin)
    named = set(taxa)
    return fnmatchcase(group, pattern) and (not only or bool(named & set(only))) and not named & set(but)


def kin_of(group: str, taxa: Iterable[str], told_apart: frozenset[str]) -> str:
    """A group id with those genera and families that some pair distinguishes: ``echinoderm~Mespilia``."""
    return _SIGN.join((group, *sorted(set(taxa) & told_apart)))


def kin_parts(kin: str) -> tuple[str, tuple[str, ...]]:
    """Group id, and the genera and families, of a kin."""
    group, *taxa = kin.split(_SIGN)
    return group, tuple(taxa)
