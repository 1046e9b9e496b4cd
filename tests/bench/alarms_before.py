"""The alarm rule of version 1, retyped over arrays: the other batches of the same phase, beta-binomial, 0.00135 a look.

It stands here only so that the bench can show it beside the method in use, on the same simulated farms.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.stats import betabinom, binom

__all__ = ["alarms_before"]

_CHANCE = 0.00135
_START = {0: 0.05 / 3, 1: 0.002}
_WEEK = 7


def alarms_before(deaths: Any, at_risk: Any, age: Any, day: int) -> list[int]:
    """Rows (one a batch) that alarm on a day."""
    past = slice(0, day + 1)
    x, n, late = deaths[:, past], at_risk[:, past], (age[:, past] >= _WEEK).astype(int)
    rates = np.zeros((2, len(x)))
    spreads = np.ones((2, len(x)))
    for phase in (0, 1):
        inside = (late == phase) & (n > 0)
        rates[phase], spreads[phase] = _of_the_others(x * inside, n * inside, inside, _START[phase])
    found = []
    for row in range(len(x)):
        for span in (1, _WEEK):
            part = slice(day + 1 - span, day + 1)
            if day + 1 < span or n[row, day] <= 0:
                continue
            risk = n[row, part]
            dead, of = x[row, part].sum(), risk.sum()
            if dead < 1 or (age[row, day] + 1 < span and age[row, day] < 90):
                continue
            rate = (risk * rates[late[row, part], row]).sum() / of
            spread = (risk * spreads[late[row, part], row]).sum() / of
            if _tail(int(dead), int(of), rate, spread) <= _CHANCE:
                found.append(row)
                break
    return found


def _of_the_others(x: Any, n: Any, inside: Any, start: float) -> tuple[Any, Any]:
    """Rate and design effect for each row from all other rows."""
    deaths, risk, many = x.sum(axis=1), n.sum(axis=1), inside.sum(axis=1)
    rate, spread = np.full(len(x), start), np.ones(len(x))
    between, within, told = np.zeros(len(x)), np.zeros(len(x)), many >= 2
    share = deaths / np.maximum(risk, 1)
    between[told] = (many / np.maximum(many - 1, 1) * np.square(x - n * share[:, None]).sum(axis=1))[told]
    within[told] = (risk * share * (1 - share))[told]
    all_deaths, all_risk, all_between, all_within = (one.sum() for one in (deaths, risk, between, within))
    others = all_risk - risk
    known = others > 0
    rate[known] = (all_deaths - deaths + 0.5)[known] / (others + 1)[known]
    left = all_within - within
    told_others = known & (left > 0)
    spread[told_others] = np.maximum(1.0, (all_between - between)[told_others] / left[told_others])
    return rate, spread


def _tail(dead: int, of: int, rate: float, spread: float) -> float:
    if spread <= 1 + 1e-9 or of < 2:
        return float(binom.sf(dead - 1, of, rate))
    weight = max(1e-3, (of - 1) / (min(spread, of - 1e-9) - 1) - 1)
    return float(betabinom.sf(dead - 1, of, rate * weight, (1 - rate) * weight))
