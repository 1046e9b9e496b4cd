"""What a plan counts on beyond what stands there: growth of what comes, and sales of present stock where the farm says so."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from math import exp
from pathlib import Path

import pytest

from intake.app.commands import plan_vats
from intake.app.commands.take_stock import take_stock
from intake.app.queries.planning.plan_question import framed
from intake.app.queries.planning.present_stock import sales_counted
from intake.errors import BadInput
from tests.app.deliveries import Open, announced
from tests.conftest import NOON

STOCK = b"vat,name,group,size_mm,count,since,stage\nG1,Tridacna maxima,clam_small,40,200,2026-12-01,grow-out\n"
BEGAN = NOON - timedelta(weeks=10)


def says(folder: Path, *keys: str) -> None:
    """Write further keys under ``[planning]``."""
    file = folder / "farm.toml"
    text = file.read_text(encoding="utf-8").replace("[planning]\n", "\n".join(["[planning]", *keys, ""]))
    file.write_text(text, encoding="utf-8")


def stocked(house_at: Open, *sold: int) -> None:
    """Two hundred clams in grow-out for ten weeks, of which so many were sold in each of the last weeks, the last today."""
    take_stock(house_at(BEGAN), STOCK, "stock.csv")
    for number, count in enumerate(sold):
        moment = BEGAN if number == 0 else NOON
        house = house_at(moment)
        with replace(house, confirmed=house.today.isoformat()).act() as act:
            act.move("H1", "vat:G1", "sold", count, at=moment)


def test_growth_of_what_comes_is_counted_and_said(farm_folder: Path, house_at: Open) -> None:
    """40 mm clams are planned at their size after 42 days, and the plan says to which; what does not grow keeps its size."""
    says(farm_folder, 'growth = "library"')
    announced(house_at())
    found = plan_vats.propose(house_at(), seconds=1, reliefs=False)
    clam = next(one for one in found.problem.batches if one.id == "S1-01")
    size = 244 - 204 * exp(-0.17 * (clam.own_end - clam.stages[0].start_day) / 365.25)
    assert clam.footprint_mm2 == pytest.approx((1.5 * size) ** 2, abs=1)
    (words,) = found.counted_on
    assert words.startswith(f"Growth is counted; until their first stage ends: S1-01 40 to {size:.0f} mm, S1-02")


def test_without_being_asked_everyone_is_counted_at_the_size_on_record_and_that_is_said(house_at: Open) -> None:
    """The packing list's size all along, and a sentence that says so."""
    stocked(house_at)
    announced(house_at())
    found = plan_vats.propose(house_at(), seconds=1, reliefs=False)
    assert {one.footprint_mm2 for one in found.problem.batches if one.group == "clam_small"} == {3600}
    assert not any(one.grown for one in found.problem.batches)
    assert not any(one.grown for one in found.problem.standing)
    (words,) = found.counted_on
    assert words.startswith("Every animal is counted at the size on record: no growth")


def test_present_stock_has_the_size_on_record_today_and_grows_from_today(farm_folder: Path, house_at: Open) -> None:
    """Books and plan say the same of today; in a week each needs more."""
    says(farm_folder, 'growth = "library"')
    stocked(house_at)
    announced(house_at())
    (stock,) = (one for one in framed(house_at()).standing if one.batch == "H1")
    assert stock.footprint_mm2 == 3600
    assert stock.grown[0].from_day == 7
    assert stock.grown[0].footprint_mm2 > 3600


def test_no_sale_is_counted_on_unless_the_farm_says_so(house_at: Open) -> None:
    """A place promised on hope is no place: sales on record alone free nothing."""
    stocked(house_at, 40, 40)
    announced(house_at())
    assert sales_counted(house_at()) == {}
    assert all(not one.left for one in framed(house_at()).standing)


def test_sales_the_farm_file_gives_free_room_and_are_said(farm_folder: Path, house_at: Open) -> None:
    """Twelve a week of 200: two weeks on, 176 are there; the sentence says who, how many, by when, what it frees and why."""
    says(farm_folder, "sales_per_week = { clam_small = 12 }")
    stocked(house_at)
    announced(house_at())
    found = plan_vats.propose(house_at(), seconds=1, reliefs=False)
    (stock,) = (one for one in found.problem.standing if one.batch == "H1")
    assert stock.left[:2] == ((7, 188), (14, 176))
    day, there = stock.left[-1]
    by = (NOON.date() + timedelta(days=day)).isoformat()
    words = found.counted_on[-1]
    assert found.as_dict()["counted_on"] == list(found.counted_on)
    area = (200 - there) * 3600 / 1e6
    assert words == (
        f"H1 in G1: {200 - there} expected to be sold by {by}, which frees {area:.2f} m² "
        "(12 a week of clam_small: farm.toml)."
    )


def test_sales_on_record_are_counted_low(farm_folder: Path, house_at: Open) -> None:
    """Eighty sold in ten weeks are eight a week; counted is (√80 − 0.82)²/10 = 6.6, and fewer than four weeks are no record."""
    says(farm_folder, 'count_sales = "record"')
    stocked(house_at, 40, 40)
    (rate,) = sales_counted(house_at()).values()
    assert rate.a_week == pytest.approx(6.60, abs=0.005)
    assert rate.source == "80 sold in 10 weeks, counted low"
    early = house_at(BEGAN + timedelta(weeks=3))
    assert sales_counted(early) == {}


def test_sales_of_a_group_nobody_knows_are_refused(farm_folder: Path, house_at: Open) -> None:
    """A misspelt group would otherwise free nothing in silence."""
    says(farm_folder, "sales_per_week = { clam_smal = 12 }")
    with pytest.raises(BadInput, match="clam_smal"):
        framed(house_at())
