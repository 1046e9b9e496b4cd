"""The season's question from file and farm: its room, its faults, and the orders as the command tells them."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from intake.app.commands.take_stock import take_stock
from intake.app.queries.season.season_question import order_rows, read_season, season_of
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.cli.planning.season import water_lines
from intake.errors import BadInput
from intake.season import solve_orders
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
    question, _ = season_of(house, read_season(file))
    plan = solve_orders(question, seconds=4)
    head, line, _ = water_lines(question, plan)
    assert "A one lands" in head
    weeks = line.split()[1]
    assert len(weeks) == 20
    assert weeks.startswith("██████░")
    assert [number for number, mark in enumerate(weeks) if mark == "A"] == [one.week for one in plan.landings]
