"""Quantities are read exactly, refused when in doubt, and never shown without their unit."""

from __future__ import annotations

import contextlib
import re
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake import units
from intake.errors import BadInput


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("2.5 in", 63.5),
        ("1 ft", 304.8),
        ('2"', 50.8),
        ('1 1/2"', 38.1),
        ("1-1/2 in", 38.1),
        ("2½ in", 63.5),
        ("¾ in", 19.05),
        ("45mm", 45.0),
        ("4.5 cm", 45.0),
        ("1.2 m", 1200.0),
        ("3 inches", 76.2),
    ],
)
def test_lengths_come_to_mm_by_exact_factors(text: str, mm: float) -> None:
    """The inch is 25.4 mm exactly since 1959."""
    assert units.length_mm(text) == pytest.approx(mm, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "ends"),
    [
        ("4-5 cm", (40, 50)),
        ("4–5cm", (40, 50)),
        ("4 to 5 cm", (40, 50)),
        ("4 cm - 5 cm", (40, 50)),
        ("7 cm", (70, 70)),
        ("5 mm - 1 cm", (5, 10)),
        ('1"-1 1/2"', (25.4, 38.1)),
    ],
)
def test_ranges_keep_both_ends(text: str, ends: tuple[float, float]) -> None:
    """One unit at the end serves both; each end may have its own."""
    assert units.length_range_mm(text) == pytest.approx(ends)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "5",
        "cm",
        "5 km",
        "-4 cm",
        "0 cm",
        "5-4 cm",
        "4-5-6 cm",
        ">10 cm",
        "10 cm+",
        "4,5 cm",
        "1e3 mm",
        "nan cm",
        "٣ cm",
        "3/2 in",
        "1/0 in",
        "4 5 cm",
        "x" * 10_000,
    ],
)
def test_what_is_no_length_is_refused(text: str) -> None:
    """No unit, no number, backwards, open-ended, the wrong decimal mark: nothing is guessed."""
    with pytest.raises(BadInput):
        units.length_range_mm(text)


def test_a_single_length_is_not_a_range() -> None:
    """Where one length is wanted, a range has no one answer."""
    with pytest.raises(BadInput, match="not a range"):
        units.length_mm("4-5 cm")


@pytest.mark.parametrize(
    ("text", "mark", "number"),
    [
        ("1.250", ".", "1.250"),
        ("1.250", ",", "1250"),
        ("1,250", ".", "1250"),
        ("5.625,00", ",", "5625.00"),
        ("1'250.5", ".", "1250.5"),
        ("1 250,5", ",", "1250.5"),
        ("-3", ".", "-3"),
        (".5", ".", "0.5"),
    ],
)
def test_a_number_is_read_under_the_mark_that_is_given(text: str, mark: units.DecimalMark, number: str) -> None:
    """The same text is a thousand times larger under the other mark, so the mark is an argument."""
    assert units.decimal_of(text, mark) == Decimal(number)


@pytest.mark.parametrize(
    ("text", "mark"),
    [("4,50", "."), ("12,34,567", "."), ("1.25", ","), ("1.2.3", "."), ("", "."), ("1,", "."), ("9" * 100, ".")],
)
def test_a_number_that_does_not_fit_its_mark_is_refused(text: str, mark: units.DecimalMark) -> None:
    """'4,50' under a decimal point is an error, not 450."""
    with pytest.raises(BadInput):
        units.decimal_of(text, mark)


def test_temperatures_and_their_differences_differ() -> None:
    """79–80 °F is where such a farm keeps its water; a difference has no 32 degrees in it."""
    assert units.temperature_c("77 °F") == pytest.approx(25.0)
    assert units.temperature_c("25.5 C") == 25.5
    assert units.temperature_c("25", unit="c") == 25.0
    assert units.show_temperature(25.0, "us") == "77.0 °F"
    assert units.show_temperature_change(1.0, "us") == "1.8 °F"
    for text in ("25", "25 K", "-300 C", "warm"):
        with pytest.raises(BadInput):
            units.temperature_c(text)


def test_volumes_masses_alkalinity_and_percent() -> None:
    """A US gallon is 3.785411784 L, a pound 0.45359237 kg, exactly; a bare 0.05 is no percentage."""
    assert units.volume_l("100 gal") == pytest.approx(378.5411784, rel=1e-15)
    assert units.volume_l("250 mL") == 0.25
    assert units.mass_kg("10 lb") == pytest.approx(4.5359237, rel=1e-15)
    assert units.mass_kg("16 oz") == pytest.approx(0.45359237, rel=1e-15)
    assert units.alkalinity_meq_per_l("2.8 dKH") == pytest.approx(1.0, abs=0.002)
    assert units.percent("5 %") == 5.0
    for refused in ("0.05", "101 %", "-1 %"):
        with pytest.raises(BadInput):
            units.percent(refused)
    for reader, refused in ((units.volume_l, "3 uk gal"), (units.volume_l, "3"), (units.mass_kg, "0 kg")):
        with pytest.raises(BadInput):
            reader(refused)


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Size (cm)", "cm"),
        ("Size/inch", "in"),
        ("Length mm", "mm"),
        ("Size", ""),
        ("Size cm/inch", ""),
        ('Size (")', "in"),
    ],
)
def test_the_unit_of_a_heading(heading: str, unit: str) -> None:
    """Two units in one heading are none."""
    assert units.length_unit_in(heading) == unit


def test_what_is_shown_carries_its_unit() -> None:
    """A number alone on a sheet at the vat is a trap."""
    shown = [
        show(value, system)
        for show in (
            units.show_length,
            units.show_area,
            units.show_temperature,
            units.show_temperature_change,
            units.show_volume,
            units.show_mass,
        )
        for system in ("si", "us")
        for value in (0.01, 0.5, 3.0, 63.5, 12345.0)
    ]
    assert all(re.fullmatch(r"-?[\d.]+ \S.*", text) for text in shown), shown
    assert units.show_length_range(40, 50) == "40–50 mm"
    assert units.show_length_range(38.1, 50.8, "us") == "1.5–2 in"
    assert units.show_percent(5.0) == "5 %"


@settings(max_examples=60, deadline=None)
@given(st.decimals(min_value="0.1", max_value="900", places=1), st.sampled_from(["mm", "cm", "in", "ft", "m"]))
def test_a_length_survives_writing_and_reading_in_every_unit(number: Decimal, unit: str) -> None:
    """Reading divides out what the unit multiplied, under either decimal mark."""
    expected = float(number * units.LENGTH_UNITS[unit])
    assert units.length_mm(f"{number} {unit}") == pytest.approx(expected, rel=1e-12)
    assert units.length_mm(f"{str(number).replace('.', ',')} {unit}", decimal=",") == pytest.approx(expected, rel=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=30))
def test_no_text_brings_a_reader_down(text: str) -> None:
    """Any text is a quantity or BadInput."""
    for reader in (
        units.length_range_mm,
        units.temperature_c,
        units.volume_l,
        units.mass_kg,
        units.percent,
        units.decimal_of,
    ):
        with contextlib.suppress(BadInput):
            assert isinstance(reader(text), float | tuple | Decimal)
