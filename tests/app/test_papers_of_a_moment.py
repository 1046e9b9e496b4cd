"""Labels, round, dip log and history from the ledger at a moment: what stood there then, with every danger named."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app.commands import count_animals, hold_batch
from intake.app.commands.count_animals import Count
from intake.app.commands.order_treatment import Order, order
from intake.app.commands.schedule_work import reschedule
from intake.app.documents.printing import print_forms
from intake.app.documents.weekly.dip_log_paper import count_in
from intake.app.documents.weekly.vat_label_paper import vat_label
from intake.app.queries.planning.present_stock import freedoms
from intake.app.queries.planning.published_timetable import published_tasks
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.errors import BadInput
from intake.ledger import batch_payload
from tests.app.deliveries import LANDED, received
from tests.forms.measuring import type_sizes
from tests.forms.reading import text_of

Open = Callable[..., House]


def printed(house: House, what: str, out: Path, **more: object) -> str:
    """Text of one paper."""
    (path,) = print_forms(house, what, out, **more)  # type: ignore[arg-type]
    return text_of(path.read_bytes())


def test_a_label_says_what_stands_in_the_vat_and_not_what_was_planned(house_at: Open) -> None:
    """Deaths and moves reach the label; the total adds up; palytoxin wins over what only hurts."""
    house = received(house_at)
    before = {vat: vat_label(house, vat, freedoms(house)) for vat in house.site.vats if house.floor().in_vat(vat)}
    stay = next(stay for stay in house.floor().stays if stay.batch == "S1-01")
    count_animals.count(house, "S1-01", stay.vat, Count(dead=3))
    after = vat_label(house_at(LANDED + timedelta(hours=2)), stay.vat, freedoms(house))
    counts = {lot.batch: lot.count for lot in after.lots}
    assert counts["S1-01"] == stay.count - 3
    assert after.told.startswith(f"{sum(counts.values()):,} animals")
    deadly = [one for one in before.values() if any(lot.batch == "S1-03" for lot in one.lots)]
    assert deadly
    assert all(one.danger is not None and one.danger.mark == "poison" for one in deadly)
    assert all(one.says.endswith("to release") and int(one.state) > 0 for one in before.values())


def test_a_held_lot_is_told_on_the_label_of_its_vat(house_at: Open) -> None:
    """HELD with the reason, in words and tone."""
    house = received(house_at)
    hold_batch.hold(house, "S1-01", "snails seen")
    later = house_at(LANDED + timedelta(hours=2))
    vat = next(stay.vat for stay in later.floor().stays if stay.batch == "S1-01")
    told = vat_label(later, vat, freedoms(later))
    assert (told.state, told.free) == ("HELD", False)
    assert "snails seen" in " ".join(told.notes)


def test_the_log_counts_the_animals_of_that_vat_at_that_time(house_at: Open, tmp_path: Path) -> None:
    """Last month's rows keep last month's headcount of their vat, not today's of the whole batch."""
    house = received(house_at)
    vat = next(stay.vat for stay in house.floor().stays if stay.batch == "S1-01")
    there = count_in(house, "S1-01", vat, LANDED + timedelta(hours=2))
    later = house_at(LANDED + timedelta(days=20))
    count_animals.count(later, "S1-01", vat, Count(dead=5))
    now = house_at(LANDED + timedelta(days=21))
    assert count_in(now, "S1-01", vat, LANDED + timedelta(days=2)) == there
    assert count_in(now, "S1-01", vat, now.now) == (there or 0) - 5
    assert count_in(now, "S1-01", vat, LANDED - timedelta(days=2)) is None
    assert f" {there} " in printed(now, "dips", tmp_path, shipment="S1")


@pytest.mark.parametrize("what", ["round", "dips", "labels", "sheets"])
def test_palytoxin_stands_on_every_paper_that_sends_a_hand_into_that_vat(
    what: str, house_at: Open, tmp_path: Path
) -> None:
    """Absent from round and label is how a person is poisoned; the emergency line is beside it."""
    house = received(house_at)
    paths = print_forms(house, what, tmp_path, shipment="S1")
    text = " ".join(text_of(path.read_bytes()) for path in paths if path.suffix == ".pdf")
    assert "PALYTOXIN" in text
    assert what == "labels" or "EMERGENCY" in text
    for path in paths:
        assert what == "dips" or min(type_sizes(path.read_bytes())) >= 8.0


