"""What the desk puts on paper: the draw to tick, the log in order of time, the history in words."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from intake.app.commands import count_animals, move_animals, plan_vats
from intake.app.commands.count_animals import Count
from intake.app.commands.take_stock import take_stock
from intake.app.documents.plan_paper import plan_pdf
from intake.app.documents.printing import print_forms
from intake.app.queries.planning.accepted_plan import accepted
from intake.app.queries.planning.present_stock import commitments, freedoms
from intake.app.queries.planning.published_timetable import shown_tasks, stored_tasks
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.errors import BadInput
from tests.app.deliveries import LANDED, announced, received
from tests.forms.reading import reader, text_of

Open = Callable[..., House]


def test_the_log_is_in_order_of_time(house_at: Open, tmp_path: Path) -> None:
    """The same work on many days under one title: day by day, not title by title; each row has its vat."""
    house = received(house_at)
    zone = house.site.farm.zone
    looks = [row for row in stored_tasks(house) if row["batch"] == "S1-01" and row["kind"] == "inspection"]
    assert len(looks) >= 3
    assert len({row["title"] for row in looks}) == 1
    days = [f"{datetime.fromisoformat(str(row['start'])).astimezone(zone):%a %d %b %H:%M} Q1 S1-01" for row in looks]
    (path,) = print_forms(house, "dips", tmp_path, shipment="S1")
    text = text_of(path.read_bytes())
    places = [text.index(day) for day in days]
    assert places == sorted(places)
    assert places[0] < text.index("S1-03", places[0]) < places[1]


def test_work_dropped_where_no_animals_stood_is_not_in_the_log(house_at: Open, tmp_path: Path) -> None:
    """A row with nothing to do and a box to tick is a trap; work of the lots that stand is there."""
    house = received(house_at)
    count_animals.count(house, "S1-03", "Q2", Count(missing=40), despite="the bags were never in the box")
    gone = [row for row in shown_tasks(house).values() if row["batch"] == "S1-03" and row.get("state") == "dropped"]
    assert gone, "its work was dropped"
    (path,) = print_forms(house, "dips", tmp_path, shipment="S1")
    text = text_of(path.read_bytes())
    assert "no animals of S1-03" not in text
    assert " Q1 S1-01 " in text


def test_cautions_of_a_log_name_their_batches_and_those_of_all_stand_once(house_at: Open, tmp_path: Path) -> None:
    """A warning that does not say which animals is passed over."""
    house = received(house_at)
    (path,) = print_forms(house, "dips", tmp_path, shipment="S1")
    text = text_of(path.read_bytes())
    assert "S1-03: PALYTOXIN" in text
    assert text.count("Cover cuts. Wear long gloves.") == 1


def test_an_ordinary_vat_label_tells_of_no_broken_rule(house_at: Open, tmp_path: Path) -> None:
    """The shipment of the other tests, as it stands."""
    (plain,) = print_forms(received(house_at), "labels", tmp_path / "plain", shipment="S1")
    assert "RULE BROKEN" not in text_of(plain.read_bytes())


@pytest.mark.parametrize("landed", [False, True], ids=["planned", "standing"])
def test_a_vat_label_says_that_a_rule_is_broken(house_at: Open, tmp_path: Path, landed: bool) -> None:
    """Three thousand clams in one vat, planned and as they stand, and twenty where they may be."""
    lines = (("clam_small", "Q1", 3000), ("clam_small", "Q2", 20))
    house = house_at()
    announced(house, lines)
    if landed:
        with house.act() as act:
            act.note("received", "S1", {"shipment": "S1"})
            act.move("S1-01", "supplier", "vat:Q1", 3000)
            act.move("S1-02", "supplier", "vat:Q2", 20)
        house = house_at()
    (labels,) = print_forms(house, "labels", tmp_path, shipment="S1")
    assert text_of(labels.read_bytes()).count("RULE BROKEN") == 1


def test_the_draw_is_printed_with_what_it_proves(
    house_at: Open, farm_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a number it is drawn to find 5 % with 95 % confidence; the same words print the same animals."""
    house = received(house_at)
    (path,) = print_forms(house, "sample", tmp_path, batch="S1-01", words="x")
    text = text_of(path.read_bytes())
    assert "31" in text.split()  # 2 carriers of 40: 31 of them to be seen
    assert "Vat Q1" in text
    assert "at most" in text
    (again,) = print_forms(house, "sample", tmp_path / "again", batch="S1-01", words="x")
    assert again.read_bytes() == path.read_bytes()
    with pytest.raises(BadInput, match="--batch"):
        print_forms(house, "sample", tmp_path)
    monkeypatch.setattr("intake.app.system_clock.now", lambda: house.now)
    words = ["print", "sample", "--batch", "S1-01", "--n", "7", "--seed", "x", "--out", str(tmp_path / "seven")]
    told = CliRunner().invoke(vatside, ["--farm", str(farm_folder), *words])
    assert told.exit_code == 0, told.output
    (by_command,) = (tmp_path / "seven").iterdir()
    (seven,) = print_forms(house, "sample", tmp_path / "called", batch="S1-01", animals=7, words="x")
    assert by_command.read_bytes() == seven.read_bytes() != path.read_bytes()


