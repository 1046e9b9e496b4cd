"""The **units** a farm reads and writes in: texts and figures shown in them, and what people type understood.

Inside, in ``--json`` and in files for programs everything stays SI and °C.  A volume or a mass in US units always carries
the SI figure beside it, because doses, baths and salt are reckoned by it; so does a salinity of treatment water.
Doses per liter (mg/L, mL/L, meq/L) and milliliters stay as they are written on bottle and syringe.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal, TypeVar, cast

from intake.errors import BadInput, Finding
from intake.units import (
    alkalinity_meq_per_l,
    fahrenheit,
    length_mm,
    mass_kg,
    show_area,
    show_flow,
    show_length,
    show_length_range,
    show_mass,
    show_temperature,
    show_temperature_change,
    show_volume,
    temperature_c,
    volume_l,
)

__all__ = ["SALINITY_KEYS", "SI", "FarmUnits", "System", "Understood", "reading_words"]

System = Literal["si", "us"]
T = TypeVar("T")

SALINITY_KEYS = ("psu", "ppt", "sg 20C/4C", "sg 20C/20C", "sg 25C/25C", "sg 15C/4C", "sg 60F/60F")
"""How a farm may say salinity.  ``ppt`` is practical salinity under its everyday name (salt by weight is 0.5 % more, TEOS-10);
a specific gravity means nothing without its two temperatures."""

_SMALLEST_READING_C = 10.0
"""Below it a number of degrees is a difference: no water with animals of this trade is colder (common practice)."""
_SMALLEST_READING_PSU = 8.0
"""Below it, and above zero, a salinity is a difference: no bath or vat stands there (library; common practice)."""
_TREATMENT_BELOW_PSU = 25.0
"""Water below it is a treatment's, dosed by its salinity, so that PSU stands beside a specific gravity."""

_FIGURE = r"(?:\d{1,3}(?:[,\u202f]\d{3})+|\d+)(?:\.\d+)?"
_ALONE = r"(?<![\w.,/−-])(?<!gal \()(?<!lb \()(?<!oz \()(?<!/h \()(?<!SG \()"
_NUMBER = rf"{_ALONE}(-?{_FIGURE})(?![\d,]\d)"  # a decimal comma is left alone: it is no figure of this module
_RANGE = rf"{_NUMBER}(?:(\s?[–-]\s?| to | [x×] )({_FIGURE}))?\s?"
_CHANGE_BEFORE = re.compile(r"(?:differ by|differ by only|gap of|lost|loses|With|within|±|change of|up to|by)\s?$")
_READING_BEFORE = re.compile(
    r"(?:temperature|temperature_c|[Ww]ater (?:of|at)|heater(?: to)?|[Tt]here:|(?<!start )\bat|above|below|minute \d+:)\s?$"
)
_READING_AFTER = re.compile(r"^ at |^ now")
_CHANGE_AFTER = re.compile(r"^(?:/h| from the vat| to close| and [\d.]+ PSU to close| in \d+ min| apart| away)")


@dataclass(frozen=True, slots=True)
class Understood:
    """A figure a person typed: its quantity by name, its value in SI (°C, PSU), and how it was understood, in words."""

    quantity: str
    value: float
    words: str


