"""What a reading is expected to be: quantities with their units, and the limits of a place by the animals in it."""

from __future__ import annotations

from dataclasses import dataclass

from intake.farm.site import System
from intake.library import Group
from intake.rules.scene import Scene
from intake.units import celsius

__all__ = ["QUANTITIES", "READINGS", "Limits", "Quantity", "limits_of", "other_unit"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """How far a reading may lie from the setting (``far``) and from the last one (``jump``) without being asked again."""

    unit: str
    far: float
    jump: float


QUANTITIES: dict[str, Quantity] = {
    "temperature_c": Quantity("°C", 5.0, 3.0),
    "salinity_psu": Quantity("PSU", 6.0, 3.0),
    "ph": Quantity("", 0.8, 0.5),
    "oxygen_mg_per_l": Quantity("mg/L", 4.0, 3.0),
    "tan_n_mg_per_l": Quantity("mg/L", 2.0, 1.0),
}
"""Design defaults: wider than a day of a farm's own water, narrower than a slip of the pen."""


READINGS: dict[str, tuple[float, float]] = {
    "temperature_c": (-2.0, 45.0),
    "salinity_psu": (0.0, 60.0),
    "ph": (4.0, 11.0),
    "tan_n_mg_per_l": (0.0, 100.0),
    "oxygen_mg_per_l": (0.0, 60.0),
    "specific_gravity": (0.98, 1.06),
    "alkalinity_meq_per_l": (0.0, 12.0),
    "light_umol": (0.0, 3000.0),
    "damp": (0.0, 1.0),
    "bag_water_l": (0.0, 200.0),
    "hours_in_bag": (0.0, 240.0),
    "copper_ug_per_l": (0.0, 5000.0),
}
"""Quantity → what an instrument can show, in the unit of its name."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Setting of the place, alarm limits of the farm file or the animals in it, and whose limits they are."""

    setting: float | None
    low: float | None
    high: float | None
    animals: tuple[str, ...] = ()


def limits_of(scene: Scene, place: str, quantity: str) -> Limits | None:
    """Limits of a vat or system for a quantity; ``None`` where nothing is known (a box, a bag, a batch)."""
    plain = place.removeprefix("vat:")
    if plain in scene.site.vats:
        system, stays = scene.system(plain), scene.floor.in_vat(plain)
    elif plain in scene.site.systems:
        system, stays = scene.site.systems[plain], scene.in_water(plain)
    else:
        return None
    groups = {stay.batch: scene.group(scene.batch(stay.batch)) for stay in stays}
    low, high = _alarms(system, quantity, list(groups.values()))
    return Limits(_setting(system, quantity), low, high, tuple(sorted(groups)))


def _setting(system: System, quantity: str) -> float | None:
    known = {"temperature_c": system.temperature_c, "salinity_psu": system.salinity_psu, "ph": system.ph_nbs}
    return known.get(quantity)


def _alarms(system: System, quantity: str, groups: list[Group]) -> tuple[float | None, float | None]:
    """The narrowest of what the farm file and the groups say; a group without alarm limits lends its range."""
    lows: list[float] = []
    highs: list[float] = []
    if quantity == "temperature_c":
        lows += [one.temperature_c.alarm_low for one in groups if one.temperature_c.alarm_low is not None]
        highs += [one.temperature_c.alarm_high for one in groups if one.temperature_c.alarm_high is not None]
        own = (system.alarm_low_c, system.alarm_high_c)
    elif quantity == "salinity_psu":
        lows += [
            one.salinity_psu.min if one.salinity_psu.alarm_low is None else one.salinity_psu.alarm_low for one in groups
        ]
        highs += [
            one.salinity_psu.max if one.salinity_psu.alarm_high is None else one.salinity_psu.alarm_high
            for one in groups
        ]
        own = (system.alarm_low_psu, system.alarm_high_psu)
    elif quantity == "oxygen_mg_per_l":
        lows += [one.oxygen.alarm_mg_per_l for one in groups]
        own = (None, None)
    else:
        return None, None
    lows += [value for value in own[:1] if value is not None]
    highs += [value for value in own[1:] if value is not None]
    return max(lows, default=None), min(highs, default=None)


def other_unit(quantity: str, value: float, limits: Limits | None) -> tuple[str, str] | None:
    """(unit, value in ours) when a reading makes sense only in another unit; ``None`` when it makes sense as it is."""
    setting = limits.setting if limits is not None else None
    if quantity == "temperature_c":
        aim = 26.0 if setting is None else setting
        if value >= 60 and abs(celsius(value) - aim) <= 8:
            return "°F", f"{celsius(value):.1f} °C"
    elif quantity == "salinity_psu":
        if 1.0 <= value <= 1.05:
            return "specific gravity", "a reading of specific_gravity with its scale"
        if 45 <= value <= 60:
            return "mS/cm", "PSU from your meter's conversion"
    elif quantity == "oxygen_mg_per_l" and 25 <= value <= 200:
        return "% saturation", "mg/L from your meter"
    elif quantity == "ph" and 7000 <= value <= 9000:
        return "pH without its decimal point", f"{value / 1000:g}"
    return None
