"""Every published or independently recomputed value the water room must reproduce; a failing row names its source."""

from __future__ import annotations

import csv
from importlib.resources import files

import pytest

from tests.water.calculations import CALCULATIONS, value_of

_FILE = files("tests") / "reference" / "water.csv"
ROWS = list(csv.DictReader(_FILE.read_text(encoding="utf-8").splitlines()))


def _name(row: dict[str, str]) -> str:
    return f"{row['topic']}: {row['quantity']} at {row['inputs']} [{row['provenance']}: {row['source']}]"


@pytest.mark.parametrize("row", ROWS, ids=_name)
def test_value_agrees_with_its_source(row: dict[str, str]) -> None:
    """The room's figure lies within the stated tolerance of the source's, so no formula or unit has drifted."""
    tolerance = float(row["tolerance_here"] or row["tolerance"])
    assert bool(row["tolerance_here"]) == bool(row["why"]), "a tolerance of our own needs its reason"
    value = value_of(row["quantity"], row["inputs"], row["units"])
    assert value == pytest.approx(float(row["value"]), abs=tolerance, rel=1e-12)


def test_the_table_is_whole() -> None:
    """Rows must not vanish unseen, and no calculation may stand without a row that tries it."""
    assert len(ROWS) >= 300
    assert sum(row["provenance"] == "read" for row in ROWS) >= 35
    used = set()
    for row in ROWS:
        used.add(max((start for start in CALCULATIONS if row["quantity"].startswith(start)), key=len))
    assert used == set(CALCULATIONS)
