"""Whether two groups die alike: the log-rank test over their survival curves."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from intake.errors import BadInput, Finding
from intake.report.survival import Life

__all__ = ["LogRank", "log_rank"]


@dataclass(frozen=True, slots=True)
class LogRank:
    """The test of two groups.

    Attributes
    ----------
    deaths, expected
        Deaths of the first group, and as many as it would have if both died alike; of the second likewise.
    statistic
        χ² with one degree of freedom.
    chance
        Chance of as large a difference when both die alike.
    """

    deaths: tuple[int, int]
    expected: tuple[float, float]
    statistic: float
    chance: float


def log_rank(first: Sequence[Life], second: Sequence[Life]) -> LogRank:
    """Compare two groups, each on its own clock, with delayed entry and censoring.

    Parameters
    ----------
    first, second
        Lives of each group, as ``survival.lives`` gives them.

    Raises
    ------
    BadInput
        A group without animals, or no death in either.

    Notes
    -----
    Animals are taken as dying independently; animals of one bag do not, so the chance is smaller than it should be.

    References
    ----------
    N. Mantel, Cancer Chemother. Rep. 50 (1966) 163–170; R. Peto, J. Peto, J. R. Stat. Soc. A 135 (1972) 185–207.
    """
    if not first or not second:
        raise BadInput(Finding("log-rank", "a group without animals", "two groups with animals"))
    times = sorted({life.left_days for life in (*first, *second) if life.died})
    if not times:
        raise BadInput(Finding("log-rank", "no death", "a death in one of the groups"))
    observed, usual, variance, total = 0, 0.0, 0.0, 0
    for time in times:
        at_risk = [sum(one.count for one in group if _watched(one, time)) for group in (first, second)]
        dead = [sum(one.count for one in group if one.died and one.left_days == time) for group in (first, second)]
        whole, all_dead = sum(at_risk), sum(dead)
        total += all_dead
        observed += dead[0]
        if whole:
            share = at_risk[0] / whole
            usual += all_dead * share
            if whole > 1:
                variance += all_dead * share * (1 - share) * (whole - all_dead) / (whole - 1)
    statistic = (observed - usual) ** 2 / variance if variance > 0 else 0.0
    return LogRank((observed, total - observed), (usual, total - usual), statistic, math.erfc(math.sqrt(statistic / 2)))


def _watched(life: Life, time: float) -> bool:
    """Whether animals were under observation when some died; those that entered and died at one moment were."""
    return life.entered_days < time <= life.left_days or (life.entered_days == life.left_days == time)
