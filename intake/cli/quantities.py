"""Options that take a quantity: a figure with its own unit, or a bare one in the unit the option names, then echoed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from intake.cli.farm_units import chosen_for, now_in, typed_in
from intake.errors import BadInput
from intake.farm.shown_units import SALINITY_KEYS

__all__ = ["ALKALINITY", "CM", "FLOW", "GRADIENT", "LENGTH", "SALINITY", "TEMPERATURE", "VOLUME", "units_options"]

_SHOWN = frozenset({"temperature_c", "salinity_psu", "size_mm"})
"""Echoed in the farm's unit alone: nothing is dosed by them, but by a specific gravity's salinity."""
F = TypeVar("F", bound=Callable[..., Any])


class _Quantity(click.ParamType):  # type: ignore[type-arg]  # generic in its stubs only
    """A figure of one quantity, read by the units of the command.

    Parameters
    ----------
    quantity
        As :meth:`FarmUnits.read` knows it: ``temperature`` and ``salinity`` take a bare figure in the units of the command,
        the others in the unit of their name.
    name
        What the help calls it.
    scale
        What a figure read is divided by: 10 where an option names cm and the quantity is kept in mm.
    """

    def __init__(self, quantity: str, name: str, scale: float = 1.0) -> None:
        self.quantity, self.name, self.scale = quantity, name, scale

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Give the figure in SI, °C or PSU; what was typed in another unit is echoed as it was understood."""
        if isinstance(value, float):
            return value  # a default, which is in the unit the help names
        text, units = str(value).strip(), now_in()
        bare = _is_number(text)
        typed = f"{text} {self.named}" if bare and self.named else text
        try:
            read = units.read(self.quantity, typed)
        except BadInput as error:
            fault = error.findings[0]
            return self.fail(f"{text}. Expected {fault.expected}. {fault.do}".rstrip(), param, ctx)
        typed_in(text)
        if not bare or units.system == "us":
            dosed = self.quantity in {"volume_l", "flow_l_per_h"} or (self.quantity == "salinity" and bool(units.scale))
            words = read.words if dosed or read.quantity not in _SHOWN else units.shown(read.quantity, read.value)
            click.echo(f"{text}: understood as {words}", err=True)
        return read.value / self.scale

    @property
    def named(self) -> str:
        """The unit of a bare figure where the option's own name says it, whatever the farm measures in."""
        return {"volume_l": "L", "size_mm": "cm" if self.scale > 1 else "mm", "flow_l_per_h": "L/h"}.get(
            self.quantity, ""
        )


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


TEMPERATURE = _Quantity("temperature", "temperature")
SALINITY = _Quantity("salinity", "salinity")
VOLUME = _Quantity("volume_l", "volume")
LENGTH = _Quantity("size_mm", "length")
CM = _Quantity("size_mm", "length", 10.0)
FLOW = _Quantity("flow_l_per_h", "flow")
ALKALINITY = _Quantity("alkalinity_meq_per_l", "alkalinity")
GRADIENT = _Quantity("temperature_change_c", "temperature per hour")


def units_options(command: F) -> F:
    """Give a calculator ``--units`` and ``--salinity-in``: by default those of the farm it stands in, SI and PSU elsewhere."""
    for option in (
        click.option(
            "--salinity-in", type=click.Choice(SALINITY_KEYS), is_eager=True, expose_value=False, callback=_chosen,
            help="How salinity is said (default: the farm's; ppt with --units us).",
        ),
        click.option(
            "--units", type=click.Choice(["si", "us"]), is_eager=True, expose_value=False, callback=_chosen,
            help="Units of bare temperatures and of the answer (default: the farm's, or si).",
        ),
    ):  # fmt: skip
        command = option(command)
    return command


def _chosen(ctx: click.Context, param: click.Parameter, value: str | None) -> None:
    told = ctx.meta.setdefault("vatside.units", {})
    told[param.name] = value
    folder = (ctx.find_object(dict) or {}).get("farm", ".")
    chosen_for(str(folder), told.get("units"), told.get("salinity_in"))
