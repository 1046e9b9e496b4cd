"""By what factor each batch differs from its farm: how widely batches differ here, and what a batch's own deaths say.

A batch that is known for long may be three times the farm and as usual; of one that came yesterday only what batches here
differ by is known.  Both are one distribution of the factor, on a grid, so that a chance can be averaged over it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.special import betainc, logsumexp

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["DIFFER", "Factors", "learn_factors", "tail"]

DIFFER: Final = 0.3
"""Variance between batches assumed before anything is known, as a share of the square (tests/bench/alarms.py)."""

_LOG_FACTORS: Final = np.linspace(-2.4, 2.4, 49)
"""Natural logarithms of the factors thought possible, .09 to 11."""

_LOG_SDS: Final = np.array([0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.9, 1.1])
"""Standard deviations of the logarithm thought possible."""

_LOG_SD: Final = 0.5
_LOG_SD_SURE: Final = 0.35
"""What is assumed of them: log-normal about the first, with the second as the standard deviation of its logarithm."""


@dataclass(frozen=True, slots=True)
class Factors:
    """What is known of each batch's factor.

    Attributes
    ----------
    weights
        Probability of each factor of the grid, batches × grid.
    mean, variance
        Of each batch's factor; the variance as a share of the square of the mean.
    differ
        Variance between batches, as a share of the square.
    """

    weights: NDArray[Any]
    mean: NDArray[Any]
    variance: NDArray[Any]
    differ: float

    def chance(self, batch: NDArray[Any], deaths: Any, usual: Any, shape: Any) -> NDArray[Any]:
        """Chance of so many deaths or more, averaged over what the factor may be.

        Parameters
        ----------
        batch
            Index of each batch.
        deaths, usual, shape
            Deaths found, deaths usual at factor 1, and the gamma shape of all other uncertainty; one for each batch given.
        """
        each = tail(
            np.asarray(deaths)[:, None],
            np.asarray(usual)[:, None] * np.exp(_LOG_FACTORS),
            np.asarray(shape)[:, None],
        )
        return np.asarray((self.weights[batch] * each).sum(axis=1))


def tail(deaths: Any, expected: Any, shape: Any) -> Any:
    """Chance of so many deaths or more.

    Parameters
    ----------
    deaths
        Deaths found, 0 or more.
    expected
        Mean, above 0.
    shape
        Gamma shape R = mean² / variance beyond Poisson; the larger, the nearer to Poisson.

    References
    ----------
    Gamma-Poisson (negative binomial) upper tail ``betainc(x, R, µ / (µ + R))`` (DLMF 8.17.5).
    """
    found = np.asarray(deaths, dtype=float)
    mean, size = np.maximum(expected, 1e-12), np.maximum(shape, 1e-12)
    return np.where(found <= 0, 1.0, betainc(np.maximum(found, 1e-12), size, mean / (mean + size)))


def learn_factors(found: NDArray[Any], usual: NDArray[Any], beyond: NDArray[Any]) -> Factors:
    """Factors of all batches from their own deaths, and how widely batches differ, from all of them together.

    Parameters
    ----------
    found, usual
        Deaths of each batch in the days learnt from, and deaths usual at factor 1.
    beyond
        Variance of the same beyond Poisson, at factor 1, because days differ.

    Notes
    -----
    Factors are log-normal with mean 1.  The standard deviation is not estimated as one number: each that is possible weighs
    by the likelihood of what was found (empirical Bayes with the hyperparameter averaged over), so that a farm with few
    batches keeps long tails.
    """
    prior = _prior()
    mean = np.maximum(usual, 1e-12)[:, None] * np.exp(_LOG_FACTORS)
    shape = np.square(np.maximum(usual, 1e-12)) / np.maximum(beyond, 1e-12)
    shape = np.minimum(shape, 1e6)[:, None]
    log = found[:, None] * np.log(mean / (mean + shape)) - shape * np.log1p(mean / shape)
    like = np.exp(log - log.max(axis=1, keepdims=True))
    told = np.log(np.maximum(like @ prior.T, 1e-300)).sum(axis=0) + _sure()
    over = np.exp(told - logsumexp(told)) @ prior
    weights = like * over
    weights /= weights.sum(axis=1, keepdims=True)
    factors = np.exp(_LOG_FACTORS)
    centre = weights @ factors
    variance = np.maximum(weights @ np.square(factors) / np.square(centre) - 1, 0.0)
    middle = over @ factors
    return Factors(weights, centre, variance, float(over @ np.square(factors) / middle**2 - 1))


def _prior() -> NDArray[Any]:
    """Probability of each factor for each standard deviation, the mean of the factor 1."""
    sds = _LOG_SDS[:, None]
    log = -np.square((_LOG_FACTORS + np.square(sds) / 2) / sds) / 2
    dense = np.exp(log)
    return np.asarray(dense / dense.sum(axis=1, keepdims=True))


def _sure() -> NDArray[Any]:
    return np.asarray(-np.square(np.log(_LOG_SDS / _LOG_SD) / _LOG_SD_SURE) / 2)