def test_the_history_tells_acts_in_words_with_their_box(house_at: Open, tmp_path: Path) -> None:
    """A supplier reads it: no ledger words, the box beside the dead, and what was taken back."""
    house = received(house_at)
    count_animals.count(house, "S1-01", "Q1", Count(doa=4, box="7"))
    told = count_animals.count(house, "S1-01", "Q1", Count(dead=2))
    count_animals.undo(house, told.keys[0], whole=True)
    (path,) = print_forms(house, "history", tmp_path, batch="S1-01")
    text = text_of(path.read_bytes())
    for words in ("came in", "dead on arrival", "box 7", "undone", "lands 2027-03-04 14:00"):
        assert words in text


STOCK = b"vat,name,group,size_mm,count,since,stage\nG1,Acropora,stony_branching_acropora,120,8,2026-01-01,grow-out\n"


def test_the_plan_for_the_wall_tells_each_morning(house_at: Open) -> None:
    """Every placement is one of its lines; stock to move is out by the hour of the landing, also once it has moved."""
    take_stock(house_at(), STOCK, "stock.csv")
    announced(house_at())
    stored = accepted(house_at())
    assert stored is not None
    (old,) = (stay.batch for stay in house_at().floor().stays if stay.vat == "G1")
    move = {"batch": old, "count": 8, "from_vat": "G1", "to_vat": "G2", "by": f"{LANDED:%Y-%m-%d}"}
    rows = stored["plan"]["placements"]
    empty = {"announced": 0, "placed": 0, "status": "bounded", "short": [], "relief": []}
    plan = {**stored["plan"], **empty, "moves": [move]}

    def read(house: House) -> str:
        data = plan_pdf(house, plan, date(2027, 3, 1), "a3")
        wide, tall = (float(side) for side in reader(data).pages[0].mediabox.upper_right)
        assert (round(wide / 72 * 25.4), round(tall / 72 * 25.4)) == (420, 297)
        return text_of(data)

    before = read(house_at())
    assert rows
    for row in rows:
        assert f"{date.fromisoformat(row['from']):%a %d %b}" in before
        assert f"{row['count']} of {row['batch']} in" in before
    hour = f"{LANDED.astimezone(house_at().site.farm.zone):%H:%M}"
    assert f"G1: 8 of {old} out before {hour} to G2" in before
    assert f"8 of {old} in from G1" in before
    move_animals.move(house_at(), old, "G1", "G2", 8)
    assert [stay.vat for stay in house_at().floor().stays if stay.batch == old] == ["G2"]
    assert f"G1: 8 of {old} out before {hour} to G2" in read(house_at())


def test_the_plan_for_the_wall_has_the_place_kept_for_a_lot_in_quarantine(house_at: Open) -> None:
    """Forty clams in Q1 have G1 from their release on: the next shipment's plan shows both, and nobody taken out to nowhere."""
    house = received(house_at)
    plan: dict[str, Any] = {"plan": "P2", "announced": 0, "placed": 0, "status": "bounded", "placements": []}
    plan |= {"short": [], "relief": [], "moves": []}
    day = next(one.start for one in commitments(house, freedoms(house, ahead=False)) if one.batch == "S1-01")
    rows = [{"batch": "S2-01", "count": 5, "stage": "quarantine", "vat": "Q3"}]
    span = {"from": f"{house.today}", "until": f"{day + timedelta(days=20)}"}
    text = text_of(plan_pdf(house, plan | {"placements": [row | span for row in rows]}, house.today, "a4"))
    assert "40 of S1-01 out to G1" in text
    assert "40 of S1-01 in from Q1" in text
    assert re.search(r"Planned no further than[^.]*S1-01", text)
    assert len(re.findall(r"40 of S1-01 out", text)) == 1


def test_a3_is_for_the_plan_only(house_at: Open, tmp_path: Path) -> None:
    """What is handled wet is A4 or Letter; nothing is written."""
    with pytest.raises(BadInput, match="A3 is for the plan"):
        print_forms(received(house_at), "sheets", tmp_path / "out", paper="a3")
    assert not (tmp_path / "out").exists()


def test_the_plan_for_the_wall_shows_stock_that_overstays_its_day(house_at: Open) -> None:
    """Promised gone by a day, drawn to that day; once the day has passed and the animals are there, drawn as they stand."""
    take_stock(house_at(), STOCK, "stock.csv")
    announced(house_at())
    stored = accepted(house_at())
    assert stored is not None
    plan = {**stored["plan"], "announced": 0, "placed": 0, "status": "bounded", "short": [], "relief": [], "moves": []}
    (old,) = (stay.batch for stay in house_at().floor().stays if stay.vat == "G1")
    day = LANDED.date() + timedelta(days=3)
    plan_vats.clear_vat(house_at(), "G1", day)
    before = text_of(plan_pdf(house_at(), plan, house_at().today, "a4"))
    assert f"8 of {old} out" in before
    late = house_at(LANDED + timedelta(days=6))
    after = text_of(plan_pdf(late, plan, late.today, "a4"))
    assert f"8 of {old}" in after
    assert f"8 of {old} out" not in after
