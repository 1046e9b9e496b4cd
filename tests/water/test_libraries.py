"""The constants under the water room, our own and the library's, are the published ones."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from importlib.resources import files

import numpy as np
import pytest

from intake.water import constants
from intake.water.speciation import chemistry
from tests.water.calculations import Inputs, numbers

ROWS = list(csv.DictReader((files("tests") / "reference" / "libraries.csv").read_text(encoding="utf-8").splitlines()))
WATER = list(csv.DictReader((files("tests") / "reference" / "water.csv").read_text(encoding="utf-8").splitlines()))
LEFT = list(csv.DictReader((files("tests") / "reference" / "not_checked.csv").read_text(encoding="utf-8").splitlines()))


def _constants(key: str, given: Inputs) -> float:
    of = chemistry(np.array([given["T"]]), np.array([given["S"]]))
    return float(getattr(of, key)[0])


def _solubility(given: Inputs) -> float:
    return float(constants.co2_solubility(np.array([given["T"] + 273.15]), np.array([given["S"]]))[0])


def _gsw(name: str, given: Inputs) -> float:
    import gsw

    if name == "SA_from_SP":
        return float(gsw.SA_from_SP(given["SP"], given["p"], given["lon"], given["lat"]))
    second = given["CT"] if "CT" in given else given["t"]
    return float(getattr(gsw, name)(given["SA"], second, given["p"]))


CALCULATIONS: dict[str, Callable[[Inputs], float]] = {
    "gsw_CT_from_t": lambda g: _gsw("CT_from_t", g),
    "gsw_SA_from_SP": lambda g: _gsw("SA_from_SP", g),
    "gsw.rho 75": lambda g: _gsw("rho", g),
    "gsw.rho_t_exact": lambda g: _gsw("rho_t_exact", g),
    "pk_carbonic_1": lambda g: -math.log10(_constants("carbonic", g)),
    "pk_carbonic_2": lambda g: -math.log10(_constants("bicarbonate", g)),
    "lnKB": lambda g: math.log(_constants("boric", g)),
    "-log10 k_CO2": lambda g: -math.log10(_solubility(g)),
    "-log10 k_borate": lambda g: -math.log10(_constants("boric", g)),
}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['quantity']} [{row['source']}]")
def test_constant_has_its_published_value(row: dict[str, str]) -> None:
    """A digit mistyped, or a release of the library that changes a default, must not pass unseen."""
    start = max((start for start in CALCULATIONS if row["quantity"].startswith(start)), key=len)
    value = CALCULATIONS[start](numbers(row["inputs"]))
    assert value == pytest.approx(float(row["value"]), abs=float(row["tolerance"]), rel=1e-12)


def test_every_row_left_out_says_why_and_is_checked_nowhere_else() -> None:
    """A row is checked or named with a reason; none is both."""

    def name(row: dict[str, str]) -> tuple[str, ...]:
        return tuple(row[key] for key in ("topic", "quantity", "inputs", "value"))

    checked = {name(row) for row in (*WATER, *ROWS)}
    assert all(row["why"].strip() for row in LEFT)
    assert not checked & {name(row) for row in LEFT}
    assert len(WATER) + len(ROWS) + len(LEFT) == 404, "topics 1 to 6 of the collection hold 404 rows"
