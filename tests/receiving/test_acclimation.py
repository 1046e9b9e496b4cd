"""Which way to acclimate, and that no table it makes ever passes a limit."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from intake.errors import BadInput, OutOfRange, UnknownName
from intake.receiving.acclimation import (
    MODES,
    Acclimation,
    BagWater,
    Limits,
    Step,
    VatWater,
    choose,
    recompute,
    toxic_ceiling_mg_per_l,
)
from intake.water.ammonia import sea_ammonia_fraction

VAT = VatWater(26.0, 35.0, 8.2)
BAG = BagWater(25.0, 32.0, 6.9, "nbs", 0.3, 1.5, 10.0)


def _rates_kept(steps: tuple[Step, ...], limits: Limits) -> bool:
    """Whether the mean change between any two rows, near or far, keeps to the limits."""
    for i, earlier in enumerate(steps):
        for later in steps[i + 1 :]:
            hours = (later.minute - earlier.minute) / 60
            warm = abs(later.temperature_c - earlier.temperature_c)
            salt = abs(later.salinity_psu - earlier.salinity_psu)
            if warm > limits.max_c_per_h * hours + 1e-6 or salt > limits.max_psu_per_h * hours + 1e-6:
                return False
    return True


def test_ammonia_that_opening_would_make_toxic_means_leaving_the_bag_water() -> None:
    """2 mg N/L is harmless at pH 6.6 and above 0.05 mg/L at the vat's pH: transfer, and the reason shows both."""
    bag = BagWater(23.0, 33.0, 6.6, "nbs", 2.0, 1.5, 30.0)
    chosen = choose(bag, VAT, Limits())
    assert chosen.mode == "float_then_transfer"
    ceiling = toxic_ceiling_mg_per_l(bag, VAT)
    assert ceiling == pytest.approx(2.0 * sea_ammonia_fraction(26.0, 35.0, 8.2, "nbs"))
    assert f"{ceiling:.3f}" in chosen.reason
    assert "0.003" in chosen.reason
    assert max(step.nh3_n_mg_per_l or 0 for step in chosen.steps) < 0.05


def test_the_ph_scale_alone_can_decide() -> None:
    """1.0 mg N/L at "pH 8.0" and S 35, 25 °C: over the limit on the total scale, under it on NBS."""
    bag = BagWater(25.0, 35.0, 6.8, "nbs", 1.0, 2.0, 5.0)
    limits = Limits(preferred_mode="drip")
    assert choose(bag, VatWater(25.0, 35.0, 8.0, "total"), limits).mode == "float_then_transfer"
    assert choose(bag, VatWater(25.0, 35.0, 8.0, "nbs"), limits).mode == "drip"


@pytest.mark.parametrize(
    ("change", "limits", "mode", "word"),
    [
        ({"damp": True, "volume_l": 0.0}, Limits(), "damp_direct", "damp"),
        ({"hours_in_bag": 40.0}, Limits(), "float_then_transfer", "red"),
        ({"hours_in_bag": 30.0, "measured": False}, Limits(), "float_then_transfer", "not read"),
        ({"hours_in_bag": 30.0}, Limits(), "drip", "3.0-fold"),
        ({}, Limits(), "drip", "3.0-fold"),
        ({"salinity_psu": 28.0}, Limits(), "overflow", "overflow"),
        ({"salinity_psu": 34.5, "temperature_c": 25.8}, Limits(), "float_then_transfer", "nothing to drip"),
        ({}, Limits(preferred_mode="exchange"), "exchange", "group"),
        ({}, Limits(preferred_mode="float_then_transfer"), "float_then_transfer", "group"),
        ({"tan_n_mg_per_l": 3.0}, Limits(preferred_mode="drip"), "float_then_transfer", "above 0.05"),
    ],
)
def test_mode_follows_from_the_numbers(change: dict[str, object], limits: Limits, mode: str, word: str) -> None:
    """Damp, toxic, too long, unread and long, preferred, small gap, large gap: each leads where it should."""
    chosen = choose(replace(BAG, **change), VAT, limits)  # type: ignore[arg-type]
    assert chosen.mode == mode
    assert word in chosen.reason
    assert chosen.reason.endswith(".")
    assert chosen.first_breach is None


