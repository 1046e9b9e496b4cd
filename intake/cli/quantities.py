"""Options that take a quantity: a bare number in the unit the option names, or a figure with its own unit, then echoed."""

from __future__ import annotations

from typing import Any

import click

from intake.errors import BadInput
from intake.farm.shown_units import SI

__all__ = ["FLOW", "LENGTH", "SALINITY", "TEMPERATURE", "VOLUME"]


class _Quantity(click.ParamType):  # type: ignore[type-arg]  # generic in its stubs only
    """A figure of one quantity, read by the farm's units."""

    def __init__(self, quantity: str, name: str) -> None:
        self.quantity, self.name = quantity, name

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Give the figure in SI, °C or PSU; what was typed in another unit is echoed as it was understood."""
        text = str(value).strip()
        try:
            return float(text)
        except ValueError:
            pass
        try:
            read = SI.read(self.quantity, text)
        except BadInput as error:
            fault = error.findings[0]
            return self.fail(f"{text}. Expected {fault.expected}. {fault.do}".rstrip(), param, ctx)
        click.echo(f"{text}: understood as {read.words}", err=True)
        return read.value


TEMPERATURE = _Quantity("temperature_c", "temperature")
SALINITY = _Quantity("salinity_psu", "salinity")
VOLUME = _Quantity("volume_l", "volume")
LENGTH = _Quantity("size_mm", "length")
FLOW = _Quantity("flow_l_per_h", "flow")
