"""Published ranges: a formula is refused outside the range it was published for, never stretched."""

from __future__ import annotations

import math
from dataclasses import dataclass

from intake.errors import BadInput, Finding, OutOfRange

__all__ = ["PublishedRange", "require_between", "require_not_negative", "require_positive"]


@dataclass(frozen=True, slots=True)
class PublishedRange:
    """The range of one argument of one formula.

    Attributes
    ----------
    quantity
        Name and unit of the argument as a person would say it.
    low, high
        Both ends belong to the range.
    source
        Where the range is published.
    """

    quantity: str
    low: float
    high: float
    source: str

    def check(self, value: float) -> float:
        """Give the value back if the formula covers it.

        Raises
        ------
        OutOfRange
            If it does not; not-a-number counts as outside.
        """
        if not self.low <= value <= self.high:
            raise OutOfRange(self.quantity, value, self.low, self.high, self.source)
        return value


def require_positive(where: str, value: float) -> float:
    """Give back a finite value above zero, or refuse it.

    Raises
    ------
    BadInput
        If the value is zero, negative, infinite or not a number.
    """
    if not (value > 0 and math.isfinite(value)):
        raise BadInput(Finding(where, f"{value:g}", "a number above 0"))
    return value


def require_not_negative(where: str, value: float) -> float:
    """Give back a finite value of zero or more, or refuse it.

    Raises
    ------
    BadInput
        If the value is negative, infinite or not a number.
    """
    if not (value >= 0 and math.isfinite(value)):
        raise BadInput(Finding(where, f"{value:g}", "a number of 0 or more"))
    return value


def require_between(where: str, value: float, low: float, high: float) -> float:
    """Give back a value from low to high, both included, where the bounds are logic and not a publication.

    Raises
    ------
    BadInput
        If the value lies outside or is not a number.
    """
    if not low <= value <= high:
        raise BadInput(Finding(where, f"{value:g}", f"{low:g} to {high:g}"))
    return value
