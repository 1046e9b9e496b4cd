"""The alarm method against published values and data, and what must hold of it whatever was counted."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, floor

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, false_discovery_control, poisson

from intake.errors import BadInput
from intake.report.alarms.death_record import DeathRecord
from intake.report.alarms.events import Alarm, episodes, raised
from intake.report.alarms.factors import learn_factors, tail
from intake.report.alarms.level import anscombe, level_at, weights
from intake.report.alarms.looks import _LARGEST_CUT, FALSE_SHARE, WINDOWS, _cut, fewest, look
from intake.report.alarms.naming import STRUCK_CHANCE, struck_chance
from intake.report.alarms.share_chart import ChartPoint, _outside
from tests.bench.alarms import CELLS, run_cell

AGONA = """1 0 5 2 1 2 0 4 0 0 0 3 1 1 0 0 2 2 0 2 6 3 2 1 2 0 1 1 3 5 3 4 3 6 5 8 6 3 6 2 5 2 1 5 7 1 10 3 4 0 0 1 6 0 2 2 0 0
2 2 0 6 7 1 0 0 0 1 1 4 3 1 3 2 6 3 4 4 8 12 9 17 16 8 6 13 4 7 10 3 11 4 6 4 7 6 2 9 2 3 4 1 2 2"""
"""Salmonella Agona, UK, weeks 1–104 from 1990-01: cran/surveillance 75d7e2a (v1.26.0), inst/extdata/salmonella.agona.txt."""

BH_PAGE = (
    0.0001,
    0.0004,
    0.0019,
    0.0095,
    0.0201,
    0.0278,
    0.0298,
    0.0344,
    0.0459,
    0.324,
    0.4262,
    0.5719,
    0.6528,
    0.759,
    1,
)
"""Benjamini & Hochberg, J. R. Stat. Soc. B 57 (1995) 289–300; as on SciPy's page of false_discovery_control."""


def cell(name: str) -> object:
    """A cell of the bench."""
    return next(one for one in CELLS if one.name == name)


def test_weights_of_the_published_example() -> None:
    """Five residuals of 0 and five of 2 over a threshold of 0 → normalised 1.6 and .4 (surveillance, test-farringtonFlexible)."""
    raw = weights(np.array([0.0] * 5 + [2.0] * 5), threshold=0.0)
    assert raw * 10 / raw.sum() == pytest.approx([1.6] * 5 + [0.4] * 5)


def test_thresholds_of_the_gamma_poisson_tail() -> None:
    """Mean 5, variance / mean 1.5: P(X ≥ 11) = .03763657; ratio 1: .01369527 (same file, Noufaily's plug-in rule)."""
    assert float(tail(11, 5, 10)) == pytest.approx(0.03763657, abs=1e-8)
    assert float(tail(11, 5, 1e9)) == pytest.approx(0.01369527, abs=1e-7)
    assert float(tail(10, 5, 10)) > 0.05  # so that the limit at .05 is 10 deaths exceeded


def test_the_published_outbreak_series_weighs_down_its_two_worst_weeks() -> None:
    """Constant mean 3.5673, φ 3.3898; only weeks 82 and 83 (17, 16) weigh less: .1268 and .1438, then mean 3.3480."""
    counts = np.array([float(word) for word in AGONA.split()])
    assert (len(counts), counts.sum()) == (104, 371)
    mean = counts.mean()
    dispersion = np.square(counts - mean).sum() / mean / (len(counts) - 1)
    assert (mean, dispersion) == (pytest.approx(3.5673, abs=1e-4), pytest.approx(3.3898, abs=1e-4))
    leverage = 1 / len(counts)
    residuals = anscombe(counts, mean, dispersion * (1 - leverage))
    weighed = weights(residuals)
    assert list(np.flatnonzero(weighed < 1) + 1) == [82, 83]
    assert residuals[81:83] == pytest.approx([2.832, 2.659], abs=1e-3)
    normalised = weighed * len(counts) / weighed.sum()
    assert normalised[81:83] == pytest.approx([0.1268, 0.1438], abs=1e-4)
    assert (weighed * counts).sum() / weighed.sum() == pytest.approx(3.3480, abs=1e-4)


