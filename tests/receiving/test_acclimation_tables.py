"""Each mode's step table on its own: closed forms met, limits reported, chemistry mixed and not averaged."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.errors import BadInput
from intake.receiving.acclimation import (
    BagWater,
    Limits,
    Table,
    VatWater,
    damp_direct,
    drip,
    exchange,
    float_plain,
    float_then_transfer,
    overflow,
)
from intake.water.ammonia import sea_ammonia_fraction, tan_umol_per_kg
from intake.water.carbonate import alkalinity_umol_per_kg, mix_waters, water_from_pco2, water_from_ph

FREE = Limits(math.inf, math.inf)
PLAIN_BAG = BagWater(26.0, 30.0, None, "nbs", 0.0, 5.0, 10.0)
PLAIN_VAT = VatWater(26.0, 35.0, None)


def _at(table: Table, minute: int) -> float:
    return next(step.salinity_psu for step in table.steps if step.minute == minute)


@pytest.mark.parametrize(("minute", "psu"), [(30, 31.153846), (60, 31.875), (120, 32.727273), (240, 33.529412)])
def test_fixed_drip_follows_the_closed_form(minute: int, psu: float) -> None:
    """5 L, 3 L/h, 30 to 35 PSU: the worked values, and 25 L when within 1 PSU after 6.667 h."""
    table = drip(PLAIN_BAG, PLAIN_VAT, FREE, 3.0)
    assert _at(table, minute) == pytest.approx(psu, abs=1e-6)
    stop = table.steps[-2]
    assert stop.minute == 400
    assert stop.volume_l == pytest.approx(25.0)
    assert table.water_used_l == pytest.approx(20.0)


@pytest.mark.parametrize(("minute", "psu"), [(30, 31.295909), (60, 32.255942), (120, 33.494029)])
def test_fixed_overflow_follows_the_closed_form(minute: int, psu: float) -> None:
    """Overflowing: the worked values, and within 1 PSU after 2.682 h with about 8.05 L."""
    table = overflow(PLAIN_BAG, PLAIN_VAT, FREE, 3.0)
    assert _at(table, minute) == pytest.approx(psu, abs=1e-6)
    assert table.steps[-2].minute == 161
    assert table.water_used_l == pytest.approx(8.05, abs=0.005)
    assert {step.volume_l for step in table.steps} == {5.0}


def test_a_drip_too_fast_is_told_with_the_flow_that_would_do() -> None:
    """3 L/h on 5 L starts at 3 PSU/h: over 1 PSU/h, for which 1 L/h is the most."""
    for way in (drip, overflow):
        breach = way(PLAIN_BAG, PLAIN_VAT, Limits(1.0, 1.0), 3.0).first_breach
        assert breach is not None
        assert breach.startswith("minute 0")
        assert "3.00 PSU/h" in breach
        assert "1.00 L/h" in breach
        assert way(PLAIN_BAG, PLAIN_VAT, Limits(1.0, 1.0), 1.0).first_breach is None


def test_a_drip_stopped_early_is_told() -> None:
    """Ended after half an hour with 4 PSU to go, the jump into the vat is a breach, however long the wait before it."""
    table = drip(PLAIN_BAG, PLAIN_VAT, Limits(1.0, 2.0), 2.0, 30)
    assert table.first_breach is not None
    assert table.first_breach.startswith(f"minute {table.minutes}: salinity jumps by 4.17 PSU")


def test_stepwise_exchange_follows_the_closed_form_and_waits() -> None:
    """A quarter each time: 31.25, 32.1875, 32.890625; six exchanges to within 1 PSU; waits keep 2 PSU/h."""
    table = exchange(PLAIN_BAG, PLAIN_VAT, Limits(1.0, 2.0), 0.25)
    salinities = [step.salinity_psu for step in table.steps]
    assert salinities[1:4] == pytest.approx([31.25, 32.1875, 32.890625])
    assert len(table.steps) == 1 + 6 + 1
    assert table.first_breach is None
    hurried = exchange(PLAIN_BAG, PLAIN_VAT, Limits(1.0, 2.0), 0.25, 10)
    assert hurried.first_breach is not None
    assert hurried.first_breach.startswith("minute 10")
    half = exchange(PLAIN_BAG, PLAIN_VAT, Limits(1.0, 2.0), 0.5)
    assert half.first_breach is not None, "a jump of 2.5 PSU is more than an hour's allowance, however long one waits"


def test_plain_float_is_newtons_and_its_start_is_flagged() -> None:
    """20 °C in 25 °C: 21.316, 22.286, 23.000, 24.200 °C at 10, 20, 30, 60 min; it starts at 9.2 °C/h."""
    bag, vat = BagWater(20.0, 35.0, None, "nbs", 0.0, 5.0, 10.0), VatWater(25.0, 35.0, None)
    table = float_plain(bag, vat, Limits(1.0, 2.0))
    warm = {step.minute: step.temperature_c for step in table.steps}
    for minute, expected in ((10, 21.316), (20, 22.286), (30, 23.0), (60, 24.2)):
        assert warm[minute] == pytest.approx(expected, abs=5e-4)
    assert table.first_breach == "minute 0: floating starts at 9.2 °C/h, limit 1 °C/h"
    assert float_plain(bag, vat, FREE).first_breach is None


@settings(max_examples=40, deadline=None)
@given(st.floats(15.0, 32.0), st.floats(18.0, 30.0), st.floats(0.3, 6.0))
def test_stepped_float_keeps_the_limit_at_every_moment(start: float, goal: float, limit: float) -> None:
    """The bath leads by at most limit/k, so the steepest moment, right after a change of bath, keeps the limit."""
    bag, vat = BagWater(start, 35.0, None, "nbs", 0.0, 5.0, 10.0), VatWater(goal, 35.0, None)
    table = float_then_transfer(bag, vat, Limits(limit, 2.0), math.inf)
    assert table.first_breach is None
    for before, after in zip(table.steps, table.steps[1:], strict=False):
        hours = (after.minute - before.minute) / 60
        if hours:
            assert abs(after.temperature_c - before.temperature_c) / hours <= limit * (1 + 1e-6)


def test_a_long_float_turns_into_a_tub_of_clean_water() -> None:
    """At 1 °C/h a 5 °C gap would keep the bag shut for five hours: the animals leave it at once instead."""
    bag, vat = BagWater(21.0, 33.0, 6.6, "nbs", 2.0, 1.5, 30.0), VatWater(26.0, 35.0, 8.2)
    table = float_then_transfer(bag, vat, Limits())
    assert "clean water at 21.0 °C and 33.0 PSU" in table.steps[0].action
    assert table.steps[0].nh3_n_mg_per_l == 0.0
    assert table.first_breach is None
    assert any("sealed" in warning for warning in table.warnings)
    sealed = float_then_transfer(bag, vat, Limits(), math.inf)
    in_bag = 2.0 * sea_ammonia_fraction(21.0, 33.0, 6.6, "nbs")
    assert sealed.steps[0].nh3_n_mg_per_l == pytest.approx(in_bag, rel=1e-4)
    assert "clean water" in next(s.action for s in sealed.steps if s.action.startswith("Open"))


def test_sealed_bag_keeps_its_carbon_and_so_its_ph() -> None:
    """Warming a shut bag moves its pH by hundredths; nothing vents."""
    table = float_then_transfer(
        BagWater(25.0, 35.0, 6.6, "nbs", 2.0, 1.5, 10.0), VatWater(26.0, 35.0, 8.2), Limits(), math.inf
    )
    shut = [step.ph_nbs for step in table.steps[:-1]]
    assert all(ph == pytest.approx(6.6, abs=0.02) for ph in shut)
    assert table.steps[-1].ph_nbs == pytest.approx(8.2, abs=1e-6)


def test_ph_in_a_drip_comes_from_alkalinity_and_carbon() -> None:
    """At doubling, an hour open: the two waters mixed by mass and all but aired, not the mean of two pH.

    The drip still brings the vat's own carbon, a little below the air's, so the row stands that little above.
    """
    bag, vat = BagWater(25.0, 35.0, 6.6, "total", 2.0, 2.0, 10.0), VatWater(25.0, 35.0, 8.05, "total")
    table = drip(bag, vat, FREE, 2.0, 60)
    row = next(step for step in table.steps if step.minute == 60)
    assert row.volume_l == pytest.approx(4.0)
    base = alkalinity_umol_per_kg(2.35, 25.0, 35.0)
    excreted = tan_umol_per_kg(2.0, 25.0, 35.0)
    in_bag = water_from_ph(25.0, 35.0, base + excreted, ph=6.6, ph_scale="total", tan_n_mg_per_l=2.0)
    mixed = mix_waters([(1.0, in_bag), (1.0, water_from_ph(25.0, 35.0, base, ph=8.05, ph_scale="total"))])
    aired = water_from_pco2(25.0, 35.0, mixed.alkalinity_umol_per_kg, 450.0, mixed.tan_umol_per_kg)
    assert row.ph_nbs == pytest.approx(aired.ph_nbs, abs=0.005)
    assert row.nh3_n_mg_per_l == pytest.approx(aired.nh3_n_mg_per_l, rel=0.01)
    assert table.first_breach is not None
    assert "un-ionised ammonia" in table.first_breach
    first = table.steps[0]
    assert first.ph_nbs == pytest.approx(in_bag.ph_nbs, abs=1e-6)


def test_damp_pack_near_the_vat_goes_straight_in_and_a_cold_one_is_tempered() -> None:
    """Half a degree needs no ramp; three degrees are taken at the limit in clean water of the vat's salinity."""
    vat = VatWater(26.0, 35.0, 8.2)
    near = damp_direct(BagWater(25.6, 35.0, None, "nbs", 0.0, 0.0, 20.0, damp=True), vat, Limits())
    assert len(near.steps) == 2
    cold = damp_direct(BagWater(23.0, 33.0, None, "nbs", 0.0, 0.0, 20.0, damp=True), vat, Limits(1.0, 1.0))
    assert cold.first_breach is None
    assert cold.minutes >= 60 * 3.0 / 1.0 - 1
    assert {step.salinity_psu for step in cold.steps} == {35.0}
    assert any("moisture" in warning for warning in cold.warnings)
    assert cold.steps[0].ph_nbs == pytest.approx(8.2, abs=0.05)


