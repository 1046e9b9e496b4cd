"""Room of an order plan week by week: by hand, within the rows of the model, and a band that widens with what is uncertain."""

from __future__ import annotations

from dataclasses import replace

import pytest

from intake.season import Kind, Offer, Season, Shipper, Stock, Water, solve_orders
from intake.season.room_use import Band, grow_out_band, grow_out_use, quarantine_use
from intake.season.stress import Chances

SURE = Chances(slips=((0, 1.0),), count_sd=0.0, growth_sd=0.0)


def season() -> Season:
    """One kind, one supplier, one water taken for two weeks; figures chosen so that the answer is plain."""
    kind = Kind("clam", (10.0,), (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 4.0), area_m2=(0.01, 0.01, 0.02, 0.03))
    offer = Offer("clam", 1.0, dead_on_arrival=0.5)
    shipper = Shipper("one", (offer,), (3,), quarantine=2)
    stock = (Stock("clam", 0.0, 0, 2, "q"),)
    return Season(6, (kind,), (shipper,), (Water("q", 1.0),), 1.0, selling=2, fallow=1, stock=stock)


def test_weeks_of_a_water_by_hand() -> None:
    """Two weeks taken now, one fallow, then a landing for two weeks: half of its animals alive, a hundredth m² each."""
    plan = solve_orders(season(), seconds=2)
    (landing,) = plan.landings
    animals = landing.animals[0][1]
    row = quarantine_use(season(), plan, {"q": 0.25})["q"]
    assert [one.state for one in row] == ["present", "present", "fallow", "taken", "taken", "fallow", "free", "free"]
    assert row[0].share == 0.25
    assert row[3].share == pytest.approx(animals * 0.5 * 0.01)
    assert quarantine_use(season(), plan)["q"][0].share is None, "what nobody measured is not made up"


def test_grow_out_by_hand() -> None:
    """Released in week 5, sold in 6 and 7: eight alive in week 5, four in week 6, each by its age."""
    plan = solve_orders(season(), seconds=2)
    assert sum(count for _, _, count in plan.sales) == pytest.approx(8.0)
    assert grow_out_use(season(), plan) == pytest.approx((0, 0, 0, 0, 0, 8 * 0.02, 4 * 0.03, 0))


def test_without_chance_the_band_is_the_plan() -> None:
    """No late flight, no spread, the same deaths in every batch: low, high and planned are one."""
    sure = replace(season(), shippers=(replace(season().shippers[0], offers=(Offer("clam", 1.0),)),))
    plan = solve_orders(sure, seconds=2)
    band = grow_out_band(sure, plan, SURE, futures=50)
    assert band.low == pytest.approx(band.planned)
    assert band.high == pytest.approx(band.planned)


def _width(band: Band) -> float:
    return sum(high - low for low, high in zip(band.low, band.high, strict=True))


def test_each_cause_widens_the_band_and_the_same_seed_gives_the_same() -> None:
    """Counts, growth and late flights; deaths by the file's own mean."""
    question = season()
    plan = solve_orders(question, seconds=2)
    deaths = grow_out_band(question, plan, SURE, futures=400)
    assert _width(deaths) > 0
    for change in ({"count_sd": 0.2}, {"growth_sd": 1.0}, {"slips": ((0, 0.5), (7, 0.5))}):
        wider = grow_out_band(question, plan, replace(SURE, **change), futures=400)
        assert _width(wider) > _width(deaths), change
    assert grow_out_band(question, plan, futures=100) == grow_out_band(question, plan, futures=100)
    late = grow_out_band(question, plan, replace(SURE, slips=((14, 1.0),)), futures=50)
    assert not any(late.high), "two weeks late: sold on the day of release, so nothing waits in grow-out"