def test_the_false_discovery_rule_of_the_published_example() -> None:
    """At .05 the first four of fifteen are rejected, where Bonferroni rejects three."""
    assert int((false_discovery_control(BH_PAGE) <= 0.05).sum()) == 4
    assert sum(p <= 0.05 / 15 for p in BH_PAGE) == 3


@given(st.lists(st.floats(0, 1), min_size=1, max_size=40), st.sampled_from([0.001, 1.0]))
def test_the_cut_is_that_of_the_published_correction(drawn: list[float], small: float) -> None:
    """SciPy's corrected chances name the same looks; where none is named, what one alone would need."""
    chances = np.array(drawn) * small
    named = chances[false_discovery_control(chances) <= FALSE_SHARE]
    asked = float(named.max()) if len(named) else FALSE_SHARE / len(chances)
    assert _cut(chances) == pytest.approx(min(_LARGEST_CUT, asked), rel=1e-12)


@given(st.integers(1, 500), st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_chart_expects_as_many_outside_as_the_binomial_says(n: int, usual: float, one: float, two: float) -> None:
    """Samples beyond either limit, at limits of 0 and 1 too."""
    low, high = min(one, two), max(one, two)
    above, below = floor(high * n + 1e-9), ceil(low * n - 1e-9)
    asked = float(binom.sf(above, n, usual)) + float(binom.cdf(below - 1, n, usual))
    assert _outside(ChartPoint(0, 0, n, 0.0, low, high, out=False), usual) == pytest.approx(asked, rel=1e-9, abs=1e-300)


@given(st.integers(1, 400), st.floats(0.01, 200), st.floats(0.05, 1e6))
def test_one_more_death_never_raises_the_chance(deaths: int, mean: float, shape: float) -> None:
    """And it is always a chance."""
    now, more = float(tail(deaths, mean, shape)), float(tail(deaths + 1, mean, shape))
    assert 0 <= more <= now <= 1


def test_without_any_spread_the_tail_is_poissons() -> None:
    """As the shape grows."""
    for deaths in (1, 5, 20):
        assert float(tail(deaths, 7.0, 1e9)) == pytest.approx(float(poisson.sf(deaths - 1, 7.0)), rel=1e-6)


def record(seed: int, days: int = 70, batches: int = 12) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A quiet farm of settled stock, 200 animals a batch; simulated."""
    rng = np.random.default_rng(seed)
    return (
        rng.poisson(0.4, (batches, days)).astype(float),
        np.full((batches, days), 200.0),
        np.full((batches, days), 99),
    )


def test_deaths_inside_the_guard_never_change_the_level() -> None:
    """A crash in progress teaches nothing."""
    deaths, risk, age = record(1)
    crash = deaths.copy()
    crash[:, -14:] += 50
    quiet, loud = (level_at(DeathRecord.of(one, risk, age), 69) for one in (deaths, crash))
    assert (quiet.farm, quiet.spread, quiet.own.differ) == (loud.farm, loud.spread, loud.own.differ)
    assert (quiet.factors == loud.factors).all()


def test_the_order_of_batches_is_no_matter() -> None:
    """Looks of the same farm reported backwards."""
    deaths, risk, age = record(2)
    one = look(DeathRecord.of(deaths, risk, age), 69)
    other = look(DeathRecord.of(deaths[::-1], risk, age), 69)
    assert one is not None
    assert other is not None
    assert one.chance[:12] == pytest.approx(other.chance[:12][::-1])
    assert one.chance[12:] == pytest.approx(other.chance[12:])


@pytest.mark.parametrize("seed", range(20))
def test_a_past_week_of_fifteenfold_deaths_moves_the_level_less_than_a_quarter(seed: int) -> None:
    """Over the whole farm, five weeks ago."""
    deaths, risk, age = record(seed)
    struck = deaths.copy()
    struck[:, 28:35] *= 15
    before, after = (level_at(DeathRecord.of(one, risk, age), 69).farm for one in (deaths, struck))
    assert abs(after / before - 1) < 0.25


def test_a_batch_that_always_dies_faster_becomes_usual_and_a_new_one_is_given_room() -> None:
    """Long known at four times the farm: its factor is learnt; unknown: as uncertain as batches here differ."""
    factors = learn_factors(np.array([400.0, 0.0, 100.0]), np.array([100.0, 0.0, 100.0]), np.array([1.0, 0.0, 1.0]))
    assert factors.mean[0] == pytest.approx(4.0, rel=0.1)
    assert factors.variance[0] < 0.02
    assert factors.mean[1] == pytest.approx(1.0, rel=0.05)
    assert factors.variance[1] == pytest.approx(factors.differ, rel=1e-6)
    alike = learn_factors(np.full(40, 50.0), np.full(40, 50.0), np.full(40, 0.1))
    assert alike.differ < 0.06 < factors.differ


def test_a_chance_over_an_unknown_factor_is_the_average_of_the_tails() -> None:
    """Against the sum taken by hand; and larger than with the factor known."""
    factors = learn_factors(np.array([2.0]), np.array([1.5]), np.array([0.2]))
    grid = np.exp(np.linspace(-2.4, 2.4, 49))
    by_hand = sum(w * float(tail(9, 1.2 * f, 3.0)) for w, f in zip(factors.weights[0], grid, strict=True))
    (found,) = factors.chance(np.array([0]), np.array([9.0]), np.array([1.2]), np.array([3.0]))
    assert found == pytest.approx(by_hand)
    assert found > float(tail(9, 1.2 * factors.mean[0], 3.0))


def test_the_fewest_deaths_that_alarm_are_where_the_chance_crosses_the_cut() -> None:
    """One fewer does not."""
    deaths, risk, age = record(4)
    looks = look(DeathRecord.of(deaths, risk, age), 69)
    assert looks is not None
    at = fewest(looks, 3, 1, 200)
    usual, size = looks.expected[[3], 1] / looks.level.own.mean[3], looks.size[[3], 1]
    just, below = (looks.level.own.chance(np.array([3]), np.array([one]), usual, size)[0] for one in (at, at - 1))
    assert just <= looks.cut < below
    assert fewest(looks, 3, 1, at - 2) == at - 1


def test_batches_of_a_struck_water_are_told_from_those_as_usual() -> None:
    """Four of eight at eight times the usual of two; one more death never makes a batch less likely struck."""
    deaths = np.array([16.0, 14, 18, 15, 2, 1, 3, 2])
    chance = struck_chance(deaths, np.full(8, 2.0), np.full(8, 6.0))
    assert list(chance > STRUCK_CHANCE) == [True] * 4 + [False] * 4
    more = deaths + np.eye(8)[4]
    assert struck_chance(more, np.full(8, 2.0), np.full(8, 6.0))[4] >= chance[4]


def test_a_large_batch_that_came_yesterday_does_not_hide_the_others() -> None:
    """Fourfold deaths in eleven settled batches beside 2,000 new animals, of whom many die as usual."""
    deaths, risk, age = record(5)
    deaths, risk, age = (np.vstack([table, np.zeros(70)]) for table in (deaths, risk, age))
    deaths[:11, -2:] = 2
    risk[12, -2:], age[12, -2:], deaths[12, -2:] = 2000, [0, 1], 30
    looks = look(DeathRecord.of(deaths, risk, age), 69)
    assert looks is not None
    assert looks.chance[-1, 1] < 1e-4
    assert float(tail(looks.deaths[-1, 1], looks.expected[-1, 1], looks.shape[-1, 1])) > 0.01


def alarms_of(struck: dict[int, int], waters: int) -> list[tuple[str, int, tuple[int, ...]]]:
    """What a farm of twelve batches raises on the day on which so many die; batches stand in turn in so many waters."""
    deaths, risk, age = record(6)
    deaths[:, -2:] = 0
    for batch, dead in struck.items():
        deaths[batch, -1] = dead
    water = np.arange(12) % waters
    looks = look(DeathRecord.of(deaths, risk, age, water=water), 69)
    assert looks is not None
    return [(one.unit, one.index, one.named) for one in raised(looks, [frozenset([int(at)]) for at in water])]


def test_several_batches_that_alarm_at_once_are_one_message() -> None:
    """Two in one water: the water; one in each of three: the farm; a single one, or two on a farm quiet without them: batches."""
    assert alarms_of({3: 9}, 3) == [("batch", 3, (3,))]
    assert alarms_of({0: 9, 4: 8}, 3) == [("batch", 0, (0,)), ("batch", 4, (4,))]
    assert [(unit, index, set(named)) for unit, index, named in alarms_of({0: 9, 3: 8}, 3)] == [("water", 0, {0, 3})]
    ((unit, _, named),) = alarms_of({0: 9, 4: 8, 8: 8}, 3)
    assert (unit, set(named)) == ("farm", {0, 4, 8})


@given(st.integers(0, 2**31), st.integers(1, 40), st.floats(0, 5000))
def test_every_chance_is_one_and_under_three_deaths_never_alarm(seed: int, days: int, animals: float) -> None:
    """From no animals to thousands, from the first day."""
    rng = np.random.default_rng(seed)
    deaths = rng.integers(0, 3, (4, days)).astype(float) * (rng.random((4, days)) < 0.1)
    found = look(DeathRecord.of(deaths, np.full((4, days), animals), np.full((4, days), 20)), days - 1)
    assert found is not None
    assert ((found.chance >= 0) & (found.chance <= 1)).all()
    assert not found.alarms[found.deaths < 3].any()


def test_a_gap_is_one_window_and_is_looked_at_when_it_is_counted() -> None:
    """Saturday and Sunday are not looked at; Monday's window of one day covers three."""
    deaths, risk, age = record(3)
    counted = [day % 7 < 5 for day in range(70)]
    table = DeathRecord.of(deaths, risk, age, counted=counted)
    assert look(table, 68) is None
    monday = look(table, 63)
    assert monday is not None
    assert monday.starts[0] == 61
    assert monday.expected[0, 0] == pytest.approx(3 / 4 * monday.expected[0, WINDOWS.index(4)])


def test_tables_that_do_not_fit_are_refused() -> None:
    """Different shapes, negative numbers."""
    with pytest.raises(BadInput):
        DeathRecord.of([[1.0]], [[1.0, 2.0]], [[1.0]])
    with pytest.raises(BadInput):
        DeathRecord.of([[-1.0]], [[1.0]], [[1.0]])


def test_an_alarm_that_widens_or_narrows_is_one_event() -> None:
    """A batch, then its water, then the farm, then the batch again within a week."""

    def alarm(unit: str, index: int, day: int, *named: int) -> Alarm:
        return Alarm(unit, index, day, day, day - 3, day, 5, 1.0, 1e-4, named)  # type: ignore[arg-type]

    days = [
        [alarm("batch", 2, 1, 2)],
        [alarm("water", 0, 2, 2, 3)],
        [alarm("farm", 0, 3, 2, 3, 7)],
        [],
        [alarm("batch", 2, 5, 2)],
    ]
    (one,) = episodes(days)
    assert (one.unit, one.first_day, one.last_day, one.named) == ("farm", 1, 5, (2, 3, 7))
    assert len(episodes([[alarm("batch", 2, 1, 2)], [alarm("batch", 2, 9, 2)]])) == 2
    assert len(episodes([[alarm("batch", 2, 1, 2), alarm("batch", 4, 1, 4)]])) == 2
    wide = replace(alarm("farm", 0, 1, 3), inside=frozenset(range(9)))
    during, after = (replace(alarm("batch", 5, day, 5), inside=frozenset({5})) for day in (3, 6))
    assert [one.named for one in episodes([[wide], [during]])] == [(3, 5)]
    assert len(episodes([[wide], [after]])) == 2  # its own days began after the farm's last alarm


@pytest.mark.slow
def test_simulated_outbreaks_are_seen_and_quiet_farms_are_quiet() -> None:
    """Twenty batches, sixty days of record, seeds 1 to 12: half struck, one water struck, nothing struck."""
    half = run_cell(cell("8x 4 d half"), 20, 60, 12, 1)  # type: ignore[arg-type]
    assert half["named"] >= 0.9
    assert half["named"] > half["named_before"] + 0.2
    water = run_cell(cell("8x 4 d water"), 20, 60, 12, 1, before=0)  # type: ignore[arg-type]
    assert water["named"] >= 0.9
    quiet = run_cell(cell("none, no counts at weekends"), 20, 60, 12, 1, before=0)  # type: ignore[arg-type]
    assert quiet["others"] <= 1.0