def test_salt_is_conserved_in_a_filling_tub() -> None:
    """By volume: what was in the bag plus what was poured is what the tub holds, at every row."""
    table = drip(BagWater(24.0, 29.0, None, "nbs", 0.0, 3.0, 5.0), VatWater(26.0, 35.0, None), Limits())
    for step in table.steps[:-1]:
        assert step.volume_l == pytest.approx(3.0 + step.poured_l)
        assert step.volume_l * step.salinity_psu == pytest.approx(3.0 * 29.0 + step.poured_l * 35.0)
        assert step.volume_l * step.temperature_c == pytest.approx(3.0 * 24.0 + step.poured_l * 26.0)


def test_damp_packs_have_no_water_to_drip_into() -> None:
    """Every wet mode refuses a damp pack; impossible flows and fractions are refused."""
    damp = BagWater(25.0, 35.0, None, "nbs", 0.0, 0.0, 5.0, damp=True)
    for way in (drip, overflow, exchange, float_then_transfer, float_plain):
        with pytest.raises(BadInput, match="damp"):
            way(damp, PLAIN_VAT, Limits())
    acts: tuple[Callable[[], object], ...] = (
        lambda: drip(PLAIN_BAG, PLAIN_VAT, Limits(), 0.0),
        lambda: drip(PLAIN_BAG, PLAIN_VAT, Limits(), 1e-4),
        lambda: exchange(PLAIN_BAG, PLAIN_VAT, Limits(), 0.0),
        lambda: exchange(PLAIN_BAG, PLAIN_VAT, Limits(), 0.001),
        lambda: damp_direct(damp, PLAIN_VAT, Limits(), 0.0),
    )
    for act in acts:
        with pytest.raises(BadInput):
            act()


@pytest.mark.parametrize("gap_c", [0.3, 1.1])
@pytest.mark.parametrize("mode", [drip, overflow])
def test_a_drip_begins_in_the_bags_own_water(mode: Callable[..., Table], gap_c: float) -> None:
    """Also where it is so short that it has one row in the tub: the first reading is the bag's ammonia, all of it."""
    bag = BagWater(26.0 - gap_c, 35.0, 7.4, "nbs", 1.0, 1.5, 10.0)
    rows = mode(bag, VatWater(26.0, 35.0, 8.2), Limits()).steps
    assert (rows[0].bag_share, rows[0].tan_n_mg_per_l) == (1.0, 1.0)
    assert [row.bag_share for row in rows if row.water == "vat"] == [0.0]