@dataclass(frozen=True, slots=True)
class FarmUnits:
    """How one farm measures.

    Attributes
    ----------
    system
        ``si`` or ``us``.
    salinity
        One of :data:`SALINITY_KEYS`.
    """

    system: System = "si"
    salinity: str = "psu"

    @property
    def scale(self) -> str:
        """The scale of its specific gravity, such as ``60F/60F``; empty where it measures PSU or ppt."""
        return self.salinity.removeprefix("sg ") if self.salinity.startswith("sg ") else ""

    @property
    def legend(self) -> str:
        """What a page says of its units once; empty on a farm of °C, L and PSU."""
        parts = ["°F, US gal (L beside)"] if self.system == "us" else []
        parts += [f"SG at {self.scale}"] if self.scale else []
        return "; ".join(parts)

    def text(self, words: str) -> str:
        """A text with its temperatures, lengths, areas, volumes, flows, masses and salinities in the farm's units."""
        if self == SI:
            return words
        words = _SETTING.sub(self._setting, _WANTED.sub(self._wanted, words))
        if self.system == "us":
            for pattern, show in _SHOWN:
                words = pattern.sub(show, words)
        return words if self.salinity == "psu" else _SALT.sub(self._salt, words)

    def binding(self, row: Mapping[str, Any]) -> tuple[str, Callable[[float], str]]:
        """A thing in short supply, as a row of the plan's ``binding``: its name without the unit, and how figures of it read."""
        name, unit = _split_resource(str(row["resource"]))
        return self.text(name), lambda value: self.text(f"{value:g} {unit}".rstrip())

    def content(self, content: T) -> T:
        """What a form is to say, with every text of it in the farm's units: content classes, rows and tables in them too."""
        return content if self == SI else cast("T", self._walked(content))

    def finding(self, fault: Finding, *, typed: bool = True) -> str:
        """A refusal in the farm's units: what a person typed stays as it was, and sets the unit where it names one of SI.

        ``typed`` is false where the value is a rule's own sentence.
        """
        if not typed:
            return self.text(str(fault))
        if fault.where.endswith(("temperature in °C", "temperature, °C")) and self.system == "us":
            return self._degrees(fault)
        if self == SI or _METRIC.search(fault.value):
            return str(fault)
        where, expected, do = self.text(fault.where), self.text(fault.expected), self.text(fault.do)
        return str(Finding(where, fault.value, expected, do))

    def _degrees(self, fault: Finding) -> str:
        """A range of a formula in °F: a bare figure, and both ends of what was expected."""
        value = _BARE.sub(lambda found: f"{self.number('temperature_c', float(found[0])):.4g}", fault.value)
        expected = _ENDS.sub(
            lambda found: " to ".join(f"{self.number('temperature_c', float(found[end])):.4g}" for end in (1, 2)),
            fault.expected,
        )
        return str(Finding(fault.where.replace("°C", "°F"), value, expected, fault.do))

    def unit(self, quantity: str) -> str:
        """The unit a figure of this quantity is shown in; empty for one without."""
        if quantity == "salinity_psu":
            return f"SG {self.scale}" if self.scale else {"psu": "PSU", "ppt": "ppt"}[self.salinity]
        known = _UNITS.get(quantity)
        return "" if known is None else known[self.system == "us"]

    def key(self, quantity: str) -> str:
        """The name under which a form sends a figure typed in the farm's unit, for :meth:`read`."""
        return quantity if self.unit(quantity) == SI.unit(quantity) else _FRIENDLY.get(quantity, quantity)

    def number(self, quantity: str, value: float) -> float:
        """A figure in :meth:`unit` of its quantity."""
        if quantity == "salinity_psu":
            return _gravity(value, self.scale) if self.scale else value
        scaled = _SCALED.get(quantity) if self.system == "us" else None
        return value if scaled is None else scaled(value)

    def figure(self, quantity: str, value: float, decimals: int = 1) -> str:
        """A figure as a table shows it under its unit; a specific gravity has four decimals."""
        places = 4 if quantity == "salinity_psu" and self.scale else decimals
        return f"{self.number(quantity, value):.{places}f}"

    def shown(self, quantity: str, value: float, decimals: int = 1) -> str:
        """A reading with its unit, such as ``79.0 °F``; a quantity without a unit as its bare figure."""
        unit = self.unit(quantity).split(" ")[0] if quantity == "salinity_psu" else self.unit(quantity)
        return f"{self.figure(quantity, value, decimals)} {unit}".rstrip()

    def read(self, quantity: str, text: str) -> Understood:
        """A reading as typed: ``temperature 79F``, ``salinity 1.0264``; a bare number is in the unit its quantity names.

        ``temperature`` and ``salinity`` take a bare number in the farm's unit, ``temperature_c`` and ``salinity_psu`` in °C
        and PSU.

        Raises
        ------
        BadInput
            No number, an unknown unit, or a specific gravity whose scale no one named.
        """
        name = {"temp": "temperature"}.get(quantity, quantity)
        if name in {"temperature", "temperature_c"}:
            bare = "F" if name == "temperature" and self.system == "us" else "C"
            value = round(temperature_c(text, bare), 2)
            return Understood("temperature_c", value, both(show_temperature(value, self.system), f"{value:.1f} °C"))
        if name in {"salinity", "salinity_psu"}:
            value = round(self._salinity(text, named=name == "salinity_psu"), 2)
            return Understood("salinity_psu", value, both(self.shown("salinity_psu", value), f"{value:.1f} PSU"))
        if name == "temperature_change_c":
            bare = "F" if self.system == "us" else "C"
            value = round(_per_hour(text, bare), 3)
            return Understood(
                name, value, both(show_temperature_change(value, self.system), f"{value:.1f} °C") + " per h"
            )
        if name in _READ:
            value = _READ[name](text, self.unit(name))
            si = f"{value:.5g} {_UNITS[name][0]}"
            return Understood(
                name, value, si if self.unit(name) == SI.unit(name) else both(self.shown(name, value), si)
            )
        try:
            return Understood(name, float(text), text)
        except ValueError:
            raise BadInput(Finding(quantity, text, "a number")) from None

    def _salinity(self, text: str, *, named: bool) -> float:
        found = _TYPED_SALT.match(text.strip())
        if found is None:
            raise BadInput(
                Finding("salinity", text, "a number with PSU, ppt or SG and its scale, such as 1.0264 SG 60F/60F")
            )
        number, unit = float(found[1]), (found[2] or "").lower()
        if not unit and not self.scale and _LIKE_GRAVITY.fullmatch(found[1]):
            unit = "sg"  # no water of this trade has so little salt; a hydrometer reads so
        if not unit and not named and self.scale and number < 2:
            unit = "sg"
        if unit != "sg":
            return number
        from intake.water.salinity import salinity_from_gravity

        scale = (found[3] or self.scale).upper()
        if not scale:
            scales = ", ".join(key for key in SALINITY_KEYS if key.startswith("sg"))
            do = "Write it behind the figure: 1.0264 SG 60F/60F."
            raise BadInput(Finding("salinity", text, f"a specific gravity with its scale: {scales}", do))
        return salinity_from_gravity(number, scale)

    def _walked(self, content: Any) -> Any:
        if isinstance(content, str):
            return self.text(content)
        if dataclasses.is_dataclass(content) and not isinstance(content, type):
            told = {one.name: getattr(content, one.name) for one in dataclasses.fields(content) if one.init}
            changed = {name: self._walked(value) for name, value in told.items()}
            kept = all(changed[name] is value for name, value in told.items())
            return content if kept else dataclasses.replace(content, **changed)
        if isinstance(content, tuple | list):
            return type(content)(self._walked(one) for one in content)
        if isinstance(content, Mapping):
            return {key: self._walked(value) for key, value in content.items()}
        return content

    def _wanted(self, found: re.Match[str]) -> str:
        """``temperature °C, 25 to 28``: both ends in the unit named before them."""
        quantity = "temperature_c" if found[1] == "temperature" else "salinity_psu"
        low, high = (self.figure(quantity, _value(found[end])) for end in (3, 4))
        return f"{found[1]} {self.unit(quantity)}, {low} to {high}"

    def _setting(self, found: re.Match[str]) -> str:
        """``26 ± 5 °C``: a setting and how far from it."""
        quantity = "temperature_c" if found[3] == "°C" else "salinity_psu"
        aim, width = _value(found[1]), _value(found[2])
        far = abs(self.number(quantity, aim) - self.number(quantity, max(aim - width, 0.0)))
        places = 4 if quantity == "salinity_psu" and self.scale else 1
        unit = self.shown(quantity, aim).rsplit(" ", 1)[1]
        return f"{self.figure(quantity, aim)} ± {far:.{places}f} {unit}"

    def _salt(self, found: re.Match[str]) -> str:
        low, high, rate = _value(found[1]), _value(found[3]) if found[3] else None, found[4] or ""
        if not self.scale:
            return f"{found[1]}{found[2] or ''}{found[3] or ''} ppt{rate}"
        if rate or 0 < abs(low) < _SMALLEST_READING_PSU or _CHANGE_BEFORE.search(found.string[: found.start()]):
            slope = _gravity(35.0, self.scale) - _gravity(34.0, self.scale)  # near sea water; a difference is small
            return f"{low * slope:.4f} SG{rate} ({low:g} PSU{rate})"
        ends = [f"{_gravity(one, self.scale):.4f}" for one in (low, high) if one is not None]
        beside = f" ({found[0].strip()})" if low < _TREATMENT_BELOW_PSU else ""
        return f"{(found[2] or '').join(ends)} SG{beside}"