def test_without_a_ph_no_chemistry_is_told_and_it_says_so() -> None:
    """A missing reading is missing, not invented."""
    chosen = choose(replace(BAG, ph=None), replace(VAT, ph=None), Limits())
    assert {step.ph_nbs for step in chosen.steps} == {None}
    assert {step.nh3_n_mg_per_l for step in chosen.steps} == {None}
    assert any("No pH" in warning for warning in chosen.warnings)


BAGS = st.builds(
    BagWater,
    st.floats(18.0, 32.0),
    st.floats(20.0, 40.0),
    st.none(),
    st.just("nbs"),
    st.floats(0.0, 8.0),
    st.floats(0.5, 20.0),
    st.floats(0.0, 60.0),
    damp=st.booleans(),
    measured=st.booleans(),
)
VATS = st.builds(VatWater, st.floats(20.0, 30.0), st.floats(28.0, 38.0), st.none())
LIMITS = st.builds(
    Limits, st.floats(0.5, 4.0), st.floats(0.5, 6.0), preferred_mode=st.one_of(st.none(), st.sampled_from(MODES))
)


@settings(max_examples=60, deadline=None)
@given(BAGS, VATS, LIMITS)
def test_no_table_ever_passes_a_limit(bag: BagWater, vat: VatWater, limits: Limits) -> None:
    """Whatever comes in, the chosen table keeps both limits between any two rows and ends in the vat."""
    chosen = choose(bag, vat, limits)
    assert chosen.first_breach is None
    assert _rates_kept(chosen.steps, limits)
    assert chosen.steps[-1].temperature_c == vat.temperature_c
    assert chosen.steps[-1].salinity_psu == vat.salinity_psu
    minutes = [step.minute for step in chosen.steps]
    assert minutes == sorted(minutes)
    assert chosen.minutes == minutes[-1]
    poured = [step.poured_l for step in chosen.steps]
    assert poured == sorted(poured)
    assert poured[-1] == pytest.approx(chosen.water_used_l)


@settings(max_examples=8, deadline=None)
@given(st.floats(20.0, 29.0), st.floats(28.0, 38.0), st.floats(6.0, 7.8), st.floats(0.0, 5.0), st.floats(7.9, 8.4))
def test_toxic_ammonia_keeps_to_its_limit_in_every_chosen_table(
    temperature: float, salinity: float, ph: float, tan: float, vat_ph: float
) -> None:
    """From a closed bag that is itself within the limit, no chosen way passes 0.05 mg/L, nor any rate."""
    bag = BagWater(temperature, salinity, ph, "nbs", tan, 2.0, 12.0)
    limits = Limits()
    assume(tan * sea_ammonia_fraction(temperature, salinity, ph, "nbs") < 0.04)
    assume(tan * sea_ammonia_fraction(29.0, salinity, ph, "nbs") < 0.05)
    chosen = choose(bag, VatWater(26.0, 35.0, vat_ph), limits)
    if chosen.mode == "float_then_transfer":
        assert chosen.first_breach is None
    for step in chosen.steps:
        assert step.nh3_n_mg_per_l is not None
        passed = step.nh3_n_mg_per_l > limits.nh3_n_mg_per_l
        assert not passed or (chosen.first_breach is not None and "un-ionised" in chosen.first_breach)
    assert _rates_kept(chosen.steps, limits)


def test_reading_mid_way_remakes_the_rest() -> None:
    """Steps already done stay, the rest starts from what was read, and poured water goes on from where it was."""
    plan = choose(BAG, VAT, Limits())
    assert plan.mode == "drip"
    read = BagWater(25.2, 32.9, 7.4, "nbs", 0.25, 2.2, 10.7)
    again = recompute(plan, 40, read)
    assert [s for s in again.steps if s.minute < 40] == [s for s in plan.steps if s.minute < 40]
    now = next(s for s in again.steps if s.minute == 40)
    assert (now.temperature_c, now.salinity_psu, now.volume_l) == (25.2, 32.9, 2.2)
    assert now.ph_nbs == pytest.approx(7.4, abs=1e-6)
    assert now.action.startswith("After the reading")
    poured = [s.poured_l for s in again.steps]
    assert poured == sorted(poured)
    # between minutes 30 and 45 the drip stood at one setting, so two thirds of its water had come by minute 40
    rows = {s.minute: s.poured_l for s in plan.steps}
    assert now.poured_l == pytest.approx(rows[30] + (rows[45] - rows[30]) * 2 / 3)
    assert again.steps[-1].temperature_c == VAT.temperature_c


