"""Where a step table passes a limit first, said in words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from intake.receiving.acclimation.waters import Limits, Step

__all__ = ["first_breach"]


def first_breach(steps: Sequence[Step], limits: Limits, *, jumps: bool = False) -> str | None:
    """The first step at which a limit is passed, and which, in words; None if none is.

    Between rows the mean rate counts.  What is done in one go (the move into the vat, and with ``jumps`` every row) may
    not change more than an hour's allowance either, however long the wait before it.
    """
    for index, step in enumerate(steps):
        if step.nh3_n_mg_per_l is not None and step.nh3_n_mg_per_l > limits.nh3_n_mg_per_l * (1 + 1e-9):
            return (
                f"minute {step.minute}: un-ionised ammonia {step.nh3_n_mg_per_l:.3f} mg N/L, "
                f"limit {limits.nh3_n_mg_per_l:g}"
            )
        if index == 0:
            continue
        before = steps[index - 1]
        hours = (step.minute - before.minute) / 60
        for change, limit, unit, what in (
            (step.temperature_c - before.temperature_c, limits.max_c_per_h, "°C", "temperature"),
            (step.salinity_psu - before.salinity_psu, limits.max_psu_per_h, "PSU", "salinity"),
        ):
            in_one_go = jumps or index == len(steps) - 1
            allowed = min(limit * hours, limit) if in_one_go else limit * hours
            if math.isfinite(limit) and abs(change) > allowed * (1 + 1e-9) + 1e-9:
                how = f"{'jumps' if in_one_go else 'changes'} by {abs(change):.2f} {unit}"
                after = f"{step.minute - before.minute} min after the last step"
                return f"minute {step.minute}: {what} {how} {after}, limit {limit:g} {unit}/h"
    return None
