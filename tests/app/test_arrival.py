"""Readings at the dock and at the tub decide how a batch is acclimated, and the paper says what was read."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app.commands import receive_shipment
from intake.app.documents.cautions import ALWAYS, OXIDISER, cautions_of, gravest_of
from intake.app.documents.printing import print_forms
from intake.app.landing.acclimation_course import acclimation_of, bag_of, bag_readings, course_of, log_reading
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.errors import BadInput
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.conftest import NOON
from tests.forms.reading import text_of

Open = Callable[..., House]
LANDS = NOON - timedelta(hours=3)


def announced(house: House, group: str = "clam_small", boxes: tuple[str, ...] = ("1", "2")) -> Batch:
    """One batch of a shipment with its vat and packing time, landed three hours ago."""
    batch = Batch(
        "S1-01", "Invented species", group, 40.0, 60, "S1", 1, "one", boxes, packed_at=LANDS - timedelta(hours=10)
    )
    with house.act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": LANDS.isoformat()}, at=LANDS - timedelta(days=9))
        act.note("batch", batch.id, batch_payload(batch), at=LANDS - timedelta(days=9))
        rows = [
            {"batch": batch.id, "vat": "Q1", "stage": "quarantine", "count": 60, "from": "2027-03-04", "until": "x"}
        ]
        plan = {"state": "accepted", "plan": {"placements": rows}}
        act.note("plan", "P1", plan, at=LANDS - timedelta(days=8))
    return batch


def read_box(house: House, **values: float) -> None:
    """Write readings on box 2 as the crew would, half an hour after landing."""
    for name, value in values.items():
        scale = {"ph": "nbs", "specific_gravity": "25C/25C"}.get(name, "")
        told = {"quantity": name, "value": value, "scale": scale}
        with house.act() as act:
            act.note("reading", "S1/2", told, at=LANDS + timedelta(minutes=30))


def test_readings_on_a_box_replace_what_was_expected(house_at: Open) -> None:
    """Temperature, salinity, pH, ammonia and alkalinity as read, on their scale; the hours run to the first reading."""
    house = house_at()
    batch = announced(house)
    before = bag_of(house, batch, house.site.system_of("Q1"))
    assert not before.measured
    assert before.hours_in_bag == pytest.approx(10.0)
    read_box(house, temperature_c=23.4, salinity_psu=33.1, ph=6.8, tan_n_mg_per_l=0.6, alkalinity_meq_per_l=2.1)
    after = bag_of(house, batch, house.site.system_of("Q1"))
    assert after.measured
    assert (after.temperature_c, after.salinity_psu, after.ph, after.ph_scale) == (23.4, 33.1, 6.8, "nbs")
    assert (after.tan_n_mg_per_l, after.alkalinity_meq_per_l) == (0.6, 2.1)
    assert after.hours_in_bag == pytest.approx(10.5)


def test_a_hydrometer_stands_in_for_salinity_and_a_salinity_wins_over_it(house_at: Open) -> None:
    """1.0264 at 25C/25C is 35 PSU; a salinity read as well is the better word."""
    house = house_at()
    batch = announced(house)
    read_box(house, temperature_c=25.0, specific_gravity=1.0264)
    assert bag_readings(house, batch)["salinity_psu"].value == pytest.approx(35.0, abs=0.1)
    read_box(house, salinity_psu=33.0)
    assert bag_readings(house, batch)["salinity_psu"].value == 33.0


def test_a_damp_pack_goes_straight_in_and_says_so(house_at: Open) -> None:
    """A pack noted as damp has no water to match, whatever the list expected."""
    house = house_at()
    batch = announced(house)
    read_box(house, damp=1.0, temperature_c=26.0)
    found = acclimation_of(house, batch)
    assert found is not None
    assert found.mode == "damp_direct"
    assert found.bag.measured


def test_a_reading_weeks_later_is_no_reading_of_the_bag(house_at: Open) -> None:
    """The vat's own readings on a batch must not rewrite how it was unpacked."""
    house = house_at(NOON + timedelta(days=20))
    batch = announced(house)
    with house.act() as act:
        act.note("reading", batch.id, {"quantity": "temperature_c", "value": 20.0, "scale": ""})
    assert "temperature_c" not in bag_readings(house, batch)


def test_a_reading_at_the_tub_remakes_the_table_and_stands_beside_the_plan(house_at: Open) -> None:
    """Colder than planned at minute 30: the table grows longer, and both figures are kept."""
    house = house_at()
    batch = announced(house)
    planned = course_of(house, batch).planned
    course = log_reading(house, batch, 30, {"temperature_c": planned.bag.temperature_c, "salinity_psu": 34.0})
    (one,) = course.logged
    assert one.expected.temperature_c > one.read["temperature_c"]
    assert course.planned == planned
    assert course.now.minutes > planned.minutes
    assert next(step for step in course.now.steps if step.minute == 30).temperature_c == planned.bag.temperature_c
    assert course_of(house, batch) == course, "the books alone give the same table"


