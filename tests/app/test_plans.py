"""A plan is proposed, accepted, superseded; quarantine is never promised away; nothing to come is said, not planned."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from intake.app.commands import count_animals, plan_vats
from intake.app.commands.announce_shipment import amend
from intake.app.commands.plan_vats import Proposal
from intake.app.commands.take_stock import take_stock
from intake.app.queries.planning import accepted_plan, announced_shipments, present_stock
from intake.app.session import House
from intake.errors import Refused
from intake.farm.floor import Batch
from intake.ledger import batch_payload, latest
from tests.app.deliveries import LANDED, Open, received
from tests.checker import judge
from tests.conftest import NOON
from tests.plan.facts import facts_of_problem

STOCK = (
    b"vat,name,group,size_mm,count,since,stage\n"
    b"G1,Acropora,stony_branching_acropora,120,8,2026-01-01,grow-out\nQ3,Zoanthus,zoanthid,30,20,2027-03-01,quarantine\n"
)


def ordered(house: House, count: int = 60) -> None:
    """A shipment still to come."""
    lands = NOON + timedelta(days=4)
    with house.act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": lands.isoformat()})
        batch = Batch("S1-01", "Tridacna maxima", "clam_small", 40.0, count, "S1", 1, "one")
        act.note("batch", batch.id, batch_payload(batch))


def proposed(house: House) -> Proposal:
    """A quick plan that the judge accepts."""
    found = plan_vats.propose(house, seconds=1)
    assert judge(facts_of_problem(found.problem), found.solution.as_dict(found.day_zero)) == []
    return found


def test_a_plan_accepted_twice_is_written_once(house_at: Open) -> None:
    """The second word says the same, so the first stands."""
    ordered(house_at())
    assert "P1 accepted" in plan_vats.accept(house_at(), proposed(house_at()))
    assert "no change" in plan_vats.accept(house_at(), proposed(house_at()))
    assert list(latest(house_at().entries(), "plan")) == ["P1"]


def test_another_plan_supersedes_the_one_before(house_at: Open) -> None:
    """The order changed: the new plan's places count, the old plan stays readable with the facts it was made from."""
    ordered(house_at())
    plan_vats.accept(house_at(), proposed(house_at()))
    amend(house_at(), "S1", announced={"S1-01": 30})
    assert "supersedes P1" in plan_vats.accept(house_at(), proposed(house_at()))
    rows = [row for row in accepted_plan.accepted_rows(house_at()) if row["stage"] == "quarantine"]
    assert sum(int(row["count"]) for row in rows) == 30
    kept = latest(house_at().entries(), "plan")
    assert kept["P1"].payload["facts"] != kept["P2"].payload["facts"]


def test_two_proposals_accepted_one_after_the_other_have_two_names(house_at: Open) -> None:
    """Two people planned at once, each was shown P1; the second acceptance does not overwrite the first."""
    ordered(house_at())
    first, second = proposed(house_at()), proposed(house_at())
    plan_vats.accept(house_at(), first)
    amend(house_at(), "S1", announced={"S1-01": 30})
    second = proposed(house_at())
    plan_vats.accept(house_at(), Proposal("P1", second.problem, second.solution, second.day_zero, second.fingerprint))
    assert list(latest(house_at().entries(), "plan")) == ["P1", "P2"]


def test_nothing_to_come_cannot_be_accepted(house_at: Open) -> None:
    """An empty plan is no plan."""
    with pytest.raises(Refused, match="vatside expect"):
        plan_vats.accept(house_at(), plan_vats.propose(house_at(), seconds=1))


def test_a_vat_in_quarantine_is_not_promised_before_its_day(house_at: Open) -> None:
    """Zoanthids of 1 March are 45 days in quarantine (the library's days for the group): free on 15 April, not before."""
    take_stock(house_at(), STOCK, "s.csv")
    with pytest.raises(Refused, match="never shortened"):
        plan_vats.clear_vat(house_at(), "Q3", date(2027, 4, 14))
    assert present_stock.standing_facts(house_at())["leave"] == {("H2", "Q3"): date(2027, 4, 15)}
    assert plan_vats.clear_vat(house_at(), "Q3", date(2027, 4, 15)) == [
        "Q3 to be empty by 2027-04-15: 20 of H2 must leave"
    ]


def test_a_vat_of_grown_stock_is_promised_and_planned_with(house_at: Open) -> None:
    """From the promised day on the plan may use it."""
    take_stock(house_at(), STOCK, "s.csv")
    plan_vats.clear_vat(house_at(), "G1", date(2027, 4, 1))
    assert present_stock.standing_facts(house_at())["leave"]["H1", "G1"] == date(2027, 4, 1)


def test_what_is_received_is_no_longer_waited_for(house_at: Open) -> None:
    """A received shipment is not planned again; its grow-out places stay promised for the animals still alive."""
    house = received(house_at)
    assert announced_shipments.waiting(house) == []
    count_animals.count(house_at(LANDED + timedelta(hours=3)), "S1-01", "Q1", count_animals.Count(dead=5))
    promised = present_stock.standing_facts(house_at(LANDED + timedelta(hours=4)))["commitments"]
    assert {row.batch: row.count for row in promised} == {"S1-01": 35, "S1-02": 40, "S1-03": 40}


def test_bags_still_to_be_packed_are_packed_as_much_later_as_the_shipment_lands(house_at: Open) -> None:
    """A flight that slips before packing adds no hours in the bag; one that slips after it adds them all."""
    house = house_at()
    ordered(house)
    lands = NOON + timedelta(days=4)
    packed = {"S1-01": NOON + timedelta(days=3), "S1-02": NOON - timedelta(hours=2)}
    with house.act() as act:
        for line, (name, at) in enumerate(packed.items(), start=1):
            batch = Batch(name, "Tridacna maxima", "clam_small", 40.0, 60, "S1", line, "one", packed_at=at)
            act.note("batch", name, batch_payload(batch))
    said = amend(house_at(), "S1", lands=lands + timedelta(days=1), announced={"S1-02": 50})
    assert "its bags are not packed yet: their packing moves with it" in said
    batches = house_at().floor().batches
    assert batches["S1-01"].packed_at == packed["S1-01"] + timedelta(days=1)
    assert batches["S1-02"].packed_at == packed["S1-02"]
    assert (batches["S1-01"].announced, batches["S1-02"].announced) == (60, 50)
