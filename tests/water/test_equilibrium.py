"""The solver of sea water against PyCO2SYS, an independent program, over the whole range; and what it must never do."""

from __future__ import annotations

from typing import Literal, cast

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from intake.errors import BadInput
from intake.water.carbonate import solve_many
from intake.water.equilibrium import PH_SCALES, KnownWater, PhScale, ammonium_constant, solve_waters

Kind = Literal["dic", "ph", "pco2"]
KINDS: tuple[Kind, ...] = ("dic", "ph", "pco2")
KIND_CODE = {"dic": 2, "ph": 3, "pco2": 4}
SCALE_CODE = {"total": 1, "seawater": 2, "free": 3, "nbs": 4}
#: PyCO2SYS said aloud: Lueker, Uppström, Dickson, Dickson & Riley, the gas constant of CODATA 2018; no derivatives.
OPTIONS = {
    "opt_k_carbonic": 10,
    "opt_total_borate": 1,
    "opt_k_bisulfate": 1,
    "opt_k_fluoride": 1,
    "opt_gas_constant": 3,
    "opt_buffers_mode": 0,
}
STATES = 6000


def _random_waters() -> tuple[KnownWater, ...]:
    """Waters over all of Lueker's range, from soft to ten times the alkalinity of the sea, aired to fouled."""
    draw = np.random.default_rng(15)
    waters = []
    for row in range(STATES):
        kind = KINDS[row % 3]
        alkalinity = float(draw.uniform(300.0, 20_000.0))
        second = {
            "dic": alkalinity * float(draw.uniform(0.5, 2.5)),
            "ph": float(draw.uniform(5.0, 8.6)),
            "pco2": 10 ** float(draw.uniform(1.0, 5.7)),
        }[kind]
        ammonia = float(draw.choice([0.0, 1.0])) * 10 ** float(draw.uniform(-1.0, 3.5))
        temperature, salinity = float(draw.uniform(2.0, 35.0)), float(draw.uniform(19.0, 40.0))
        scale = PH_SCALES[row // 3 % 4]
        waters.append(KnownWater(temperature, salinity, alkalinity, second, kind, ammonia, scale))
    return tuple(waters)


def _column(waters: tuple[KnownWater, ...], name: str, codes: dict[str, int] | None = None) -> NDArray[np.float64]:
    return np.array([codes[getattr(w, name)] if codes else getattr(w, name) for w in waters])


@pytest.fixture(scope="module")
def waters() -> tuple[KnownWater, ...]:
    """Six thousand waters drawn with a fixed seed."""
    return _random_waters()


@pytest.fixture(scope="module")
def oracle(waters: tuple[KnownWater, ...]) -> dict[str, NDArray[np.float64]]:
    """The same waters solved by PyCO2SYS."""
    import PyCO2SYS

    solved = PyCO2SYS.sys(
        par1=_column(waters, "alkalinity_umol_per_kg"),
        par1_type=1,
        par2=_column(waters, "second"),
        par2_type=_column(waters, "second_kind", KIND_CODE),
        opt_pH_scale=_column(waters, "ph_scale", SCALE_CODE),
        temperature=_column(waters, "temperature_c"),
        salinity=_column(waters, "salinity_psu"),
        total_ammonia=_column(waters, "tan_umol_per_kg"),
        **OPTIONS,
    )
    keys = ("dic", "pCO2", "pH_total", "pH_nbs", "CO2", "NH3")
    return {key: np.broadcast_to(solved[key], len(waters)) for key in keys}


def test_six_thousand_waters_agree_with_pyco2sys(
    waters: tuple[KnownWater, ...], oracle: dict[str, NDArray[np.float64]]
) -> None:
    """PH within 1e-6 and the toxic share within 1e-6 of itself, whatever is known and on whatever scale."""
    mine = solve_waters(waters)
    has_carbon = ~np.isnan(oracle["dic"])
    assert has_carbon.sum() >= 5000, "the draw must not be waters that cannot be"
    for name, key in (("ph_total", "pH_total"), ("ph_nbs", "pH_nbs")):
        assert np.abs(np.array([getattr(w, name) for w in mine]) - oracle[key]).max() < 1e-6, name
    for name, key in (("dic", "dic"), ("co2", "CO2"), ("nh3", "NH3")):
        ours = np.array([getattr(w, f"{name}_umol_per_kg") for w in mine])[has_carbon]
        np.testing.assert_allclose(ours, oracle[key][has_carbon], rtol=1e-6, atol=1e-9, err_msg=name)
    pressure = np.array([w.pco2_uatm for w in mine])[has_carbon]
    np.testing.assert_allclose(pressure, oracle["pCO2"][has_carbon], rtol=1e-6)


def test_a_ph_that_leaves_no_carbon_is_refused() -> None:
    """So basic that hydroxide alone outdoes the alkalinity: the carbon comes out below zero, and the room refuses it."""
    bare = KnownWater(25.0, 35.0, 100.0, 10.5, "ph")
    assert solve_waters((bare,))[0].dic_umol_per_kg < 0
    with pytest.raises(BadInput, match="carbon"):
        solve_many([bare])


@pytest.mark.parametrize("scale", PH_SCALES)
def test_ammonium_constant_agrees_on_every_scale(scale: PhScale) -> None:
    """From fresh to salty, -2 to 40 °C, the constant is PyCO2SYS's on the scale asked for."""
    import PyCO2SYS

    temperature, salinity = (grid.ravel() for grid in np.meshgrid(np.linspace(-2, 40, 12), np.linspace(0.5, 40, 12)))
    theirs = PyCO2SYS.sys(
        par1=8.0,
        par1_type=3,
        opt_pH_scale=SCALE_CODE[scale],
        temperature=temperature,
        salinity=salinity,
        **OPTIONS,
    )["k_ammonia"]
    ours = [ammonium_constant(float(t), float(s), scale) for t, s in zip(temperature, salinity, strict=True)]
    np.testing.assert_allclose(ours, theirs, rtol=1e-9)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(2.0, 35.0),
    st.floats(19.0, 40.0),
    st.floats(200.0, 20_000.0),
    st.floats(0.01, 3.0),
    st.floats(0.0, 3000.0),
    st.sampled_from(["dic", "pco2"]),
)
def test_ph_found_gives_the_water_back(
    temperature: float, salinity: float, alkalinity: float, share: float, ammonia: float, kind: str
) -> None:
    """Solving from the pH found returns the carbon or the pressure given: the answer satisfies its own equation."""
    second = share * (alkalinity if kind == "dic" else 10_000.0)
    there = KnownWater(temperature, salinity, alkalinity, second, cast("Kind", kind), ammonia)
    found = solve_waters((there,))[0]
    back = solve_waters((KnownWater(temperature, salinity, alkalinity, found.ph_total, "ph", ammonia),))[0]
    assert (back.dic_umol_per_kg if kind == "dic" else back.pco2_uatm) == pytest.approx(second, rel=1e-6, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(st.floats(2.0, 35.0), st.floats(19.0, 40.0), st.floats(300.0, 8000.0), st.floats(0.2, 2.5))
def test_more_carbon_lowers_ph_and_more_alkalinity_raises_it(
    temperature: float, salinity: float, alkalinity: float, share: float
) -> None:
    """The search rests on this order; breaking it would let it find another water's pH."""
    carbon = alkalinity * share

    def ph(base: float, dic: float) -> float:
        return solve_waters((KnownWater(temperature, salinity, base, dic, "dic"),))[0].ph_total

    assert ph(alkalinity, carbon * 1.01) < ph(alkalinity, carbon) < ph(alkalinity * 1.01, carbon)


def test_rows_of_a_table_do_not_touch_each_other(waters: tuple[KnownWater, ...]) -> None:
    """A water is solved alike alone, in a table and in another order."""
    some = waters[:60]
    table = solve_waters(some)
    assert solve_waters(tuple(reversed(some))) == tuple(reversed(table))
    for water, row in zip(some, table, strict=True):
        alone = solve_waters((water,))[0]
        assert alone.ph_total == pytest.approx(row.ph_total, abs=1e-10)
        assert alone.nh3_umol_per_kg == pytest.approx(row.nh3_umol_per_kg, rel=1e-9)
    assert solve_waters(()) == ()


def test_an_alkalinity_no_water_can_have_is_refused() -> None:
    """Outside the bracket there is no answer, and none is invented."""
    beyond = KnownWater(25.0, 35.0, 1e12, 2000.0, "dic")
    with pytest.raises(ArithmeticError):
        solve_waters((beyond,))
    with pytest.raises(BadInput, match="alkalinity"):
        solve_many([beyond])
