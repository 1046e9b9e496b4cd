"""Text for a terminal in the units its farm measures in: SI inside and in ``--json``, what the farm file says on the screen."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from intake.errors import IntakeError
from intake.farm.shown_units import SALINITY_KEYS, SI, FarmUnits, System

__all__ = [
    "around_quotes",
    "chosen_for",
    "in_farm_units",
    "in_unit_typed",
    "measures_in",
    "now_in",
    "refusal_units",
    "typed_in",
]

_QUOTE = re.compile(r"('[^']*'|\"[^\"]*\")")
_MOST_BYTES = 1_000_000
_TYPED_DEGREES = re.compile(r"\d\s*(?:°|deg)?\s*([CF])(?:elsius|ahrenheit)?(?:/h)?$", re.IGNORECASE)
_chosen: list[FarmUnits] = [SI]
_typed: list[FarmUnits | None] = [None]


def measures_in(units: FarmUnits) -> None:
    """Choose the units of everything printed from now on by this command."""
    _chosen[0], _typed[0] = units, None


def now_in() -> FarmUnits:
    """The units chosen for this command."""
    return _chosen[0]


def chosen_for(folder: str, system: str | None, salinity: str | None) -> None:
    """Choose the units of a calculator: those asked for, else those of the farm in a folder, else SI and PSU."""
    farm = _units_of(folder)
    measured: System = farm.system if system is None else "us" if system == "us" else "si"
    own = farm.salinity if measured == farm.system else {"us": "ppt", "si": "psu"}[measured]
    measures_in(FarmUnits(measured, salinity or own))


def _units_of(folder: str) -> FarmUnits:
    """What a farm file says of its units; SI where there is none that can be read: a calculator needs no farm."""
    try:
        with Path(folder, "farm.toml").open("rb") as file:
            farm = tomllib.loads(file.read(_MOST_BYTES).decode("utf-8-sig")).get("farm", {})
        system: System = "us" if farm.get("units") == "us" else "si"
        salinity = str(farm.get("salinity", "")) or {"us": "ppt", "si": "psu"}[system]
    except (OSError, ValueError, RecursionError, AttributeError):
        return SI
    return FarmUnits(system, salinity if salinity in SALINITY_KEYS else "psu")


def typed_in(text: str) -> None:
    """Remember the unit a person typed: a refusal of the figure answers in it."""
    found = _TYPED_DEGREES.search(text)
    if found:
        _typed[0] = FarmUnits("us" if found[1].lower() == "f" else "si", _chosen[0].salinity)


def refusal_units() -> FarmUnits:
    """The units a refusal speaks in: of what was typed, else of the command."""
    return _typed[0] or _chosen[0]


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
        if unit in {"c", "celsius"}:
            measures_in(FarmUnits("si", _chosen[0].salinity))
        elif unit in {"psu", "ppt"}:
            measures_in(FarmUnits(_chosen[0].system, unit))
        elif unit in {"f", "fahrenheit"}:
            measures_in(FarmUnits("us", _chosen[0].salinity))
        raise
