"""What a plan promises is what release says: its dates, whom it holds, and what it says of waters and their rhythm."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from intake.app.commands import hold_batch, plan_vats
from intake.app.queries.planning.plan_question import framed
from intake.app.queries.planning.present_stock import freedoms
from intake.app.queries.planning.quarantine_lengths import quarantine_days
from intake.app.session import House
from intake.errors import BadInput, UnknownName
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.app.deliveries import LANDED, Open, received

CLAMS = (("clam_small", "Q1", 40),)


def order(house: House, shipment: str, lands: object, *groups: str, count: int = 20, supplier: str = "one") -> None:
    """A shipment still to come, a line for each group."""
    with house.act() as act:
        act.note("shipment", shipment, {"supplier": supplier, "lands": lands.isoformat()})  # type: ignore[attr-defined]
        for line, group in enumerate(groups, start=1):
            batch = Batch(f"{shipment}-{line:02d}", group, group, 40.0, count, shipment, line, supplier)
            act.note("batch", batch.id, batch_payload(batch))


def test_planned_dates_are_those_release_gives_to_the_planned_stays(house_at: Open) -> None:
    """Clams, zoanthids and corals of one shipment: once accepted, release dates the stays ahead as the plan did."""
    house = house_at()
    order(house, "S1", LANDED, "clam_small", "zoanthid", "stony_lps_fleshy")
    proposal = plan_vats.propose(house_at(), seconds=2)
    assert proposal.solution.placed == 60
    plan_vats.accept(house_at(), proposal)
    told = freedoms(house_at())
    house = house_at()
    for one in proposal.solution.placements:
        if one.stage == "quarantine":
            day = told[one.batch, "quarantine"].day(house.site.farm.zone, house.today)
            assert day == proposal.day_zero + timedelta(days=one.until_day), one.batch


def test_a_newcomer_that_would_hold_the_clams_longer_is_not_put_beside_them(house_at: Open) -> None:
    """A shipment lands in the third week: it may not enter the water of the first, whose date would move."""
    received(house_at, CLAMS)
    now = LANDED + timedelta(days=18)
    order(house_at(now), "S2", now + timedelta(days=3), "clam_small")
    proposal = plan_vats.propose(house_at(now), seconds=2, reliefs=False)
    site = house_at(now).site
    assert site.vat("Q1").system not in {
        site.vat(one.vat).system for one in proposal.solution.placements if one.stage == "quarantine"
    }


def test_holding_the_clams_is_planned_when_the_owner_asks_for_it(house_at: Open) -> None:
    """With the water held until the newcomers' own end they may join, and the clams' place in grow-out moves along."""
    received(house_at, CLAMS)
    now = LANDED + timedelta(days=18)
    order(house_at(now), "S2", now + timedelta(days=3), "clam_small", count=60)
    problem = framed(house_at(now))
    water = house_at(now).site.vat("Q1").system
    day = problem.day_zero + timedelta(days=problem.batches[0].own_end)
    held = framed(house_at(now), hold={water: day})
    until = {(one.batch, one.stage): one.until_day for one in held.standing}
    assert until["S1-01", "quarantine"] == problem.batches[0].own_end
    assert plan_vats.propose(house_at(now), seconds=2, reliefs=False, hold={water: day}).solution.placed >= (
        plan_vats.propose(house_at(now), seconds=2, reliefs=False).solution.placed
    )
    with pytest.raises(BadInput, match="--hold"):
        framed(house_at(now), hold={water: date(2027, 1, 1)})
    with pytest.raises(UnknownName):
        framed(house_at(now), hold={"nowhere": day})


def test_a_held_lot_closes_its_water_and_the_plan_says_so(house_at: Open) -> None:
    """Nobody can say until when: the answer names the water, the lot and what must be decided."""
    received(house_at, CLAMS)
    now = LANDED + timedelta(days=2)
    hold_batch.hold(house_at(now), "S1-01", "snails seen")
    order(house_at(now), "S2", now + timedelta(days=3), "clam_small")
    told = plan_vats.propose(house_at(now), seconds=1, reliefs=False).as_dict()
    water = house_at(now).site.vat("Q1").system
    words = [str(one) for one in told["warnings"]]  # type: ignore[attr-defined]
    assert any(one.startswith(f"{water} closed to newcomers: S1-01 has no day yet") for one in words)
    row = next(one for one in told["waters"] if one["system"] == water)  # type: ignore[attr-defined]
    assert row["empties"] is None


def test_the_plan_counts_the_last_bath_where_it_is_later_than_the_groups_days(house_at: Open) -> None:
    """Own lengths come from the course release follows, never shorter than the group's days."""
    house = house_at()
    order(house, "S1", LANDED, "clam_small", "zoanthid")
    problem = framed(house_at())
    lengths = quarantine_days(house_at(), [])
    assert lengths == {}
    for batch in problem.batches:
        group = house.library.group(batch.group)
        stage = batch.stages[batch.quarantine]
        assert stage.end_day - stage.start_day >= group.quarantine.days


def test_shipments_too_close_together_are_warned_of(house_at: Open) -> None:
    """Three shipments a week apart and quarantine of six weeks: more waters are needed than the farm has."""
    house = house_at()
    for number in range(1, 4):
        order(house, f"S{number}", LANDED + timedelta(days=7 * number), "clam_small", count=5)
    warnings = plan_vats.propose(house_at(), seconds=1, reliefs=False).warnings
    assert any("a shipment every 7 d" in one and "Space shipments at least" in one for one in warnings)


def test_the_owner_sees_the_plan_three_ways_and_may_ask_for_the_third(house_at: Open) -> None:
    """With clams in the third week of every quarantine water, newcomers fit only where those clams are held; --hold does it."""
    received(house_at, (("clam_small", "Q1", 40), ("clam_small", "Q2", 40)))
    now = LANDED + timedelta(days=18)
    order(house_at(now), "S2", now + timedelta(days=3), "clam_small")
    proposal = plan_vats.propose(house_at(now), seconds=2, reliefs=False)
    alone, waiting, held = plan_vats.compared(proposal, seconds=3)
    assert alone["placed"] == waiting["placed"] == proposal.solution.placed == 0
    assert held["placed"] == 20
    holds = held["holds"]
    assert isinstance(holds, list)
    hold = {row["system"]: date.fromisoformat(row["until"]) for row in holds}
    house = house_at(now)
    free = {one.day(house.site.farm.zone, house.today) for one in freedoms(house, ahead=False).values()}
    (ends,) = {day for day in free if day is not None}
    assert held["current_held_animal_days"] == 80 * (max(hold.values()) - ends).days
    assert plan_vats.propose(house_at(now), seconds=2, reliefs=False, hold=hold).solution.placed == 20
