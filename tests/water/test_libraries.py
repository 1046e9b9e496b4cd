"""The libraries under the water room still give the published constants, and the lean path through one gives its digits."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from importlib.resources import files

import numpy as np
import pytest

from intake.water.equilibrium import KnownWater, solve_waters
from tests.water.calculations import Inputs, numbers

ROWS = list(csv.DictReader((files("tests") / "reference" / "libraries.csv").read_text(encoding="utf-8").splitlines()))
WATER = list(csv.DictReader((files("tests") / "reference" / "water.csv").read_text(encoding="utf-8").splitlines()))
LEFT = list(csv.DictReader((files("tests") / "reference" / "not_checked.csv").read_text(encoding="utf-8").splitlines()))
OPTIONS = {
    "opt_k_carbonic": 10,
    "opt_total_borate": 1,
    "opt_k_bisulfate": 1,
    "opt_k_fluoride": 1,
    "opt_gas_constant": 3,
    "opt_buffers_mode": 0,
}


def _constants(key: str, given: Inputs) -> float:
    import PyCO2SYS

    solved = PyCO2SYS.sys(par1=8.0, par1_type=3, temperature=given["T"], salinity=given["S"], **OPTIONS)
    return float(solved[key])


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
    "pk_carbonic_1": lambda g: -math.log10(_constants("k_carbonic_1", g)),
    "pk_carbonic_2": lambda g: -math.log10(_constants("k_carbonic_2", g)),
    "lnKB": lambda g: math.log(_constants("k_borate", g)),
    "-log10 k_CO2": lambda g: -math.log10(_constants("k_CO2", g)),
    "-log10 k_borate": lambda g: -math.log10(_constants("k_borate", g)),
}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['quantity']} [{row['source']}]")
def test_library_gives_its_published_value(row: dict[str, str]) -> None:
    """A release of a library that changes a constant or a default must not pass unseen."""
    start = max((start for start in CALCULATIONS if row["quantity"].startswith(start)), key=len)
    value = CALCULATIONS[start](numbers(row["inputs"]))
    assert value == pytest.approx(float(row["value"]), abs=float(row["tolerance"]), rel=1e-12)


def _waters() -> tuple[KnownWater, ...]:
    seconds = [("ph", 6.5, "nbs"), ("ph", 8.1, "total"), ("ph", 7.4, "free"), ("ph", 7.9, "seawater")]
    seconds += [("pco2", 450.0, "total"), ("pco2", 21000.0, "total"), ("dic", 2900.0, "total"), ("dic", 2100.0, "nbs")]
    return tuple(
        KnownWater(temperature, salinity, 2400.0, value, kind, tan, scale)  # type: ignore[arg-type]
        for temperature in (2.0, 18.0, 25.0, 35.0)
        for salinity in (19.0, 33.0, 40.0)
        for tan in (0.0, 140.0)
        for kind, value, scale in seconds
    )


def test_inner_steps_give_the_digits_of_the_front_door() -> None:
    """Leaving out the derivatives nobody reads must change no figure, over scales, pairs of knowns and the range."""
    import PyCO2SYS

    waters = _waters()
    front = PyCO2SYS.sys(
        par1=np.array([w.alkalinity_umol_per_kg for w in waters]),
        par1_type=1,
        par2=np.array([w.second for w in waters]),
        par2_type=np.array([{"dic": 2, "ph": 3, "pco2": 4}[w.second_kind] for w in waters]),
        opt_pH_scale=np.array([{"total": 1, "seawater": 2, "free": 3, "nbs": 4}[w.ph_scale] for w in waters]),
        temperature=np.array([w.temperature_c for w in waters]),
        salinity=np.array([w.salinity_psu for w in waters]),
        total_ammonia=np.array([w.tan_umol_per_kg for w in waters]),
        **OPTIONS,
    )
    for name, key in (
        ("dic_umol_per_kg", "dic"),
        ("pco2_uatm", "pCO2"),
        ("ph_total", "pH_total"),
        ("ph_nbs", "pH_nbs"),
        ("co2_umol_per_kg", "CO2"),
        ("nh3_umol_per_kg", "NH3"),
    ):
        lean = [getattr(water, name) for water in solve_waters(waters)]
        assert lean == pytest.approx(list(np.broadcast_to(front[key], len(waters))), rel=1e-10, abs=1e-10), name


def test_every_row_left_out_says_why_and_is_checked_nowhere_else() -> None:
    """A row is checked or named with a reason; none is both."""

    def name(row: dict[str, str]) -> tuple[str, ...]:
        return tuple(row[key] for key in ("topic", "quantity", "inputs", "value"))

    checked = {name(row) for row in (*WATER, *ROWS)}
    assert all(row["why"].strip() for row in LEFT)
    assert not checked & {name(row) for row in LEFT}
    assert len(WATER) + len(ROWS) + len(LEFT) == 404, "topics 1 to 6 of the collection hold 404 rows"
