"""The season's question from file and farm: its room, its faults, and the orders as the command reports them."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app.commands.take_stock import take_stock
from intake.app.queries.reports.sales_report import sales
from intake.app.queries.season.season_answer import plan_season
from intake.app.queries.season.season_question import order_rows, read_season, season_of
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.cli.planning.season import water_lines
from intake.errors import BadInput
from intake.ledger import netted
from intake.season import solve_orders
from tests.conftest import NOON
from tests.season.order_judge import judge_orders

Open = Callable[..., House]

SEASON = """
weeks = 20
budget_per_quarter = 4000

[kind.clams]
group = "clam_small"
size_mm = 35
price = 14
sales_per_week = 12
growth_mm_per_week = 0.4
weekly_loss_percent = 0.5

[supplier.one]
every_weeks = 2
freight = 150
least = 20

[supplier.one.kind.clams]
cost = 5
box = 20
dead_on_arrival_percent = 3
first_week_percent = 4
"""
"""Invented figures."""

STOCK = b"vat,name,group,size_mm,count,since,stage,supplier\nQ1,Tridacna maxima,clam_small,40,50,2027-03-01,quarantine,one\n"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """The season file."""
    path = tmp_path / "season.toml"
    path.write_text(SEASON, encoding="utf-8")
    return path


def test_room_is_the_farms_and_a_water_in_use_is_taken_until_its_lots_are_free(house_at: Open, file: Path) -> None:
    """Three vats of two square metres in one quarantine water, taken for six weeks by what stands there."""
    house = house_at()
    take_stock(house, STOCK, "stock.csv")
    season, assumed = season_of(house, read_season(file))
    assert [(one.id, one.area_m2) for one in season.waters] == [("quarantine", 6.0)]
    assert season.grow_out_m2 == 4.0
    assert [(one.water, one.release) for one in season.stock] == [("quarantine", 6)]
    assert assumed == ()
    plan = solve_orders(season, seconds=5)
    assert judge_orders(season, plan) == []
    assert min(one.week for one in plan.landings) >= 7  # six weeks, one fallow
    rows = order_rows(house, plan)
    assert rows[0]["waters"] == ["quarantine"]
    assert rows[0]["animals"] % 20 == 0


def test_growth_and_losses_that_are_missing_are_told(house_at: Open, file: Path) -> None:
    """Nothing is assumed in silence."""
    text = "\n".join(line for line in SEASON.splitlines() if "growth" not in line and "percent" not in line)
    file.write_text(text, encoding="utf-8")
    _, assumed = season_of(house_at(), read_season(file))
    assert len(assumed) == 3


def test_a_kind_nobody_knows_is_refused(file: Path) -> None:
    """All faults at once, with the table they are in."""
    file.write_text(SEASON.replace("[supplier.one.kind.clams]", "[supplier.one.kind.snails]"), encoding="utf-8")
    with pytest.raises(BadInput, match="snails"):
        read_season(file)


def test_the_command_tells_landings_margin_and_gap(farm_folder: Path, file: Path) -> None:
    """The same figures as JSON."""
    asked = ["--farm", str(farm_folder), "season", str(file), "--seconds", "4", "--json"]
    result = CliRunner().invoke(vatside, asked, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    assert told["margin"] > 0
    assert told["bound"] >= told["margin"]
    assert told["landings"]
    assert all(row["animals"] >= 20 for row in told["landings"])


def test_waters_are_drawn_week_by_week_on_the_terminal(house_at: Open, file: Path) -> None:
    """Taken, fallow and free, with a letter where a supplier lands; what is there now takes the first weeks."""
    house = house_at()
    take_stock(house, STOCK, "stock.csv")
    answer = plan_season(house, read_season(file), seconds=4)
    head, line, _ = water_lines(answer)
    assert "A one lands" in head
    weeks = line.split()[1]
    assert len(weeks) == answer.question.last
    present = answer.waters["quarantine"][0]
    assert present.state == "present"
    assert present.share is not None
    assert 0 < present.share < 1 / 8, "forty small clams on six square metres: one eighth is not full"
    assert weeks.startswith("▁▁▁▁▁▁░")
    assert [number for number, mark in enumerate(weeks) if mark == "A"] == [one.week for one in answer.plan.landings]


@pytest.mark.parametrize(
    ("name", "text", "met"),
    [
        ("season.toml", "", "empty"),
        ("season.toml", "\n  \n", "empty"),
        ("season.csv", "kind,price\nclams,14\n", "not TOML"),
        ("season.toml", "weeks = 20\n", "no kinds and no suppliers"),
    ],
)
def test_what_is_no_season_file_is_told_so_with_the_example(tmp_path: Path, name: str, text: str, met: str) -> None:
    """Not "add the key": what is expected, and where to start."""
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput) as refused:
        read_season(path)
    (finding,) = refused.value.findings
    assert finding.value == met
    assert "TOML" in finding.expected
    assert "--example" in finding.do


@pytest.mark.parametrize("name", ["none.toml", "."])
def test_a_season_file_that_is_not_there_is_asked_for_as_one(tmp_path: Path, name: str) -> None:
    """A wrong path is refused with what belongs there: a season, and no packing list."""
    with pytest.raises(BadInput) as refused:
        read_season(tmp_path / name)
    assert "TOML" in refused.value.findings[0].expected


def test_a_broken_toml_file_is_told_its_line(tmp_path: Path) -> None:
    """A season file with one wrong line is not sent back to the example."""
    path = tmp_path / "season.toml"
    path.write_text(SEASON.replace("price = 14", "price = = 14"), encoding="utf-8")
    with pytest.raises(BadInput, match="line 8"):
        read_season(path)


def test_the_example_can_be_planned_and_printed(farm_folder: Path, tmp_path: Path) -> None:
    """From the command alone: the example, the picture, the paper; the answer gives room by week."""
    shown = CliRunner().invoke(vatside, ["season", "--example"], catch_exceptions=False)
    path = tmp_path / "example.toml"
    path.write_text(shown.stdout, encoding="utf-8")
    asked = ["--farm", str(farm_folder), "season", str(path), "--seconds", "4", "--json"]
    asked += ["--out", str(tmp_path / "out"), "--paper", "a3", "--picture", str(tmp_path / "season.svg")]
    result = CliRunner().invoke(vatside, asked, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    room = told["grow_out"]["room_m2"]
    assert 0 < max(week["m2"] for week in told["grow_out"]["weeks"]) <= room
    assert all(week["low"] <= week["high"] for week in told["grow_out"]["weeks"])
    assert {one["state"] for one in told["waters"]["quarantine"]} >= {"taken", "fallow"}
    assert (tmp_path / "season.svg").read_text(encoding="utf-8").startswith("<svg")
    (pdf,) = (tmp_path / "out").glob("season-*.pdf")
    assert pdf.read_bytes().startswith(b"%PDF")


def test_a_search_can_be_stopped(house_at: Open, file: Path) -> None:
    """The first report ends it: the best so far is called that, and nothing more is worked out."""
    answer = plan_season(house_at(), read_season(file), seconds=20, worth=True, report=lambda *_: True)
    assert answer.stopped
    assert answer.worth == ()
    assert judge_orders(answer.question, answer.plan) == []


def test_sales_left_out_are_those_of_the_ledger(house_at: Open, file: Path) -> None:
    """Ten clams sold ten weeks ago and thirty today: four a week, said so; without four weeks of sales it is asked for."""
    file.write_text(SEASON.replace("sales_per_week = 12\n", ""), encoding="utf-8")
    with pytest.raises(BadInput, match="sales_per_week"):
        season_of(house_at(), read_season(file))
    began = NOON - timedelta(weeks=10)
    take_stock(house_at(began), STOCK.replace(b"2027-03-01", b"2026-12-01").replace(b",50,", b",90,"), "stock.csv")
    for moment, count in ((began, 10), (NOON, 30)):
        house = house_at(moment)
        with replace(house, confirmed=house.today.isoformat()).act() as act:
            act.move("H1", "vat:Q1", "sold", count, at=moment)
    season, assumed = season_of(house_at(), read_season(file))
    assert season.kinds[0].sales[0] == pytest.approx(4.0)
    assert any("4 sold a week" in one for one in assumed)
    # twenty of today's sale taken back: two a week here, and in the report of sales the same animals
    house = house_at()
    (today,) = (one for one in netted(house.moved()) if one.target == "sold" and one.happened_at == NOON)
    with replace(house, confirmed=house.today.isoformat()).act() as act:
        act.move("H1", "sold", "vat:Q1", 20, at=NOON, corrects=today.key)
    season, _ = season_of(house_at(), read_season(file))
    assert season.kinds[0].sales[0] == pytest.approx(2.0)
    assert sum(row["count"] for row in sales(house_at())["sales"]) == 20
