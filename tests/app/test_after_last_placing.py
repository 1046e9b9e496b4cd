"""Nothing else of a lot stands before its last placing, however the landing day slips after its work was published."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from intake.app.commands.receive_shipment import receive
from intake.app.commands.schedule_work import reschedule
from intake.app.documents.printing import print_forms
from intake.app.landing.day_rerun import going_on
from intake.app.landing.kept_day import keep_day, keep_missing_days, planned_day
from intake.app.landing.receiving_day import Slip
from intake.app.queries.planning.landing_work import last_placings
from intake.app.queries.planning.published_timetable import published_tasks
from intake.app.queries.planning.timetable_needs import needs
from intake.app.session import House
from intake.quarantine.daily.settling import care_lines
from tests.app.landing_days import LANDS, announced
from tests.forms.reading import text_of

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


def test_the_first_of_a_series_rests_from_where_the_lot_was_placed(house_at: Open, farm_folder: Path) -> None:
    """A truck hours late: no first brushing or bath stays at its minute where that is no longer 24 h after the placing."""
    file = farm_folder / "farm.toml"
    file.write_text(file.read_text(encoding="utf-8").replace('ends = "20:00"', 'ends = "16:00"'), encoding="utf-8")
    house = house_at()
    batches = announced(house, 4)
    reschedule(house, seconds=0.0)
    before = {str(row["uid"]): datetime.fromisoformat(str(row["start"])) for row in published_tasks(house)}
    keep_day(house, batches, planned_day(house, batches, slip=Slip(lands=LANDS + timedelta(minutes=330))))
    after = {str(row["uid"]): datetime.fromisoformat(str(row["start"])) for row in published_tasks(house)}
    firsts = [need for need in needs(house) if need.opens and need.dip == "clam-brushing"]
    assert any(before[need.uid] < need.earliest < before[need.uid] + timedelta(hours=12) for need in firsts)
    assert [need.uid for need in needs(house) if need.opens and after[need.uid] < need.earliest] == []


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


@pytest.mark.parametrize("seed", [0, 2, 4])
def test_another_agent_waits_two_days_from_where_the_first_bath_stands(
    house_at: Open, farm_folder: Path, seed: int
) -> None:
    """A019: 48 h from the end of one agent's first bath, wherever the timetable puts that: not from when it was wanted."""
    file = farm_folder / "farm.toml"
    text = file.read_text(encoding="utf-8")
    both = 'optional_dips = ["coral-iodine-dip", "coral-freshwater-dip"]'
    file.write_text(text.replace('optional_dips = ["coral-iodine-dip"]', both), encoding="utf-8")
    house = house_at()
    announced(house, seed)
    keep_missing_days(house, seconds=0.0)
    first = [need for need in needs(house) if need.kind == "dip" and need.opens and not need.uid.endswith("/part-2")]
    fresh = {need.batch: need for need in first if need.dip == "coral-freshwater-dip"}
    iodine = [need for need in first if need.dip == "coral-iodine-dip" and need.batch in fresh]
    assert iodine
    for need in iodine:
        bath = fresh[need.batch]
        assert need.after == bath.uid
        assert need.lag_min_days * 24 * 60 >= 48 * 60 + bath.minutes


def test_the_round_paper_says_what_the_first_weeks_ask_in_each_vat(house_at: Open, tmp_path: Path) -> None:
    """Light, first food and clams' feet stand on the round of their day, at the vat they are for, with source or mark."""
    house = house_at()
    announced(house, 4)
    reschedule(house, seconds=0.0)
    receive(house_at(LANDS + timedelta(minutes=5)), "S1")
    later = house_at(LANDS + timedelta(days=2))
    lots = [batch for batch in later.floor().batches.values() if batch.shipment]
    zone, floor = later.site.farm.zone, later.floor()
    wanted = [
        line.words
        for batch in lots
        for line in care_lines(batch, ["Q1"], last_placings(later)[batch.id].astimezone(zone), floor, later.library)
        if line.day == later.today
    ]
    (path,) = print_forms(later, "round", tmp_path)
    text = " ".join(text_of(path.read_bytes()).split())
    assert wanted
    for words in wanted:
        assert words.split(" (")[0] in text, words
