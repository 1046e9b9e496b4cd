"""How many animals to examine to find a pest in a lot, and what a clean sample proves."""

from __future__ import annotations

import math
from dataclasses import dataclass

from intake.errors import BadInput, Finding

__all__ = ["SAMPLING_SOURCE", "SampleSize", "clean_sample_confidence", "diseased_at", "sample_size"]

SAMPLING_SOURCE = "exact hypergeometric, D = ceil(N p), perfect specificity (cf. Cannon & Roe 1982)"
#: Beyond it the logarithms of the factorials lose the digits the answer needs.
LARGEST_LOT = 10_000_000
#: A confidence met exactly (95 of 100) must not be missed by rounding in those logarithms.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class SampleSize:
    """The answer, which may be that no sample is large enough.

    Attributes
    ----------
    n
        Animals to examine; where nothing suffices, the whole lot.
    achievable
        Whether n reaches the confidence asked for.
    confidence_reached
        Probability, 0 to 1, that n animals show at least one positive if the lot holds the pest at the prevalence.
    diseased
        Animals carrying the pest at that prevalence.
    source
        Where the formula is from.
    """

    n: int
    achievable: bool
    confidence_reached: float
    diseased: int
    source: str = SAMPLING_SOURCE


def _share(findings: list[Finding], where: str, value: float, *, top_included: bool) -> None:
    if not (0 < value < 1 or (top_included and value == 1)):
        end = "at most 1" if top_included else "below 1"
        do = "Give a fraction, not a percentage." if value > 1 else ""
        findings.append(Finding(where, f"{value:g}", f"a fraction above 0 and {end}", do))


def _check(lot: int, prevalence: float, confidence: float, sensitivity: float) -> None:
    findings: list[Finding] = []
    if not 1 <= lot <= LARGEST_LOT:
        findings.append(Finding("animals in the lot", str(lot), f"1 to {LARGEST_LOT}"))
    _share(findings, "prevalence", prevalence, top_included=True)
    _share(findings, "confidence", confidence, top_included=False)
    _share(findings, "test sensitivity", sensitivity, top_included=True)
    if findings:
        raise BadInput(findings)


def diseased_at(lot: int, prevalence: float) -> int:
    """Animals carrying the pest at a prevalence, always rounded up, so never 0.

    Raises
    ------
    BadInput
        For a lot below 1 or a prevalence outside 0 to 1.

    References
    ----------
    D = ceil(N p); rounding down or to even changes n where N p is small.

    Examples
    --------
    >>> diseased_at(50, 0.01)
    1
    """
    _check(lot, prevalence, 0.5, 1.0)
    # ceil of a product such as 100 × 0.07 must not be pushed up by the last binary digit
    return min(lot, max(1, math.ceil(lot * prevalence - 1e-9)))


def _log_choose(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)


def _detection(lot: int, diseased: int, n: int, sensitivity: float) -> float:
    """Probability of at least one positive among n, each carrier in the sample found with this sensitivity.

    The chance of none is Σ C(D,k) C(N-D,n-k)/C(N,n) (1-se)^k.
    """
    none = []
    for k in range(max(0, n - (lot - diseased)), min(n, diseased) + 1):
        if sensitivity == 1 and k > 0:
            break
        ways = _log_choose(diseased, k) + _log_choose(lot - diseased, n - k) - _log_choose(lot, n)
        none.append(math.exp(ways) * (1 - sensitivity) ** k)
    return min(1.0, max(0.0, 1 - math.fsum(none)))


def clean_sample_confidence(lot: int, examined: int, prevalence: float, sensitivity: float = 1.0) -> float:
    """Confidence, 0 to 1, that the pest is below a prevalence when so many animals were examined and none had it.

    Notes
    -----
    Prevalence and sensitivity are fractions; the test gives no false positives.

    Raises
    ------
    BadInput
        For numbers that cannot be, such as more animals examined than there are.

    References
    ----------
    Hypergeometric distribution with imperfect sensitivity, specificity 1 (cf. Cameron & Baldock 1998).

    Examples
    --------
    >>> round(clean_sample_confidence(100, 95, 0.01), 3)
    0.95
    """
    _check(lot, prevalence, 0.5, sensitivity)
    if not 0 <= examined <= lot:
        raise BadInput(Finding("animals examined", str(examined), f"0 to {lot}, the lot"))
    return _detection(lot, diseased_at(lot, prevalence), examined, sensitivity)


def sample_size(lot: int, prevalence: float, confidence: float, sensitivity: float = 1.0) -> SampleSize:
    """Fewest animals to examine to find a pest present at a prevalence with a confidence.

    Notes
    -----
    Smallest n with 1 - Σ C(D,k) C(N-D,n-k)/C(N,n) (1-se)^k ≥ confidence, D = ceil(N p).  Fractions throughout, not
    percentages.  "Not achievable" is an answer: 100 animals, one carrier and a test that finds 80 % can give 0.80 at
    the most, with every animal examined.

    Raises
    ------
    BadInput
        For a lot below 1, a prevalence or sensitivity outside 0 to 1, or a confidence not between 0 and 1.

    References
    ----------
    Exact hypergeometric; agrees with Cannon & Roe 1982 (399 for 1600, 1 %, 99 %).

    Examples
    --------
    >>> sample_size(100, 0.05, 0.95).n
    45
    >>> sample_size(100, 0.01, 0.95, 0.8).achievable
    False
    """
    _check(lot, prevalence, confidence, sensitivity)
    diseased = diseased_at(lot, prevalence)
    goal = confidence - _ROUNDING
    census = 1 - (1 - sensitivity) ** diseased
    if census < goal:
        return SampleSize(lot, False, census, diseased)
    low, high = 0, 1
    while high < lot and _detection(lot, diseased, high, sensitivity) < goal:
        low, high = high, min(lot, 2 * high)
    while high - low > 1:
        middle = (low + high) // 2
        if _detection(lot, diseased, middle, sensitivity) >= goal:
            high = middle
        else:
            low = middle
    return SampleSize(high, True, _detection(lot, diseased, high, sensitivity), diseased)
