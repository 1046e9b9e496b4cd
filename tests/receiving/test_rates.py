"""The published metabolism rows as checks of the rates a tub is sized by: all 42 rows are looked at, one way or another."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from importlib.resources import files

import pytest

from intake import library as shipped
from intake.receiving.acclimation import load_of

_FILE = files("tests") / "reference" / "metabolism.csv"
ROWS = list(csv.DictReader(_FILE.read_text(encoding="utf-8").splitlines()))
LIBRARY = shipped.load()

FISH = {"a": 0.26, "b": 0.527, "g_per_cm3": 0.02, "active": 3.0}
"""0.26 W^0.527 mg/h, W = 0.02 L³ g, tripled for active fish: what the library says its fish figure is made of."""


def _row(quantity: str, inputs: str = "") -> dict[str, str]:
    found = [row for row in ROWS if quantity in row["quantity"] and inputs in row["inputs"]]
    assert len(found) == 1, (quantity, inputs, len(found))
    return found[0]


def _value(quantity: str, inputs: str = "") -> float:
    return float(_row(quantity, inputs)["value"])


def _uptake(group: str, size_mm: float) -> float:
    return LIBRARY.group(group).oxygen.mg_per_h(size_mm)


RECOMPUTED: tuple[tuple[str, str, Callable[[], float]], ...] = (
    ("scorpionfish standard O2", "WM=50", lambda: 0.26 * 50**0.527),
    ("same, evaluated", "WM=50", lambda: 0.26 * 50**0.527),
    ("same, evaluated", "WM=82", lambda: 0.26 * 82**0.527 / 0.082),
    ("stonefish SMR", "WM=100", lambda: 0.0643 * 100**0.873),
    ("same, evaluated", "WM=100", lambda: 0.0643 * 100**0.873),
    ("clownfish protein maintenance", "W=5 g", lambda: 0.43 * 0.005**0.70),
    ("N equivalent", "W=5 g", lambda: 0.43 * 0.005**0.70 * 1000 / 6.25 / 24 / 0.005),
    ("clownfish growth", "W=1.3", lambda: 5.39 * 1.3**0.284),
    ("T. maxima gross minus net", "", lambda: 120.3 - 88.0),
    ("T. derasa isometric", "", lambda: 710 / 150**3),
    ("T. maxima length at age 3", "", lambda: 244 * (1 - math.exp(-0.26 * 3))),
    ("tissue weight exponent", "", lambda: math.log(200 / 0.5) / math.log(25 / 3)),
    ("tissue weight coefficient", "", lambda: 0.5 / 3 ** (math.log(200 / 0.5) / math.log(25 / 3))),
    ("coral dark respiration from that", "A=100", lambda: math.exp(-4.154114) * 100**1.074456),
    ("area per 10 g TAN", "", lambda: 10 / 0.28),
    ("seawater/freshwater", "", lambda: 0.28 / 0.69),
    ("O2 per N nitrified", "", lambda: 2 * 31.9988 / 14.0067),
    ("alkalinity per N", "", lambda: 2 * 50.0435 / 14.0067),
    ("pure O2 in a 2 L", "", lambda: 2 * (1 - 0.0313) / (0.082057366 * 298.15) * 31998.8),
)


@pytest.mark.parametrize(
    ("quantity", "inputs", "told"), RECOMPUTED, ids=lambda one: one if isinstance(one, str) else ""
)
def test_published_and_recomputed_figures_come_out(quantity: str, inputs: str, told: Callable[[], float]) -> None:
    """Each formula of the study gives the figure beside it within its tolerance."""
    row = _row(quantity, inputs)
    assert told() == pytest.approx(float(row["value"]), abs=float(row["tolerance"] or 0) or None, rel=2e-3)


def test_clam_uptake_is_gross_less_net_over_the_assumed_mantle() -> None:
    """32.3 µmol per cm² and day over a mantle of half the shell's square is the library's 0.0215 mg/h per cm²."""
    per_cm2 = _value("T. maxima gross minus net") * 1e-3 * 31.9988 / 24.0
    for group in ("clam_small", "clam_medium", "clam_large", "clam_burrowing"):
        assert _uptake(group, 10.0) == pytest.approx(0.5 * per_cm2, rel=0.01)
        assert LIBRARY.group(group).oxygen.exponent == 2.0
    # the other species of the same source breathes 28.1: within a fifth, and the larger figure is used
    assert _value("T. maxima gross O2") > _value("T. squamosa gross O2")


def test_clam_uptake_is_below_what_the_same_mantle_makes_in_full_light() -> None:
    """Gross production of 2.06 µmol per cm² and hour in the Red Sea bounds what breathing can be."""
    mantle = 0.5
    gross = _value("T. maxima gross primary") * 1e-3 * 31.9988 * mantle
    assert _uptake("clam_small", 10.0) < gross


def test_coral_uptake_is_the_published_line_over_the_assumed_surface() -> None:
    """Ln R = -4.154 + 1.074 ln A: a disc for most corals, three discs for branching ones."""
    low, slope = _value("coral respiration allometry intercept"), _value("coral respiration allometry slope")
    for group, discs in (("stony_montipora", 1.0), ("stony_branching_acropora", 3.0)):
        for size in (30.0, 60.0, 100.0):
            area = discs * math.pi / 4 * (size / 10) ** 2
            assert _uptake(group, size) == pytest.approx(math.exp(low) * area**slope, rel=0.02)


@pytest.mark.parametrize(
    ("species", "group"),
    [
        ("Acropora hyacinthus", "stony_branching_acropora"),
        ("Astrea curta", "stony_massive_porites"),
        ("Pocillopora verrucosa", "stony_branching_other"),
        ("Porites lutea", "stony_massive_porites"),
    ],
)
def test_measured_corals_lie_within_what_a_tub_counts_after_shipping(species: str, group: str) -> None:
    """Medians of measured dark respiration per cm² are covered by the uptake after shipping, or nearly: at most 1.2 of it."""
    discs = 3.0 if "branching" in group else 1.0
    area = discs * math.pi / 4 * 6.0**2
    counted = load_of(LIBRARY.group(group), 60.0, 1).mg_o2_per_h
    assert _value(f"{species} median") * area < 1.2 * counted


def test_fish_uptake_is_the_published_line_tripled() -> None:
    """0.26 W^0.527 with W = 0.02 L³, three times; small reef fish of 6.7 to 1296 µL/h lie inside what it covers."""
    for size in (20.0, 50.0, 100.0, 150.0):
        weight = FISH["g_per_cm3"] * (size / 10) ** 3
        assert _uptake("fish_reef_safe", size) == pytest.approx(
            FISH["active"] * FISH["a"] * weight ** FISH["b"], rel=0.02
        )
    low, high = (float(one) for one in _row("small reef teleosts O2")["value"].split("-"))
    mg_per_ul = 31.9988 / 22.3916 / 1000
    assert low * mg_per_ul < _uptake("fish_reef_safe", 10.0) < high * mg_per_ul
    assert _uptake("fish_reef_safe", 50.0) <= high * mg_per_ul
    # exponents read for reef fish lie between the line's 0.527 and stonefish's 0.873
    assert 0.527 < _value("Pomacentridae mass exponent") < 0.873


def test_ammonia_given_off_lies_in_the_published_range_and_corals_are_no_sink() -> None:
    """O:N 17 to 104 is 0.0515 to 0.0084 mg N per mg O2; clams and corals in the dark are sources at the low end."""
    low, high = (14.007 / (ratio * 15.9994) for ratio in (104.0, 17.0))
    for group in LIBRARY.groups.values():
        load = load_of(group, 50.0, 10)
        assert low * 0.99 <= load.mg_n_per_mg_o2 <= high * 1.01
        assert load.mg_n_per_h > 0
    n_low, n_high = (float(one) for one in _row("small reef teleosts ammonia")["value"].split("-"))
    fish = load_of(LIBRARY.group("fish_reef_safe"), 30.0, 1)
    rest = fish.uptake_mg_per_h * fish.mg_n_per_mg_o2 * 1000
    assert n_low < rest < n_high
    # the most clownfish could give off from maintenance alone stays below what a tub counts for a fish of 5 g
    size = 10 * (5.0 / FISH["g_per_cm3"]) ** (1 / 3)
    most = _value("N equivalent if all") * 0.005
    assert most < load_of(LIBRARY.group("fish_reef_safe"), size, 1).mg_n_per_h
    # corals take ammonium up in the light (120 to 510 ng, 5.1 to 91.8 nmol per cm² and hour): never credited
    assert _row("Stylophora pistillata")["value"] == "120-510"
    assert _row("Pocillopora damicornis")["value"] == "5.1-91.8"


USED = {
    "scorpionfish standard O2", "same, evaluated", "stonefish SMR", "Pomacentridae mass exponent", "small reef teleosts",
    "clownfish", "N equivalent", "T. maxima gross", "T. squamosa gross", "T. derasa isometric", "T. maxima length at age",
    "tissue weight", "median dark respiration", "coral respiration allometry", "coral dark respiration", "Pocillopora",
    "Stylophora", "area per 10", "seawater/freshwater", "O2 per N", "alkalinity per N", "pure O2", "max 0-order",
}  # fmt: skip
LEFT = {
    "scorpionfish relative SOC": "one measured fish of 16 g; the line through all of them is used",
    "T. derasa mean weight": "what the isometric coefficient is made of",
    "T. maxima mean shell length": "growth in the sea, no rate of a tub",
    "T. maxima length-weight exponent": "no coefficient was read with it",
    "T. maxima von Bertalanffy": "what the length at age is made of",
    "T. maxima size range": "what the tissue exponent is made of",
}


def test_no_row_is_left_unread() -> None:
    """42 rows: each is checked above or left out by name with its reason."""
    assert len(ROWS) == 42
    for row in ROWS:
        assert any(name in row["quantity"] for name in USED | set(LEFT)), row["quantity"]


def test_the_plan_counts_filters_by_the_published_figure() -> None:
    """0.28 g N per m² and day: the figure the farm file's filter area stands for."""
    assert _value("max 0-order nitrification") == 0.28
