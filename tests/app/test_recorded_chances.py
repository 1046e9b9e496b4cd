"""Rates of the futures from the ledger: late flights, counts and deaths of past shipments, and in words where each is from."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from intake.app.commands import plan_vats
from intake.app.queries.season.recorded_chances import LEAST_SHIPMENTS, recorded_chances
from intake.app.session import House
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from intake.season.stress import Chances
from tests.app.deliveries import Open
from tests.conftest import NOON


def today(at: Open, moment: datetime) -> House:
    """The farm at a moment, its day confirmed: these farms are silent for weeks."""
    house = at(moment)
    return replace(house, confirmed=house.today.isoformat())


def past(at: Open, shipment: str, days_ago: int, late: int, came: int, dead: int, supplier: str = "one") -> None:
    """A shipment of two lines of a hundred each, announced a month before, so late, so many of each line there and dead."""
    due = NOON - timedelta(days=days_ago)
    with today(at, due - timedelta(days=30)).act() as act:
        act.note("shipment", shipment, {"supplier": supplier, "lands": due.isoformat()})
        for line in (1, 2):
            batch = Batch(f"{shipment}-0{line}", "Tridacna maxima", "clam_small", 40.0, 100, shipment, line, supplier)
            act.note("batch", batch.id, batch_payload(batch))
    landed = due + timedelta(days=late)
    with today(at, landed).act() as act:
        act.note("received", shipment, {"shipment": shipment}, at=landed)
        for line in (1, 2):
            if dead:
                act.move(f"{shipment}-0{line}", "supplier", "doa", dead, at=landed)
            act.move(f"{shipment}-0{line}", "supplier", "vat:G1", came - dead, at=landed)
            if came < 100:
                act.move(f"{shipment}-0{line}", "supplier", "missing", 100 - came, at=landed)
    with today(at, landed + timedelta(hours=1)).act() as act:
        for line in (1, 2):
            act.move(f"{shipment}-0{line}", "vat:G1", "sold", came - dead, at=landed + timedelta(hours=1))


def coming(house: House, supplier: str = "one") -> None:
    """One shipment to plan for."""
    with house.act() as act:
        act.note("shipment", "S9", {"supplier": supplier, "lands": (NOON + timedelta(days=5)).isoformat()})
        batch = Batch("S9-01", "Tridacna maxima", "clam_small", 40.0, 50, "S9", 1, supplier)
        act.note("batch", batch.id, batch_payload(batch))


def test_without_record_the_defaults_are_told_as_such(house_at: Open) -> None:
    """Nothing learnt, nothing claimed."""
    coming(today(house_at, NOON))
    house = house_at()
    found = recorded_chances(house, plan_vats.propose(house, seconds=1).problem)
    assert found.chances.slips_of == {"S9": Chances().slips}
    assert found.chances.count_sd_of == {}
    assert found.chances.dead_of == {}
    assert sum("default" in one.lower() for one in found.told) == len(found.told) == 4


def test_the_farms_own_record_is_weighed_against_the_default(house_at: Open) -> None:
    """Of five flights two were three days late; counts were 100, 100, 100, 90 and 80 of 100; ten of a hundred were dead."""
    for number, (late, came) in enumerate(((0, 100), (3, 100), (0, 100), (3, 90), (0, 80))):
        past(house_at, f"S{number}", 300 - 40 * number, late, came, 10)
    coming(today(house_at, NOON))
    house = house_at()
    found = recorded_chances(house, plan_vats.propose(house, seconds=1).problem)
    slips = dict(found.chances.slips_of["S9"])
    assert sum(slips.values()) == pytest.approx(1.0)
    assert slips[3] == pytest.approx(2 / 10)
    assert slips[7] == pytest.approx(5 * 0.12 / 10)
    assert found.chances.count_sd_of["S9"] == pytest.approx(((0.1**2 + 0.2**2) / 5) ** 0.5)
    assert 0.09 < found.chances.dead_of["S9-01"] < 0.13
    words = " ".join(found.told)
    assert "5 shipments of one on record" in words
    assert "10 lines of one on record" in words
    assert "journeys on record" in words


def test_a_change_made_long_before_is_no_slip_and_one_in_the_last_week_is(house_at: Open) -> None:
    """What a plan could follow is not late: the landing as it stood a week before counts."""
    for number in range(LEAST_SHIPMENTS):
        past(house_at, f"S{number}", 300 - 40 * number, 0, 100, 0)
    for shipment, told_before in (("S7", 20), ("S8", 2)):
        first = NOON - timedelta(days=120 if shipment == "S7" else 40)
        with today(house_at, first - timedelta(days=30)).act() as act:
            act.note("shipment", shipment, {"supplier": "one", "lands": first.isoformat()})
            batch = Batch(f"{shipment}-01", "Tridacna maxima", "clam_small", 40.0, 100, shipment, 1, "one")
            act.note("batch", batch.id, batch_payload(batch))
        later = first + timedelta(days=10)
        with today(house_at, first - timedelta(days=told_before)).act() as act:
            act.note("shipment", shipment, {"supplier": "one", "lands": later.isoformat()})
        with today(house_at, later).act() as act:
            act.note("received", shipment, {"shipment": shipment}, at=later)
            act.move(f"{shipment}-01", "supplier", "sold", 100, at=later)
    coming(today(house_at, NOON))
    house = house_at()
    slips = dict(recorded_chances(house, plan_vats.propose(house, seconds=1).problem).chances.slips_of["S9"])
    assert slips[10] == pytest.approx(1 / 10)


def test_a_new_supplier_is_judged_by_all_others(house_at: Open) -> None:
    """Pooled, and said so."""
    for number in range(3):
        past(house_at, f"S{number}", 300 - 40 * number, 7, 100, 5)
    coming(today(house_at, NOON), "two")
    house = house_at()
    found = recorded_chances(house, plan_vats.propose(house, seconds=1).problem)
    assert dict(found.chances.slips_of["S9"])[7] == pytest.approx((3 + 5 * 0.12) / 8)
    assert any("3 shipments of all suppliers on record (0 of two)" in one for one in found.told)
