"""Dips, baths, inspections and transfers: what is done to a batch in quarantine, with what, how long, how often."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from intake.library.library_values import Sourced

__all__ = ["Dip"]


class Dip(Sourced):
    """One kind of repeated work on a batch.

    Attributes
    ----------
    agent, strength
        What the bath is made of and how strong; ``strength`` is empty for prescription baths, which have no default.
    contact_min, contact_max
        Minutes of contact; ``None`` where none applies or none may be printed.
    baths
        Number of times; ignored where ``pest`` sets it by the pest's life cycle.
    interval_days, interval_min_days, interval_max_days
        Days from one to the next, and how far they may be moved.
    pest
        Pest whose cycle sets interval and number (``pests.toml``), or empty.
    mode
        ``on``: scheduled; ``optional``: scheduled if the farm switches it on; ``off``: never unless switched on for a
        batch with a reason.
    agent_class
        Class of the agent in the table of verdicts; empty: distinguished from the table of treatments, or from ``agent``.
    prescription
        Needs a named prescriber and a reference; cannot be scheduled without both.
    course_days
        Length of a course in the water, as a prescriber ordered it; never in the library.
    """

    id: str
    name: str
    kind: Literal["dip", "inspection", "transfer"]
    target: str
    agent: str
    strength: str
    contact_min: float | None = Field(default=None, ge=0)
    contact_max: float | None = Field(default=None, ge=0)
    baths: int = Field(ge=1)
    first_day: int = Field(default=0, ge=0)
    interval_days: float | None = Field(default=None, gt=0)
    interval_min_days: float | None = Field(default=None, gt=0)
    interval_max_days: float | None = Field(default=None, gt=0)
    pest: str = ""
    why: str
    kills_eggs: Literal["no", "yes, by removal", "unknown"]
    mode: Literal["on", "optional", "off"]
    prescription: bool = False
    course_days: float | None = None
    after_dark: bool = False
    protection: tuple[str, ...] = ()
    skill: str = "dip"
    agent_class: str = ""

    @model_validator(mode="after")
    def _sane(self) -> Dip:
        if self.prescription and (self.strength or self.contact_min or self.contact_max or self.course_days):
            msg = "no strength and no minutes for a prescription bath: the prescriber states them"
            raise ValueError(msg)
        if self.prescription and self.mode != "off":
            msg = "mode 'off' for a prescription bath"
            raise ValueError(msg)
        if self.baths > 1 and self.interval_days is None:
            msg = "interval_days where there is more than one bath"
            raise ValueError(msg)
        return self