def reading_words(quantity: str, value: Any) -> str:
    """A reading in SI as a sentence has it: ``temperature 26.1 °C``; a value without a unit beside its bare name."""
    name = _NAMES.get(quantity, quantity)
    unit = SI.unit(quantity)
    return f"{name} {value:g} {unit}".rstrip() if isinstance(value, int | float) else f"{name} {value}"


def _split_resource(resource: str) -> tuple[str, str]:
    found = _RESOURCE.match(resource)
    if found is None:
        return resource, ""
    return (found[1].rstrip(","), found[2]) if found[1] else (resource, found[4])


def both(shown: str, si: str) -> str:
    """A figure in the farm's unit with the SI figure in brackets where the two differ."""
    return shown if shown == si else f"{shown} ({si})"


@lru_cache(maxsize=4096)
def _gravity(salinity_psu: float, scale: str) -> float:
    """Specific gravity by the seawater density of the water room (TEOS-10); beyond 0 to 42 PSU its nearer end."""
    from intake.water.salinity import specific_gravity

    return specific_gravity(min(max(salinity_psu, 0.0), 42.0), scale)


def _value(text: str) -> float:
    return float(text.replace(",", "").replace("\u202f", ""))


def _each(found: re.Match[str], show: Callable[[float], str]) -> str:
    first = show(_value(found[1]))
    return first if not found[3] else f"{first.rsplit(' ', 1)[0]}{found[2]}{show(_value(found[3]))}"


