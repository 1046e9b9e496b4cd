"""A US farm in the terminal, from the first day to the stock in its vats: no °C, mm, m² or liters on the screen."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from intake.app import system_clock as clock
from intake.cli.command_table import vatside
from intake.cli.farm_units import in_farm_units, measures_in
from intake.farm.shown_units import SI, FarmUnits
from tests.cli.conftest import AT

VATS = "Vat,System,Role,Length,Width,Depth\n" + "".join(f"Q{n},quarantine,quarantine,96,36,12\n" for n in range(1, 5))
VATS += "".join(f"G{n},growout,grow-out,120,48,14\n" for n in range(1, 4))
LIST = 'Box,Scientific name,Size,Qty,Price USD\n1,Tridacna maxima,1.5-2",60,12.50\n2,Zoanthus sp.,1",20,4.00\n'
METRIC = re.compile(r"(?<!\()\b[\d.,]*\d\s?(°C|mm\b|m²|L\b|PSU)")


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    """A farm written by ``init`` from a table in inches."""
    table = tmp_path / "vats.csv"
    table.write_text(VATS, encoding="utf-8")
    words = ["init", str(tmp_path / "farm"), "--vats", str(table), "--units", "us", "--zone", "America/New_York"]
    told = CliRunner().invoke(vatside, [*words, "--supplier", "Lagoon", "--currency", "USD"])
    assert told.exit_code == 0, told.output
    return tmp_path / "farm"


def give(farm: Path, *words: str) -> Result:
    """A command on it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(clock, "now", lambda: AT)
        return CliRunner().invoke(vatside, ["--farm", str(farm), *words])


def test_the_terminal_of_a_us_farm_shows_no_metric_units(farm: Path) -> None:
    """List, plan, receiving, round, reading, release and stock; what stands in --json stays SI."""
    path = farm.parent / "list.csv"
    path.write_text(LIST, encoding="utf-8")
    steps = [
        ("expect", str(path), "--supplier", "lagoon", "--lands", "2027-03-05T09:00"),
        ("plan", "--accept", "--seconds", "2"),
        ("receive", "S1"),
        ("round", "--temp", "quarantine=79F"),
        ("reading", "Q4", "temperature", "79.5F"),
        ("round",),
        ("release",),
        ("report", "vats"),
        (),
    ]
    for words in steps:
        told = give(farm, *words)
        assert told.exit_code in (0, 1), (words, told.output)
        assert not METRIC.search(told.output), (words, METRIC.search(told.output), told.output)
    stops = json.loads(give(farm, "round", "--json").stdout)
    assert stops[0]["temperature_c"] == pytest.approx(26.11, abs=0.01)
    assert "79.0 °F" in give(farm, "round").stdout


@pytest.mark.parametrize(
    ("metric", "shown"),
    [
        ("26.4 °C now", "79.5 °F now"),
        ("at most 1 °C/h", "at most 1.8 °F/h"),
        ("24–28 °C", "75.2–82.4 °F"),
        ("40–50 mm", "1.6–2 in"),
        ("ammonia 0.2 mg/L in 480 L", "ammonia 0.2 mg/L in 127 US gal (480 L)"),
        ("needs 0.729 m²", "needs 7.8 ft²"),
        ("12.5 kg of salt", "27.56 lb (12.5 kg) of salt"),
    ],
)
def test_quantities_in_a_text(metric: str, shown: str) -> None:
    """Readings with the offset of the scale, differences without it; doses per liter stay as they are written."""
    measures_in(FarmUnits("us", "ppt"))
    try:
        assert in_farm_units(metric) == shown
    finally:
        measures_in(SI)
    assert in_farm_units(metric) == metric
