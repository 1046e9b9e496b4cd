"""What is reported at the vats goes into the books once, whole, and can be corrected but not lost."""

from collections.abc import Callable
from datetime import timedelta

import pytest

from intake.app.commands import count_animals, maintain_vats, move_animals, receive_shipment, record_observation
from intake.app.commands.count_animals import Count
from intake.app.commands.take_stock import take_stock
from intake.app.farm_folder import check_house
from intake.app.session import House
from intake.errors import BadInput, Refused, UnknownName
from intake.farm.floor import Batch
from intake.ledger import balances, batch_payload, movements
from tests.conftest import NOON

Open = Callable[..., House]


def expected_shipment(house: House, *counts: int) -> None:
    """Announce a shipment S1 of clam lines with an accepted plan: everything to Q1, but ten of the last line nowhere."""
    with house.act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": (NOON + timedelta(hours=2)).isoformat()})
        rows = []
        for line, number in enumerate(counts, start=1):
            batch = Batch(f"S1-{line:02d}", "Tridacna maxima", "clam_small", 40.0, number, "S1", line, "one")
            act.note("batch", batch.id, batch_payload(batch))
            placed = number - 10 if line == len(counts) else number
            rows.append({"batch": batch.id, "vat": "Q1", "stage": "quarantine", "count": placed})
            rows.append({"batch": batch.id, "vat": "G1", "stage": "grow-out", "count": placed})
        act.note("plan", "P1", {"state": "accepted", "plan": {"placements": rows}})


def test_receipt_puts_animals_where_the_plan_said_and_the_rest_on_the_dock(house_at: Open) -> None:
    """Nothing that came may vanish from the books because no vat was found for it."""
    expected_shipment(house_at(), 100, 50)
    house = house_at(NOON + timedelta(hours=3))
    receive_shipment.receive(house, "S1")
    held = balances(house.entries())
    assert held["S1-01", "vat:Q1"] == 100
    assert held["S1-02", "vat:Q1"] == 40
    assert held["S1-02", "dock"] == 10
    assert check_house(house) == []


def test_a_shipment_is_received_once(house_at: Open) -> None:
    """A second receipt would double the animals."""
    expected_shipment(house_at(), 100)
    house = house_at(NOON + timedelta(hours=3))
    receive_shipment.receive(house, "S1")
    with pytest.raises(Refused, match="received"):
        receive_shipment.receive(house, "S1")
    assert balances(house.entries())["S1-01", "supplier"] == -100


def test_counts_leave_the_vat_under_their_head(house_at: Open) -> None:
    """Dead on arrival, missing and wrong are different claims, so they are different places."""
    expected_shipment(house_at(), 110)
    house = house_at(NOON + timedelta(hours=3))
    receive_shipment.receive(house, "S1")
    count_animals.count(house, "S1-01", "Q1", Count(doa=7, missing=2, wrong=1, alive=90))
    held = balances(house.entries())
    assert [held["S1-01", place] for place in ("vat:Q1", "doa", "missing", "wrong")] == [90, 7, 2, 1]


def test_more_dead_than_stand_there_is_refused_and_nothing_is_written(house_at: Open) -> None:
    """The whole count falls, also its lawful half."""
    expected_shipment(house_at(), 20)
    house = house_at(NOON + timedelta(hours=3))
    receive_shipment.receive(house, "S1")
    before = house.entries()
    with pytest.raises(Refused):
        count_animals.count(house, "S1-01", "Q1", Count(missing=1, doa=10))
    assert house_at(NOON + timedelta(hours=3)).entries() == before


def test_an_alive_count_that_disagrees_asks_what_the_difference_is(house_at: Open) -> None:
    """A silent correction would hide a loss."""
    expected_shipment(house_at(), 30)
    house = house_at(NOON + timedelta(hours=3))
    receive_shipment.receive(house, "S1")
    with pytest.raises(Refused, match="--missing 2"):
        count_animals.count(house, "S1-01", "Q1", Count(alive=18))


def test_the_same_key_counts_once(house_at: Open) -> None:
    """A phone that never heard the answer posts again."""
    expected_shipment(house_at(), 30)
    house = house_at(NOON + timedelta(hours=3))
    receive_shipment.receive(house, "S1")
    for _ in range(2):
        count_animals.count(house, "S1-01", "Q1", Count(doa=3), key="tap-1")
    assert balances(house.entries())["S1-01", "doa"] == 3


