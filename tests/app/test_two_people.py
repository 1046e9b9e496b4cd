"""Two people at once, in two processes: nothing is counted twice, nothing is lost, ids are given once."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from datetime import datetime, timedelta
from multiprocessing.synchronize import Barrier
from pathlib import Path

import pytest

from intake.app.calendars import feed_addresses, feed_publication
from intake.app.commands import count_animals, move_animals, receive_shipment, take_stock
from intake.app.commands.announce_shipment import amend
from intake.app.commands.count_animals import Count
from intake.app.farm_folder import check_house
from intake.app.queries.planning import announced_shipments
from intake.app.session import open_house
from intake.errors import IntakeError
from intake.ledger import balances, latest, movements
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
