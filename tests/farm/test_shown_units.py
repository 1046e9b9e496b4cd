"""A farm's own units: texts, tables and refusals in them, figures read from them, and the sea water behind a specific gravity."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intake.errors import BadInput, Finding
from intake.farm.shown_units import SALINITY_KEYS, SI, FarmUnits, reading_words
from intake.water.salinity import specific_gravity

US = FarmUnits("us", "ppt")
HYDROMETER = FarmUnits("us", "sg 60F/60F")


@pytest.mark.parametrize(
    ("metric", "shown"),
    [
        ("26.4 °C now", "79.5 °F now"),
        ("8 °C at Q1: sure?", "46.4 °F at Q1: sure?"),
        ("8 °C", "46.4 °F"),
        ("Packed damp, 12.0 °C from the vat", "Packed damp, 21.6 °F from the vat"),
        ("differ by only 1.5 °C and 2.0 PSU", "differ by only 2.7 °F and 2.0 ppt"),
        ("at most 1 °C/h", "at most 1.8 °F/h"),
        ("24–28 °C", "75.2–82.4 °F"),
        ("Needed: 26 ± 5 °C", "Needed: 78.8 ± 9.0 °F"),
        ("temperature °C, 25 to 28", "temperature °F, 77.0 to 82.4"),
        ("40–50 mm", "1.6–2 in"),
        ("a label of 60 x 36 mm", "a label of 2.4 in x 1.4 in"),
        ("4-5 cm", "1.6–2 in"),
        ("ammonia 0.2 mg/L in 480 L", "ammonia 0.2 mg/L in 127 US gal (480 L)"),
        ("Drip 3.20 L/h", "Drip 0.85 US gal/h (3.20 L/h)"),
        ("(4.0 L in, 3.0 L out.)", "(1.06 US gal (4.0 L) in, 0.79 US gal (3.0 L) out.)"),
        ("needs 0.729 m²", "needs 7.8 ft²"),
        ("needs 0.02 m²", "needs 0.22 ft²"),
        ("12.5 kg of salt", "27.56 lb (12.5 kg) of salt"),
        ("2 mL a liter, 250 mg/L, S1-01 L", "2 mL a liter, 250 mg/L, S1-01 L"),
        ("34.5 PSU", "34.5 ppt"),
        ("1,200 L", "317 US gal (1,200 L)"),
        ("26,4 °C", "26,4 °C"),
    ],
)
def test_quantities_in_a_text(metric: str, shown: str) -> None:
    """Readings with the offset of the scale, differences without it; doses stay; read again, nothing changes."""
    assert US.text(metric) == shown
    assert US.text(shown) == shown
    assert SI.text(metric) == metric


@pytest.mark.parametrize(
    ("psu", "shown"),
    [
        ("35 PSU", f"{specific_gravity(35.0, '60F/60F'):.4f} SG"),
        ("32–36 PSU", f"{specific_gravity(32.0, '60F/60F'):.4f}–{specific_gravity(36.0, '60F/60F'):.4f} SG"),
        ("0 PSU, same temperature", "1.0000 SG (0 PSU), same temperature"),
        ("15 PSU", f"{specific_gravity(15.0, '60F/60F'):.4f} SG (15 PSU)"),
        ("within 2 PSU", "within 0.0015 SG (2 PSU)"),
    ],
)
def test_a_specific_gravity_is_the_sea_waters(psu: str, shown: str) -> None:
    """By the density of the water room; treatment water and differences keep PSU beside."""
    assert HYDROMETER.text(psu) == shown
    assert HYDROMETER.text(shown) == shown


def test_one_figure_on_two_scales_is_two_salinities() -> None:
    """1.0264 at 60F/60F and at 25C/25C are 0.6 PSU apart, so the scale stands in every heading."""
    first = HYDROMETER.read("salinity", "1.0264").value
    second = FarmUnits("si", "sg 25C/25C").read("salinity", "1.0264").value
    assert second - first == pytest.approx(0.63, abs=0.02)
    assert HYDROMETER.unit("salinity_psu") == "SG 60F/60F"
    assert "60F/60F" in HYDROMETER.legend


@given(st.floats(8.0, 41.9), st.sampled_from([key for key in SALINITY_KEYS if key.startswith("sg")]))
def test_a_gravity_shown_is_read_back(psu: float, key: str) -> None:
    """To the four decimals shown: 0.0001 is about 0.13 PSU."""
    farm = FarmUnits("us", key)
    assert farm.read("salinity", farm.figure("salinity_psu", psu)).value == pytest.approx(psu, abs=0.09)


@given(st.floats(-1.0, 40.0))
def test_a_temperature_shown_is_read_back(celsius: float) -> None:
    """To the tenth of a degree shown."""
    shown = US.shown("temperature_c", celsius)
    assert US.read("temperature", shown).value == pytest.approx(celsius, abs=0.06)


@pytest.mark.parametrize(
    ("farm", "quantity", "typed", "value"),
    [
        (US, "temperature", "79", 26.11),
        (US, "temperature_c", "26", 26.0),
        (US, "temperature", "26.1C", 26.1),
        (SI, "temperature", "79F", 26.11),
        (SI, "temperature", "26", 26.0),
        (US, "salinity", "35 ppt", 35.0),
        (SI, "salinity", "1.0264 SG 60F/60F", 34.4),
        (HYDROMETER, "salinity", "34.5PSU", 34.5),
        (US, "bag_water_l", "1 gal", 3.785411784),
        (US, "ph", "8.1", 8.1),
    ],
)
def test_either_unit_is_read(farm: FarmUnits, quantity: str, typed: str, value: float) -> None:
    """A bare number is in the farm's unit, or in the one its quantity's name says."""
    assert farm.read(quantity, typed).value == pytest.approx(value, abs=0.06)


def test_what_was_typed_is_echoed_in_both_units() -> None:
    """So that 79 taken for °C is seen at once."""
    assert US.read("temperature", "79").words == "79.0 °F (26.1 °C)"
    assert SI.read("temperature", "79F").words == "26.1 °C"


@pytest.mark.parametrize(
    ("farm", "quantity", "typed", "asks"),
    [
        (SI, "salinity", "1.0264 SG", "sg 60F/60F"),
        (SI, "salinity", "53 mS/cm", "PSU, ppt or SG"),
        (US, "temperature", "warm", "°C or °F"),
        (US, "ph", "eight", "a number"),
    ],
)
def test_what_cannot_be_understood_is_asked(farm: FarmUnits, quantity: str, typed: str, asks: str) -> None:
    """A gravity without its temperatures is no salinity."""
    with pytest.raises(BadInput, match=re.escape(asks)):
        farm.read(quantity, typed)


def test_a_refusal_speaks_in_the_unit_typed() -> None:
    """What a person typed is never rewritten."""
    assert US.finding(Finding("temperature", "12 F", "20 to 30 °C")) == "temperature: 12 F. Expected 68.0 to 86.0 °F."
    assert US.finding(Finding("temperature", "99 C", "20 to 30 °C")) == "temperature: 99 C. Expected 20 to 30 °C."


def test_content_of_a_form_is_told_throughout() -> None:
    """Texts in classes, rows and tables; numbers and what needs no change stay the same objects."""

    @dataclass(frozen=True)
    class Row:
        words: str
        count: int

    rows = (Row("26 °C", 3), Row("no figure", 4))
    told = US.content({"rows": rows, "pair": ("12 L", 5)})
    assert told == {"rows": (Row("78.8 °F", 3), rows[1]), "pair": ("3.17 US gal (12 L)", 5)}
    assert told["rows"][1] is rows[1]
    assert SI.content(rows) is rows


def test_what_is_short_reads_with_its_unit() -> None:
    """The plan's rows keep their contract; a person reads figure and unit together."""
    name, shown = US.binding({"resource": "bench area m²"})
    assert (name, shown(0.729)) == ("bench area", "7.8 ft²")
    name, shown = US.binding({"resource": "temperature °C, 25 to 28"})
    assert (name, shown(30.0)) == ("temperature °F, 77.0 to 82.4", "86.0 °F")
    assert US.binding({"resource": "vats with no incompatible animals"})[0] == "vats with no incompatible animals"
    assert SI.binding({"resource": "vats in service"})[1](3) == "3"


def test_a_reading_in_words() -> None:
    """By its name, not by its key."""
    assert reading_words("temperature_c", 26.1) == "temperature 26.1 °C"
    assert reading_words("ph", 8.1) == "pH 8.1"
