"""What a tub is expected to hold at any minute of its table, to set beside what is read there."""

from __future__ import annotations

from dataclasses import replace

from intake.errors import BadInput, Finding
from intake.receiving.acclimation.step_table import Acclimation, Step
from intake.receiving.acclimation.waters import BagWater

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

    entering = before.water != after.water
    return replace(
        before,
        minute=minute,
        volume_l=before.volume_l if entering else between(before.volume_l, after.volume_l),
        temperature_c=between(before.temperature_c, after.temperature_c),
        salinity_psu=between(before.salinity_psu, after.salinity_psu),
        ph_nbs=before.ph_nbs if entering else known(before.ph_nbs, after.ph_nbs),
        nh3_n_mg_per_l=before.nh3_n_mg_per_l if entering else known(before.nh3_n_mg_per_l, after.nh3_n_mg_per_l),
        poured_l=before.poured_l if entering else between(before.poured_l, after.poured_l),
        o2_mg_per_l=before.o2_mg_per_l if entering else known(before.o2_mg_per_l, after.o2_mg_per_l),
        tan_n_mg_per_l=before.tan_n_mg_per_l if entering else between(before.tan_n_mg_per_l, after.tan_n_mg_per_l),
    )


def expected_water(acclimation: Acclimation, minute: int) -> BagWater:
    """The water expected around the animals at a minute, for what a reading leaves out.

    Raises
    ------
    BadInput
        As :func:`expected_step`.

    References
    ----------
    The balance of :mod:`intake.receiving.acclimation.chemistry` at the rows, in proportion between them.
    """
    step, bag = expected_step(acclimation, minute), acclimation.bag
    return BagWater(
        temperature_c=step.temperature_c,
        salinity_psu=step.salinity_psu,
        ph=step.ph_nbs,
        ph_scale="nbs",
        tan_n_mg_per_l=step.tan_n_mg_per_l,
        volume_l=max(step.volume_l, 0.001),
        hours_in_bag=bag.hours_in_bag + minute / 60,
        measured=False,
    )
