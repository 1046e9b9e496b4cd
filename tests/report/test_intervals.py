"""Intervals and shrinkage against the tables they were published in."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.errors import BadInput
from intake.report.intervals import (
    BetaPrior,
    clopper_pearson,
    prior_by_likelihood,
    prior_by_moments,
    shrink,
    shrink_together,
    wilson,
)

# Newcombe, Stat. Med. 17 (1998), table I: x, n, Wilson (read in a public test that names the table), Clopper-Pearson
# (from memory; recomputed with two libraries).
NEWCOMBE = [
    (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
    (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
    (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
    (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
]


@pytest.mark.parametrize(("x", "n", "score", "exact"), NEWCOMBE)
def test_both_intervals_are_those_of_the_published_table(
    x: int, n: int, score: tuple[float, float], exact: tuple[float, float]
) -> None:
    """To the four decimals printed."""
    found = wilson(x, n)
    assert (found.low, found.high) == pytest.approx(score, abs=5e-5)
    found = clopper_pearson(x, n)
    assert (found.low, found.high) == pytest.approx(exact, abs=5e-5)


@given(
    st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), st.sampled_from([0.8, 0.95, 0.99])
)
@settings(max_examples=60, deadline=None)
def test_intervals_hold_the_share_stay_in_range_and_mirror(counts: tuple[int, int], confidence: float) -> None:
    """Never below 0 or above 1 (rounding at x = 0 would), and dead of n is the mirror of alive of n."""
    x, n = counts
    for interval in (wilson, clopper_pearson):
        here, mirror = interval(x, n, confidence), interval(n - x, n, confidence)
        assert 0 <= here.low <= here.estimate <= here.high <= 1
        assert (here.low, here.high) == pytest.approx((1 - mirror.high, 1 - mirror.low), abs=1e-9)
    assert (wilson(x, n, confidence).low == 0) == (x == 0)


@pytest.mark.parametrize(
    ("x", "n", "confidence"), [(1, 0, 0.95), (-1, 5, 0.95), (6, 5, 0.95), (1, 5, 1.0), (1, 5, 0.0)]
)
def test_impossible_counts_are_refused(x: int, n: int, confidence: float) -> None:
    """A share of nothing, more than all, or certainty itself."""
    for interval in (wilson, clopper_pearson):
        with pytest.raises(BadInput):
            interval(x, n, confidence)


# Rat tumours, 71 groups: Tarone (1982) as in Gelman et al., Bayesian Data Analysis, table 5.1 (from memory; the counts
# are pinned by the published sums 267 of 1739 and by the published mean and deviation of the first 70 rates).
TUMOURS = [
    *[(0, 20)] * 7,
    *[(0, 19)] * 4,
    *[(0, 18)] * 2,
    (0, 17),
    *[(1, 20)] * 4,
    *[(1, 19)] * 2,
    *[(1, 18)] * 2,
    *[(2, 25), (2, 24), (2, 23)],
    *[(2, 20)] * 6,
    *[(1, 10), (5, 49), (2, 19), (5, 46), (3, 27), (2, 17), (7, 49), (7, 47), (3, 20), (3, 20), (2, 13), (9, 48)],
    (10, 50),
    *[(4, 20)] * 7,
    (10, 48),
    *[(4, 19)] * 3,
    *[(5, 22), (11, 46), (12, 49), (5, 20), (5, 20), (6, 23), (5, 19), (6, 22), (6, 20), (6, 20), (6, 20)],
    *[(16, 52), (15, 47), (15, 46), (9, 24), (4, 14)],
]


def test_the_rat_tumour_data_are_the_published_ones() -> None:
    """71 groups, 267 of 1739."""
    assert (len(TUMOURS), sum(x for x, _ in TUMOURS), sum(n for _, n in TUMOURS)) == (71, 267, 1739)


def test_the_prior_by_moments_is_the_published_one() -> None:
    """Alpha 1.4, beta 8.6 rounded (from memory), 1.35615 and 8.61506 recomputed; group 71 then 0.223 ± 0.083."""
    prior = prior_by_moments(TUMOURS[:70])
    assert (prior.alpha, prior.beta) == pytest.approx((1.35615, 8.61506), abs=5e-5)
    last = shrink(4, 14, prior)
    spread = (last.alpha * last.beta / ((last.alpha + last.beta) ** 2 * (last.alpha + last.beta + 1))) ** 0.5
    assert last.estimate == pytest.approx(0.22344, abs=5e-5)
    assert spread == pytest.approx(0.08336, abs=5e-5)


def test_the_prior_by_likelihood_shrinks_as_recomputed() -> None:
    """Alpha 2.34161, beta 14.1148 (recomputed, no table) and four groups' shrunken shares."""
    prior = prior_by_likelihood(TUMOURS)
    assert (prior.alpha, prior.beta) == pytest.approx((2.34161, 14.1148), rel=2e-4)
    expected = {(0, 20): 0.06423, (4, 14): 0.20822, (16, 52): 0.26793, (10, 48): 0.19147}
    for (x, n), share in expected.items():
        assert shrink(x, n, prior).estimate == pytest.approx(share, abs=2e-5)


def test_averaging_over_the_prior_agrees_with_the_fitted_prior_when_groups_are_many() -> None:
    """71 groups show what is usual: shares as with the fitted prior, and a usual share near the published 0.14."""
    usual, shrunk = shrink_together(TUMOURS)
    fitted = prior_by_likelihood(TUMOURS)
    assert usual == pytest.approx(fitted.mean, abs=0.003)
    for (x, n), found in zip(TUMOURS, shrunk, strict=True):
        assert found.estimate == pytest.approx(shrink(x, n, fitted).estimate, abs=0.006)


def test_averaging_over_the_prior_is_less_certain_when_groups_are_few() -> None:
    """Three alike groups: the fitted prior would take them as one and the same, with intervals far too narrow."""
    groups = [(5, 50), (6, 50), (5, 50)]
    _, shrunk = shrink_together(groups)
    fitted = shrink(5, 50, prior_by_likelihood(groups))
    assert shrunk[0].high - shrunk[0].low > 3 * (fitted.high - fitted.low)
    alone = clopper_pearson(5, 50)
    assert shrunk[0].high - shrunk[0].low < alone.high - alone.low


@given(st.integers(0, 50), st.integers(0, 50), st.floats(0.2, 50), st.floats(0.2, 50))
@settings(max_examples=60, deadline=None)
def test_a_shrunken_share_lies_between_the_raw_and_the_usual(x: int, more: int, alpha: float, beta: float) -> None:
    """That is what shrinking means; with no animals it is the usual itself."""
    prior = BetaPrior(alpha, beta, 5)
    found = shrink(x, x + more, prior)
    raw = x / (x + more) if x + more else prior.mean
    assert min(raw, prior.mean) - 1e-12 <= found.estimate <= max(raw, prior.mean) + 1e-12
    assert 0 <= found.low < found.high <= 1


@pytest.mark.parametrize("learn", [prior_by_moments, prior_by_likelihood])
def test_alike_groups_give_a_strong_usual_and_none_lost_a_weak_one(learn: object) -> None:
    """Identical rates hold each other tightly; no loss anywhere still leaves room for one."""
    strong = learn([(10, 100)] * 6)  # type: ignore[operator]
    assert strong.mean == pytest.approx(0.1, rel=1e-3)
    assert strong.alpha + strong.beta > 1000
    none = learn([(0, 30)] * 4)  # type: ignore[operator]
    assert shrink(0, 30, none).high > 0.01
    with pytest.raises(BadInput, match="at least 2"):
        learn([(1, 10)])  # type: ignore[operator]
