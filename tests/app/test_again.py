"""The same act sent twice counts once, whatever kind of act it is; a key used for something else is refused."""

from __future__ import annotations

from datetime import timedelta

import pytest

from intake.app.calendars import feed_publication
from intake.app.commands import (
    advance_claim,
    count_animals,
    hold_batch,
    maintain_vats,
    move_animals,
    receive_shipment,
    record_observation,
    schedule_work,
)
from intake.app.commands.count_animals import Count
from intake.app.farm_folder import check_house
from intake.app.queries.planning import announced_shipments, published_timetable
from intake.app.session import House
from intake.errors import Refused, UnknownName
from intake.ledger import balances
from tests.app.deliveries import LANDED, Open, announced, received

LATER = LANDED + timedelta(hours=5)


def totals(house: House) -> dict[tuple[str, str], int]:
    """What the books hold where, without the empty places."""
    return {place: number for place, number in balances(house.entries()).items() if number}


def twice(at: Open, act: object) -> None:
    """Do an act twice, minutes apart, as a phone does that never heard the answer."""
    assert callable(act)
    act(at(LATER))
    first = at(LATER)
    entries, held = len(first.entries()), totals(first)
    act(at(LATER + timedelta(minutes=3)))
    second = at(LATER + timedelta(minutes=4))
    assert (len(second.entries()), totals(second)) == (entries, held)
    assert check_house(second) == []


def test_a_receipt_told_twice(house_at: Open) -> None:
    """The animals of a truck are booked once."""
    announced(house_at())
    twice(house_at, lambda house: receive_shipment.receive(house, "S1", key="truck"))


@pytest.mark.parametrize(
    "act",
    [
        lambda house: count_animals.count(house, "S1-01", "Q1", Count(doa=2, missing=1, alive=37), key="k"),
        lambda house: record_observation.finding(house, "S1-03", "zoanthid-spider", vat="Q2", key="k"),
        lambda house: record_observation.reading(house, "Q1", "ph", 8.1, scale="nbs", key="k"),
        lambda house: move_animals.move(house, "S1-01", "Q1", "Q3", 40, key="k"),
        lambda house: move_animals.cut(house, "S1-02", 4, "Q1", key="k"),
        lambda house: maintain_vats.clean(house, "Q3", key="k"),
        lambda house: hold_batch.hold(house, "S1-01", "five deaths", key="k"),
        lambda house: advance_claim.set_papers(house, "S1", {"waybill": "000-1"}, key="k"),
    ],
    ids=["count", "finding", "reading", "move", "cut", "clean", "hold", "claim"],
)
def test_an_act_told_twice(house_at: Open, act: object) -> None:
    """One key, one act."""
    received(house_at)
    twice(house_at, act)


def test_work_told_twice(house_at: Open) -> None:
    """The second tap is answered, not refused; without a key it is refused, since somebody else may have done it."""
    received(house_at)
    house = house_at(LANDED + timedelta(hours=2))
    schedule_work.reschedule(house, seconds=0.2)
    uid = str(published_timetable.published_tasks(house)[0]["uid"])
    twice(house_at, lambda again: record_observation.done(again, uid, key="tap"))
    with pytest.raises(Refused, match="before"):
        record_observation.done(house_at(LATER + timedelta(hours=1)), uid)


def test_a_key_used_for_something_else(house_at: Open) -> None:
    """A key that comes back with another content is no repetition, and the first act stands."""
    received(house_at)
    count_animals.count(house_at(LATER), "S1-01", "Q1", Count(dead=1), key="k")
    with pytest.raises(Refused, match="already exists"):
        count_animals.count(house_at(LATER), "S1-01", "Q1", Count(dead=2), key="k")
    with pytest.raises(Refused):
        move_animals.move(house_at(LATER), "S1-01", "Q1", "Q3", 5, key="k")
    assert totals(house_at(LATER))["S1-01", "dead"] == 1


def test_what_was_told_wrongly_is_taken_back_once(house_at: Open) -> None:
    """Taking it back twice would bring animals to life that nobody counted."""
    received(house_at)
    told = count_animals.count(house_at(LATER), "S1-01", "Q1", Count(doa=3, missing=2))
    count_animals.undo(house_at(LATER), told.keys[0], whole=True)
    assert totals(house_at(LATER))["S1-01", "vat:Q1"] == 40
    with pytest.raises(Refused, match="already undone"):
        count_animals.undo(house_at(LATER), told.keys[0], whole=True)
    with pytest.raises(UnknownName):
        count_animals.undo(house_at(LATER), "no such key")
    assert check_house(house_at(LATER)) == []


def test_one_entry_of_an_act_can_be_taken_back_alone(house_at: Open) -> None:
    """The dead were right, the missing were behind the rock."""
    received(house_at)
    told = count_animals.count(house_at(LATER), "S1-01", "Q1", Count(doa=3, missing=2))
    count_animals.undo(house_at(LATER), told.keys[1])
    held = totals(house_at(LATER))
    assert (held["S1-01", "doa"], held["S1-01", "vat:Q1"]) == (3, 37)
    assert ("S1-01", "missing") not in held


def test_a_receipt_of_the_wrong_truck_can_be_taken_back(house_at: Open) -> None:
    """Everything returns to the supplier and the shipment is still to come; then it is received as if for the first time."""
    announced(house_at())
    told = receive_shipment.receive(house_at(LATER), "S1")
    count_animals.undo(house_at(LATER), told.keys[0], whole=True)
    house = house_at(LATER)
    assert totals(house) == {}
    assert announced_shipments.waiting(house) == ["S1"]
    receive_shipment.receive(house, "S1")
    assert house_at(LATER).floor().headcount("S1-01") == 40
    assert check_house(house_at(LATER)) == []


def test_a_finding_taken_back_no_longer_restarts_the_clock(house_at: Open) -> None:
    """A finding on the wrong batch would hold every lot of that water for weeks."""
    received(house_at)
    told = record_observation.finding(house_at(LATER), "S1-03", "zoanthid-spider", vat="Q2")
    assert house_at(LATER).floor().found
    count_animals.undo(house_at(LATER), told.keys[0])
    assert house_at(LATER).floor().found == ()


def test_a_shipment_days_before_its_landing_is_a_slip(house_at: Open) -> None:
    """S2 typed for S1 would fill vats with animals that are still in the sea."""
    announced(house_at(), lands=LANDED + timedelta(days=9))
    with pytest.raises(Refused, match="amend S1"):
        receive_shipment.receive(house_at(LATER), "S1")
    assert house_at(LATER).floor().received == {}


def test_publishing_twice_changes_nothing(house_at: Open) -> None:
    """A reader that polls every hour must not see a new revision every hour."""
    received(house_at)
    schedule_work.reschedule(house_at(LATER), seconds=0.2)
    assert feed_publication.revisions(house_at(LATER))
    assert feed_publication.publish(house_at(LATER)) == 0
    assert feed_publication.publish(house_at(LATER + timedelta(hours=1))) == 0
    assert feed_publication.bytes_for(house_at(LATER), "farm") == feed_publication.bytes_for(
        house_at(LATER + timedelta(hours=1)), "farm"
    )
