"""The tank of mixed salt water of a farm: its table ``[mixing]``."""

from __future__ import annotations

from pydantic import Field

from intake.library.library_values import Strict

__all__ = ["Mixing"]


class Mixing(Strict):
    """The tank of mixed salt water that baths and acclimation draw from; without this table it never runs out.

    Attributes
    ----------
    tank_l
        Liters that stand ready at once.
    refill_minutes
        From the end of the work until what it drew is mixed, saturated with air and at temperature again.
    bath_l
        Liters of one bath or acclimation tub.
    animals_a_bath
        Animals that share one bath before it is changed: the farm's own habit, no source.
    """

    tank_l: float = Field(gt=0)
    refill_minutes: int = Field(default=240, ge=0, le=10_080)
    bath_l: float = Field(default=15.0, gt=0)
    animals_a_bath: int = Field(default=60, ge=1)
