"""How fast a sealed bag floating in other water takes its temperature."""

from __future__ import annotations

import math

from intake.water.ranges import require_not_negative, require_positive

__all__ = ["FLOAT_RATE_PER_MIN", "FLOAT_SOURCE", "floating", "floating_rate_per_min"]

FLOAT_SOURCE = (
    "Newton cooling; 5 C gap under 2 C in 30 min when floated sealed "
    "(web text; attribution to Lim, Dhert & Sorgeloos 2003 inferred)"
)
#: Rate constant of a floating sealed bag, per minute: ln(5/2)/30, from FLOAT_SOURCE.
FLOAT_RATE_PER_MIN = math.log(5.0 / 2.0) / 30.0


def floating(start_c: float, around_c: float, minutes: float, rate_per_min: float = FLOAT_RATE_PER_MIN) -> float:
    """Temperature of a sealed bag floating in other water.

    Notes
    -----
    T = Ta + (T0 - Ta) exp(-k t).  With the published anchor a gap of 5 °C starts at 9.2 °C/h.

    Raises
    ------
    BadInput
        For a negative time or a rate not above zero.

    References
    ----------
    Newton cooling; k = ln(5/2)/30 per minute, see ``FLOAT_SOURCE``.

    Examples
    --------
    >>> round(floating(20.0, 25.0, 30.0), 3)
    23.0
    """
    require_positive("rate per minute", rate_per_min)
    return around_c + (start_c - around_c) * math.exp(-rate_per_min * require_not_negative("minutes", minutes))


def floating_rate_per_min(gap_before: float, gap_after: float, minutes: float) -> float:
    """Rate constant of a floating bag from a measured gap before and after: ln(d0/d1)/t.

    Raises
    ------
    BadInput
        For anything not above zero.

    References
    ----------
    Newton cooling.
    """
    require_positive("gap before", gap_before)
    require_positive("gap after", gap_after)
    return math.log(gap_before / gap_after) / require_positive("minutes", minutes)
