"""The re-dip rule against its worked cases, and what must hold at every temperature."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from intake.errors import BadInput, OutOfRange
from intake.library import Cycle, Pest, load
from intake.quarantine import generation_days, series

FLATWORM = load().pests["acropora-flatworm"]


def pest_of(*cycles: dict[str, object]) -> Pest:
    """An invented pest."""
    return Pest(
        id="t",
        name="invented pest",
        hosts="none",
        cycles=tuple(Cycle(source="invented for the test", evidence="default", **cycle) for cycle in cycles),  # type: ignore[arg-type]
    )


def test_flatworm_at_27_degrees_is_repeated_once_between_day_16_and_24_by_default_on_day_18() -> None:
    """Worked case of husbandry 2.3: hatching 11 d on average, 16 with a margin; generation 38 d at the least.

    Barton et al. 2019, Front Mar Sci 6:524, abstract.
    """
    found = series(FLATWORM, 27.0)
    assert (found.baths, found.first_repeat_window, found.interval_days) == (2, (16.0, 24.0), 18.0)
    assert found.span_days == 16.0
    assert "0.9 × 27" in found.arithmetic


def test_flatworm_generation_is_38_days_at_27_and_64_at_24_degrees() -> None:
    """Barton et al. 2019, abstract."""
    assert generation_days(FLATWORM, 27.0) == pytest.approx(38.0)
    assert generation_days(FLATWORM, 24.0) == pytest.approx(64.0)


def test_the_rate_of_development_is_linear_between_the_temperatures_read() -> None:
    """At 25.5 °C, half-way: 1 / ((1/38 + 1/64) / 2) = 47.7 d, not the mean of the days, 51 d."""
    assert generation_days(FLATWORM, 25.5) == pytest.approx(2 / (1 / 38 + 1 / 64))


def test_flatworm_at_24_degrees_is_stretched_by_64_over_38() -> None:
    """Other stages in proportion to the generation: 16 d → 26.9, 27 d → 45.5, so day 27 to day 40; marked derived."""
    found = series(FLATWORM, 24.0)
    assert found.first_repeat_window == (27.0, 40.0)
    assert found.evidence == "derived"
    assert "derived" in found.arithmetic


@pytest.mark.parametrize("temperature_c", [20.0, 23.9, 27.2, 30.0])
def test_outside_the_temperatures_read_nothing_is_extrapolated(temperature_c: float) -> None:
    """The table at 21 and 30 °C was not read; a guess would end a series before the last egg hatches."""
    with pytest.raises(OutOfRange, match="24 to 27"):
        series(FLATWORM, temperature_c)
    with pytest.raises(OutOfRange):
        generation_days(FLATWORM, temperature_c)


def test_the_weekly_series_against_phestilla_satisfies_the_rule() -> None:
    """0-7-14-21: interval 7 ≤ 0.9 × 10 d; span 21 ≥ 7 d egg + 9 d swimming (figures of S32, S33; husbandry 2.2)."""
    library = load()
    dip, minor = library.dips["coral-nudibranch-series"], library.pests["porites-nudibranch"]
    swimming = library.pests["montipora-nudibranch"].cycles[0].free_d
    rule = series(minor, 26.0)
    assert dip.interval_days is not None
    assert rule.interval_max_days is not None
    assert minor.cycles[0].last_hatch_d is not None
    assert swimming is not None
    assert dip.interval_days <= rule.interval_max_days == 9.0
    assert (dip.baths - 1) * dip.interval_days == 21.0 >= minor.cycles[0].last_hatch_d + swimming
    assert dip.baths >= rule.baths


def test_a_pest_without_figures_is_refused_and_not_guessed() -> None:
    """White spot has no hatch-to-laying time: the dip's own interval must be kept."""
    for pest in ("white-spot", "velvet", "acropora-copepod"):
        with pytest.raises(BadInput):
            series(load().pests[pest], 26.0)


stages = st.tuples(
    st.floats(2, 30), st.floats(0, 12), st.floats(4, 60), st.floats(12, 80), st.floats(1.0, 3.0), st.floats(18, 26)
)


