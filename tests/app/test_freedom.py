"""Nothing leaves quarantine by a slip of the keyboard: sales and moves into other water wait for the release check."""

from collections.abc import Callable
from datetime import timedelta

import pytest

from intake.app.commands import hold_batch, move_animals
from intake.app.commands.take_stock import take_stock
from intake.app.queries.overview import vat_stock
from intake.app.queries.planning import plan_question
from intake.app.session import House
from intake.errors import Refused
from intake.ledger import balances, movements
from tests.conftest import NOON

Open = Callable[..., House]
HEAD = b"vat,name,group,size_mm,count,since,stage\n"
NEW = HEAD + b"Q1,Tridacna maxima,clam_small,40,50,2027-03-01,quarantine\n"


@pytest.mark.parametrize("target", ["sold", "G1"])
def test_a_lot_in_quarantine_is_neither_sold_nor_moved_into_other_water(house_at: Open, target: str) -> None:
    """Three days of quarantine are not forty-two, and what stands in the way is said."""
    house = house_at()
    take_stock(house, NEW, "stock.csv")
    with pytest.raises(Refused, match="release"):
        move_animals.move(house, "H1", "Q1", target, 5)
    assert balances(house.entries())["H1", "vat:Q1"] == 50


def test_moves_within_quarantine_water_stay_free(house_at: Open) -> None:
    """Making room inside the same water changes nobody's exposure."""
    house = house_at()
    take_stock(house, NEW, "stock.csv")
    move_animals.move(house, "H1", "Q1", "Q2", 5)
    assert balances(house.entries())["H1", "vat:Q2"] == 5


def test_dead_sampled_and_discarded_animals_may_always_leave(house_at: Open) -> None:
    """A sample for the laboratory is how a lot becomes free."""
    house = house_at()
    take_stock(house, NEW, "stock.csv")
    move_animals.move(house, "H1", "Q1", "sample", 5)
    assert balances(house.entries())["H1", "sample"] == 5


def test_leaving_despite_quarantine_keeps_the_reason(house_at: Open) -> None:
    """An owner may decide otherwise; the books then say that and why."""
    house = house_at()
    take_stock(house, NEW, "stock.csv")
    move_animals.move(house, "H1", "Q1", "sold", 5, despite="returned to the supplier")
    moved = [m for m in movements(house.entries()) if m.target == "sold"]
    assert "returned to the supplier" in moved[0].note


def test_cuttings_heal_before_they_are_sold(house_at: Open) -> None:
    """Fresh cuttings heal before they are sold (common practice, no source)."""
    house = house_at()
    take_stock(house, HEAD + b"G1,Acropora,stony_branching_acropora,120,8,2026-01-01,grow-out\n", "stock.csv")
    move_animals.cut(house, "H1", 4, "G2")
    with pytest.raises(Refused, match="heal"):
        move_animals.move(house, "C1", "G2", "sold", 4)
    later = house_at(NOON + timedelta(days=15))
    move_animals.move(later, "C1", "G2", "sold", 4)
    assert balances(later.entries())["C1", "sold"] == 4


def test_a_parent_that_was_cut_shows_when_it_may_be_cut_again(house_at: Open) -> None:
    """The day stands where the owner looks for something to cut."""
    house = house_at()
    take_stock(house, HEAD + b"G1,Acropora,stony_branching_acropora,120,8,2026-01-01,grow-out\n", "stock.csv")
    move_animals.cut(house, "H1", 4, "G2")
    told = {stay["batch"]: stay["not_cut_before"] for vat in vat_stock.vats(house) for stay in vat["stands"]}
    assert told == {"H1": "2027-05-03", "C1": None}


def test_the_plan_counts_cuttings_that_stand_in_a_vat(house_at: Open) -> None:
    """Fragments take bench space like anything else that lives."""
    house = house_at()
    take_stock(house, HEAD + b"G1,Acropora,stony_branching_acropora,120,8,2026-01-01,grow-out\n", "stock.csv")
    move_animals.cut(house, "H1", 40, "G2")
    standing = {one.batch: (one.vat, one.count) for one in plan_question.framed(house).standing}
    assert standing["C1"] == ("G2", 40)


def test_a_held_lot_is_not_sold_wherever_it_stands(house_at: Open) -> None:
    """A hold on stock that shared water with a find is no hold if it may be sold meanwhile."""
    house = house_at()
    take_stock(house, HEAD + b"G1,Acropora,stony_branching_acropora,120,8,2026-01-01,grow-out\n", "stock.csv")
    hold_batch.hold(house, "H1", "shared water with flatworms")
    later = house_at(NOON + timedelta(hours=1))
    with pytest.raises(Refused, match="shared water with flatworms"):
        move_animals.move(later, "H1", "G1", "sold", 2)
    hold_batch.hold(later, "H1", "inspected, clean", lift=True)
    move_animals.move(house_at(NOON + timedelta(hours=2)), "H1", "G1", "sold", 2)
    assert balances(house_at(NOON + timedelta(hours=3)).entries())["H1", "vat:G1"] == 6