def _flow(text: str, unit: str) -> float:
    """Liters an hour from ``0.85 gal/h`` or ``3.2 L/h``."""
    bare, per = (re.sub(r"\s*(?:/|per )\s*h(?:our)?$", "", words.strip()) for words in (text, unit))
    return volume_l(bare, per)


def _per_hour(text: str, bare: str) -> float:
    """Degrees Celsius from a difference such as ``1.8F``, ``1.8 °F/h`` or ``1``: a scale, without its offset."""
    found = _TYPED_CHANGE.fullmatch(text.strip())
    if found is None:
        raise BadInput(Finding("temperature per hour", text, "a number with °C or °F, such as 1.8F"))
    unit = (found[2] or bare).upper()
    return float(found[1]) / 1.8 if unit == "F" else float(found[1])


def _temperature(found: re.Match[str]) -> str:
    before, after = found.string[: found.start()], found.string[found.end() :]
    change = bool(_CHANGE_BEFORE.search(before) or _CHANGE_AFTER.search(after))
    if not change and 0 <= _value(found[1]) < _SMALLEST_READING_C:
        alone = not before.strip() and not after.strip()
        change = not (alone or _READING_BEFORE.search(before) or _READING_AFTER.search(after))
    return _each(found, lambda value: show_temperature_change(value, "us") if change else show_temperature(value, "us"))


def _length(found: re.Match[str]) -> str:
    factor, low = 10.0 if found[4] == "cm" else 1.0, _value(found[1])
    if found[3] and found[2].strip() in {"x", "×"}:
        return f"{show_length(low * factor, 'us')}{found[2]}{show_length(_value(found[3]) * factor, 'us')}"
    return show_length_range(low * factor, (_value(found[3]) if found[3] else low) * factor, "us")


def _with_si(show: Callable[[float], str]) -> Callable[[re.Match[str]], str]:
    return lambda found: f"{_each(found, show)} ({found[0].strip()})"


