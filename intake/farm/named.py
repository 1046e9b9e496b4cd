"""Tables of the farm file that carry an id, and the US units their keys may be written in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, ClassVar

from pydantic import Field, model_validator

from intake import units
from intake.errors import BadInput
from intake.library.library_values import Strict

__all__ = ["US_KEYS", "Named"]


US_KEYS: dict[str, tuple[str, Callable[[float], float]]] = {
    "temperature_f": ("temperature_c", units.celsius),
    "volume_gal": ("volume_l", lambda gallons: units.volume_l(repr(gallons), "gal")),
    "length_in": ("length_m", lambda inches: units.length_mm(repr(inches), "in") / 1000.0),
    "width_in": ("width_m", lambda inches: units.length_mm(repr(inches), "in") / 1000.0),
    "water_depth_in": ("water_depth_mm", lambda inches: units.length_mm(repr(inches), "in")),
    "bench_area_ft2": ("bench_area_m2", lambda feet: feet * (units.length_mm("1", "ft") / 1000.0) ** 2),
}


class Named(Strict):
    """A table whose quantities may be typed in US units under keys that say so."""

    OTHER_KEYS: ClassVar[Mapping[str, str]] = {name: metric for name, (metric, _) in US_KEYS.items()}
    """Key in a US unit → the metric key it stands for."""
    id: str = Field(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]*$")
    name: str = Field(default="", max_length=120)

    @model_validator(mode="before")
    @classmethod
    def _us_units(cls, table: Any) -> Any:
        if not isinstance(table, Mapping):
            return table
        metric = dict(table)
        for key, (to, convert) in US_KEYS.items():
            if key in metric:
                if to in metric:
                    msg = f"either {to} or {key}, not both"
                    raise ValueError(msg)
                metric[to] = _converted(metric.pop(key), convert)
        return metric


def _converted(value: Any, convert: Callable[[float], float]) -> Any:
    """A figure in its metric unit; one that is no length or volume stays as it is, for its key to refuse, not the table."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return [value]  # never a text: the metric key would read it as metric
    try:
        return convert(float(value))
    except BadInput:
        return value  # zero or below, which every metric key refuses in the same way
