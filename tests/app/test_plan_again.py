"""Planning again at the desk: an accepted plan is kept to unless something broke, and every change is explained."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from intake.app.commands import plan_vats
from intake.app.commands.announce_shipment import amend
from intake.app.documents.plans.plan_picture import draw_plan, draw_room
from intake.app.queries.reports.journey_forecast import dead_on_arrival
from intake.app.session import House
from intake.errors import BadInput, UnknownName
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.app.deliveries import Open
from tests.checker import judge
from tests.conftest import NOON
from tests.plan.facts import facts_of_problem

PNG = b"\x89PNG\r\n"


def ordered(house: House, shipment: str = "S1", supplier: str = "one", count: int = 60) -> None:
    """A shipment of two lines still to come."""
    with house.act() as act:
        act.note("shipment", shipment, {"supplier": supplier, "lands": (NOON + timedelta(days=4)).isoformat()})
        for line, size in ((1, 40.0), (2, 60.0)):
            name = f"{shipment}-0{line}"
            batch = Batch(name, "Tridacna maxima", "clam_small", size, count, shipment, line, supplier)
            act.note("batch", name, batch_payload(batch))


def proposed(house: House, **options: object) -> plan_vats.Proposal:
    """A plan that the judge accepts."""
    found = plan_vats.propose(house, seconds=1, **options)  # type: ignore[arg-type]
    assert judge(facts_of_problem(found.problem), found.solution.as_dict(found.day_zero)) == []
    return found


def test_planning_again_when_nothing_happened_changes_nothing(house_at: Open) -> None:
    """Another seed strays to another plan as good; the crew has the first one on paper."""
    ordered(house_at())
    first = proposed(house_at())
    plan_vats.accept(house_at(), first)
    second = proposed(house_at(), seed=7)
    assert second.solution.changes == ()
    assert second.solution.placements == first.solution.placements


def test_another_shipment_leaves_the_places_of_the_first(house_at: Open) -> None:
    """What was promised to the first stays where it is; the second is no change but new."""
    ordered(house_at(), count=20)
    first = proposed(house_at())
    plan_vats.accept(house_at(), first)
    ordered(house_at(), "S2", "two", 10)
    both = proposed(house_at())
    assert set(first.solution.placements) <= set(both.solution.placements)
    assert both.solution.changes == ()


def test_a_smaller_order_is_told_with_its_reason_and_moves_nobody(house_at: Open) -> None:
    """Fewer animals of a line stay in its vats: a change of number, not of place."""
    ordered(house_at())
    first = proposed(house_at())
    plan_vats.accept(house_at(), first)
    amend(house_at(), "S1", announced={"S1-01": 45})
    again = proposed(house_at())
    assert {one.batch for one in again.solution.changes} == {"S1-01"}
    assert all(one.places == 0 for one in again.solution.changes)
    assert all("45 animals are announced, 60 had a place" in one.why for one in again.solution.changes)
    told = again.as_dict()["changes"]
    assert isinstance(told, list)
    assert told[0]["batch"] == "S1-01"


def test_afresh_takes_no_heed_of_the_accepted_plan(house_at: Open) -> None:
    """For whoever wants the best plan whatever it upsets."""
    ordered(house_at())
    plan_vats.accept(house_at(), proposed(house_at()))
    fresh = proposed(house_at(), afresh=True)
    assert fresh.solution.changes == ()
    assert "changes to the accepted plan" not in {one.name for one in fresh.solution.objectives}


def test_a_batch_worth_more_is_placed_first(house_at: Open) -> None:
    """Of two lines that do not both fit, the one worth more finds its places."""
    ordered(house_at(), count=1500)
    plain = proposed(house_at(), reliefs=False)
    assert plain.solution.status == "short"
    left = {one.batch: one.count for one in proposed(house_at(), reliefs=False, weights={"S1-02": 50}).solution.short}
    before = {one.batch: one.count for one in plain.solution.short}
    assert left.get("S1-02", 0) < before["S1-02"]
    with pytest.raises(UnknownName, match="S9-01"):
        proposed(house_at(), weights={"S9-01": 2})
    with pytest.raises(BadInput):
        proposed(house_at(), weights={"S1-01": 0})


def test_the_owner_may_put_fewer_vats_before_fewer_moves(house_at: Open) -> None:
    """The order asked for is the order reported; what cannot be is refused."""
    ordered(house_at())
    told = [one.name for one in proposed(house_at(), order=("vats",)).solution.objectives]
    assert told[:4] == ["animals placed", "animal-days held longer", "vats used and splits", "moves of current stock"]
    late = [one.name for one in proposed(house_at(), order=("moves", "vats", "balance")).solution.objectives]
    assert late[4:] == ["peak loads of all systems permille", "fullest vat used permille"]
    for order in (("room", "vats"), ("speed",)):
        with pytest.raises(BadInput, match="--aims"):
            proposed(house_at(), order=order)


def test_vat_space_is_drawn_as_svg_and_as_pixels(house_at: Open, tmp_path: Path) -> None:
    """Both name every vat and batch or hold pixels, and another ending is refused before anything is written."""
    ordered(house_at())
    found = proposed(house_at())
    svg = draw_plan(house_at(), found, tmp_path / "space.svg").read_text("utf-8")
    for one in found.solution.placements:
        assert f">{one.vat}<" in svg
        assert one.batch in svg
    assert draw_plan(house_at(), found, tmp_path / "space.png").read_bytes().startswith(PNG)
    with pytest.raises(BadInput, match=r"\.svg or \.png"):
        draw_plan(house_at(), found, tmp_path / "space.gif")
    assert not (tmp_path / "space.gif").exists()


def test_room_by_day_is_drawn(tmp_path: Path) -> None:
    """The figures of ``capacity`` as columns."""
    rows = [{"day": f"2027-03-0{day}", "fits": 10 * day, "announced": 35, "proved": day > 2} for day in range(1, 6)]
    svg = draw_room(rows, "mix.csv", tmp_path / "room.svg").read_text("utf-8")
    assert "All of it fits from 2027-03-04" in svg
    assert draw_room(rows, "mix.csv", tmp_path / "room.png").read_bytes().startswith(PNG)


def journeys_known(house_at: Open) -> House:
    """Four journeys that cost 30 to 33 of 100, and a fifth shipment of 80 to come."""
    for number in range(1, 5):
        when = NOON + timedelta(days=10 * number)
        name = f"S{number}-01"
        with house_at(when).act() as act:
            act.note("shipment", f"S{number}", {"supplier": "one", "lands": when.isoformat()})
            batch = Batch(name, "Tridacna maxima", "clam_small", 40.0, 100, f"S{number}", 1, "one", ("1",))
            act.note("batch", name, batch_payload(batch))
            act.note("received", f"S{number}", {})
            act.move(name, "supplier", "vat:Q1", 100)
            act.move(name, "vat:Q1", "doa", 29 + number)
    house = house_at(NOON + timedelta(days=41))
    with house.act() as act:
        lands = house.now + timedelta(days=6)
        act.note("shipment", "S9", {"supplier": "one", "lands": lands.isoformat()})
        batch = Batch("S9-01", "Tridacna maxima", "clam_small", 40.0, 80, "S9", 1, "one", ("1",))
        act.note("batch", "S9-01", batch_payload(batch))
    return house_at(NOON + timedelta(days=41, minutes=1))


def test_room_is_kept_for_all_unless_losses_are_expected(house_at: Open) -> None:
    """The plan is careful by itself; asked to expect losses it still keeps room for as many as may well survive."""
    house = journeys_known(house_at)
    (line,) = dead_on_arrival(house)
    assert 0 < line.low <= line.expected <= line.high < 80
    assert plan_vats.propose(house, seconds=1, reliefs=False).solution.announced == 80
    fewer = plan_vats.propose(house, seconds=1, reliefs=False, fewer={line.batch: line.low})
    assert fewer.solution.announced == 80 - line.low


def test_nothing_known_of_journeys_keeps_room_for_all(house_at: Open) -> None:
    """No two shipments seen: there is nothing to expect from."""
    ordered(house_at())
    assert dead_on_arrival(house_at()) == ()
