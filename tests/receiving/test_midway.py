"""What a tub is expected to hold between two rows, and that tables run one way from bag to vat."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings

from intake.errors import BadInput
from intake.receiving import acclimation as room
from intake.receiving.acclimation import BagWater, Limits, VatWater, choose, expected_step, expected_water, recompute
from tests.receiving.test_acclimation import BAGS, LIMITS, VATS

BAG = BagWater(24.5, 32.5, 6.9, "nbs", 0.4, 2.0, 10.0)
VAT = VatWater(26.0, 35.0, 8.2)


@settings(max_examples=60, deadline=None)
@given(BAGS, VATS, LIMITS)
def test_every_table_runs_one_way_from_bag_to_vat(bag: BagWater, vat: VatWater, limits: Limits) -> None:
    """Neither temperature nor salinity ever turns back or overshoots the vat on the way."""
    steps = choose(bag, vat, limits).steps
    for name in ("temperature_c", "salinity_psu"):
        values = [getattr(step, name) for step in steps]
        goal = getattr(vat, name)
        gaps = [abs(goal - value) for value in values]
        assert all(later <= before + 1e-9 for before, later in itertools.pairwise(gaps)), name


def test_between_two_rows_lies_what_is_between() -> None:
    """Minute 22 of a drip lies between the rows of minutes 15 and 30, and the rows themselves come back as they are."""
    table = choose(BAG, VAT, Limits())
    rows = {step.minute: step for step in table.steps}
    here = expected_step(table, 22)
    assert rows[15].temperature_c < here.temperature_c < rows[30].temperature_c
    assert rows[15].poured_l < here.poured_l < rows[30].poured_l
    assert expected_step(table, 15) == rows[15]


def test_until_the_move_the_tub_holds_what_it_held() -> None:
    """The wait before the vat is no ramp: the last row is a move, not a mixture."""
    table = choose(BAG, VAT, Limits())
    stopped, moved = table.steps[-2:]
    if moved.minute - stopped.minute < 2:
        pytest.skip("no wait in this table")
    assert expected_step(table, stopped.minute + 1).temperature_c == stopped.temperature_c


@pytest.mark.parametrize("minute", [-1, 100_000])
def test_a_minute_off_the_table_is_refused_with_its_span(minute: int) -> None:
    """A reading typed with the wrong minute must not stretch a table."""
    table = choose(BAG, VAT, Limits())
    with pytest.raises(BadInput, match=f"0 to {table.minutes}"):
        expected_step(table, minute)


def test_ammonia_is_diluted_as_the_water_is() -> None:
    """Filling tub: by the volumes. Spilling tub: by exp(-poured/volume). Clean water: none."""
    limits = Limits(preferred_mode="drip")
    drip = choose(BAG, VAT, limits)
    row = next(step for step in drip.steps if step.minute == 45)
    assert expected_water(drip, 45).tan_n_mg_per_l == pytest.approx(0.4 * 2.0 / row.volume_l, rel=1e-4)
    spill = choose(BAG, VAT, replace(limits, preferred_mode="overflow"))
    poured = next(step for step in spill.steps if step.minute == 45).poured_l
    assert expected_water(spill, 45).tan_n_mg_per_l == pytest.approx(0.4 * math.exp(-poured / 2.0), rel=1e-4)
    out = choose(replace(BAG, tan_n_mg_per_l=4.0, temperature_c=21.0), VAT, Limits())
    assert any(room.bag_water_modes.CLEAN_WATER in step.action for step in out.steps)
    assert expected_water(out, out.minutes).tan_n_mg_per_l == 0.0


def test_after_a_reading_dilution_counts_from_it() -> None:
    """The ammonia read at minute 40 is not diluted again by the water poured before it."""
    first = choose(BAG, VAT, replace(Limits(), preferred_mode="overflow"))
    again = recompute(first, 40, replace(expected_water(first, 40), tan_n_mg_per_l=0.3, measured=True))
    assert expected_water(again, 40).tan_n_mg_per_l == pytest.approx(0.3)
    later = next(step for step in again.steps if step.minute > 40)
    more = later.poured_l - expected_step(again, 40).poured_l
    assert expected_water(again, later.minute).tan_n_mg_per_l == pytest.approx(0.3 * math.exp(-more / 2.0), rel=1e-4)


def test_what_was_expected_read_as_expected_changes_little() -> None:
    """A reading that confirms the table leaves its end within a few minutes."""
    first = choose(BAG, VAT, Limits())
    again = recompute(first, 45, replace(expected_water(first, 45), measured=True))
    assert again.mode == first.mode
    assert abs(again.minutes - first.minutes) <= 30
