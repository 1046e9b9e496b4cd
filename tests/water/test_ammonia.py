"""Toxic ammonia: the pH scale, the unit and the formula must never be mixed up."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.errors import BadInput, OutOfRange, UnknownName
from intake.water.ammonia import (
    FRESH_AMMONIA_SOURCE,
    SEA_AMMONIA_SOURCE,
    ammonia_share,
    fresh_ammonia_fraction,
    nh3_mg_per_l,
    nh3_n_mg_per_l,
    sea_ammonia_fraction,
    tan_mg_per_l,
    tan_umol_per_kg,
)
from intake.water.equilibrium import ammonium_constant
from tests.water.calculations import molal_fraction


@pytest.mark.parametrize(("ph", "percent"), [(6.7, 0.31), (8.1, 7.18)])
def test_share_at_26_c_and_salinity_35_on_the_total_scale(ph: float, percent: float) -> None:
    """0.31 % at pH 6.7 and 7.18 % at pH 8.1 hold on the TOTAL scale, and only there (recomputed with PyCO2SYS)."""
    assert sea_ammonia_fraction(26.0, 35.0, ph, "total") * 100 == pytest.approx(percent, abs=0.005)
    assert sea_ammonia_fraction(26.0, 35.0, ph, "nbs") * 100 < percent * 0.8


@pytest.mark.parametrize(
    ("scale", "fraction"), [("total", 0.0537), ("seawater", 0.0549), ("free", 0.0424), ("nbs", 0.0398)]
)
def test_ph_8_means_four_things(scale: str, fraction: float) -> None:
    """At S 35 and 25 °C the four scales span 35 %, so a pH without its scale is no answer (PyCO2SYS)."""
    assert sea_ammonia_fraction(25.0, 35.0, 8.0, scale) == pytest.approx(fraction, abs=5e-5)


def test_constant_per_kg_of_pure_water_is_higher() -> None:
    """The published constant (0.0556) and PyCO2SYS's (0.0537) are both right in their own unit."""
    molal = molal_fraction(ammonium_constant(25.0, 35.0, "total"), 35.0, 8.0)
    assert molal == pytest.approx(0.0556, abs=5e-5)
    assert sea_ammonia_fraction(25.0, 35.0, 8.0, "total") == pytest.approx(0.0537, abs=5e-5)


def test_the_misprinted_emerson_constant_would_be_seen() -> None:
    """2727.92 instead of 2729.92 shifts the share by 1.5 %: the tolerance here is finer than that."""
    misprint = 1 / (1 + 10 ** (0.09018 + 2727.92 / 297.15 - 8.0))
    assert fresh_ammonia_fraction(24.0, 8.0) == pytest.approx(0.050171, abs=1e-6)
    assert abs(misprint - 0.050171) > 5e-4


def test_salinity_zero_is_fresh_water_and_anything_else_is_not() -> None:
    """The formula named must be the formula used."""
    assert ammonia_share(24.0, 0.0, 8.0, "nbs").source == FRESH_AMMONIA_SOURCE
    assert ammonia_share(24.0, 0.0, 8.0, "total").fraction == fresh_ammonia_fraction(24.0, 8.0)
    assert ammonia_share(24.0, 35.0, 8.0, "nbs").source == SEA_AMMONIA_SOURCE


@pytest.mark.parametrize(
    ("temperature", "salinity", "scale", "named"),
    [
        (41.0, 35.0, "total", "40"),
        (25.0, 40.5, "total", "Clegg"),
        (25.0, 10.0, "nbs", "NBS"),
        (60.0, 0.0, "nbs", "Emerson"),
    ],
)
def test_outside_the_range_is_refused_by_name(temperature: float, salinity: float, scale: str, named: str) -> None:
    """A refusal names the range and its source, and nothing is stretched beyond it."""
    with pytest.raises(OutOfRange, match=named):
        ammonia_share(temperature, salinity, 8.0, scale)


def test_unknown_scale_and_impossible_ph_are_refused() -> None:
    """A scale misspelt must not fall back to one of ours, and not-a-number is not a pH."""
    with pytest.raises(UnknownName, match="total"):
        sea_ammonia_fraction(25.0, 35.0, 8.0, "nist")
    for ph in (-1.0, 14.5, float("nan")):
        with pytest.raises(BadInput):
            ammonia_share(25.0, 35.0, ph, "total")


def test_ammonia_as_n_and_as_nh3_differ_by_their_weights() -> None:
    """1 mg/L NH3-N is 1.2159 mg/L NH3."""
    assert nh3_mg_per_l(nh3_n_mg_per_l(0.5, 2.0)) == pytest.approx(1.2159, abs=5e-5)
    with pytest.raises(BadInput):
        nh3_n_mg_per_l(0.5, -1.0)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.0, 40.0), st.floats(0.0, 40.0), st.floats(0.0, 20.0))
def test_units_of_total_ammonia_go_there_and_back(temperature: float, salinity: float, tan: float) -> None:
    """Mg N/L to µmol/kg and back loses nothing."""
    there = tan_umol_per_kg(tan, temperature, salinity)
    assert tan_mg_per_l(there, temperature, salinity) == pytest.approx(tan, rel=1e-12, abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(st.floats(5.0, 34.0), st.floats(20.0, 39.0), st.floats(6.0, 8.6))
def test_warmer_or_less_acid_water_is_more_toxic(temperature: float, salinity: float, ph: float) -> None:
    """The share rises with temperature and with pH everywhere we use it."""
    here = sea_ammonia_fraction(temperature, salinity, ph, "total")
    assert sea_ammonia_fraction(temperature + 1, salinity, ph, "total") > here
    assert sea_ammonia_fraction(temperature, salinity, ph + 0.1, "total") > here