def test_undo_keeps_the_original(house_at: Open) -> None:
    """A correction is a new entry; what was first said stays readable."""
    expected_shipment(house_at(), 30)
    house = house_at(NOON + timedelta(hours=3))
    receive_shipment.receive(house, "S1")
    told = count_animals.count(house, "S1-01", "Q1", Count(doa=3))
    raw = len(list(movements(house.entries())))
    count_animals.undo(house, told.keys[0])
    assert balances(house.entries()).get(("S1-01", "doa"), 0) == 0
    assert len(list(movements(house.entries()))) == raw + 1
    assert check_house(house) == []


@pytest.mark.parametrize("tally", [Count(doa=-1), Count(), Count(found=-3)])
def test_an_empty_or_negative_count_is_refused(house_at: Open, tally: Count) -> None:
    """Nothing to record, or less than nothing, is a slip of the thumb."""
    expected_shipment(house_at(), 30)
    house = house_at(NOON + timedelta(hours=3))
    receive_shipment.receive(house, "S1")
    with pytest.raises(BadInput):
        count_animals.count(house, "S1-01", "Q1", tally)


def test_unknown_batches_and_vats_offer_the_closest(house_at: Open) -> None:
    """A misread label is answered with what it may have been."""
    expected_shipment(house_at(), 30)
    house = house_at(NOON + timedelta(hours=3))
    with pytest.raises(UnknownName) as caught:
        count_animals.count(house, "S1-11", "Q1", Count(doa=1))
    assert "S1-01" in caught.value.closest
    with pytest.raises(UnknownName):
        count_animals.count(house, "S1-01", "Q9", Count(doa=1))


def test_a_ph_needs_its_scale_and_a_gravity_its_temperatures(house_at: Open) -> None:
    """At 25 °C and 35 PSU "pH 8.0" means 5.4 % toxic ammonia on the total scale and 4.0 % on NBS (PyCO2SYS 1.8.3.4)."""
    house = house_at()
    with pytest.raises(BadInput, match="nbs"):
        record_observation.reading(house, "Q1", "ph", 8.0)
    with pytest.raises(BadInput, match="20C/4C"):
        record_observation.reading(house, "Q1", "specific_gravity", 1.025)
    record_observation.reading(house, "Q1", "ph", 8.0, scale="nbs")
    assert house.floor().readings[0].place == "vat:Q1"


def test_cuttings_are_batches_that_heal_and_the_parent_rests(house_at: Open) -> None:
    """A parent piece is cut into three or four (common practice, no source) and then left alone for a while."""
    house = house_at()
    take_stock(
        house,
        b"vat,name,group,size_mm,count,since,stage\nG1,Acropora,stony_branching_acropora,120,8,2026-01-01,grow-out\n",
        "s.csv",
    )
    move_animals.cut(house, "H1", 4, "G2")
    stay = house.floor().in_vat("G2")[0]
    assert (stay.batch, stay.count, stay.stage) == ("C1", 4, "healing")
    assert house.floor().batches["C1"].parent == "H1"
    with pytest.raises(Refused, match="not before"):
        move_animals.cut(house, "H1", 4, "G2")


def test_a_vat_with_animals_in_it_is_not_clean(house_at: Open) -> None:
    """All out, then cleaned, then dry: in that order."""
    house = house_at()
    take_stock(
        house,
        b"vat,name,group,size_mm,count,since,stage\nG1,Acropora,stony_branching_acropora,120,8,2026-01-01,grow-out\n",
        "s.csv",
    )
    with pytest.raises(Refused, match="empty"):
        maintain_vats.clean(house, "G1")
    move_animals.move(house, "H1", "G1", "sold", 8)
    maintain_vats.clean(house, "G1")
    assert "G1" in house.floor().cleaned


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("Z1,Acropora,stony_branching_acropora,120,8,2026-01-01,grow-out", "vat"),
        ("G1,Acropora,stony,120,8,2026-01-01,grow-out", "group"),
        ("G1,Acropora,stony_branching_acropora,120,-8,2026-01-01,grow-out", "count"),
        ("G1,Acropora,stony_branching_acropora,120,8.5,2026-01-01,grow-out", "count"),
        ("G1,Acropora,stony_branching_acropora,120,8,01/02/2026,grow-out", "since"),
        ("G1,Acropora,stony_branching_acropora,120,8,2099-01-01,grow-out", "since"),
        ("G1,,stony_branching_acropora,120,8,2026-01-01,grow-out", "name"),
    ],
)
def test_a_faulty_stocktake_names_row_and_column(house_at: Open, row: str, says: str) -> None:
    """The first thing an owner types must not fail silently."""
    house = house_at()
    with pytest.raises(BadInput) as caught:
        take_stock(house, f"vat,name,group,size_mm,count,since,stage\n{row}\n".encode(), "stock.csv")
    assert "stock.csv, row 2" in str(caught.value)
    assert says in str(caught.value)
    assert house.entries() == ()
