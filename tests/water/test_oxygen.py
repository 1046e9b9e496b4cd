"""Oxygen at saturation behaves as oxygen does, and the coarse published rule stays near the fine one."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.errors import OutOfRange
from intake.water.oxygen import oxygen_mg_per_l, oxygen_umol_per_kg, pressure_factor
from intake.water.salinity import density

TEMPERATURES = st.floats(0.0, 39.0)
SALINITIES = st.floats(0.0, 39.0)


@settings(max_examples=60, deadline=None)
@given(TEMPERATURES, SALINITIES)
def test_warmer_or_saltier_water_holds_less(temperature: float, salinity: float) -> None:
    """Monotone in both, in both units, over the whole published range."""
    for law in (oxygen_mg_per_l, oxygen_umol_per_kg):
        here = law(temperature, salinity)
        assert law(temperature + 1, salinity) < here
        assert law(temperature, salinity + 1) < here


@settings(max_examples=60, deadline=None)
@given(TEMPERATURES, SALINITIES)
def test_the_two_published_forms_agree(temperature: float, salinity: float) -> None:
    """Benson & Krause in mg/L and Garcia & Gordon in µmol/kg come from one data set: within 0.1 % of each other."""
    amount = oxygen_umol_per_kg(temperature, salinity)
    mass = amount * density(temperature, salinity) * 31.9988e-6  # g/mol of O2
    assert mass == pytest.approx(oxygen_mg_per_l(temperature, salinity), rel=1e-3)


@pytest.mark.parametrize(("temperature", "slope"), [(20.0, 0.0475), (25.0, 0.0421), (28.0, 0.0389), (30.0, 0.0371)])
def test_linear_salinity_rule_of_en_25814_is_near(temperature: float, slope: float) -> None:
    """C = L - K S is the coarser rule: no nearer than 0.04 mg/L at S 35 is claimed for it."""
    coarse = oxygen_mg_per_l(temperature, 0.0) - slope * 35
    assert coarse == pytest.approx(oxygen_mg_per_l(temperature, 35.0), abs=0.04)


def test_pressure_of_one_atmosphere_changes_nothing_and_range_is_kept() -> None:
    """The pressure term is 1 at 1 atm, falls with height, and refuses what is no pressure of air."""
    assert pressure_factor(25.0, 35.0, 1.0) == pytest.approx(1.0, abs=1e-12)
    assert pressure_factor(25.0, 35.0, 0.9) < 0.9
    for temperature, salinity, pressure in (
        (41, 0, 1),
        (-0.1, 0, 1),
        (20, 41, 1),
        (20, 0, 101.325),
        (20, float("nan"), 1),
    ):
        with pytest.raises(OutOfRange):
            oxygen_mg_per_l(temperature, salinity, pressure)
