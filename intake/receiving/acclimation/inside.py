"""The tub a table is made for: its animals, its liters, and how much of them is bag water."""

from __future__ import annotations

from dataclasses import dataclass

from intake.receiving.acclimation.load import Load, Tub

__all__ = ["Inside"]


@dataclass(frozen=True, slots=True)
class Inside:
    """One tub as it is set up.

    Attributes
    ----------
    litres
        In it when the animals go in.
    bag_l
        Of them bag water, in the modes that keep it.
    load
        The animals in it; none breathe where it is not given.
    tub
        What it holds at most, and its gas transfer.
    """

    litres: float
    bag_l: float = 0.0
    load: Load | None = None
    tub: Tub | None = None

    @property
    def clean_l(self) -> float:
        """Clean water filled in before the bag water, liters."""
        return max(0.0, self.litres - self.bag_l)

    @property
    def bag_share(self) -> float:
        """Share of bag water by volume."""
        return min(1.0, self.bag_l / self.litres) if self.litres else 1.0

    @property
    def alarm_mg_per_l(self) -> float:
        """Oxygen below which its animals are in danger; 0 without animals."""
        return 0.0 if self.load is None else self.load.alarm_mg_per_l
