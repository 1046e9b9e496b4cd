"""How people may be booked on a farm: its table ``[working]``."""

from __future__ import annotations

from datetime import time

from pydantic import Field, model_validator

from intake.library.library_values import Strict

__all__ = ["Working"]


class Working(Strict):
    """How people may be booked: pauses, days off, changes of water, rest of the animals between handlings.

    All of it is common practice, no source, but for the rest of 11 h between two days and a day off in seven (Directive
    2003/88/EC, articles 3 and 5, from memory).  0 switches a rule off.

    Attributes
    ----------
    lunch_minutes
        Pause in every shift of six hours or more, within ``lunch_from`` to ``lunch_until``.
    pause_minutes, stretch_h
        A pause in any stretch longer than so many hours.
    days_in_a_row
        Most working days one after another, where someone else can do the work.
    rest_h
        Hours between the end of one day and the start of the next.
    changeover_minutes
        From dirtier to cleaner water: hands, boots and tools are cleaned.
    recovery_h
        Hours between two handlings of one lot in one vat, unless its protocol wants them in one session.
    lights_on, lights_off
        Hours of light over the fish, outside which they are not handled.
    """

    lunch_from: time = time(12)
    lunch_until: time = time(14)
    lunch_minutes: int = Field(default=30, ge=0, le=120)
    pause_minutes: int = Field(default=15, ge=0, le=60)
    stretch_h: float = Field(default=5.0, ge=2.0, le=12.0)
    days_in_a_row: int = Field(default=6, ge=0, le=14)
    rest_h: float = Field(default=11.0, ge=0.0, le=16.0)
    changeover_minutes: int = Field(default=15, ge=0, le=120)
    recovery_h: float = Field(default=4.0, ge=0.0, le=72.0)
    lights_on: time = time(8)
    lights_off: time = time(20)

    @model_validator(mode="after")
    def _ordered(self) -> Working:
        if self.lunch_from >= self.lunch_until or self.lights_on >= self.lights_off:
            msg = "lunch_from before lunch_until and lights_on before lights_off, on the same day, as '12:00'"
            raise ValueError(msg)
        return self
