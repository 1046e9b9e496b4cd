"""Work of the house that returns by a rule: rounds of its own and days for cuttings."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field, model_validator

from intake.farm.named import Named
from intake.farm.recurrence import Recurs, Rule

__all__ = ["Routine"]


class Routine(Named):
    """Work of the house that returns by a rule: a round of its own through a system, a day for cuttings.

    Attributes
    ----------
    kind
        What it is: ``round`` (a walk through the vats) or ``cutting`` (fragments of the house's own parents).
    rule
        RFC 5545 rule of its days.
    since
        Day the rule is counted from.
    minutes
        Minutes of work of one person.
    skill
        Skill the person needs; anyone who works at the vats without it.
    note
        What to do, in words.
    """

    kind: Literal["round", "cutting"]
    rule: Rule
    since: date
    system: str
    vat: str = ""
    minutes: int = Field(default=30, ge=1, le=600)
    skill: str = ""
    part_of_day: Literal["any", "morning", "after dark"] = "any"
    note: str = Field(default="", max_length=300)

    @model_validator(mode="after")
    def _falls(self) -> Routine:
        Recurs(rule=self.rule, since=self.since)
        return self

    def on(self, day: date) -> bool:
        """Whether it is due on ``day``."""
        return Recurs(rule=self.rule, since=self.since).on(day)
