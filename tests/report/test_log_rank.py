"""The log-rank test against statsmodels and a published example."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.duration.survfunc import survdiff

from intake.errors import BadInput
from intake.report.comparing.log_rank import log_rank
from intake.report.survival import Life

REMISSION = (6, 6, 6, 7, 10, 13, 16, 22, 23)
CENSORED = (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)
PLACEBO = (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)
"""Weeks in remission of 21 patients each way (Freireich et al. 1963, in E. A. Gehan, Biometrika 52 (1965) 203–223)."""


def lives(died: tuple[float, ...], alive: tuple[float, ...] = ()) -> list[Life]:
    """A life each."""
    return [Life(0.0, day, 1, died=True) for day in died] + [Life(0.0, day, 1, died=False) for day in alive]


def test_the_published_example() -> None:
    """χ² 16.79, 9 deaths where 19.25 were expected."""
    found = log_rank(lives(REMISSION, CENSORED), lives(PLACEBO))
    assert found.deaths == (9, 21)
    assert found.expected == pytest.approx((19.25, 10.75), abs=0.005)
    assert found.statistic == pytest.approx(16.79, abs=0.005)


@given(st.integers(0, 2**31), st.integers(3, 30), st.integers(3, 30))
@settings(max_examples=25, deadline=None)
def test_it_agrees_with_statsmodels(seed: int, one: int, other: int) -> None:
    """Ties and censoring at random."""
    rng = np.random.default_rng(seed)
    days, died = rng.integers(1, 15, one + other), rng.random(one + other) < 0.7
    died[0] = True
    group = np.array([0] * one + [1] * other)
    made = [
        [Life(0.0, float(d), 1, died=bool(x)) for d, x, g in zip(days, died, group, strict=True) if g == n]
        for n in (0, 1)
    ]
    found = log_rank(*made)
    statistic, chance = survdiff(days, died.astype(int), group)
    if np.isfinite(statistic) and found.statistic > 0:
        assert found.statistic == pytest.approx(statistic, rel=1e-6, abs=1e-9)
        assert found.chance == pytest.approx(chance, rel=1e-6, abs=1e-9)


def test_groups_without_animals_or_deaths_are_refused() -> None:
    """Nothing can be compared."""
    with pytest.raises(BadInput):
        log_rank([], lives((3.0,)))
    with pytest.raises(BadInput):
        log_rank(lives((), (3.0,)), lives((), (3.0,)))
