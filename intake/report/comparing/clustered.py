"""Shares of groups whose animals came in clusters: interval and shrinkage that know how alike the animals of one shipment are.

Animals of one shipment share bag, box and flight and die together.  Each group (a supplier, a kind of journey) has a share of its
own, each of its shipments a share about that; how far shipments scatter is learnt from all groups together.  Lines and boxes lie
inside shipments, so their likeness is part of what is measured between shipments.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from intake.errors import BadInput, Finding
from intake.report.intervals import Shrunken

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["ClusteredShares", "likeness", "shrink_clustered"]

_SHARES: Final = 160
"""Points at which a group's share is looked at, evenly by their logit."""

_LOGIT: Final = 9.0
_WITHIN: Final = (3.0, 3000.0, 12)
"""Weights (alpha + beta) looked at between shipments of one group: 3 is a correlation of .25, 3,000 as good as none."""

_MEANS: Final = 30
_BETWEEN: Final = (1.0, 2000.0, 10)


@dataclass(frozen=True, slots=True)
class ClusteredShares:
    """Shares of all groups.

    Attributes
    ----------
    usual
        Share that is usual among the groups; ``None`` with one group.
    shares
        Each group's, in the order given.
    correlation
        How alike two animals of one shipment are beyond their group, 0 to 1; ``None`` when no group sent two shipments:
        then the intervals rest on what is assumed, and must not be shown as known.
    """

    usual: float | None
    shares: tuple[Shrunken, ...]
    correlation: float | None


def shrink_clustered(groups: Sequence[Sequence[tuple[float, float]]], confidence: float = 0.95) -> ClusteredShares:
    """Share of each group, drawn toward what is usual among all as far as its shipments are few or scatter.

    Parameters
    ----------
    groups
        For each group, (lost, of) of each of its shipments; counts need not be whole.
    confidence
        Mass of the equal-tailed intervals, between 0 and 1.

    Raises
    ------
    BadInput
        For no group, a group without animals, or counts out of range.

    References
    ----------
    Beta-binomial shipments within groups, groups beta-distributed about a usual share, all averaged over a grid with the
    density of A. Gelman et al., Bayesian Data Analysis, section 5.3, in proportion to (alpha + beta)^(-5/2), at both levels.
    Coverage by simulation: ``tests/bench/coverage.py``.
    """
    known = [tuple((min(lost, of), of) for lost, of in clusters if of > 0) for clusters in groups]
    if not known or any(not clusters for clusters in known):
        raise BadInput(Finding("groups", str(len(known)), "1 or more, each with animals"))
    if not 0 < confidence < 1 or any(lost < 0 for clusters in known for lost, _ in clusters):
        raise BadInput(Finding("counts", "out of range", "0 or more lost, confidence between 0 and 1"))
    return _shares(tuple(known), confidence)


@lru_cache(maxsize=256)
def _shares(groups: tuple[tuple[tuple[float, float], ...], ...], confidence: float) -> ClusteredShares:
    import numpy as np

    share, within = _axis(_SHARES), _weights(_WITHIN)
    told = np.stack([_log_likelihood(clusters, share, within) for clusters in groups])  # groups × within × shares
    top = told.max(axis=(1, 2), keepdims=True)
    likelihood = np.exp(told - top)
    mean, between = np.meshgrid(_axis(_MEANS), _weights(_BETWEEN), indexing="ij")
    hyper = _densities(share, mean.ravel(), between.ravel())  # (mean, between) × shares
    per_group = np.einsum("gws,hs->gwh", likelihood, hyper)
    single = len(groups) == 1
    log_mass = np.log(np.maximum(per_group, 1e-300)).sum(axis=0)  # within × hyper
    log_mass += -0.5 * np.log(within)[:, None] if any(len(one) > 1 for one in groups) else 0.0
    log_mass += (np.log(mean * (1 - mean)) - 0.5 * np.log(between)).ravel()[None, :]
    mass = np.exp(log_mass - log_mass.max())
    mass /= mass.sum()
    found = []
    for number in range(len(groups)):
        weight = mass / np.maximum(per_group[number], 1e-300)
        posterior = np.einsum("ws,wh,hs->s", likelihood[number], weight, hyper, optimize=True)
        found.append(_summary(share, posterior / posterior.sum(), confidence))
    several = any(len(clusters) > 1 for clusters in groups)
    correlation = float((mass.sum(axis=1) / (within + 1)).sum()) if several else None
    usual = None if single else float((mass.sum(axis=0) * mean.ravel()).sum())
    return ClusteredShares(usual, tuple(found), correlation)


