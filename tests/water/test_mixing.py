"""Closed forms of mixing against numerical integration, and conservation of salt."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from intake.errors import BadInput
from intake.water.floating import FLOAT_RATE_PER_MIN, floating
from intake.water.mixing import (
    Part,
    blend,
    exchanged,
    growing,
    growing_hours,
    largest_flow_l_per_h,
    overflow_with_heat,
    overflowing,
    overflowing_hours,
)
from intake.water.salinity import density

VALUES = st.floats(0.0, 40.0)
VOLUMES = st.floats(0.5, 100.0)
FLOWS = st.floats(0.1, 20.0)


def _integrated(slope: object, start: list[float], hours: float) -> float:
    return float(solve_ivp(slope, (0.0, hours), start, rtol=1e-10, atol=1e-12).y[0, -1])


@settings(max_examples=25, deadline=None)
@given(VALUES, VALUES, VOLUMES, FLOWS, st.floats(0.1, 8.0))
def test_growing_and_overflowing_solve_their_equations(
    start: float, incoming: float, volume: float, flow: float, hours: float
) -> None:
    """The closed forms equal the integrated balance dX/dt = (Q/V)(Xin - X), V growing or not."""
    grown = _integrated(lambda t, x: [flow / (volume + flow * t) * (incoming - x[0])], [start], hours)
    assert growing(start, incoming, volume, flow, hours) == pytest.approx(grown, abs=1e-6)
    spilled = _integrated(lambda t, x: [flow / volume * (incoming - x[0])], [start], hours)
    assert overflowing(start, incoming, volume, flow, hours) == pytest.approx(spilled, abs=1e-6)


def test_heat_lost_to_the_room_may_keep_the_vat_out_of_reach() -> None:
    """K 0.5/h, room 20 °C, turnover 0.6/h: the tub settles at 23.2727 °C and never reaches 26 (worked by hand)."""
    end = overflow_with_heat(22.0, 26.0, 20.0, turnover_per_h=0.6, heat_exchange_per_h=0.5, hours=1e4)
    assert end == pytest.approx(23.2727, abs=5e-5)
    after = overflow_with_heat(22.0, 26.0, 20.0, turnover_per_h=0.6, heat_exchange_per_h=0.5, hours=1.5)
    slope = _integrated(lambda t, x: [0.6 * (26 - x[0]) + 0.5 * (20 - x[0])], [22.0], 1.5)
    assert after == pytest.approx(slope, abs=1e-6)
    with pytest.raises(BadInput):
        overflow_with_heat(22.0, 26.0, 20.0, turnover_per_h=0.0, heat_exchange_per_h=0.0, hours=1.0)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.5, 20.0), st.floats(0.05, 0.4), VOLUMES, FLOWS)
def test_times_get_there(gap: float, within: float, volume: float, flow: float) -> None:
    """At the hour given the gap is met exactly."""
    hours = growing_hours(gap, within, volume, flow)
    assert gap - growing(0.0, gap, volume, flow, hours) == pytest.approx(within, rel=1e-9)
    hours = overflowing_hours(-gap, within, volume, flow)
    assert gap - overflowing(0.0, gap, volume, flow, hours) == pytest.approx(within, rel=1e-9)


PARTS = st.lists(st.builds(Part, VOLUMES, st.floats(0.0, 35.0), st.floats(0.0, 42.0)), min_size=1, max_size=5)


@settings(max_examples=50, deadline=None)
@given(PARTS)
def test_blending_conserves_salt_and_water(parts: list[Part]) -> None:
    """Mass of water and of salt before equals that after, whatever is mixed."""
    whole = blend(parts)
    mass = sum(p.volume_l * density(p.temperature_c, p.salinity_psu) for p in parts)
    salt = sum(p.volume_l * density(p.temperature_c, p.salinity_psu) * p.salinity_psu for p in parts)
    after = whole.volume_l * density(whole.temperature_c, whole.salinity_psu)
    assert after == pytest.approx(mass, rel=1e-9)
    assert after * whole.salinity_psu == pytest.approx(salt, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(("other", "mixed", "places"), [(30.0, 32.5046, 5e-5), (0.0, 17.728, 5e-4)])
def test_blend_is_by_mass_not_by_volume(other: float, mixed: float, places: float) -> None:
    """A litre of 35 with a litre of 30 or of fresh water: 32.5046 and 17.728 (recomputed with gsw), not the mean."""
    whole = blend([Part(1.0, 25.0, other), Part(1.0, 25.0, 35.0)])
    assert whole.salinity_psu == pytest.approx(mixed, abs=places)


def test_largest_flow_is_the_limit_at_the_start() -> None:
    """5 L, 5 PSU to go, 1 PSU/h: start at 1 L/h; without a gap there is no bound."""
    assert largest_flow_l_per_h(1.0, 5.0, -5.0) == 1.0
    assert largest_flow_l_per_h(1.0, 5.0, 0.0) == math.inf


def test_a_floating_bag_starts_far_beyond_any_limit() -> None:
    """A 5 °C gap starts at 9.16 °C/h and is under 2 °C after 30 min, as published."""
    first = (floating(20.0, 25.0, 0.01) - 20.0) * 6000
    assert first == pytest.approx(9.16, abs=0.01)
    assert 25.0 - floating(20.0, 25.0, 30.0) == pytest.approx(2.0, abs=1e-9)
    assert pytest.approx(0.030543, abs=1e-6) == FLOAT_RATE_PER_MIN


@pytest.mark.parametrize(
    "act",
    [
        lambda: growing(30, 35, 0, 1, 1),
        lambda: growing(30, 35, 1, -1, 1),
        lambda: overflowing(30, 35, 1, 1, float("nan")),
        lambda: exchanged(30, 35, 1.1, 2),
        lambda: growing_hours(5, 1, 5, 0),
        lambda: blend([]),
        lambda: largest_flow_l_per_h(0, 5, 5),
    ],
)
def test_impossible_vessels_are_refused(act: object) -> None:
    """No volume, negative drip, fraction over 1: a finding, never infinity."""
    with pytest.raises(BadInput):
        act()  # type: ignore[operator]
