"""What people type into the fields of forms, read with a plain refusal where it cannot be read."""

from __future__ import annotations

from datetime import date, datetime

from intake.board.request import Asked
from intake.errors import BadInput, Finding
from intake.farm.local_time import on_farm_clock
from intake.farm.shown_units import Understood

__all__ = ["day_of_field", "decimal", "lines_of", "measured", "moment_of_field", "whole"]


def whole(asked: Asked, name: str, *, default: int | None = None, most: int = 10**9) -> int:
    """A whole number of animals, 0 or more."""
    typed = asked.field(name)
    if not typed and default is not None:
        return default
    if not (typed.isascii() and typed.isdigit() and len(typed) < 10 and int(typed) <= most):
        raise BadInput(Finding(name, typed[:40], "a whole number, 0 or more"))
    return int(typed)


def decimal(asked: Asked, name: str) -> float | None:
    """A number with a point or a comma; ``None`` for an empty field."""
    typed = asked.field(name).replace(",", ".")
    if not typed:
        return None
    try:
        return float(typed)
    except ValueError as error:
        raise BadInput(Finding(name, typed[:40], "a number")) from error


def measured(asked: Asked, quantity: str, name: str) -> Understood | None:
    """A measurement in either unit, with a point or a comma; ``None`` for an empty field."""
    typed = asked.field(name).replace(",", ".")
    return asked.house.site.farm.measures.read(quantity, typed[:40]) if typed else None


def day_of_field(asked: Asked, name: str) -> date | None:
    """A farm day; ``None`` for an empty field."""
    typed = asked.field(name)
    if not typed:
        return None
    try:
        return date.fromisoformat(typed)
    except ValueError as error:
        raise BadInput(Finding(name, typed[:40], "a day such as 2027-03-04")) from error


def moment_of_field(asked: Asked, name: str) -> datetime:
    """A day and time on the farm's clock."""
    typed = asked.field(name)
    try:
        read = datetime.fromisoformat(typed)
    except ValueError as error:
        raise BadInput(Finding(name, typed[:40], "a day and time such as 2027-03-04T08:30")) from error
    return on_farm_clock(read, asked.house.site.farm.zone, name)


def lines_of(text: str) -> tuple[str, ...]:
    """Words parted by commas, blanks or lines, each once."""
    return tuple(dict.fromkeys(text.replace(",", " ").split()))
