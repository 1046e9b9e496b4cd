"""Text for a terminal in the units its farm measures in: SI inside and in ``--json``, what the farm file says on the screen."""

from __future__ import annotations

from intake.farm.shown_units import SI, FarmUnits

__all__ = ["in_farm_units", "measures_in", "now_in"]

_chosen: list[FarmUnits] = [SI]


def measures_in(units: FarmUnits) -> None:
    """Choose the units of everything printed from now on by this command."""
    _chosen[0] = units


def now_in() -> FarmUnits:
    """The units chosen for this command."""
    return _chosen[0]


def in_farm_units(text: str) -> str:
    """A text with its figures in the farm's units; doses per liter stay as they are."""
    return _chosen[0].text(text)
