"""Past shipments from the owner's own table: of use on the first day, and never among the farm's batches; all invented."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from intake.app.commands.records.take_history import take_history
from intake.app.farm_folder import check_house
from intake.app.queries.reports import journey_forecast, loss_alarms, supplier_scorecard
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.errors import BadInput, Refused
from intake.report.comparing.past_shipments import PastLine, group_factors, past_lines
from tests.conftest import NOON

Open = Callable[..., House]

TABLE = """Supplier,Received,Group,Announced,Missing,DOA,Dead by day 7,Hours in bag
one,2026-01-14,clam_small,200,2,6,9,31
one,2026-02-20,clam_small,180,0,11,4,40
one,2026-02-20,zoanthid,60,1,0,2,40
two,2026-03-02,clam_small,100,,3,,
"""


def written(folder: Path, text: str = TABLE, name: str = "past.csv") -> Path:
    """The table as a file."""
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / name
    file.write_text(text, encoding="utf-8")
    return file


def test_scorecards_and_expected_losses_are_of_use_on_the_first_day(house_at: Open, tmp_path: Path) -> None:
    """No shipment was received yet: 17 of 438 that came from one were dead on arrival, named as past shipments."""
    house = house_at()
    told = take_history(house, written(tmp_path))
    assert (told.lines, told.shipments, told.by_supplier) == (4, 3, {"one": 2, "two": 1})
    card = supplier_scorecard.suppliers(house)
    rows = {row["supplier"]: row for row in card["suppliers"]}
    one = rows["one"]
    assert (one["shipments"], one["past_shipments"], one["batches"], one["came"]) == (0, 2, 0, 0)
    assert (one["shares"]["doa"]["lost"], one["shares"]["doa"]["of"]) == (17, 437)
    assert (one["shares"]["lost by day 7"]["lost"], one["shares"]["short"]["lost"]) == (15, 3)
    # what a table does not say is not none
    assert set(rows["two"]["shares"]) == {"doa"}
    mix = written(tmp_path / "mix", "name,size,quantity\nTridacna maxima,4 cm,100\n", "mix.csv")
    ahead = journey_forecast.expect_losses_of_mix(house, mix, "one", hours=35)["heads"]["doa"]
    assert ahead["low"] <= 4 <= ahead["expected"] <= ahead["high"]
    assert ahead["lines"][0]["basis"] == "this supplier and group, 2 shipments"
    assert loss_alarms.alarms(house)["alarms"] == []
    assert check_house(house) == []
    assert house.floor().batches == {}


def test_a_table_is_taken_in_once(house_at: Open, tmp_path: Path) -> None:
    """The same file, and the same line in another file, are refused; the same act sent again is not."""
    house = house_at()
    file = written(tmp_path)
    take_history(house, file, key="k")
    take_history(house, file, key="k")
    with pytest.raises(Refused, match="taken in"):
        take_history(house, file)
    head, first, *_ = TABLE.splitlines()
    with pytest.raises(Refused, match="row 2"):
        take_history(house, written(tmp_path, f"{head}\n{first}\n", "again.csv"))
    assert len(past_lines(house.entries())) == 4


def test_every_fault_is_named_with_its_row_and_nothing_is_saved(house_at: Open, tmp_path: Path) -> None:
    """Unknown supplier and group, more dead than came, half an animal, a day to come."""
    text = """supplier,date,group,announced,doa
nobody,2026-01-14,clam_small,10,1
one,2026-01-14,moss,10,1
one,2027-12-01,clam_small,10,1
"""
    house = house_at()
    with pytest.raises(BadInput) as refused:
        take_history(house, written(tmp_path, text))
    assert [fault.where for fault in refused.value.findings] == ["row 2, supplier", "row 3, group", "row 4, date"]
    text = "supplier,date,group,announced,doa\none,2026-01-14,clam_small,10,11\none,2026-01-15,clam_small,10.5,1\n"
    with pytest.raises(BadInput) as refused:
        take_history(house, written(tmp_path, text))
    assert [fault.where for fault in refused.value.findings] == ["row 2", "row 3, announced"]
    text = "supplier,date,group,announced,doa\none,2026-01-14,clam_small,,1\none,2026-01-15,clam_small,10,\n"
    with pytest.raises(BadInput) as refused:
        take_history(house, written(tmp_path, text))
    assert [fault.where for fault in refused.value.findings] == ["row 2, announced", "row 3, doa"]
    assert past_lines(house.entries()) == ()


def test_dates_that_cannot_be_told_apart_are_asked_about(house_at: Open, tmp_path: Path) -> None:
    """3/4 is April or March."""
    text = "date,name,announced,doa\n03/04/2026,Zoanthus sp.,50,1\n"
    house = house_at()
    with pytest.raises(BadInput, match="--dates"):
        take_history(house, written(tmp_path, text), supplier="one")
    take_history(house, written(tmp_path, text), supplier="one", dates="dmy")
    (line,) = past_lines(house.entries())
    assert (line.day.isoformat(), line.group) == ("2026-04-03", "zoanthid")


def test_a_workbook_is_read_and_the_command_says_what_was_taken(
    farm_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """XLSX, by command, as JSON; a table of something else is refused with what was looked for."""
    monkeypatch.setattr("intake.app.system_clock.now", lambda: NOON)
    file = tmp_path / "past.xlsx"
    pd.read_csv(io.StringIO(TABLE)).to_excel(file, index=False)
    run = CliRunner().invoke(vatside, ["--farm", str(farm_folder), "history", str(file), "--json"])
    assert run.exit_code == 0, run.output
    assert json.loads(run.output)["shipments"] == 3
    other = written(tmp_path, "a,b\n1,2\n", "other.csv")
    run = CliRunner().invoke(vatside, ["--farm", str(farm_folder), "history", str(other)])
    assert run.exit_code == 2
    assert "announced" in run.output


def test_the_usual_of_a_group_moves_its_first_alarms_within_limits() -> None:
    """A group that lost 30 % in the first week twice is expected to lose more than assumed, at most threefold."""

    def line(number: int, group: str, dead: int) -> PastLine:
        day = NOON.date()
        return PastLine(f"one {number}", "one", day, group, "", 100, 0, 0, dead, None)

    lines = [line(1, "frail", 30), line(2, "frail", 34), line(3, "tough", 1), line(4, "tough", 0), line(5, "new", 90)]
    found = group_factors(lines)
    assert set(found) == {"frail", "tough"}
    assert 2 < found["frail"] <= 3
    assert 0.3 <= found["tough"] < 0.7
