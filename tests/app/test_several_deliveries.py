"""All announced shipments are planned together, each on its own day; one more changes nothing that was accepted unless asked."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from intake.app.commands import plan_vats
from intake.app.queries.planning.accepted_plan import accepted
from intake.app.queries.planning.plan_question import framed
from intake.app.session import House
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from intake.plan.model.pins import Pins
from tests.app.deliveries import Open
from tests.checker import judge
from tests.conftest import NOON
from tests.plan.facts import facts_of_problem


def announced(
    house: House, shipment: str, days: int, count: int, name: str = "Tridacna maxima", supplier: str = "one"
) -> None:
    """A shipment of the first supplier, or another, so many days ahead, in one line."""
    lands = NOON + timedelta(days=days)
    with house.act() as act:
        act.note("shipment", shipment, {"supplier": supplier, "lands": lands.isoformat()})
        batch = Batch(f"{shipment}-01", name, "clam_small", 40.0, count, shipment, 1, supplier)
        act.note("batch", batch.id, batch_payload(batch))


def places(proposal: plan_vats.Proposal, shipment: str) -> set[tuple[str, str, int]]:
    """Where a shipment's animals are, stage by stage."""
    return {
        (one.stage, one.vat, one.count) for one in proposal.solution.placements if one.batch.startswith(f"{shipment}-")
    }


def test_shipments_are_planned_together_each_on_its_own_day(house_at: Open) -> None:
    """Two of one supplier, six weeks apart: one plan, two days, and the water is free of the first before the second comes."""
    announced(house_at(), "S1", 3, 60)
    announced(house_at(), "S2", 50, 80)
    found = plan_vats.propose(house_at(), seconds=2)
    assert judge(facts_of_problem(found.problem), found.solution.as_dict(found.day_zero)) == []
    assert found.solution.placed == 140
    first = {one.batch: one.from_day for one in found.solution.placements if one.stage == "quarantine"}
    assert first == {"S1-01": 3, "S2-01": 50}


def test_one_more_shipment_leaves_what_was_accepted_where_it_was(house_at: Open) -> None:
    """The newcomer fits around the two that were promised their vats; planned afresh they may go elsewhere."""
    announced(house_at(), "S1", 3, 60)
    announced(house_at(), "S2", 50, 80)
    before = plan_vats.propose(house_at(), seconds=2)
    plan_vats.accept(house_at(), before)
    announced(house_at(), "S3", 100, 90)
    after = plan_vats.propose(house_at(), seconds=2)
    assert judge(facts_of_problem(after.problem), after.solution.as_dict(after.day_zero)) == []
    assert after.solution.placed == 230
    for shipment in ("S1", "S2"):
        assert places(after, shipment) == places(before, shipment)
    assert after.solution.changes == ()


def test_no_newcomer_takes_a_place_that_was_accepted(house_at: Open) -> None:
    """The only quarantine water is promised to forty animals; ninety of another supplier do not put them out, unless asked to."""
    announced(house_at(), "S1", 3, 40)
    plan_vats.accept(house_at(), plan_vats.propose(house_at(), seconds=2))
    announced(house_at(), "S2", 5, 90, supplier="two")
    found = plan_vats.propose(house_at(), seconds=2, reliefs=False)
    assert judge(facts_of_problem(found.problem), found.solution.as_dict(found.day_zero)) == []
    assert {(one.batch, one.count) for one in found.solution.short} == {("S2-01", 90)}
    assert (found.solution.placed, found.solution.placed_bound) == (40, 90)
    assert found.solution.changes == ()
    told = "Places accepted for S1-01 come first. Without that 50 more would fit (vatside plan --afresh)."
    assert found.warnings == (told,)
    afresh = plan_vats.propose(house_at(), seconds=2, reliefs=False, afresh=True)
    assert {(one.batch, one.count) for one in afresh.solution.short} == {("S1-01", 40)}
    weighed = plan_vats.propose(house_at(), seconds=2, reliefs=False, weights={"S2-01": 9})
    assert {one.batch for one in weighed.solution.short} == {"S1-01"}


def test_pins_are_kept_with_the_plan_and_count_until_they_are_taken_away(house_at: Open) -> None:
    """What a person decided and accepted holds for the next plan too, and is shown with what it costs."""
    announced(house_at(), "S1", 3, 60)
    pins = Pins(pin={"S1-01": ("Q3",)}, free=("G1",))
    found = plan_vats.propose(house_at(), seconds=1, pins=pins)
    assert {vat for stage, vat, _ in places(found, "S1") if stage == "quarantine"} == {"Q3"}
    plan_vats.accept(house_at(), found)
    kept = accepted(house_at())
    assert kept is not None
    assert kept["facts"]["pins"]["pin"] == {"S1-01": ["Q3"]}
    again = plan_vats.propose(house_at(), seconds=1)
    assert again.pins == pins
    assert again.as_dict()["pins"] == ["S1-01 only in Q3", "G1 kept free"]
    assert {vat for stage, vat, _ in places(again, "S1") if stage == "grow-out"} == {"G2"}
    free = plan_vats.propose(house_at(), seconds=1, pins=Pins())
    assert free.as_dict()["pins"] == []


def expect_priced(house_at: Open, *prices: str) -> None:
    """One shipment of lines of 3,000 clams each, far more than fit; an empty price is a line without one."""
    with house_at().act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": (NOON + timedelta(days=3)).isoformat()})
        for line, price in enumerate(prices, start=1):
            batch = Batch(
                f"S1-0{line}", "Tridacna maxima", "clam_small", 40.0, 3000, "S1", line, "one",
                unit_price=Decimal(price) if price else None, currency="EUR",
            )  # fmt: skip
            act.note("batch", batch.id, batch_payload(batch))


@pytest.mark.parametrize(
    ("prices", "options", "words"),
    [
        (("2", "20"), {}, "Each animal counts by its price: every line has a price in EUR."),
        (("2", "20"), {"by_value": False}, "Every animal counts alike: as asked for."),
        (("2", ""), {}, "Every animal counts alike: no price for S1-02."),
        (("2", "20"), {"weights": {"S1-01": 5}}, "Animals count as set by hand: each of S1-01 counts 5."),
    ],
)
def test_the_plan_says_what_animals_count(
    house_at: Open, prices: tuple[str, ...], options: dict[str, Any], words: str
) -> None:
    """Without being asked, a plan that is short counts by price, and one line without a price does not change that in silence.

    Plan, paper and terminal take the sentence from here.
    """
    expect_priced(house_at, *prices)
    found = plan_vats.propose(house_at(), seconds=1, reliefs=False, **options)
    told: dict[str, Any] = found.as_dict()
    assert found.solution.status == "short"
    assert told["aim"]["words"] == words


def test_a_plan_by_value_is_still_the_answer_to_what_was_asked(house_at: Open) -> None:
    """The board compares a proposal with the farm as it is before it is accepted: worth by price is no change of the farm."""
    expect_priced(house_at, "2", "20")
    house = house_at()
    found = plan_vats.propose(house, seconds=2, reliefs=False)
    assert found.solution.status == "short"
    assert {one.weight for one in found.problem.batches} == {1, 10}, "prices counted"
    assert plan_vats.still_asked(framed(house), found)