def _axis(points: int) -> NDArray[Any]:
    import numpy as np

    return 1 / (1 + np.exp(-np.linspace(-_LOGIT, _LOGIT, points)))


def _weights(span: tuple[float, float, int]) -> NDArray[Any]:
    import numpy as np

    return np.exp(np.linspace(np.log(span[0]), np.log(span[1]), span[2]))


def _log_likelihood(clusters: Sequence[tuple[float, float]], share: NDArray[Any], within: NDArray[Any]) -> NDArray[Any]:
    """Of one group's shipments, within × shares."""
    import numpy as np
    from scipy.special import betaln

    alpha, beta = within[:, None] * share, within[:, None] * (1 - share)
    total = np.zeros(alpha.shape)
    for lost, of in clusters:
        total += betaln(alpha + lost, beta + of - lost) - betaln(alpha, beta)
    return total


def _densities(share: NDArray[Any], mean: NDArray[Any], weight: NDArray[Any]) -> NDArray[Any]:
    """Mass of each share under each (mean, weight), each row adding up to 1."""
    import numpy as np
    from scipy.special import betaln

    alpha, beta = (mean * weight)[:, None], ((1 - mean) * weight)[:, None]
    # the density of the share times the slope of its logit, on which the points are even
    logs = alpha * np.log(share) + beta * np.log1p(-share) - betaln(alpha, beta)
    found = np.exp(logs - logs.max(axis=1, keepdims=True))
    return np.asarray(found / found.sum(axis=1, keepdims=True))


def _summary(share: NDArray[Any], mass: NDArray[Any], confidence: float) -> Shrunken:
    """Mean, equal-tailed interval, and the beta distribution of the same mean and variance."""
    import numpy as np

    mean = float((mass * share).sum())
    variance = float((mass * np.square(share - mean)).sum())
    strength = max(mean * (1 - mean) / max(variance, 1e-12) - 1, 1e-3)
    below = np.cumsum(mass)
    tail = (1 - confidence) / 2
    logits = np.log(share / (1 - share))
    step = logits[1] - logits[0]
    ends = [float(np.interp(part, below, logits + step / 2)) for part in (tail, 1 - tail)]
    low, high = (1 / (1 + np.exp(-end)) for end in ends)
    return Shrunken(mean, float(low), float(high), confidence, mean * strength, (1 - mean) * strength)


def likeness(units: Sequence[Sequence[tuple[float, float]]]) -> float | None:
    """How alike animals of one unit are inside the larger unit it belongs to: boxes of a line, lines of a shipment.

    Parameters
    ----------
    units
        For each larger unit, (lost, of) of each of the units in it.

    Returns
    -------
    float or None
        Intraclass correlation by moments, 0 to 1; ``None`` when no larger unit holds two units.

    References
    ----------
    J. L. Fleiss, B. Levin, M. C. Paik, Statistical Methods for Rates and Proportions, 3rd ed. (2003), section 15.2: analysis of
    variance estimate for binary data (from memory).
    """
    between = within = spare = freedom = 0.0
    for unit in units:
        counted = [(lost, of) for lost, of in unit if of > 0]
        whole = sum(of for _, of in counted)
        if len(counted) < 2 or whole <= len(counted):
            continue
        share = sum(lost for lost, _ in counted) / whole
        between += sum(of * (lost / of - share) ** 2 for lost, of in counted)
        within += sum(lost * (1 - lost / of) for lost, of in counted)
        spare += whole - sum(of * of for _, of in counted) / whole
        freedom += len(counted) - 1
    if not freedom:
        return None
    mean_size = spare / freedom
    animals = sum(of for unit in units for _, of in unit if sum(1 for _, one in unit if one > 0) > 1)
    units_counted = sum(len([1 for _, of in unit if of > 0]) for unit in units if len(unit) > 1)
    inside = within / max(animals - units_counted, 1.0)
    across = between / freedom
    total = across + (mean_size - 1) * inside
    return min(1.0, max(0.0, (across - inside) / total)) if total > 0 else 0.0
