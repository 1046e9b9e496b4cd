"""The calculators on the command line: names, keys, sources, refusals."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from intake.cli.calculators.water_calculators import water
from intake.errors import BadInput, OutOfRange, UnknownName


def _answer(*words: str) -> dict[str, object]:
    result = CliRunner().invoke(water, [*words, "--json"], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    answer = json.loads(result.output)
    assert answer["source"]
    return dict(answer)


@pytest.mark.parametrize(
    ("line", "key", "value", "places"),
    [
        ("oxygen --temp 26 --salinity 35", "mg_per_l", 6.65868, 5e-4),
        ("oxygen --temp 10 --salinity 35", "umol_per_kg", 274.610, 5e-4),
        ("oxygen --temp 25 --salinity 35 --pressure 0.9", "mg_per_l", 6.07389, 5e-4),
        ("density --temp 25 --salinity 35", "kg_per_m3", 1023.3431, 5e-4),
        ("gravity --scale 20C/4C --salinity 35", "sg", 1.02479, 1e-5),
        ("gravity --scale 60F/60F --sg 1.025", "salinity", 32.59, 0.01),
        ("ammonia --temp 26 --salinity 35 --ph 8.1 --ph-scale total", "fraction", 0.0718, 5e-5),
        ("ammonia --temp 24 --salinity 0 --ph 8 --ph-scale nbs --tan-n 1", "nh3_n_mg_per_l", 0.0502, 5e-5),
        ("salt --litres 100 --salinity 35 --temp 25", "salt_kg", 3.5986, 5e-5),
        ("salt --litres 100 --salinity 35 --temp 25", "fresh_water_l", 99.028, 5e-4),
        ("dose --litres 250 --mg-per-l 20 --active-percent 80", "grams", 6.25, 1e-9),
        ("dose --litres 250 --mg-per-l 5 --stock-g-per-l 10", "stock_ml", 125.0, 1e-9),
        ("conductivity --temp 25 --salinity 35", "ms_per_cm", 53.0710, 5e-4),
        ("conductivity --temp 25 --ms-per-cm 53.087", "salinity", 35.01185, 1e-4),
        ("mix 1,25,30 1,25,35", "salinity", 32.5046, 5e-5),
        ("volume --shape rectangle --length-cm 100 --width-cm 50 --depth-cm 40", "litres", 200.0, 1e-9),
        ("volume --shape cylinder --length-cm 100 --depth-cm 40", "litres", 314.159, 5e-4),
    ],
)
def test_answers_carry_their_value_and_source(line: str, key: str, value: float, places: float) -> None:
    """The JSON keys others rely on hold the published figures."""
    assert _answer(*line.split())[key] == pytest.approx(value, abs=places)


def test_opening_a_bag_is_told_by_stage() -> None:
    """The last stage is some 35 times as toxic as the first."""
    line = ["bag", "--temp", "25", "--salinity", "35", "--ph", "6.5925", "--ph-scale", "nbs", "--tan-n", "2"]
    stages = _answer(*line)["stages"]
    assert isinstance(stages, list)
    toxic = [stage["nh3_n_mg_per_l"] for stage in stages]
    assert toxic == sorted(toxic)
    assert toxic[-1] / toxic[0] == pytest.approx(34.8, abs=0.5)


@pytest.mark.parametrize(
    ("line", "kind", "named"),
    [
        ("oxygen --temp 45 --salinity 35", OutOfRange, "0 to 40"),
        ("density --temp 25 --salinity 50", OutOfRange, "0 to 42"),
        ("gravity --scale 20/4 --sg 1.025", UnknownName, "20C/4C"),
        ("gravity --scale 20C/4C --sg 1.2", OutOfRange, "0 to 42"),
        ("ammonia --temp 25 --salinity 35 --ph 8 --ph-scale sws", UnknownName, "nbs"),
        ("ammonia --temp 25 --salinity 35 --ph 80 --ph-scale nbs", BadInput, "14"),
        ("dose --litres 250 --mg-per-l 20 --active-percent 0", BadInput, "100"),
        ("mix 1,25 2,x,3", BadInput, "LITRES"),
        ("bag --temp 25 --salinity 10 --ph 7 --ph-scale total --tan-n 1", OutOfRange, "Lueker"),
    ],
)
def test_refusals_are_findings_with_the_range(line: str, kind: type[Exception], named: str) -> None:
    """Out of range, unknown and impossible come back as findings that the group turns into text and exit 2."""
    result = CliRunner().invoke(water, line.split())
    assert isinstance(result.exception, kind)
    assert named in str(result.exception)


def test_an_amount_below_zero_is_refused_with_the_units_it_may_have() -> None:
    """Exit 2; the option, the value, and what is read instead."""
    result = CliRunner().invoke(water, ["salt", "--litres=-5", "--salinity", "35", "--temp", "25"])
    assert result.exit_code == 2
    assert "'--litres': -5. Expected a number with L, mL, m³ or US gal, above zero." in result.output


@pytest.mark.parametrize(
    "line",
    [
        "gravity --scale 20C/4C",
        "gravity --scale 20C/4C --sg 1.02 --salinity 30",
        "gravity --scale 20C/4C --salinity 30 --temp 25",
        "gravity --sg 1.02",
        "ammonia --temp 25 --salinity 35 --ph 8",
        "conductivity --temp 25",
        "volume --shape oval --length-cm 10 --depth-cm 5",
        "volume --shape cylinder --length-cm 10 --width-cm 5 --depth-cm 5",
        "oxygen --temp warm --salinity 35",
    ],
)
def test_half_a_question_is_bad_use(line: str) -> None:
    """A gravity without its scale, a pH without its scale, both ends or neither: exit 2 and a hint, no guess."""
    assert CliRunner().invoke(water, line.split()).exit_code == 2


@pytest.mark.parametrize("name", sorted(water.commands))
def test_help_has_an_example(name: str) -> None:
    """Each calculator shows one line that can be copied."""
    shown = CliRunner().invoke(water, [name, "--help"]).output
    assert "Example: vatside water" in shown


@pytest.mark.parametrize(
    "line",
    [
        "oxygen --temp 26 --salinity 35",
        "gravity --scale 20C/4C --sg 1.0248 --temp 25",
        "ammonia --temp 26 --salinity 35 --ph 8.1 --ph-scale nbs --tan-n 0.5",
        "salt --litres 1000 --salinity 35 --temp 25",
        "bag --temp 25 --salinity 35 --ph 6.6 --ph-scale nbs --tan-n 2",
    ],
)
def test_text_fits_a_narrow_terminal_and_names_its_source(line: str) -> None:
    """At most 80 columns, with units and a source."""
    result = CliRunner().invoke(water, line.split(), catch_exceptions=False)
    assert result.exit_code == 0
    assert "source" in result.output
    assert max(map(len, result.output.splitlines())) <= 80
