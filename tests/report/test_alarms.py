"""The chart of shares against a published series, and alarms whose error rate is what they say."""

from __future__ import annotations

import numpy as np
import pytest

from intake.errors import BadInput
from intake.report.alarms.share_chart import p_chart, watch

# Thirty samples of 50 (Montgomery, Introduction to Statistical Quality Control; output of the R package qcc, read in
# its public tests): p 0.2313333, LCL 0.05242755, UCL 0.4102391, samples 15 and 23 out.
CANS = [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6]


def test_the_published_chart_is_reproduced() -> None:
    """Centre, both limits, and which samples are out (counted from 1 in print)."""
    chart = p_chart(CANS, [50] * 30)
    assert chart.centre == pytest.approx(0.2313333, abs=5e-8)
    assert chart.points[0].low == pytest.approx(0.05242755, abs=5e-9)
    assert chart.points[0].high == pytest.approx(0.4102391, abs=5e-8)
    assert [index + 1 for index in chart.out] == [15, 23]


def test_the_published_chart_without_its_outliers_is_reproduced() -> None:
    """Dropping 15 and 23 gives 0.215, 0.04070284, 0.3892972, and then sample 21 is out (same source)."""
    kept = [count for index, count in enumerate(CANS, start=1) if index not in (15, 23)]
    chart = p_chart(kept, [50] * 28)
    assert chart.centre == pytest.approx(0.215)
    assert (chart.points[0].low, chart.points[0].high) == pytest.approx((0.04070284, 0.3892972), abs=5e-8)
    assert [kept[index] for index in chart.out] == [20]


def test_limits_follow_each_sample_and_never_pass_zero() -> None:
    """Np chart of 50 lots of 200, centre 7.14: upper limit 15.01184, lower cut to 0 (same package); 50 are wider."""
    chart = p_chart([357], [10_000], centre=0.0357)
    assert chart.points[0].out is False
    chart = p_chart([7, 2], [200, 50], centre=0.0357)
    assert 200 * chart.points[0].high == pytest.approx(15.01184, abs=5e-6)
    assert chart.points[0].low == 0
    assert chart.points[1].high > chart.points[0].high


def test_the_false_alarm_rate_is_the_one_that_chance_gives() -> None:
    """Simulated samples of 50 with nothing changed go beyond the limits as often as the chart says."""
    chart = p_chart(CANS, [50] * 30)
    high, low = chart.points[0].high, chart.points[0].low
    shares = np.random.default_rng(5).binomial(50, chart.centre, 20_000) / 50
    beyond = float(((shares < low) | (shares > high)).mean())
    assert beyond == pytest.approx(chart.false_alarm_rate, abs=3 * (chart.false_alarm_rate / 20_000) ** 0.5)
    assert 0.001 < chart.false_alarm_rate < 0.01


@pytest.mark.parametrize(("counts", "sizes"), [([], []), ([1], [1, 2]), ([3], [2]), ([-1], [2]), ([0], [0])])
def test_impossible_samples_are_refused(counts: list[int], sizes: list[int]) -> None:
    """No sample, lists of different length, more than all, none of none."""
    with pytest.raises(BadInput):
        p_chart(counts, sizes)


def test_a_crash_alarms_and_a_single_death_does_not() -> None:
    """At one death in 1000 animal-days, one of 50 is chance; four of 50 is not."""
    found = watch([0, 1, 0, 4, 0], [50, 50, 49, 49, 45], 0.001)
    assert [(alarm.day, alarm.deaths) for alarm in found.alarms] == [(3, 4)]
    assert found.alarms[0].expected == pytest.approx(0.049)


def test_a_slow_bleed_is_seen_over_seven_days() -> None:
    """One dead a day of 50: no single day alarms, the week does."""
    deaths, at_risk = [1] * 10, [50 - day for day in range(10)]
    assert watch(deaths, at_risk, 0.001).alarms == ()
    assert watch(deaths, at_risk, 0.001, span_days=7).alarms != ()


def test_the_watch_alarms_as_often_as_it_says_when_nothing_changed() -> None:
    """Simulated quiet days: the number of alarms is near the number announced."""
    at_risk, rate = [300] * 6000, 0.004
    deaths = [int(count) for count in np.random.default_rng(11).binomial(300, rate, 6000)]
    found = watch(deaths, at_risk, rate)
    assert 0 < found.false_alarms_expected <= 6000 * 0.00135
    assert abs(len(found.alarms) - found.false_alarms_expected) <= 4 * found.false_alarms_expected**0.5


def test_days_without_animals_and_a_house_without_losses() -> None:
    """Nothing to judge is no alarm; where nothing ever died the first death alarms."""
    assert watch([0], [0], 0.01).alarms == ()
    assert len(watch([1], [10], 0.0).alarms) == 1
    with pytest.raises(BadInput):
        watch([1], [1, 2], 0.1)
