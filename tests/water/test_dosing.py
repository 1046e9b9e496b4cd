"""Salt and dosing arithmetic: mass is conserved and nonsense refused."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.errors import BadInput, OutOfRange
from intake.water.dosing import (
    dose_grams,
    fresh_water_to_lower_l,
    salt_for,
    salt_to_raise_kg,
    stock_ml,
    tank_litres_frustum,
    tank_litres_oval,
    tank_litres_rectangle,
)
from intake.water.salinity import density
from intake.water.seawater import reference_salinity


@settings(max_examples=40, deadline=None)
@given(st.floats(1.0, 5000.0), st.floats(1.0, 42.0), st.floats(0.0, 35.0))
def test_what_is_weighed_gives_the_salinity_asked_for(litres: float, salinity: float, temperature: float) -> None:
    """Salt and water of a mix, stirred together, have the salinity and the mass that were wanted."""
    mix = salt_for(litres, salinity, temperature)
    whole = mix.salt_kg + mix.fresh_water_l * density(temperature, 0.0) / 1000
    assert whole == pytest.approx(litres * density(temperature, salinity) / 1000, rel=1e-9)
    assert mix.salt_kg / whole * 1000 == pytest.approx(reference_salinity(salinity), rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.floats(1.0, 5000.0), st.floats(5.0, 35.0), st.floats(0.1, 7.0))
def test_raising_conserves_the_water_and_lowering_the_salt(litres: float, start: float, change: float) -> None:
    """Salt added brings exactly the goal by mass; fresh water added leaves the salt as it was."""
    mass = litres * density(25.0, start) / 1000
    added = salt_to_raise_kg(litres, start, start + change, 25.0)
    after = (mass * reference_salinity(start) / 1000 + added) / (mass + added) * 1000
    assert after == pytest.approx(reference_salinity(start + change), rel=1e-9)
    poured = fresh_water_to_lower_l(litres, start + change, start, 25.0) * density(25.0, 0.0) / 1000
    heavy = litres * density(25.0, start + change) / 1000
    assert heavy * (start + change) / (heavy + poured) == pytest.approx(start, rel=1e-9)


def test_a_damp_mix_needs_more_salt_and_less_water() -> None:
    """With a tenth of moisture: 10 % more from the sack, and the water in it is not poured twice."""
    dry, damp = salt_for(100.0, 35.0, 25.0), salt_for(100.0, 35.0, 25.0, 1.1)
    assert damp.salt_kg == pytest.approx(1.1 * dry.salt_kg)
    extra = (damp.salt_kg - dry.salt_kg) / density(25.0, 0.0) * 1000
    assert dry.fresh_water_l - damp.fresh_water_l == pytest.approx(extra)
    # raising with a damp mix: what is not salt in it is water, so the goal is still met
    mass, added = 1000 * density(25.0, 33.0) / 1000, salt_to_raise_kg(1000.0, 33.0, 35.0, 25.0, 1.1)
    after = (mass * reference_salinity(33.0) / 1000 + added / 1.1) / (mass + added) * 1000
    assert after == pytest.approx(reference_salinity(35.0), rel=1e-9)


def test_lowering_by_mass_needs_more_than_volumes_say() -> None:
    """29.35 L by mass, where C1V1 = C2V2 says 28.57 L."""
    assert fresh_water_to_lower_l(1000.0, 36.0, 35.0, 25.0) == pytest.approx(29.347, abs=5e-4)


def test_shapes() -> None:
    """Tanks, each against arithmetic done by hand."""
    assert tank_litres_oval(200.0, 100.0, 50.0) == pytest.approx(math.pi * 100 * 50 * 50 / 1000)
    assert tank_litres_frustum(100.0, 100.0, 60.0) == pytest.approx(math.pi * 2500 * 60 / 1000)
    assert tank_litres_frustum(100.0, 0.0, 60.0) == pytest.approx(math.pi * 2500 * 60 / 3000)
    assert tank_litres_rectangle(120.0, 60.0, 50.0) == 360.0


@pytest.mark.parametrize(
    "act",
    [
        lambda: salt_for(0, 35, 25),
        lambda: salt_for(100, 35, 25, 0.9),
        lambda: salt_to_raise_kg(100, 35, 34, 25),
        lambda: fresh_water_to_lower_l(100, 35, 36, 25),
        lambda: fresh_water_to_lower_l(100, 35, 0, 25),
        lambda: dose_grams(100, -1),
        lambda: dose_grams(100, 1, 0),
        lambda: dose_grams(float("inf"), 1),
        lambda: stock_ml(100, 20000, 10),
        lambda: tank_litres_rectangle(1, 0, 1),
    ],
)
def test_impossible_doses_are_refused(act: object) -> None:
    """Nothing negative, nothing empty, no product with no active part, no bath stronger than its stock."""
    with pytest.raises(BadInput):
        act()  # type: ignore[operator]


def test_salt_outside_the_density_range_is_refused() -> None:
    """No salt is reported for a brine the formula does not cover."""
    with pytest.raises(OutOfRange, match="0 to 42"):
        salt_for(100.0, 60.0, 25.0)
