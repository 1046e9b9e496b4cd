"""The acclimation calculator on the command line."""

from __future__ import annotations

import json
from typing import Any

import pytest
from click.testing import CliRunner

from intake.cli.calculators.acclimate import acclimate
from intake.errors import BadInput, OutOfRange

GAP = "--volume-l 5 --from-temp 26 --to-temp 26 --from-salinity 30 --to-salinity 35"
CHEMISTRY = "--from-ph 6.8 --to-ph 8.2 --tan-n 0.3"


def _answer(line: str) -> dict[str, Any]:
    result = CliRunner().invoke(acclimate, [*line.split(), "--json"], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    answer = json.loads(result.output)
    assert answer["source"]
    assert answer["steps"]
    return dict(answer)


@pytest.mark.parametrize("mode", ["auto", "drip", "overflow", "exchange", "float", "damp"])
def test_every_mode_answers_with_lawful_steps(mode: str) -> None:
    """Each mode gives steps that end in the vat, and under stated limits none is passed."""
    answer = _answer(f"--mode {mode} {GAP} {CHEMISTRY} --max-c-per-h 1 --max-psu-per-h 2")
    assert answer["first_breach"] is None
    last = answer["steps"][-1]
    assert (last["temperature_c"], last["salinity_psu"]) == (26.0, 35.0)
    assert last["ph_nbs"] == pytest.approx(8.2, abs=1e-5)
    keys = {"minute", "action", "volume_l", "temperature_c", "salinity_psu", "ph_nbs", "nh3_n_mg_per_l", "poured_l"}
    keys |= {"o2_mg_per_l", "tan_n_mg_per_l", "added_l", "removed_l"}
    assert set(last) == keys


def test_a_fixed_drip_is_followed_and_its_breach_told() -> None:
    """3 L/h on 5 L: the closed form, and the default 2 PSU/h is passed at minute 0."""
    answer = _answer(f"--mode drip {GAP} --drip-l-per-h 3")
    at = {step["minute"]: step["salinity_psu"] for step in answer["steps"]}
    assert at[60] == pytest.approx(31.875, abs=1e-6)
    assert answer["first_breach"].startswith("minute 0")


def test_float_without_a_limit_is_plain_and_flagged_with_one_it_is_stepped() -> None:
    """Both ways of asking are honest: flagged at 9.2 °C/h, or lawful."""
    temps = "--mode float --from-temp 20 --to-temp 25"
    plain, stepped = _answer(temps), _answer(f"{temps} --max-c-per-h 1")
    assert "9.2 °C/h" in plain["first_breach"]
    assert stepped["first_breach"] is None
    assert stepped["minutes"] >= 300


def test_what_was_not_given_is_said() -> None:
    """A missing pair is taken as equal in bag and vat, and that is a warning, not a secret."""
    answer = _answer("--mode drip --from-salinity 30 --to-salinity 35")
    assert any("No temp given" in warning for warning in answer["warnings"])


@pytest.mark.parametrize(
    "line",
    [
        "--from-temp 25",
        "--from-ph 7",
        "--mode pour",
        "--mode drip --minutes 30",
        "--drip-l-per-h x",
        "--every-minutes 0",
    ],
)
def test_half_a_question_is_bad_use(line: str) -> None:
    """Half a pair, no such mode, minutes without a drip: exit 2 and a hint."""
    assert CliRunner().invoke(acclimate, line.split()).exit_code == 2


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ("--from-temp 25 --to-temp 99", BadInput),
        ("--max-c-per-h 0", BadInput),
        ("--mode exchange --fraction 2", BadInput),
        ("--from-salinity 10 --to-salinity 35 --from-ph 7 --to-ph 8.2", OutOfRange),
    ],
)
def test_refusals_are_findings(line: str, kind: type[Exception]) -> None:
    """Values that cannot be come back as findings for the group to print."""
    assert isinstance(CliRunner().invoke(acclimate, line.split()).exception, kind)


@pytest.mark.parametrize("line", ["--volume-l=0", "--mode drip --drip-l-per-h=-1"])
def test_an_amount_not_above_zero_is_refused_with_the_units_it_may_have(line: str) -> None:
    """Exit 2; the option, the value, and what is read instead."""
    result = CliRunner().invoke(acclimate, line.split())
    option, _, value = line.split()[-1].partition("=")
    assert result.exit_code == 2
    assert f"'{option}': {value}. Expected a number with L, mL, m³ or US gal, above zero." in result.output


def test_text_fits_and_help_has_an_example() -> None:
    """At most 80 columns, source and breach reported, example in the help."""
    result = CliRunner().invoke(acclimate, f"{GAP} {CHEMISTRY}".split(), catch_exceptions=False)
    assert result.exit_code == 0
    assert max(map(len, result.output.splitlines())) <= 80
    assert "none passed" in result.output
    assert "source" in result.output
    assert "Example: vatside acclimate" in CliRunner().invoke(acclimate, ["--help"]).output
