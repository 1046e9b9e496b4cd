"""Density, specific gravity and conductivity: scales and units kept apart."""

from __future__ import annotations

from importlib.resources import as_file, files

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.errors import OutOfRange, UnknownName
from intake.water.salinity import (
    GRAVITY_SCALES,
    conductivity_ms_per_cm,
    density,
    hydrometer_salinity,
    salinity_from_conductivity,
    salinity_from_density,
    salinity_from_gravity,
    specific_gravity,
)
from intake.water.seawater import density_raw, practical_salinity_raw


def test_wrappers_agree_with_the_check_file_shipped_with_gsw() -> None:
    """TEOS-10's own check casts pass through our wrappers unchanged, so no argument is swapped or rescaled."""
    import gsw
    import numpy as np

    with as_file(files("gsw") / "tests" / "gsw_cv_v3_0.npz") as path, np.load(path) as file:
        absolute, temperature, pressure = file["SA_chck_cast"], file["t_chck_cast"], file["p_chck_cast"]
        expected = gsw.rho(absolute, file["CT_chck_cast"], pressure)
        shipped = file["rho"]
        raw, practical = file["C_from_SP"], file["SP_from_C"]
        spot = [(i, j) for i in range(0, 45, 4) for j in range(3)]
    compared = 0
    for i, j in spot:
        if not np.isfinite(absolute[i, j] + temperature[i, j]):
            continue
        ours = density_raw(float(temperature[i, j]), float(absolute[i, j]) * 35 / 35.16504, float(pressure[i, 0]))
        assert ours == pytest.approx(float(shipped[i, j]), abs=1e-5)
        assert float(expected[i, j]) == pytest.approx(float(shipped[i, j]), abs=1e-5)
        salinity = practical_salinity_raw(float(raw[i, j]), float(temperature[i, j]), float(pressure[i, 0]))
        assert salinity == pytest.approx(float(practical[i, j]), abs=1e-6)
        compared += 1
    assert compared >= 20


def test_one_reading_spans_two_and_a_half_psu_over_the_scales() -> None:
    """1.025 means 32.6 to 35.3 PSU: the reason no function takes a gravity without its scale."""
    read = [salinity_from_gravity(1.025, scale) for scale in GRAVITY_SCALES]
    assert min(read) == pytest.approx(32.59, abs=0.01)
    assert max(read) == pytest.approx(35.28, abs=0.01)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.0, 42.0), st.sampled_from(sorted(GRAVITY_SCALES)))
def test_gravity_goes_there_and_back(salinity: float, scale: str) -> None:
    """Salinity to gravity to salinity on one scale loses nothing that an instrument shows."""
    assert salinity_from_gravity(specific_gravity(salinity, scale), scale) == pytest.approx(salinity, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.floats(2.0, 42.0), st.floats(0.0, 35.0))
def test_conductivity_goes_there_and_back(salinity: float, temperature: float) -> None:
    """PSS-78 and its inverse agree over the published range."""
    raw = conductivity_ms_per_cm(salinity, temperature)
    assert practical_salinity_raw(raw, temperature) == pytest.approx(salinity, abs=1e-6)


def test_hydrometer_in_water_off_its_temperature() -> None:
    """At its own temperature the correction is nothing; warmer water reads too light and must be corrected upwards."""
    own = hydrometer_salinity(1.025, "20C/4C", 20.0)
    assert own == pytest.approx(salinity_from_gravity(1.025, "20C/4C"), abs=1e-6)
    # 25 °C: 1025.0 × 0.99997 × (1 - 25e-6 × 5) = 1024.85 kg/m³, which TEOS-10 gives for S 37.0
    warm = hydrometer_salinity(1.025, "20C/4C", 25.0)
    assert density(25.0, warm) == pytest.approx(1.025 * density(4.0, 0.0) * (1 - 25e-6 * 5), abs=1e-6)
    assert warm > own + 1.5


def test_refusals_name_what_was_wrong() -> None:
    """An unknown scale offers the known ones; a gravity, a conductivity, a salinity out of range names the range."""
    with pytest.raises(UnknownName, match="20C/4C"):
        specific_gravity(35.0, "20/4")
    assert specific_gravity(35.0, " 20c/4c ") == specific_gravity(35.0, "20C/4C")
    with pytest.raises(OutOfRange, match="0 to 42"):
        salinity_from_gravity(1.04, "20C/4C")
    with pytest.raises(OutOfRange, match="PSS-78"):
        salinity_from_conductivity(5.3, 25.0 + 15.0)
    with pytest.raises(OutOfRange, match="PSS-78"):
        salinity_from_conductivity(0.5307, 25.0)
    for temperature, salinity in ((41.0, 35.0), (25.0, 43.0), (25.0, -0.1), (float("nan"), 35.0)):
        with pytest.raises(OutOfRange):
            density(temperature, salinity)


@pytest.mark.parametrize("gravity", [0.97, 1.06])
def test_a_gravity_no_sea_water_has_is_refused(gravity: float) -> None:
    """Lighter than fresh water or heavier than brine of 42 PSU is a misread hydrometer, not a salinity of 0 or 42."""
    with pytest.raises(OutOfRange):
        salinity_from_gravity(gravity, "20C/4C")


@pytest.mark.parametrize("density", [990.0, 1040.0])
def test_a_density_no_sea_water_has_is_refused(density: float) -> None:
    """At 25 °C fresh water weighs 997 kg/m³ and 42 PSU 1,029: what lies outside is not bent to the nearest."""
    with pytest.raises(OutOfRange):
        salinity_from_density(25.0, density)
