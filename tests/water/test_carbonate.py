"""Bags closed, opened and mixed: carbon dioxide, alkalinity and ammonia together."""

from __future__ import annotations

import pytest

from intake.errors import BadInput, OutOfRange
from intake.water.ammonia import tan_umol_per_kg
from intake.water.carbonate import (
    SeaWater,
    closed_bag,
    mix_waters,
    opened_bag,
    water_from_dic,
    water_from_pco2,
    water_from_ph,
)

# share of excess DIC lost, DIC, pCO2, pH total, pH NBS, CO2 mg/L, NH3 share, NH3-N mg/L
# (recomputed with PyCO2SYS 1.8.3.4)
OPENING = [
    (0.00, 3025.70, 21082, 6.4555, 6.5925, 26.87, 0.00162, 0.0032),
    (0.25, 2802.80, 13425, 6.6497, 6.7867, 17.11, 0.00253, 0.0051),
    (0.50, 2579.91, 6213, 6.9785, 7.1155, 7.92, 0.00537, 0.0107),
    (0.75, 2357.01, 1540, 7.5556, 7.6926, 1.96, 0.0200, 0.0400),
    (0.90, 2223.27, 695, 7.8634, 8.0003, 0.89, 0.0398, 0.0796),
    (1.00, 2134.11, 450, 8.0220, 8.1589, 0.57, 0.0564, 0.1127),
]


@pytest.fixture(scope="module")
def packing() -> SeaWater:
    """Packing water: TA 2300 µmol/kg at 450 µatm, S 35, 25 °C."""
    return water_from_pco2(25.0, 35.0, 2300.0, 450.0)


@pytest.fixture(scope="module")
def arrived(packing: SeaWater) -> SeaWater:
    """The same after 1000 µmol/kg of CO2 and 2 mg N/L excreted as NH3, all kept in the water."""
    tan = tan_umol_per_kg(2.0, 25.0, 35.0)
    return water_from_dic(25.0, 35.0, 2300.0 + tan, packing.dic_umol_per_kg + 1000.0, tan)


def test_opening_table(arrived: SeaWater) -> None:
    """Each stage of the worked opening is met to the last digit printed."""
    for opening, row in zip(opened_bag(arrived), OPENING, strict=True):
        water = opening.water
        assert opening.share_lost == row[0]
        assert water.dic_umol_per_kg == pytest.approx(row[1], abs=0.01)
        assert water.pco2_uatm == pytest.approx(row[2], abs=1)
        assert water.ph_total == pytest.approx(row[3], abs=6e-5)
        assert water.ph_nbs == pytest.approx(row[4], abs=6e-5)
        assert water.co2_mg_per_l == pytest.approx(row[5], abs=0.006)
        assert water.nh3_fraction == pytest.approx(row[6], rel=0.005)
        assert water.nh3_n_mg_per_l == pytest.approx(row[7], abs=6e-5)


def test_opening_raises_toxic_ammonia_35_fold_with_none_added(arrived: SeaWater) -> None:
    """The trap that decides the mode: total ammonia stays, its toxic part does not."""
    closed, opened = opened_bag(arrived, (0.0, 1.0))
    assert closed.water.tan_umol_per_kg == opened.water.tan_umol_per_kg
    assert opened.water.nh3_n_mg_per_l / closed.water.nh3_n_mg_per_l == pytest.approx(34.8, abs=0.2)


def test_ammonium_for_sodium_leaves_alkalinity_alone(packing: SeaWater) -> None:
    """Excreted as NH4+ the alkalinity does not rise: pH total 6.3412, share 0.00124 (recomputed, PyCO2SYS)."""
    litre = packing.dic_umol_per_kg  # production given per litre of water; 1000 µmol/kg is 1023.343 µmol/L
    bag = closed_bag(packing, produced_umol_per_l=1023.3431, gas_per_water=0.0, tan_n_mg_per_l=2.0, excreted_as="nh4")
    assert bag.dic_umol_per_kg == pytest.approx(litre + 1000.0, abs=0.01)
    assert bag.ph_total == pytest.approx(6.3412, abs=6e-5)
    assert bag.nh3_fraction == pytest.approx(0.00124, abs=5e-6)


@pytest.mark.parametrize(
    ("produced", "phs"),
    [(1000, (6.472, 6.839, 7.025, 7.148)), (2000, (6.045, 6.423, 6.620, 6.753)), (4000, (5.691, 6.072, 6.271, 6.406))],
)
def test_headspace_takes_its_share_of_the_carbon_dioxide(
    packing: SeaWater, produced: float, phs: tuple[float, ...]
) -> None:
    """PH total for gas:water 0 to 3 (recomputed, PyCO2SYS): without the headspace the bag looks far too acid."""
    for ratio, ph in enumerate(phs):
        bag = closed_bag(packing, produced_umol_per_l=produced, gas_per_water=ratio, tan_n_mg_per_l=2.0)
        assert bag.ph_total == pytest.approx(ph, abs=6e-4)


def test_ph_is_mixed_through_alkalinity_and_carbon_not_averaged(packing: SeaWater, arrived: SeaWater) -> None:
    """One to one gives pH 6.939, far from the mean 7.228."""
    mixed = mix_waters([(1.0, arrived), (1.0, packing)])
    assert mixed.ph_total == pytest.approx(6.9392, abs=6e-5)
    assert abs(mixed.ph_total - (packing.ph_total + arrived.ph_total) / 2) > 0.28


def test_ph_given_comes_back_on_its_own_scale() -> None:
    """A pH read on NBS is the same water as the total-scale pH it turns into."""
    once = water_from_ph(25.0, 35.0, 2300.0, ph=8.2, ph_scale="nbs", tan_n_mg_per_l=0.5)
    again = water_from_ph(25.0, 35.0, 2300.0, ph=once.ph_total, ph_scale="total", tan_n_mg_per_l=0.5)
    assert once.ph_nbs == pytest.approx(8.2, abs=1e-9)
    assert again.dic_umol_per_kg == pytest.approx(once.dic_umol_per_kg, rel=1e-8)


def test_range_and_nonsense_are_refused(packing: SeaWater) -> None:
    """Nothing is solved outside Lueker's range, nor a pH that leaves no carbon in the water."""
    with pytest.raises(OutOfRange, match="Lueker"):
        water_from_pco2(25.0, 10.0, 2300.0)
    with pytest.raises(OutOfRange, match="35"):
        water_from_pco2(36.0, 35.0, 2300.0)
    with pytest.raises(BadInput, match="carbon"):
        water_from_ph(25.0, 35.0, 100.0, ph=10.5, ph_scale="total")
    with pytest.raises(BadInput):
        mix_waters([])
    for share in (1.5, -0.5):
        with pytest.raises(BadInput):
            opened_bag(packing, (share,))
