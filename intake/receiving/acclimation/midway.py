"""What a tub is expected to hold at any minute of its table, to set beside what is read there."""

from __future__ import annotations

import math
from dataclasses import replace

from intake.errors import BadInput, Finding
from intake.receiving.acclimation import tables
from intake.receiving.acclimation.waters import Acclimation, BagWater, Step

__all__ = ["expected_step", "expected_water"]


def expected_step(acclimation: Acclimation, minute: int) -> Step:
    """The row that would stand at a minute: in proportion between two rows, of an exchange the row before.

    Raises
    ------
    BadInput
        For a minute before the first row or after the last.

    References
    ----------
    Linear between rows, which stand a quarter of an hour apart (design default).
    """
    steps = acclimation.steps
    if not steps[0].minute <= minute <= steps[-1].minute:
        expected = f"{steps[0].minute} to {steps[-1].minute}"
        raise BadInput(Finding("minute of the reading", str(minute), expected, "Minutes since the table began."))
    before = [step for step in steps if step.minute <= minute][-1]
    after = next((step for step in steps if step.minute > minute), None)
    # the last row is the move into the vat: until then the tub holds what it held
    if after is None or after is steps[-1] or acclimation.mode == "exchange":
        return replace(before, minute=minute)
    share = (minute - before.minute) / (after.minute - before.minute)

    def between(low: float, high: float) -> float:
        return low + share * (high - low)

    def known(low: float | None, high: float | None) -> float | None:
        return None if low is None or high is None else between(low, high)

    return Step(
        minute,
        before.action,
        between(before.volume_l, after.volume_l),
        between(before.temperature_c, after.temperature_c),
        between(before.salinity_psu, after.salinity_psu),
        known(before.ph_nbs, after.ph_nbs),
        known(before.nh3_n_mg_per_l, after.nh3_n_mg_per_l),
        between(before.poured_l, after.poured_l),
    )


def expected_water(acclimation: Acclimation, minute: int) -> BagWater:
    """The water expected around the animals at a minute, for what a reading leaves out.

    Ammonia is diluted by the water poured: V0/(V0 + poured) in a filling tub, exp(-poured/V0) in one that spills (for
    an exchange this is at or above the true figure); none is left once the animals stand in clean water.

    Raises
    ------
    BadInput
        As :func:`expected_step`.

    References
    ----------
    Closed forms (a) and (b) of :mod:`intake.water.mixing`.
    """
    step, bag = expected_step(acclimation, minute), acclimation.bag
    tan = bag.tan_n_mg_per_l
    if _in_clean_water(acclimation, minute):
        tan = 0.0
    elif acclimation.mode == "drip":
        tan *= bag.volume_l / max(step.volume_l, bag.volume_l)
    elif acclimation.mode in {"overflow", "exchange"}:
        tan *= math.exp(-max(0.0, step.poured_l - _poured_before(acclimation, minute)) / bag.volume_l)
    return BagWater(
        temperature_c=step.temperature_c,
        salinity_psu=step.salinity_psu,
        ph=step.ph_nbs,
        ph_scale="nbs",
        tan_n_mg_per_l=tan,
        volume_l=max(step.volume_l, 0.001),
        hours_in_bag=bag.hours_in_bag + minute / 60,
        measured=False,
    )


def _poured_before(acclimation: Acclimation, minute: int) -> float:
    """Litres that had been poured when the table's bag water was read: none, or those of the last reading."""
    read = [one for one in acclimation.steps if one.minute <= minute and one.action.startswith(tables.AFTER_READING)]
    return read[-1].poured_l if read else 0.0


def _in_clean_water(acclimation: Acclimation, minute: int) -> bool:
    return any(tables.CLEAN_WATER in step.action for step in acclimation.steps if step.minute <= minute)