def test_a_history_holds_everything_and_is_the_same_for_the_same_moment(house_at: Open, tmp_path: Path) -> None:
    """Counts, holds and findings in order of time; what is recorded later changes nothing of an earlier moment."""
    house = received(house_at)
    vat = next(stay.vat for stay in house.floor().stays if stay.batch == "S1-01")
    hold_batch.hold(house, "S1-01", "snails seen")
    moment = LANDED + timedelta(days=1)
    at_that_time = house_at(moment)
    (path,) = print_forms(at_that_time, "history", tmp_path, batch="S1-01", at=moment)
    first = path.read_bytes()
    text = text_of(first)
    for words in ("on hold", "snails seen", "came in", "on the packing list"):
        assert words in text
    later = house_at(moment + timedelta(days=3))
    count_animals.count(later, "S1-01", vat, Count(dead=2))
    (again,) = print_forms(later, "history", tmp_path / "again", batch="S1-01", at=moment)
    assert again.read_bytes() == first
    (now,) = print_forms(house_at(moment + timedelta(days=4)), "history", tmp_path / "now", batch="S1-01")
    assert now.read_bytes() != first


def test_a_moment_and_fields_are_refused_where_they_mean_nothing(house_at: Open, tmp_path: Path) -> None:
    """A plan of last week or a label to type in is no paper; it is said, and nothing is written."""
    house = received(house_at)
    with pytest.raises(BadInput, match="--at"):
        print_forms(house, "checklists", tmp_path / "out", at=house.now)
    with pytest.raises(BadInput, match="--fillable"):
        print_forms(house, "labels", tmp_path / "out", fillable=True)
    assert not (tmp_path / "out").exists()


def test_labels_are_printed_on_the_stock_that_is_there(
    farm_folder: Path, house_at: Open, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """By size in mm, from the first free label on, with marks to cut; what does not fit is refused in words."""
    house = received(house_at)
    monkeypatch.setattr("intake.app.system_clock.now", lambda: house.now)

    def run(*words: str) -> tuple[int, str]:
        told = CliRunner().invoke(
            vatside, ["--farm", str(farm_folder), "print", "labels", "--out", str(tmp_path), *words]
        )
        return told.exit_code, told.output

    assert run("--label", "99x68", "--first", "2", "--gap", "2x0", "--cut-marks")[0] == 0
    assert run("--label", "99x68", "--calibrate")[0] == 0
    code, text = run("--label", "30x20")
    assert (code, "30x20" in text) == (2, True)
    assert run("--label", "wide")[0] == 2
    for nothing in ("0x0", "99x0"):
        code, text = run("--label", nothing)
        assert (code, nothing in text, "Traceback" in text) == (2, True, False)
    code, text = run("--label", "99x68", "--first", "99")
    assert (code, "99" in text) == (2, True)


def test_a_prescription_prints_its_prescriber_and_no_mark(house_at: Open, tmp_path: Path) -> None:
    """Agent, strength as prescribed, prescriber, reference and withdrawal; never the mark of common practice."""
    house = received(house_at, (("fish_reef_safe", "Q1", 20),))
    told = Order(
        "flukes seen",
        "Dr Example",
        "RX-1",
        "formalin 37 %",
        "0.15 mL/L",
        60.0,
        "the prescription",
        withdrawal="14 days",
    )
    order(house, "S1-01", "fish-formalin-bath", told)
    reschedule(house_at(LANDED + timedelta(hours=2)))
    later = house_at(LANDED + timedelta(hours=3))
    first = min(str(task["start"]) for task in published_tasks(later) if "ormalin" in str(task["title"]))
    morning = house_at(datetime.fromisoformat(first).replace(hour=5, minute=0))
    papers = {what: printed(later, what, tmp_path, batch="S1-01") for what in ("dips", "sheets")}
    rounds = print_forms(morning, "round", tmp_path)
    papers["round"] = " ".join(text_of(path.read_bytes()) for path in rounds)
    for what, text in papers.items():
        for words in ("Dr Example", "RX-1", "formalin 37 %", "0.15 mL/L", "14 days"):
            assert words in text, (what, words)
        assert "as prescribed: Dr Example, RX-1) †" not in text
        assert "0.15 mL/L †" not in text


def test_a_name_no_face_can_print_is_refused_by_its_characters(house_at: Open, tmp_path: Path) -> None:
    """Never an empty box: the refusal names the characters, and no file is left."""
    house = received(house_at)
    named = replace(house.floor().batches["S1-01"], name="鹿角珊瑚")
    with house.act() as act:
        act.note("batch", "S1-01", batch_payload(named))
    with pytest.raises(BadInput, match=r"U\+9E7F"):
        print_forms(house_at(LANDED + timedelta(hours=2)), "history", tmp_path / "out", batch="S1-01")
    assert not (tmp_path / "out").exists()
