"""Pests, parasites and syndromes: whom they strike, how long water without hosts must stand, what to do on a finding."""

from __future__ import annotations

from collections.abc import Iterable
from fnmatch import fnmatchcase

from pydantic import Field

from intake.library.library_values import Sourced

__all__ = ["Hazard"]


class Hazard(Sourced):
    """One hazard.

    Attributes
    ----------
    groups, taxa
        Husbandry groups it strikes (patterns); with ``taxa``, only these genera of them.
    host_free_days
        Days the water must stand without any host: a number, ``never`` (time does not clear it: empty, disinfect and
        dry), ``0`` (always present, closes nothing), or empty where nothing is known.
    """

    id: str
    name: str
    hosts: str
    groups: tuple[str, ...] = Field(min_length=1)
    taxa: tuple[str, ...] = ()
    kind: str
    cycle: str = ""
    host_free_days: str = Field(default="", pattern=r"^(\d{1,3}|never)?$")
    basis: str = ""
    how_found: str = ""
    stays: str = ""
    carriers: str = ""
    act: str = ""

    @property
    def days(self) -> int | None:
        """Host-free days as a number; ``None`` where time alone does not clear the water or nothing is known."""
        return int(self.host_free_days) if self.host_free_days.isdecimal() else None

    def strikes(self, group: str, taxa: Iterable[str] = ()) -> bool:
        """Whether animals of a group (and of these genera or families) can catch it."""
        return any(fnmatchcase(group, pattern) for pattern in self.groups) and (
            not self.taxa or bool(set(taxa) & set(self.taxa))
        )
