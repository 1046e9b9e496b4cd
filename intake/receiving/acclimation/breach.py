"""Where a step table passes a limit first, said in words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from intake.receiving.acclimation.chemistry import Peak
from intake.receiving.acclimation.step_table import Step
from intake.receiving.acclimation.waters import Limits

__all__ = ["first_breach"]

_SLACK = 1 + 1e-9


def first_breach(
    steps: Sequence[Step],
    limits: Limits,
    *,
    jumps: bool = False,
    peaks: Sequence[Peak] = (),
    alarm_mg_per_l: float = 0.0,
) -> str | None:
    """The first step at which a limit is passed, and which, in words; None if none is.

    Between rows the mean rate counts.  What is done in one go (the move into the vat, and with ``jumps`` every row) may
    not change more than an hour's allowance either, however long the wait before it.  ``peaks`` are looked at too: what
    the tub holds between rows.
    """
    found = [*_toxic(steps, limits), *_changes(steps, limits, jumps=jumps), *_inside(peaks, limits, alarm_mg_per_l)]
    return min(found, key=lambda pair: pair[0], default=(0.0, None))[1]


def _said(minute: float) -> str:
    return f"minute {minute:.0f}"


def _toxic(steps: Sequence[Step], limits: Limits) -> Iterator[tuple[float, str]]:
    for step in steps:
        if step.nh3_n_mg_per_l is not None and step.nh3_n_mg_per_l > limits.nh3_n_mg_per_l * _SLACK:
            yield step.minute, _ammonia(step.minute, step.nh3_n_mg_per_l, limits)


def _ammonia(minute: float, nh3: float, limits: Limits) -> str:
    return f"{_said(minute)}: un-ionised ammonia {nh3:.3f} mg N/L, limit {limits.nh3_n_mg_per_l:g}"


def _inside(peaks: Sequence[Peak], limits: Limits, alarm: float) -> Iterator[tuple[float, str]]:
    for peak in peaks:
        if peak.o2_mg_per_l < alarm * (1 - 1e-9):
            yield peak.minute, f"{_said(peak.minute)}: oxygen {peak.o2_mg_per_l:.2f} mg/L, alarm {alarm:g}"
        if peak.nh3_n_mg_per_l is not None and peak.nh3_n_mg_per_l > limits.nh3_n_mg_per_l * _SLACK:
            yield peak.minute, _ammonia(peak.minute, peak.nh3_n_mg_per_l, limits)


def _changes(steps: Sequence[Step], limits: Limits, *, jumps: bool) -> Iterator[tuple[float, str]]:
    for index, step in enumerate(steps[1:], start=1):
        before = steps[index - 1]
        hours = (step.minute - before.minute) / 60
        for change, limit, unit, what in (
            (step.temperature_c - before.temperature_c, limits.max_c_per_h, "°C", "temperature"),
            (step.salinity_psu - before.salinity_psu, limits.max_psu_per_h, "PSU", "salinity"),
        ):
            in_one_go = jumps or index == len(steps) - 1
            allowed = min(limit * hours, limit) if in_one_go else limit * hours
            if math.isfinite(limit) and abs(change) > allowed * _SLACK + 1e-9:
                how = f"{'jumps' if in_one_go else 'changes'} by {abs(change):.2f} {unit}"
                after = f"{step.minute - before.minute} min after the last step"
                yield step.minute, f"{_said(step.minute)}: {what} {how} {after}, limit {limit:g} {unit}/h"
