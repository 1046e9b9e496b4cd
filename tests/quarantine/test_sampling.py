"""Sample size to find a pest: exact, honest where no sample suffices, and the same on the command line."""

from __future__ import annotations

import csv
import json
from importlib.resources import files
from math import comb

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.cli.calculators.sample_size import sample
from intake.errors import BadInput
from intake.quarantine.sampling import LARGEST_LOT, clean_sample_confidence, diseased_at, sample_size

_FILE = files("tests") / "reference" / "sampling.csv"
ROWS = list(csv.DictReader(_FILE.read_text(encoding="utf-8").splitlines()))
_CONVENTIONAL = {"30": 0.10, "60": 0.05, "150": 0.02}


def _name(row: dict[str, str]) -> str:
    return f"{row['quantity']} at {row['inputs']} = {row['value']} [{row['provenance']}: {row['source']}]"


@pytest.mark.parametrize("row", ROWS, ids=_name)
def test_size_agrees_with_its_source(row: dict[str, str]) -> None:
    """Exact sizes, with and without test sensitivity; "infinite" lots are the largest we take."""
    if row["quantity"].startswith("conventional"):
        # 30, 60 and 150 are rounded up from the exact size at 95 % in a large lot
        n, prevalence = int(row["value"]), _CONVENTIONAL[row["value"]]
        assert 0.95 <= clean_sample_confidence(LARGEST_LOT, n, prevalence) < 0.96
        return
    given_ = dict(pair.split("=") for pair in row["inputs"].split(";"))
    prevalence = float(given_["prev"].rstrip("%")) / (100 if "%" in given_["prev"] else 1)
    sensitivity = 0.8 if "sensitivity 0.8" in row["quantity"] else 1.0
    lot = int(given_.get("N", LARGEST_LOT))
    found = sample_size(lot, prevalence, float(given_["conf"]), sensitivity)
    if row["value"] == "not achievable":
        assert not found.achievable
        return
    assert found.achievable
    assert found.n == int(row["value"])
    if "D" in given_:
        assert found.diseased == int(given_["D"])


def test_the_table_is_whole() -> None:
    """Rows must not vanish unseen."""
    assert len(ROWS) >= 70
    assert sum(row["value"] == "not achievable" for row in ROWS) >= 4


def _by_counting(lot: int, diseased: int, n: int, sensitivity: float) -> float:
    """The same probability by whole-number binomials, sharing no code with the room."""
    none = sum(
        comb(diseased, k) * comb(lot - diseased, n - k) * (1 - sensitivity) ** k for k in range(min(n, diseased) + 1)
    )
    return 1 - none / comb(lot, n)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 300), st.floats(0.005, 1.0), st.floats(0.5, 0.99), st.floats(0.3, 1.0))
def test_size_is_the_smallest_that_does(lot: int, prevalence: float, confidence: float, sensitivity: float) -> None:
    """N reaches the confidence, n - 1 does not; not achievable only where the whole lot falls short."""
    found = sample_size(lot, prevalence, confidence, sensitivity)
    reached = _by_counting(lot, found.diseased, found.n, sensitivity)
    assert found.confidence_reached == pytest.approx(reached, abs=1e-9)
    if found.achievable:
        assert reached >= confidence - 1e-8
        assert _by_counting(lot, found.diseased, found.n - 1, sensitivity) < confidence
    else:
        assert found.n == lot
        assert reached < confidence


def test_not_achievable_is_an_answer() -> None:
    """100 animals, one carrier, a test finding 80 %: even a census gives 0.80."""
    found = sample_size(100, 0.01, 0.95, 0.8)
    assert (found.n, found.achievable) == (100, False)
    assert found.confidence_reached == pytest.approx(0.8)


def test_carriers_are_rounded_up_but_not_by_a_binary_digit() -> None:
    """50 at 1 % is one carrier, not none; 100 at 7 % is seven, though 100 × 0.07 is a hair above 7."""
    assert diseased_at(50, 0.01) == 1
    assert 100 * 0.07 > 7
    assert diseased_at(100, 0.07) == 7
    assert sample_size(50, 0.01, 0.95).n == 48


def test_what_a_clean_sample_proves() -> None:
    """More clean animals prove more; none prove nothing; more than the lot cannot be."""
    proved = [clean_sample_confidence(200, n, 0.02, 0.9) for n in (0, 20, 100, 200)]
    assert proved[0] == 0.0
    assert proved == sorted(proved)
    assert proved[-1] == pytest.approx(1 - 0.1**4)
    with pytest.raises(BadInput, match="200"):
        clean_sample_confidence(200, 201, 0.02)


@pytest.mark.parametrize(
    ("arguments", "faults"),
    [
        ((0, 0.1, 0.95, 1.0), 1),
        ((100, 5.0, 95.0, 80.0), 3),
        ((100, 0.0, 1.0, 0.0), 3),
        ((100, float("nan"), 0.95, 1.0), 1),
        ((LARGEST_LOT + 1, 0.1, 0.95, 1.0), 1),
    ],
)
def test_percentages_and_nonsense_are_refused_all_at_once(
    arguments: tuple[int, float, float, float], faults: int
) -> None:
    """5 is not taken for 5 %: each wrong number has its own finding."""
    with pytest.raises(BadInput) as refused:
        sample_size(*arguments)
    assert len(refused.value.findings) == faults


def test_command_answers_as_json_and_text() -> None:
    """Keys relied on by others; a percentage only where written so; exit 1 where the honest answer is no."""
    line = ["--lot", "500", "--prevalence", "0.02", "--confidence", "0.95"]
    result = CliRunner().invoke(sample, [*line, "--json"], catch_exceptions=False)
    answer = json.loads(result.output)
    assert (result.exit_code, answer["n"], answer["achievable"]) == (0, 129, True)
    assert "hypergeometric" in answer["source"]
    same = CliRunner().invoke(sample, ["--lot", "500", "--prevalence", "2%", "--confidence", "95%", "--json"])
    assert json.loads(same.output) == answer
    text = CliRunner().invoke(sample, [*line, "--examined", "100"], catch_exceptions=False).output
    assert "129 of 500" in text
    assert "100 clean animals" in text
    assert max(map(len, text.splitlines())) <= 80
    no = CliRunner().invoke(
        sample, ["--lot", "100", "--prevalence", "1%", "--confidence", "95%", "--sensitivity", "0.8"]
    )
    assert no.exit_code == 1
    assert "not achievable" in no.output
    assert max(map(len, no.output.splitlines())) <= 80


def test_command_refuses_what_it_cannot_read() -> None:
    """5 without its sign, words, and a missing option."""
    for prevalence in ("5", "five", "5 percent"):
        result = CliRunner().invoke(sample, ["--lot", "100", "--prevalence", prevalence, "--confidence", "0.95"])
        assert isinstance(result.exception, BadInput)
    assert CliRunner().invoke(sample, ["--lot", "100"]).exit_code == 2
    assert "Example: vatside sample" in CliRunner().invoke(sample, ["--help"]).output
