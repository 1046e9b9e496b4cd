"""Pest life cycles by temperature: what sets the time between two baths and the length of quarantine."""

from __future__ import annotations

from pydantic import Field

from intake.library.library_values import Sourced, Strict

__all__ = ["Cycle", "Pest"]


class Cycle(Sourced):
    """Life-cycle days at one temperature; ``None`` where no figure was read.

    Attributes
    ----------
    temperature_c
        Water temperature of the figures; ``None`` where the source does not state it.
    last_hatch_d
        Longest time from laying to hatching.
    free_d
        Longest free-swimming time of larvae or tomites.
    maturity_d
        Shortest time from hatching to first laying.
    generation_d
        Shortest time from egg to egg.
    """

    temperature_c: float | None = None
    first_hatch_d: float | None = Field(default=None, ge=0)
    mean_hatch_d: float | None = Field(default=None, ge=0)
    last_hatch_d: float | None = Field(default=None, ge=0)
    free_d: float | None = Field(default=None, ge=0)
    maturity_d: float | None = Field(default=None, ge=0)
    generation_d: float | None = Field(default=None, ge=0)


class Pest(Strict):
    """A pest, its hosts and what is known of its cycle."""

    id: str
    name: str
    hosts: str
    note: str = ""
    cycles: tuple[Cycle, ...]
