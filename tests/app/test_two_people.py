"""Two people at once, in two processes: nothing is counted twice, nothing is lost, ids are given once."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from datetime import datetime, timedelta
from multiprocessing.synchronize import Barrier
from pathlib import Path

import pytest

from intake.app.calendars import feed_addresses, feed_publication
from intake.app.commands import (
    advance_claim,
    count_animals,
    move_animals,
    order_treatment,
    plan_vats,
    receive_shipment,
    take_stock,
)
from intake.app.commands.announce_shipment import amend
from intake.app.commands.count_animals import Count
from intake.app.documents import claim_sending
from intake.app.farm_folder import check_house
from intake.app.queries.planning import announced_shipments
from intake.app.session import open_house
from intake.errors import IntakeError, Refused
from intake.farm.floor import Batch
from intake.ledger import balances, batch_payload, latest, movements
from tests.app.deliveries import LANDED, Open, announced, received

LATER = LANDED + timedelta(hours=5)
Act = Callable[[object], object]


def _work(folder: str, who: str, name: str, gate: Barrier, told: multiprocessing.Queue[str]) -> None:
    """One person's process: open the farm, wait for the other, act."""
    house = open_house(folder, who=who, now=LATER)
    house.entries()
    house.floor()
    gate.wait(30)
    try:
        ACTS[name](house, who)
        told.put("done")
    except IntakeError as error:
        told.put(str(error))


ACTS: dict[str, Callable[..., object]] = {
    "one dead": lambda house, _who: [count_animals.count(house, "S1-01", "Q1", Count(dead=1)) for _ in range(10)],
    "the last": lambda house, _who: count_animals.count(
        house, "S1-01", "Q1", Count(dead=25), despite="found on the sump screen"
    ),
    "same key": lambda house, _who: count_animals.count(house, "S1-01", "Q1", Count(dead=3), key="one tap"),
    "truck": lambda house, _who: receive_shipment.receive(house, "S1"),
    "cut": lambda house, _who: move_animals.cut(house, "S1-02" if _who == "ada" else "S1-03", 4, "Q1"),
    "address": lambda house, who: feed_addresses.create(house, who),
    "farm id": lambda house, _who: feed_publication.publish(house),
    "stocktake": lambda house, _who: take_stock.take_stock(
        house, b"vat,name,group,size_mm,count,since,stage\nG1,A,zoanthid,40,8,2026-01-01,grow-out\n", "s.csv"
    ),
    "claim": lambda house, who: advance_claim.set_state(
        house, "S1", "answered" if who == "ada" else "written off", note="asked twice"
    ),
    "order": lambda house, who: order_treatment.order(
        house,
        "S1-01",
        sorted(house.library.dips)[0],
        order_treatment.Order(f"asked by {who}", "Dr X", "R1", "salt", "1 g/L"),
    ),
    "amend": lambda house, who: amend(house, "S1", lands=LANDED + timedelta(days=1 if who == "ada" else 2)),
}


def both(folder: Path, act: str) -> list[str]:
    """Ada and Ben do the same act at the same moment; what each was told."""
    context = multiprocessing.get_context("fork")
    gate, told = context.Barrier(2), context.Queue()
    people = [context.Process(target=_work, args=(str(folder), who, act, gate, told)) for who in ("ada", "ben")]
    for one in people:
        one.start()
    answers = [told.get(timeout=60) for _ in people]
    for one in people:
        one.join(30)
    return sorted(answers)


def after(at: Open, moment: datetime = LATER):  # type: ignore[no-untyped-def]
    """The farm afterwards, sound."""
    house = at(moment)
    assert check_house(house) == []
    return house


def test_two_people_counting_the_same_vat(farm_folder: Path, house_at: Open) -> None:
    """Twenty deaths counted by two people, ten each, in the same minute: twenty in the books."""
    received(house_at).books.close()
    assert both(farm_folder, "one dead") == ["done", "done"]
    held = balances(after(house_at).entries())
    assert (held["S1-01", "vat:Q1"], held["S1-01", "dead"]) == (20, 20)


def test_two_people_counting_more_than_there_are(farm_folder: Path, house_at: Open) -> None:
    """25 + 25 of 40 cannot be: one count stands, the other is told what is left."""
    received(house_at).books.close()
    answers = both(farm_folder, "the last")
    assert answers.count("done") == 1
    assert any("at most 40" in answer for answer in answers), answers
    assert balances(after(house_at).entries())["S1-01", "vat:Q1"] == 15


