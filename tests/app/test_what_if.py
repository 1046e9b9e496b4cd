"""What-ifs: who would send a mix decides which quarantine water is open to it."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from intake.app.commands import plan_vats
from intake.app.commands.take_stock import take_stock
from intake.app.queries.planning.mix_capacity import capacity_of, mix_of
from intake.app.session import House
from intake.errors import UnknownName
from tests.app.test_several_deliveries import announced
from tests.conftest import NOON

Open = Callable[..., House]
STOCK = b"vat,name,group,size_mm,count,since,stage,supplier\nQ1,Tridacna maxima,clam_small,40,50,2027-03-01,quarantine,one\n"


@pytest.fixture
def mix(tmp_path: Path) -> Path:
    """Forty clams of an invented mix: in quarantine for as long as the clams that stand there."""
    return _mix(tmp_path, "Tridacna maxima")


@pytest.fixture
def snails(tmp_path: Path) -> Path:
    """Forty snails of an invented mix: in quarantine for so few days that they wait for the clams in their water."""
    return _mix(tmp_path, "Trochus maculatus")


def _mix(folder: Path, name: str) -> Path:
    path = folder / f"{name}.csv"
    path.write_text(f"name,size mm,count\n{name},30-40,40\n", encoding="utf-8")
    return path


def test_a_mix_fits_beside_its_own_suppliers_lots_and_not_beside_anothers(house_at: Open, snails: Path) -> None:
    """Lots of different suppliers never share quarantine water unless the farm says so."""
    house = house_at()
    take_stock(house, STOCK, "stock.csv")
    day = house.today + timedelta(days=2)
    fits = {name: capacity_of(house, snails, day, day, supplier=name)[0]["fits"] for name in ("one", "two", "")}
    assert fits["one"] >= 40  # the largest shipment of the mix, which may be more than the mix itself
    assert (fits["two"], fits[""]) == (0, 0)


def test_a_mix_that_would_keep_a_lot_longer_fits_on_the_day_that_lot_has_left(house_at: Open, mix: Path) -> None:
    """Clams that land two days later would set a later end for those in the water, whoever sends them: none fit before then."""
    house = house_at()
    take_stock(house, STOCK, "stock.csv")
    early, late = house.today + timedelta(days=2), house.today + timedelta(days=40)  # the lot's 42 days end on day 39
    fits = {day: capacity_of(house, mix, day, day, supplier="one", seconds=0.2)[0]["fits"] for day in (early, late)}
    assert fits[early] == 0
    assert fits[late] >= 40


def test_what_is_still_to_come_has_its_place_in_the_capacity(house_at: Open, mix: Path) -> None:
    """Another supplier's shipment has the only quarantine water from the day after tomorrow: nothing fits, as in the plan."""
    day = house_at().today + timedelta(days=5)
    assert capacity_of(house_at(), mix, day, day, supplier="two", seconds=0.2)[0]["fits"] >= 40
    announced(house_at(), "S1", 2, 40)
    assert capacity_of(house_at(), mix, day, day, supplier="two", seconds=0.2)[0]["fits"] == 0
    plan_vats.accept(house_at(), plan_vats.propose(house_at(), seconds=1))
    assert capacity_of(house_at(), mix, day, day, supplier="two", seconds=0.2)[0]["fits"] == 0
    arrival = mix_of(house_at(), mix, NOON + timedelta(days=5), "two")
    plan = plan_vats.propose(house_at(), extra=[arrival], seconds=1, reliefs=False)
    assert {(one.batch, one.count) for one in plan.solution.short} == {("M-01", 40)}
    assert capacity_of(house_at(), mix, day, day, supplier="one", seconds=0.2)[0]["fits"] >= 40  # it may join its own


def test_an_unknown_sender_is_refused(house_at: Open, mix: Path) -> None:
    """A misspelt supplier would answer another question than the one asked."""
    with pytest.raises(UnknownName):
        mix_of(house_at(), mix, None, "three")
