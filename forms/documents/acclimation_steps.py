"""One step of an acclimation as every form shows it."""

from __future__ import annotations

from dataclasses import dataclass

from forms.documents.shared_content import number
from forms.layout.speech import ENGLISH, Speech

__all__ = ["AcclimationStep"]


@dataclass(frozen=True, slots=True)
class AcclimationStep:
    """One line of a step table, in display units; None prints a dash.

    Attributes
    ----------
    minute
        Minutes since the bag was opened.
    do
        What to do, in words.
    volume, temperature, salinity, ph, nh3_n, oxygen
        Water in the tub and what is expected in it after the step.
    brief
        The same in a few words, for a rung of the sheet; `do` where there are none.
    into_vat
        True for the step that ends in the vat.
    """

    minute: float
    do: str
    volume: float | None = None
    temperature: float | None = None
    salinity: float | None = None
    ph: float | None = None
    nh3_n: float | None = None
    oxygen: float | None = None
    brief: str = ""
    into_vat: bool = False

    def printed(self, salinity_decimals: int = 1, language: Speech = ENGLISH) -> tuple[str, ...]:
        """The numbers as printed: minute, volume, temperature, salinity, pH, ammonia, oxygen."""
        return (
            number(self.minute, 0, language),
            number(self.volume, 1, language),
            number(self.temperature, 1, language),
            number(self.salinity, salinity_decimals, language),
            number(self.ph, 2, language),
            number(self.nh3_n, 3, language),
            number(self.oxygen, 1, language),
        )
