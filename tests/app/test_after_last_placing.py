"""Nothing else of a lot stands before its last placing, however the landing day slips after its work was published."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import pytest

from intake.app.commands.schedule_work import reschedule
from intake.app.landing.day_rerun import going_on
from intake.app.landing.kept_day import keep_day, planned_day
from intake.app.landing.receiving_day import Slip
from intake.app.queries.planning.landing_work import last_placings
from intake.app.queries.planning.published_timetable import published_tasks
from intake.app.session import House
from tests.app.landing_days import LANDS, announced

Open = Callable[..., House]
AMONG_THE_DAY = {"receive", "acclimation", "placing"}


def early(house: House) -> list[tuple[str, str, datetime]]:
    """Open work of a lot published before its last animals are placed."""
    last = last_placings(house)
    assert last
    return [
        (str(row["uid"]), str(row["start"]), last[str(row["batch"])])
        for row in published_tasks(house)
        if row["kind"] not in AMONG_THE_DAY
        and row.get("state", "open") == "open"
        and row["batch"] in last
        and datetime.fromisoformat(str(row["start"])) < last[str(row["batch"])]
    ]


def on_the_landing_day(house: House) -> list[str]:
    """Work of lots, beside the landing day's own, that stands on the day they land."""
    return [
        str(row["uid"])
        for row in published_tasks(house)
        if row["batch"] and row["kind"] not in AMONG_THE_DAY and str(row["start"])[:10] == f"{LANDS:%Y-%m-%d}"
    ]


@pytest.mark.parametrize(("seed", "minutes"), [(0, 20), (4, 110)])
def test_work_after_landing_moves_with_a_late_truck(house_at: Open, seed: int, minutes: int) -> None:
    """A shake published for an hour after the placing is no longer there when the placing comes later than that."""
    house = house_at()
    batches = announced(house, seed)
    reschedule(house, seconds=0.0)
    assert on_the_landing_day(house), "work on the day, or the test could not fail"
    assert early(house) == []
    keep_day(house, batches, planned_day(house, batches, slip=Slip(lands=LANDS + timedelta(minutes=minutes))))
    assert early(house) == []
    reschedule(house, seconds=0.0)
    assert early(house) == []


def test_work_whose_hour_came_before_the_animals_waits_for_them(house_at: Open) -> None:
    """The day is run again when the shake's hour is past and its animals are still in their tub."""
    house = house_at()
    batches = announced(house, 4)
    reschedule(house, seconds=0.0)
    mine = on_the_landing_day(house)
    starts = sorted(str(row["start"]) for row in published_tasks(house) if row["uid"] in mine)
    at = datetime.fromisoformat(starts[0]) + timedelta(minutes=5)
    late = house_at(at)
    run = going_on(
        late, batches, Slip(lands=LANDS + timedelta(hours=4)), at, closed=[b for one in batches for b in one.boxes]
    )
    keep_day(late, batches, run)
    assert early(late) == []
    reschedule(late, seconds=0.0)
    assert early(late) == []
