"""Both ends of every range a formula is published for, and of every figure logic allows: at the end accepted, beyond refused."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from intake.errors import BadInput, OutOfRange
from intake.water.ammonia import ammonia_share, fresh_ammonia_fraction, sea_ammonia_fraction
from intake.water.carbonate import SeaWater, water_from_dic, water_from_pco2, water_from_ph
from intake.water.dosing import (
    dose_grams,
    fresh_water_to_lower_l,
    salt_for,
    salt_to_raise_kg,
    stock_ml,
    tank_litres_frustum,
)
from intake.water.floating import floating
from intake.water.mixing import (
    exchanged,
    growing,
    growing_hours,
    largest_flow_l_per_h,
    overflowing_hours,
)
from intake.water.oxygen import oxygen_mg_per_l
from intake.water.ranges import PublishedRange, require_between, require_not_negative, require_positive

TINY = 1e-9


@pytest.mark.parametrize(
    ("formula", "low", "high"),
    [
        (lambda t: oxygen_mg_per_l(t, 35.0), 0.0, 40.0),
        (lambda s: oxygen_mg_per_l(25.0, s), 0.0, 40.0),
        (lambda t: fresh_ammonia_fraction(t, 8.0), 0.0, 50.0),
        (lambda t: sea_ammonia_fraction(t, 35.0, 8.0, "total"), -2.0, 40.0),
        (lambda s: sea_ammonia_fraction(25.0, s, 8.0, "total"), 0.0, 40.0),
        (lambda s: sea_ammonia_fraction(25.0, s, 8.0, "nbs"), 19.0, 40.0),
        (lambda p: oxygen_mg_per_l(25.0, 35.0, p), 0.5, 1.1),
    ],
)
def test_a_formula_holds_to_both_ends_of_its_published_range(
    formula: Callable[[float], float], low: float, high: float
) -> None:
    """Benson & Krause 1984 (0–40 °C, 0–40), Emerson et al. 1975 (0–50 °C), Clegg & Whitfield 1995 (−2–40 °C, 0–40)."""
    assert all(math.isfinite(formula(end)) for end in (low, high))
    for beyond in (low - TINY, high + TINY, math.nan):
        with pytest.raises(OutOfRange):
            formula(beyond)


@pytest.mark.parametrize(
    ("act", "good", "bad"),
    [
        (lambda x: dose_grams(250.0, 20.0, x), (TINY, 100.0), (0.0, 100.0 + TINY)),
        (lambda x: dose_grams(x, 20.0), (TINY,), (0.0, math.inf)),
        (lambda x: dose_grams(250.0, x), (0.0,), (-TINY,)),
        (lambda x: stock_ml(250.0, x, 10.0), (0.0, 10_000.0), (-TINY, 10_000.1)),
        (lambda x: salt_for(100.0, 35.0, 25.0, x), (1.0, 2.0), (1.0 - TINY, 2.0 + TINY)),
        (lambda x: salt_to_raise_kg(100.0, x, 35.0, 25.0), (34.999,), (35.0, 35.1)),
        (lambda x: fresh_water_to_lower_l(100.0, 35.0, x, 25.0), (0.001, 34.999), (0.0, 35.0)),
        (lambda x: tank_litres_frustum(100.0, x, 50.0), (0.0,), (-TINY,)),
        (lambda x: floating(20.0, 25.0, x), (0.0,), (-TINY,)),
        (lambda x: exchanged(30.0, 35.0, x, 2), (0.0, 1.0), (-TINY, 1.0 + TINY)),
        (lambda x: growing(30.0, 35.0, 5.0, x, 1.0), (0.0,), (-TINY,)),
        (lambda x: growing_hours(5.0, x, 5.0, 3.0), (TINY,), (0.0,)),
        (lambda x: overflowing_hours(5.0, x, 5.0, 3.0), (TINY,), (0.0,)),
        (lambda x: largest_flow_l_per_h(x, 5.0, 5.0), (TINY, math.inf), (0.0, math.nan)),
        (lambda x: require_positive("x", x), (TINY,), (0.0, math.inf, math.nan)),
        (lambda x: require_not_negative("x", x), (0.0,), (-TINY, math.inf, math.nan)),
        (lambda x: require_between("x", x, 1.0, 2.0), (1.0, 2.0), (1.0 - TINY, 2.0 + TINY, math.nan)),
    ],
)
def test_a_figure_is_refused_beyond_its_limit_and_not_at_it(
    act: Callable[[float], object], good: tuple[float, ...], bad: tuple[float, ...]
) -> None:
    """Limits of logic: shares to one, liters above nothing, strengths no stock can exceed."""
    for figure in good:
        act(figure)
    for figure in bad:
        with pytest.raises(BadInput):
            act(figure)


def test_what_is_there_already_takes_no_time() -> None:
    """A gap within the mark needs no hours, filling or overflowing; beyond it both do, and no gap bears any flow."""
    assert growing_hours(1.0, 1.0, 5.0, 3.0) == growing_hours(-0.5, 1.0, 5.0, 3.0) == 0.0
    assert overflowing_hours(1.0, 1.0, 5.0, 3.0) == overflowing_hours(-0.5, 1.0, 5.0, 3.0) == 0.0
    assert growing_hours(-2.0, 1.0, 6.0, 3.0) == pytest.approx(2.0)
    assert overflowing_hours(-math.e, 1.0, 6.0, 3.0) == pytest.approx(2.0)
    assert largest_flow_l_per_h(2.0, 5.0, 0.0) == math.inf
    assert largest_flow_l_per_h(2.0, 5.0, -4.0) == 2.5


def test_salinity_nought_is_fresh_water() -> None:
    """The share comes from the formula of fresh water there, from that of the sea beyond (both as published)."""
    assert ammonia_share(25.0, 0.0, 8.0, "nbs").fraction == fresh_ammonia_fraction(25.0, 8.0)
    assert ammonia_share(25.0, 35.0, 8.0, "total").fraction == sea_ammonia_fraction(25.0, 35.0, 8.0, "total")


def test_a_range_is_named_with_its_ends_and_source() -> None:
    """What a person reads when a figure lies outside."""
    span = PublishedRange("salinity", 5.0, 40.0, "Somebody 1999")
    assert span.check(5.0) == 5.0
    with pytest.raises(OutOfRange) as caught:
        span.check(4.0)
    assert all(word in str(caught.value) for word in ("salinity", "4", "5", "40", "Somebody 1999"))


def carbonate(**changed: float) -> SeaWater:
    """Sea water of 25 °C and 35 by its pH on the total scale, with what is changed."""
    given = {"t": 25.0, "s": 35.0, "alkalinity": 2350.0, "ph": 8.0, "tan": 0.0} | changed
    return water_from_ph(
        given["t"], given["s"], given["alkalinity"], ph=given["ph"], ph_scale="total", tan_n_mg_per_l=given["tan"]
    )


@pytest.mark.parametrize(("name", "low", "high"), [("t", 2.0, 35.0), ("s", 19.0, 42.0)])
def test_carbonate_constants_hold_to_both_ends_of_their_range(name: str, low: float, high: float) -> None:
    """Lueker et al. 2000: 2–35 °C, salinity from 19; the density ends at 42 (EOS-80), a little before their 43."""
    assert all(carbonate(**{name: end}).dic_umol_per_kg > 0 for end in (low, high))
    for beyond in (low - TINY, high + TINY):
        with pytest.raises(OutOfRange):
            carbonate(**{name: beyond})


def test_ammonia_is_solved_for_to_salinity_forty_and_without_it_the_water_may_be_saltier() -> None:
    """Clegg & Whitfield 1995 end at 40: beyond it only water without ammonia is solved."""
    assert carbonate(s=40.0, tan=0.5).dic_umol_per_kg > 0
    assert carbonate(s=42.0).dic_umol_per_kg > 0
    with pytest.raises(OutOfRange, match="Clegg"):
        carbonate(s=40.0 + TINY, tan=TINY)
    with pytest.raises(BadInput):
        carbonate(tan=-TINY)
    with pytest.raises(BadInput):
        carbonate(alkalinity=0.0)


def test_a_pressure_or_carbon_of_nothing_is_refused() -> None:
    """A little of either is a water."""
    assert water_from_pco2(25.0, 35.0, 2350.0, 1.0).ph_total > 9
    assert water_from_dic(25.0, 35.0, 2350.0, 1.0).dic_umol_per_kg == pytest.approx(1.0)
    with pytest.raises(BadInput):
        water_from_pco2(25.0, 35.0, 2350.0, 0.0)
    with pytest.raises(BadInput):
        water_from_dic(25.0, 35.0, 2350.0, 0.0)