_SHOWN: tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], str]], ...] = (
    (re.compile(_RANGE + r"°C"), _temperature),
    (re.compile(_RANGE + r"(mm|cm)\b(?![²³])"), _length),
    (re.compile(_RANGE + r"m²"), lambda found: _each(found, lambda value: show_area(value, "us"))),
    (re.compile(_RANGE + r"L/h\b"), _with_si(lambda value: show_flow(value, "us"))),
    (re.compile(_RANGE + r"L\b(?!/)"), _with_si(lambda value: show_volume(value, "us"))),
    (re.compile(_RANGE + r"kg\b(?!/)"), _with_si(lambda value: show_mass(value, "us"))),
)
_WANTED = re.compile(r"\b(temperature|salinity) (°C|PSU), (-?[\d.]+) to ([\d.]+)")
_SETTING = re.compile(_NUMBER + r" ± ([\d.]+) (°C|PSU)")
_RESOURCE = re.compile(r"(.+) (m²|mm|mg/h|mg N/h)$|((?:temperature|salinity)) (°C|PSU)(, .+)$")
_SALT = re.compile(_RANGE + r"PSU\b(/h)?")
_METRIC = re.compile(r"\d\s?(?:°?C|mm|cm|m²|m2|L|kg|PSU)\b")
_BARE = re.compile(r"^-?\d+(?:\.\d+)?$")
_ENDS = re.compile(r"^(-?[\d.]+) to (-?[\d.]+)")
_LIKE_GRAVITY = re.compile(r"1\.0\d\d+")
_TYPED_CHANGE = re.compile(r"(\d*\.?\d+)\s*(?:°|deg)?\s*([CF])?(?:\s*(?:/|per )\s*h)?", re.IGNORECASE)
_TYPED_SALT = re.compile(r"(\d+(?:\.\d+)?)\s*(PSU|ppt|SG|s\.g\.)?(?:\s*@?\s*(\d\d[CF]/\d?\d[CF]))?$", re.IGNORECASE)

_UNITS: Mapping[str, tuple[str, str]] = {
    "temperature_c": ("°C", "°F"), "volume_l": ("L", "US gal"), "bag_water_l": ("L", "US gal"), "size_mm": ("mm", "in"),
    "area_m2": ("m²", "ft²"), "salt_kg": ("kg", "lb"), "flow_l_per_h": ("L/h", "US gal/h"),
    "tan_n_mg_per_l": ("mg/L", "mg/L"), "oxygen_mg_per_l": ("mg/L", "mg/L"), "copper_ug_per_l": ("µg/L", "µg/L"),
    "alkalinity_meq_per_l": ("meq/L", "meq/L"), "light_umol": ("µmol", "µmol"),
}  # fmt: skip
"""Quantity → its unit in SI and on a US farm."""
_FRIENDLY = {"temperature_c": "temperature", "salinity_psu": "salinity"}
_NAMES = {
    "temperature_c": "temperature", "salinity_psu": "salinity", "ph": "pH", "tan_n_mg_per_l": "total ammonia as N",
    "oxygen_mg_per_l": "oxygen", "specific_gravity": "specific gravity", "alkalinity_meq_per_l": "alkalinity",
    "light_umol": "light", "copper_ug_per_l": "copper", "bag_water_l": "bag water", "hours_in_bag": "hours in bag",
}  # fmt: skip
_SCALED: Mapping[str, Callable[[float], float]] = {
    "temperature_c": fahrenheit,
    "volume_l": lambda value: value / volume_l("1 gal"),
    "bag_water_l": lambda value: value / volume_l("1 gal"),
    "flow_l_per_h": lambda value: value / volume_l("1 gal"),
    "size_mm": lambda value: value / length_mm("1 in"),
    "area_m2": lambda value: value * 1e6 / length_mm("1 ft") ** 2,
    "salt_kg": lambda value: value / mass_kg("1 lb"),
}
_READ: Mapping[str, Callable[[str, str], float]] = {
    "volume_l": volume_l,
    "bag_water_l": volume_l,
    "size_mm": length_mm,
    "flow_l_per_h": _flow,
    "alkalinity_meq_per_l": alkalinity_meq_per_l,
}

SI = FarmUnits()
