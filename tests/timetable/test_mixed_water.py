"""Mixed salt water runs out: nothing draws more than stands ready, and it comes back only when it is mixed again."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.errors import BadInput
from intake.library import load
from intake.quarantine import Need, needs_for
from intake.timetable import PreparedWater, Timetable, litres_by_count, reliefs, schedule
from tests.timetable.farms import MONDAY, floor_of, need, site_of
from tests.timetable.judge import faults


def overdrawn(table: Timetable, drawn_l: Mapping[str, float], tank_l: float, refill: timedelta) -> list[str]:
    """Moments at which more is drawn and not yet mixed again than the tank holds, from the times on paper alone."""
    rows = [(task.start.astimezone(UTC), task.end.astimezone(UTC) + refill, task.uid) for task in table.tasks]
    found = []
    for moment in sorted({start for start, _, _ in rows}):
        out = sum(drawn_l.get(uid, 0.0) for start, back, uid in rows if start <= moment < back)
        if out > tank_l:
            found.append(f"{out} L at {moment}")
    return found


def dips(count: int, *, slack_h: float = 9.0) -> tuple[Need, ...]:
    """Dips of an hour at benches enough, wanted from eight on Monday."""
    return tuple(
        need(f"d-{number}", kind="dip", batch=f"T-{number}", vat="Q1a", slack_h=slack_h, headcount=40 * (number + 1))
        for number in range(count)
    )


def test_two_dips_wait_for_each_other_when_the_tank_holds_one() -> None:
    """Two keepers and room for both, but 60 L each of 100: the second begins when the first is mixed again."""
    needs, water = dips(2), PreparedWater(100, 60, {"d-0": 60, "d-1": 60})
    dry = schedule(needs, site_of(), now=MONDAY, seconds=0.2)
    wet = schedule(needs, site_of(), now=MONDAY, seconds=0.2, prepared_water=water)
    assert dry.tasks[0].start == dry.tasks[1].start
    assert wet.tasks[1].start == wet.tasks[0].end + timedelta(minutes=60)
    assert "60 L of mixed water" in wet.tasks[0].why
    assert overdrawn(dry, water.drawn_l, 100, timedelta(hours=1)), "the check must see two at once"


def test_water_that_two_share_is_no_reason_to_wait() -> None:
    """40 L each of 100 are enough for both."""
    water = PreparedWater(100, 60, {"d-0": 40, "d-1": 40})
    wet = schedule(dips(2), site_of(), now=MONDAY, seconds=0.2, prepared_water=water)
    assert wet.tasks[0].start == wet.tasks[1].start


def test_refilling_over_night_holds_back_the_morning() -> None:
    """A tank that takes 20 hours: what was drawn until late in the day is not there at eight."""
    needs = (need("d-0", kind="dip", hour=15, slack_h=1), need("d-1", kind="dip", day=1, slack_h=12))
    water = PreparedWater(100, 20 * 60, {"d-0": 80, "d-1": 80})
    wet = schedule(needs, site_of(), now=MONDAY.replace(hour=15), seconds=0.2, prepared_water=water).by_uid()
    assert wet["d-1"].start >= wet["d-0"].end + timedelta(hours=20)


def test_work_that_draws_more_than_the_tank_holds_is_unplaced_with_the_reason() -> None:
    """No day would ever do: silence would leave the animals undipped."""
    water = PreparedWater(100, 60, {"d-0": 160})
    wet = schedule(dips(1), site_of(), now=MONDAY, seconds=0, prepared_water=water)
    assert wet.tasks == ()
    assert "160 L" in wet.unplaced[0].why
    assert "100 L" in wet.unplaced[0].why
    assert "mixed water" in wet.unplaced[0].cheapest


def test_a_second_tank_is_offered_where_it_helps_and_was_tried() -> None:
    """Two dips of an hour that must both begin by half past nine, one tank: another is the way, more hours are not."""
    needs, water = dips(2, slack_h=1.5), PreparedWater(100, 240, {"d-0": 60, "d-1": 60})
    table = schedule(needs, site_of(), now=MONDAY, seconds=0.2, prepared_water=water)
    assert table.late_minutes > 0
    found = reliefs(needs, site_of(), table, now=MONDAY, prepared_water=water)
    assert "mixing tank" in found[0].do
    assert found[0].saves_late_minutes == table.late_minutes


@settings(max_examples=15, deadline=None)
@given(
    counts=st.lists(st.sampled_from([20, 60, 150, 400]), min_size=1, max_size=6),
    refill=st.sampled_from([0, 30, 60, 600, 1500]),
    tank_l=st.sampled_from([80.0, 130.5, 400.0]),
    seconds=st.sampled_from([0.0, 0.1]),
)
def test_no_timetable_of_a_random_floor_draws_more_than_there_is(
    counts: list[int], refill: int, tank_l: float, seconds: float
) -> None:
    """Whatever stands in quarantine: judged on the times alone, and by the judge of everything else."""
    groups = ("clam_small", "stony_montipora", "zoanthid", "fish_reef_safe")
    rows = [
        (f"T-{n}", groups[n % 4], count, f"Q{n % 2 + 1}{'ab'[n // 2 % 2]}", MONDAY) for n, count in enumerate(counts)
    ]
    site, floor = site_of(dip_places=3), floor_of(rows)
    needs = needs_for(floor.stays, floor, load(), site, now=MONDAY)
    drawn = litres_by_count(needs, bath_l=20.0, animals_a_bath=60)
    water = PreparedWater(tank_l, refill, drawn)
    table = schedule(needs, site, now=MONDAY, seconds=seconds, prepared_water=water)
    late = {task.uid: task.late_minutes for task in table.tasks}
    assert overdrawn(table, drawn, tank_l, timedelta(minutes=refill)) == []
    assert faults(needs, table.tasks, site, MONDAY, unplaced=table.unplaced, late=late) == []
    assert all(drawn[one.uid] > tank_l for one in table.unplaced), "only what can never be drawn is left out"


def test_litres_go_by_count_and_only_to_wet_work() -> None:
    """Sixty animals to a bath of 20 L: 61 need two baths; an inspection needs none."""
    needs = (need("a", kind="dip", headcount=61), need("b", kind="acclimation", headcount=60), need("c", headcount=500))
    assert litres_by_count(needs, bath_l=20.0, animals_a_bath=60) == {"a": 40.0, "b": 20.0}


@pytest.mark.parametrize(
    "bad",
    [
        lambda: PreparedWater(0, 60, {}),
        lambda: PreparedWater(100, -1, {}),
        lambda: PreparedWater(100, 60, {"a": -2.0}),
        lambda: PreparedWater(float("nan"), 60, {}),
        lambda: litres_by_count((), bath_l=0.0, animals_a_bath=60),
        lambda: litres_by_count((), bath_l=20.0, animals_a_bath=0),
    ],
)
def test_water_that_cannot_be_is_refused(bad: Callable[[], object]) -> None:
    """A tank of nothing would make every dip impossible without a word."""
    with pytest.raises(BadInput):
        bad()


def test_equal_water_gives_an_equal_timetable_and_none_leaves_it_as_it_was() -> None:
    """Water that never binds must not change a plan people have."""
    needs, now = dips(4), datetime(2027, 3, 1, 9, 0, tzinfo=MONDAY.tzinfo)
    plain = schedule(needs, site_of(), now=now, seconds=0.2)
    ample = schedule(needs, site_of(), now=now, seconds=0.2, prepared_water=PreparedWater(1e6, 60, {}))
    assert plain.tasks == ample.tasks
    water = PreparedWater(100, 60, {one.uid: 60.0 for one in needs})
    one, other = (schedule(needs, site_of(), now=now, seconds=0.2, prepared_water=water) for _ in range(2))
    assert one == other