def test_reading_of_much_ammonia_ends_the_drip() -> None:
    """A drip whose water turns out to hold 3 mg N/L becomes a transfer."""
    again = recompute(choose(BAG, VAT, Limits()), 30, BagWater(25.3, 33.0, 7.4, "nbs", 3.0, 2.2, 10.5))
    assert again.mode == "float_then_transfer"
    assert "leave this water" in again.reason


def test_animals_already_in_clean_water_are_ramped_on() -> None:
    """After the move into a tub there is no bag to float again."""
    plan = choose(BagWater(22.0, 31.0, 6.6, "nbs", 2.0, 1.5, 30.0), VAT, Limits())
    assert plan.mode == "float_then_transfer"
    again = recompute(plan, 60, BagWater(22.5, 32.0, 8.1, "nbs", 0.05, 1.5, 31.0))
    assert again.mode == "overflow"
    assert _rates_kept(tuple(s for s in again.steps if s.minute >= 60), Limits())


def test_a_reading_outside_the_table_is_refused() -> None:
    """No time before opening or after the end."""
    plan = choose(BAG, VAT, Limits())
    for minute in (-1, plan.minutes + 1):
        with pytest.raises(BadInput, match="minute"):
            recompute(plan, minute, BAG)


def test_facts_are_told_as_warnings() -> None:
    """Hours past amber or red, values not read, alkalinity assumed: each is said."""
    long = choose(replace(BAG, hours_in_bag=40.0, measured=False), VAT, Limits())
    told = " ".join(long.warnings)
    assert "red" in told
    assert "not read" in told
    assert "alkalinity" in told
    assert "amber" in " ".join(choose(replace(BAG, hours_in_bag=25.0), VAT, Limits()).warnings)
    known = choose(replace(BAG, alkalinity_meq_per_l=2.6), VAT, Limits())
    assert "alkalinity" not in " ".join(known.warnings)


@pytest.mark.parametrize(
    ("act", "kind"),
    [
        (lambda: replace(BAG, volume_l=0.0), BadInput),
        (lambda: replace(BAG, ph=15.0), BadInput),
        (lambda: replace(BAG, temperature_c=float("nan")), BadInput),
        (lambda: replace(BAG, hours_in_bag=-1.0), BadInput),
        (lambda: replace(BAG, ph_scale="ph"), UnknownName),
        (lambda: replace(VAT, alkalinity_meq_per_l=0.0), BadInput),
        (lambda: Limits(max_c_per_h=0.0), BadInput),
        (lambda: Limits(hours_in_bag_amber=40.0, hours_in_bag_red=20.0), BadInput),
        (lambda: Limits(preferred_mode="pour"), BadInput),  # type: ignore[arg-type]
        (lambda: choose(replace(BAG, salinity_psu=12.0), VAT, Limits()), OutOfRange),
        (lambda: choose(BAG, VAT, Limits(max_c_per_h=1e-4)), BadInput),
    ],
)
def test_what_cannot_be_is_refused(act: object, kind: type[Exception]) -> None:
    """Impossible readings, scales, limits and ramps longer than four days come back as findings."""
    with pytest.raises(kind):
        act()  # type: ignore[operator]


def test_several_wrong_values_are_told_at_once() -> None:
    """Four faults, four findings, one refusal."""
    with pytest.raises(BadInput) as refused:
        BagWater(99.0, 99.0, 99.0, "nbs", -1.0, 1.0, 1.0)
    assert len(refused.value.findings) == 4


def test_same_facts_same_answer() -> None:
    """No clock and no chance: asked twice, the answer is one."""
    assert isinstance(choose(BAG, VAT, Limits()), Acclimation)
    assert choose(BAG, VAT, Limits()) == choose(BAG, VAT, Limits())