def test_a_jump_read_at_the_tub_is_told_as_the_first_limit_passed(house_at: Open) -> None:
    """Half a degree in five minutes is six an hour: the table says so at that minute."""
    house = house_at()
    batch = announced(house)
    start = course_of(house, batch).planned.bag.temperature_c
    course = log_reading(house, batch, 5, {"temperature_c": start + 0.9})
    assert course.now.first_breach is not None
    assert course.now.first_breach.startswith("minute 5: temperature")


@pytest.mark.parametrize(("minute", "read"), [(30, {}), (99_999, {"temperature_c": 25.0}), (30, {"ph": 1.0})])
def test_what_cannot_be_is_refused_and_nothing_is_written(house_at: Open, minute: int, read: dict[str, float]) -> None:
    """No reading, a minute off the table, a pH no water has."""
    house = house_at()
    batch = announced(house)
    count = len(house.entries())
    with pytest.raises(BadInput):
        log_reading(house, batch, minute, read)
    assert len(house.entries()) == count


def test_command_records_tells_and_prints_a_new_checklist(
    house_at: Open, farm_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One line at the tub: reading in the books, table made anew, checklist with the reading on it."""
    monkeypatch.setattr("intake.app.system_clock.now", lambda: NOON)
    batch = announced(house_at())
    out = tmp_path / "paper"
    line = f"--farm {farm_folder} --who ada acclimate --batch {batch.id} --minute 30 --temp 24.9 --salinity 34.1 --ph 8"
    result = CliRunner().invoke(vatside, [*line.split(), "--out", str(out), "--json"])
    assert result.exit_code == 0, result.output
    answer = json.loads(result.output)
    assert answer["logged"][0]["read"] == {"temperature_c": 24.9, "salinity_psu": 34.1, "ph": 8.0}
    assert "reason" in answer
    text = text_of(Path(answer["checklist"][0]).read_bytes())
    assert "After the reading" in text
    assert "24.9" in text
    bad = CliRunner().invoke(vatside, ["--farm", str(farm_folder), "acclimate", "--temp", "24"])
    assert bad.exit_code == 2


def test_an_oxidising_dip_brings_its_caution_and_an_ordinary_batch_does_not(house_at: Open) -> None:
    """The farm has switched the iodine dip on for corals; clams get none of it."""
    house = house_at()
    clam = announced(house)
    coral = Batch("S1-02", "Invented coral", "zoanthid", 30.0, 20, "S1", 2, "one")
    with_dip = [
        name for name, dip in house.library.dips.items() if "iodine" in dip.agent.lower() and dip.first_day == 0
    ]
    assert set(ALWAYS) <= set(cautions_of(house, [clam]))
    uses = any(
        name in house.library.group("zoanthid").dips for name in with_dip if name in house.site.planning.optional_dips
    )
    assert (OXIDISER in cautions_of(house, [coral])) == uses
    assert OXIDISER not in cautions_of(house, [clam])
    assert any("PALYTOXIN" in line.upper() and line.startswith("S1-02") for line in gravest_of(house, [clam, coral]))


def test_receipt_does_not_undo_the_readings(house_at: Open) -> None:
    """The truck was in before the list said: readings taken at the dock still count."""
    house = house_at()
    batch = announced(house)
    read_box(house, temperature_c=23.0, salinity_psu=33.0)
    receive_shipment.receive(house, "S1", at=LANDS + timedelta(minutes=5))
    assert bag_of(house, batch, house.site.system_of("Q1")).measured


def test_the_checklist_tells_the_heater_for_the_farms_coldest_room(
    house_at: Open, farm_folder: Path, tmp_path: Path
) -> None:
    """`room_c` of the acclimation stations reaches tub, set-up and paper; without it the words are as before."""
    batch = announced(house_at())
    read_box(house_at(), temperature_c=22.0, salinity_psu=31.0)
    before = acclimation_of(house_at(), batch)
    file = farm_folder / "farm.toml"
    text = file.read_text(encoding="utf-8")
    more = 'kind = "acclimation"\nroom_c = 14\n[station.annex]\nkind = "acclimation"\nroom_c = 12\n'
    file.write_text(text.replace('kind = "acclimation"\n', more, 1), encoding="utf-8")
    house = house_at()
    found = acclimation_of(house, batch)
    assert before is not None
    assert found is not None
    assert found.setup.heater_w > before.setup.heater_w > 0
    (path,) = print_forms(house, "checklists", tmp_path, batch=batch.id)
    words = " ".join(text_of(path.read_bytes()).split())
    assert f"a heater of {found.setup.heater_w} W for a room at 12 °C" in words
