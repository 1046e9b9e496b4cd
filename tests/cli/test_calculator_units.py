"""The calculators in either system: without a farm by ``--units``, on a farm by its own; what was typed is echoed."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from intake.cli.command_table import vatside

METRIC = re.compile(r"(?<![\w.,(])\d[\d.,]*\s?(?:°C|mm|cm|m²|L/h|L|kg|PSU)(?![\w/²³])")
US_FARM = '[farm]\nname = "Invented"\ntime_zone = "America/New_York"\nunits = "us"\n'
EVERY = (
    "water oxygen --temp 79 --salinity 35",
    "water density --temp 77 --salinity 35",
    "water gravity --scale 60F/60F --sg 1.0264 --temp 77",
    "water ammonia --temp 77 --salinity 35 --ph 8.1 --ph-scale nbs --tan-n 0.5",
    "water salt --litres 100gal --salinity 35 --temp 77",
    "water dose --litres 66gal --mg-per-l 20",
    "water conductivity --temp 77 --ms-per-cm 53",
    "water mix 50gal,77,30 10gal,68,38",
    "water volume --shape rectangle --length-cm 48in --width-cm 24in --depth-cm 12in",
    "water bag --temp 77 --salinity 35 --ph 6.6 --ph-scale nbs --tan-n 2 --alkalinity 7dKH",
    "acclimate --mode drip --volume-l 1.3gal --from-temp 75 --to-temp 79 --from-salinity 32 --to-salinity 35",
    "acclimate --animals 58 --group clam_small --size-mm 1.2in --volume-l 1gal --bags 4 --from-temp 75 --to-temp 79 --room 72",
)


def give(text: str, folder: Path) -> Result:
    """A command in a folder that may hold a farm."""
    return CliRunner().invoke(vatside, ["--farm", str(folder), *text.split()])


@pytest.mark.parametrize("text", EVERY)
def test_an_answer_in_us_units(text: str, tmp_path: Path) -> None:
    """°F, US gal, lb, oz, ft and ppt, with SI in brackets where salt and doses are reckoned by it; a source keeps its words."""
    told = give(f"{text} --units us", tmp_path)
    assert told.exit_code == 0, told.output
    assert not METRIC.search(told.stdout.partition("\nsource")[0]), told.stdout
    (tmp_path / "farm.toml").write_text(US_FARM, encoding="utf-8")
    assert give(text, tmp_path).stdout == told.stdout, "the farm's own units are asked for by nobody"


def test_both_systems_give_one_answer(tmp_path: Path) -> None:
    """What stands in --json is SI, whatever was typed and asked for."""
    us = give("water salt --units us --litres 100gal --salinity 35 --temp 77 --json", tmp_path)
    si = give("water salt --litres 378.5411784 --salinity 35 --temp 25 --json", tmp_path)
    assert json.loads(us.stdout) == pytest.approx(json.loads(si.stdout))
    assert "77: understood as 77.0 °F\n" in us.stderr
    assert "100gal: understood as 100.0 US gal (378.54 L)" in us.stderr
    assert si.stderr == ""


def test_a_refusal_in_the_unit_typed(tmp_path: Path) -> None:
    """200 °F is told as 200, and its range in °F; the same in °C."""
    assert (
        "temperature in °F: 200. Expected 32 to 104" in give("water oxygen --temp 200F --salinity 35", tmp_path).stderr
    )
    assert "temperature in °C: 93. Expected 0 to 40" in give("water oxygen --temp 93 --salinity 35", tmp_path).stderr
    refused = give("water oxygen --units us --temp 93C --salinity 35", tmp_path).stderr
    assert "temperature in °C: 93. Expected 0 to 40" in refused
    assert "Expected a number with °C or °F" in give("water oxygen --temp warm --salinity 35", tmp_path).stderr


def test_a_specific_gravity_is_never_taken_for_a_salinity(tmp_path: Path) -> None:
    """1.0264 without a scale is refused with the scales; with one, or on a farm that has one, it is sea water."""
    refused = give("water oxygen --temp 26 --salinity 1.0264", tmp_path)
    assert refused.exit_code == 2
    assert "60F/60F" in refused.stderr
    named = CliRunner().invoke(
        vatside, ["water", "density", "--temp", "26", "--salinity", "1.0264 SG 60F/60F", "--salinity-in", "psu"]
    )
    assert named.exit_code == 0, named.output
    (tmp_path / "farm.toml").write_text(f'{US_FARM}salinity = "sg 60F/60F"\n', encoding="utf-8")
    told = give("water mix 50gal,77,1.0264 10gal,77,1.0264", tmp_path)
    assert "1.0264 SG" in told.stdout


def test_a_farm_that_cannot_be_read_is_no_matter(tmp_path: Path) -> None:
    """A calculator works beside a broken farm file, in SI."""
    (tmp_path / "farm.toml").write_text('[farm\nunits = "us"', encoding="utf-8")
    told = give("water oxygen --temp 26 --salinity 35", tmp_path)
    assert told.exit_code == 0, told.output
    assert told.stderr == ""
