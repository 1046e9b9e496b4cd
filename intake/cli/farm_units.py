"""Text for a terminal in the units its farm measures in: SI inside and in ``--json``, US units where the farm says so."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Literal

from intake.errors import BadInput, Finding
from intake.units import (
    show_area,
    show_length_range,
    show_mass,
    show_temperature,
    show_temperature_change,
    show_volume,
    temperature_c,
)

__all__ = ["in_farm_units", "measured", "measures_in"]

System = Literal["si", "us"]
_NUMBER = r"(?<![\w.,/])(-?\d[\d,]*(?:\.\d+)?)(?:\s?[–-]\s?(\d[\d,]*(?:\.\d+)?))?\s?"
_SMALLEST_READING_C = 10.0
"""Below it a number of degrees is a difference: no water with animals of this trade is colder (common practice)."""

_chosen: list[System] = ["si"]


def measures_in(system: System) -> None:
    """Choose the units of everything printed from now on by this command."""
    _chosen[0] = system


def in_farm_units(text: str) -> str:
    """A text with its temperatures, lengths, areas, volumes and masses in the farm's units; mg/L and PSU stay as they are."""
    if _chosen[0] == "si":
        return text
    for pattern, show in _SHOWN:
        text = pattern.sub(show, text)
    return text


def measured(quantity: str, text: str) -> tuple[str, float]:
    """The quantity of a reading and its value in SI or °C; a temperature with its unit is converted.

    Raises
    ------
    BadInput
        Neither a number nor a temperature with °C or °F.
    """
    quantity = "temperature_c" if quantity in {"temperature", "temp"} else quantity
    try:
        return quantity, float(text)
    except ValueError:
        if quantity == "temperature_c":
            return quantity, round(temperature_c(text), 2)
        raise BadInput(Finding("VALUE", text, "a number")) from None


def _value(text: str) -> float:
    return float(text.replace(",", ""))


def _each(found: re.Match[str], show: Callable[[float], str]) -> str:
    first = show(_value(found[1]))
    return first if not found[2] else f"{first.rsplit(' ', 1)[0]}–{show(_value(found[2]))}"


def _temperature(found: re.Match[str]) -> str:
    change = bool(found[3]) or abs(_value(found[1])) < _SMALLEST_READING_C
    shown = _each(
        found, lambda value: show_temperature_change(value, "us") if change else show_temperature(value, "us")
    )
    return shown + (found[3] or "")


def _mass(found: re.Match[str]) -> str:
    """In pounds, with kg beside it: salt and baths are weighed by it."""
    return f"{_each(found, lambda value: show_mass(value, 'us'))} ({found[0].strip()})"


def _length(found: re.Match[str]) -> str:
    low = _value(found[1])
    return show_length_range(low, _value(found[2]) if found[2] else low, "us")


_SHOWN: tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], str]], ...] = (
    (re.compile(_NUMBER + r"°C(/h)?"), _temperature),
    (re.compile(_NUMBER + r"mm\b"), _length),
    (re.compile(_NUMBER + r"m²"), lambda found: _each(found, lambda value: show_area(value, "us"))),
    (re.compile(_NUMBER + r"L\b(?!/)"), lambda found: _each(found, lambda value: show_volume(value, "us"))),
    (re.compile(_NUMBER + r"kg\b"), _mass),
)
