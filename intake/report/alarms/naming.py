"""Which batches of a struck water or farm are struck: a mixture of batches as usual and batches that die several times as fast.

Once a water alarms, the question about each batch is no longer whether anything is wrong at all, so the bar is lower than for
a batch alone: it is named when it is probably struck.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.special import logsumexp

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["STRUCK_CHANCE", "struck_chance"]

STRUCK_CHANCE: Final = 0.8
"""A batch of an alarming unit is named when it is struck with more than this probability; .5 names twice as many that are not
(``tests/bench/alarms.py``)."""

_TIMES: Final = np.array([3.0, 4.0, 6.0, 8.0, 12.0, 16.0])
_SHARES: Final = np.array([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9])
"""How many times the usual, and which share of the batches is struck: all thought equally likely beforehand."""


def struck_chance(deaths: NDArray[Any], expected: NDArray[Any], shape: NDArray[Any]) -> NDArray[Any]:
    """Probability that each batch of an alarming unit is struck.

    Parameters
    ----------
    deaths, expected
        Deaths found and usual in the window that alarms, one for each batch.
    shape
        Gamma shape of the variance beyond Poisson.

    Notes
    -----
    Two-component mixture of gamma-Poisson counts with means ``expected`` and ``times × expected``; share and times are
    averaged over their likelihood, not fitted.
    """
    mean, size = np.maximum(expected, 1e-12), np.maximum(shape, 1e-12)
    # log of the ratio of the two gamma-Poisson chances; batches × times
    ratio = deaths[:, None] * np.log(_TIMES) - (deaths + size)[:, None] * np.log(
        (size[:, None] + mean[:, None] * _TIMES) / (size + mean)[:, None]
    )
    struck = np.log(_SHARES) + ratio[:, :, None]
    either = np.logaddexp(struck, np.log1p(-_SHARES))
    whole = either.sum(axis=0)
    weight = np.exp(whole - logsumexp(whole))
    return np.asarray((weight * np.exp(struck - either)).sum(axis=(1, 2)))