@given(stages, st.floats(0, 1), st.floats(0, 1))
def test_cooler_water_never_shortens_interval_span_or_series(
    figures: tuple[float, ...], one: float, other: float
) -> None:
    """Cooler means later baths (husbandry 2.3, trap 6 of section 10)."""
    hatch, free, mature, generation, slower, cold = figures
    pest = pest_of(
        {
            "temperature_c": cold + 4,
            "last_hatch_d": hatch,
            "free_d": free,
            "maturity_d": mature,
            "generation_d": generation,
        },
        {"temperature_c": cold, "generation_d": generation * slower},
    )
    cool, warm = (series(pest, cold + 4 * share) for share in sorted((one, other)))
    assert cool.interval_days >= warm.interval_days
    assert cool.interval_min_days >= warm.interval_min_days
    assert cool.interval_max_days >= warm.interval_max_days
    assert cool.span_days >= warm.span_days - 1e-9
    assert cool.baths == warm.baths


@given(stages, st.floats(0, 1))
@example((2.0, 0.0, 4.0, 12.0, 2.0, 18.0), 0.9921875)
def test_every_series_obeys_both_inequalities(figures: tuple[float, ...], share: float) -> None:
    """Interval ≤ 0.9 × hatch-to-laying, span ≥ last hatch + swimming, whatever the figures."""
    hatch, free, mature, generation, slower, cold = figures
    pest = pest_of(
        {
            "temperature_c": cold + 4,
            "last_hatch_d": hatch,
            "free_d": free,
            "maturity_d": mature,
            "generation_d": generation,
        },
        {"temperature_c": cold, "generation_d": generation * slower},
    )
    found = series(pest, cold + 4 * share)
    near = abs(4 - 4 * share) <= 0.05  # as warm as the figures were read: they are taken as they stand
    stretch = 1.0 if near else generation_days(pest, cold + 4 * share) / generation
    assert found.interval_max_days <= 0.9 * mature * stretch + 1e-6
    assert found.interval_min_days <= found.interval_days <= found.interval_max_days
    assert (found.baths - 1) * found.interval_min_days >= (hatch + free) * stretch - 1e-6


@pytest.mark.parametrize(
    ("hatch", "mature", "window", "interval", "baths"),
    [
        (10.0, 20.0, (10.0, 18.0), 12.0, 2),
        (18.0, 20.0, (18.0, 18.0), 18.0, 2),
        (18.1, 20.0, (10.0, 18.0), 11.0, 3),
        (36.0, 20.0, (18.0, 18.0), 18.0, 3),
        (5.2, 6.0, (5.2, 5.4), 5.2, 2),
        (12.0, 20.0, (12.0, 18.0), 14.0, 2),
    ],
)
def test_a_series_worked_out_by_hand(
    hatch: float, mature: float, window: tuple[float, float], interval: float, baths: int
) -> None:
    """Longest 0.9 × to laying; as many as the span needs, no more; whole days where there are any, a quarter into the window."""
    found = series(pest_of({"last_hatch_d": hatch, "maturity_d": mature}), 26.0)
    assert (found.interval_min_days, found.interval_max_days) == window == found.first_repeat_window
    assert (found.interval_days, found.baths, found.span_days) == (interval, baths, hatch)
    assert "states no temperature" in found.arithmetic


@pytest.mark.parametrize(
    ("temperature_c", "span"), [(24.0, 20.0), (24.04, 20.0), (26.0, 40 / 3), (28.0, 10.0), (28.04, 10.0), (23.96, 20.0)]
)
def test_between_two_temperatures_the_rate_is_interpolated_and_at_them_it_is_as_read(
    temperature_c: float, span: float
) -> None:
    """20 d at 24 °C and 10 d at 28 °C: half of both rates between, 13.3 d; a twentieth of a degree is the same water."""
    pest = pest_of(
        {"temperature_c": 24.0, "last_hatch_d": 20.0, "maturity_d": 40.0},
        {"temperature_c": 28.0, "last_hatch_d": 10.0, "maturity_d": 20.0, "free_d": 0.0},
    )
    found = series(pest, temperature_c)
    assert found.span_days == pytest.approx(span)
    assert ("interpolated" in found.arithmetic) is (temperature_c == 26.0)
    for beyond in (23.94, 28.06):
        with pytest.raises(OutOfRange):
            series(pest, beyond)


def test_the_longest_swimming_time_read_counts_between_temperatures() -> None:
    """Free stages are not scaled there: the longer of the two is taken."""
    pest = pest_of(
        {"temperature_c": 24.0, "last_hatch_d": 20.0, "maturity_d": 40.0, "free_d": 3.0},
        {"temperature_c": 28.0, "last_hatch_d": 10.0, "maturity_d": 20.0, "free_d": 5.0},
    )
    assert series(pest, 26.0).span_days == pytest.approx(40 / 3 + 5)
    assert series(pest, 24.0).span_days == 23.0
