"""Text for a terminal in the units its farm measures in: SI inside and in ``--json``, what the farm file says on the screen."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

from intake.errors import IntakeError
from intake.farm.shown_units import SI, FarmUnits

__all__ = ["around_quotes", "in_farm_units", "in_unit_typed", "measures_in", "now_in"]

_QUOTE = re.compile(r"('[^']*'|\"[^\"]*\")")
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


def around_quotes(text: str) -> str:
    """A text in the farm's units, except what stands between quotation marks: that is shown as its writer wrote it."""
    return "".join(part if at % 2 else in_farm_units(part) for at, part in enumerate(_QUOTE.split(text)))


@contextmanager
def in_unit_typed(text: str) -> Iterator[None]:
    """While it lasts, a refusal answers in the system of the unit a person typed, whatever the farm measures in."""
    try:
        yield
    except IntakeError:
        unit = text.strip(" .0123456789-+°").lower()
        if unit in {"c", "celsius", "psu", "ppt"}:
            measures_in(SI)
        elif unit in {"f", "fahrenheit"}:
            measures_in(FarmUnits("us", _chosen[0].salinity))
        raise