def test_the_same_tap_arriving_twice_at_once(farm_folder: Path, house_at: Open) -> None:
    """Two servers hear the same phone: the same key, one count (it is refused to a second person, never added)."""
    received(house_at).books.close()
    both(farm_folder, "same key")
    assert balances(after(house_at).entries())["S1-01", "dead"] == 3


def test_two_people_receiving_the_same_truck(farm_folder: Path, house_at: Open) -> None:
    """Both stand at the door with a phone: the animals are booked in once."""
    house = house_at()
    announced(house)
    house.books.close()
    answers = both(farm_folder, "truck")
    assert answers.count("done") == 1
    assert any("one receipt" in answer for answer in answers), answers
    house = after(house_at)
    assert house.floor().headcount("S1-01") == 40
    assert balances(house.entries())["S1-01", "supplier"] == -40


def test_two_people_cutting(farm_folder: Path, house_at: Open) -> None:
    """Two parents, two batches: the second cutting does not take the name of the first."""
    received(house_at).books.close()
    assert both(farm_folder, "cut") == ["done", "done"]
    house = after(house_at)
    assert {b.id: b.parent for b in house.floor().batches.values() if b.parent}.keys() == {"C1", "C2"}
    assert {b.parent for b in house.floor().batches.values()} >= {"S1-02", "S1-03"}


@pytest.mark.parametrize(("act", "kind", "count"), [("address", "feed", 2), ("farm id", "farm", 1)])
def test_ids_are_given_once(farm_folder: Path, house_at: Open, act: str, kind: str, count: int) -> None:
    """Two addresses have two ids; a farm has one."""
    received(house_at).books.close()
    assert both(farm_folder, act) == ["done", "done"]
    house = after(house_at)
    assert len(latest(house.entries(), kind)) == len(house.books.records(kind)) == count


def test_two_stocktakes_at_once(farm_folder: Path, house_at: Open) -> None:
    """The books are opened once."""
    house_at().books.close()
    answers = both(farm_folder, "stocktake")
    assert answers.count("done") == 1, answers
    assert sum(m.count for m in movements(after(house_at).entries()) if m.source == "opening") == 8


def test_two_people_amending_an_order(farm_folder: Path, house_at: Open) -> None:
    """Both are heard, the last word counts, nothing of the order is lost."""
    house = house_at()
    announced(house)
    house.books.close()
    assert both(farm_folder, "amend") == ["done", "done"]
    facts = announced_shipments.shipment_facts(after(house_at))["S1"]
    assert facts["supplier"] == "one"
    assert str(facts["lands"])[:10] in {"2027-03-05", "2027-03-06"}


@pytest.mark.parametrize(("act", "kind"), [("claim", "claim"), ("order", "prescription")])
@pytest.mark.parametrize("again", range(3))
def test_of_two_who_decide_at_once_one_is_told_who_was_first(
    farm_folder: Path, house_at: Open, act: str, kind: str, again: int
) -> None:
    """A claim answered and written off, a dip ordered twice: one stands, and the other person learns whose."""
    house = received(house_at)
    count_animals.count(house, "S1-01", "Q1", Count(missing=2))
    claim_sending.mark_sent(house, "S1")
    before = {one.key for one in house.books.records(kind)}
    house.books.close()
    answers = both(farm_folder, act)
    house = after(house_at)
    (record,) = (one for one in house.books.records(kind) if one.key not in before)
    assert answers.count("done") == 1
    assert any(f"{record.who} changed it at" in answer for answer in answers), answers


def test_a_plan_made_before_another_was_accepted_is_refused(house_at: Open) -> None:
    """Both owners looked at the same waiting shipment; the second learns that the first has accepted since."""
    with house_at().act() as act:
        act.note("shipment", "S1", {"supplier": "one", "lands": LANDED.isoformat()})
        act.note(
            "batch", "S1-01", batch_payload(Batch("S1-01", "zoanthid", "zoanthid", 40.0, 10, "S1", 1, "one", ("7",)))
        )
    first, second = house_at(who="ada"), house_at(who="ben")
    proposals = [plan_vats.propose(house, seconds=1, reliefs=False) for house in (first, second)]
    plan_vats.keep(first, proposals[0], "accepted")
    with pytest.raises(Refused, match="ada changed it at"):
        plan_vats.keep(second, proposals[1], "accepted")
    assert len(first.books.records("plan")) == 1
