"""Water for baths is never rounded down: a bath short of water is no bath."""

from __future__ import annotations

import pytest

from intake.timetable import PreparedWater, litres_by_count, schedule
from tests.timetable.farms import MONDAY, need, site_of


@pytest.mark.parametrize(("animals", "baths"), [(1, 1), (59, 1), (60, 1), (61, 2), (120, 2), (121, 3)])
def test_one_animal_more_than_a_bath_takes_needs_another_bath(animals: int, baths: int) -> None:
    """Sixty share a bath of 15 L; the sixty-first gets one of its own."""
    wanted = need("d", kind="dip", batch="T-1", vat="Q1a", headcount=animals)
    assert litres_by_count((wanted,), bath_l=15.0, animals_a_bath=60) == {"d": 15.0 * baths}


def test_work_that_draws_no_water_and_nobodys_work_draws_none() -> None:
    """Inspections draw nothing, nor does a dip for which nobody is left."""
    rows = (
        need("i", kind="inspection", headcount=60),
        need("n", kind="dip", batch="T-1", vat="Q1a", headcount=0),
        need("a", kind="acclimation", batch="T-2", vat="Q1a", headcount=10),
    )
    assert litres_by_count(rows, bath_l=15.0, animals_a_bath=60) == {"a": 15.0}


@pytest.mark.parametrize(("tank", "apart"), [(81.0, True), (82.0, False)])
def test_parts_of_a_litre_are_whole_litres_to_the_tank(tank: float, apart: bool) -> None:
    """Two dips of 40.2 L need 82 L, not 80: from a tank of 81 L the second waits until the first is mixed again."""
    wanted = tuple(need(f"d-{n}", kind="dip", batch=f"T-{n}", vat="Q1a", slack_h=9, headcount=40) for n in range(2))
    water = PreparedWater(tank, 240, {"d-0": 40.2, "d-1": 40.2})
    table = schedule(wanted, site_of(), now=MONDAY, seconds=0.2, prepared_water=water)
    starts = sorted(task.start for task in table.tasks)
    assert len(starts) == 2
    assert ((starts[1] - starts[0]).total_seconds() >= 60 * (60 + 240)) == apart
