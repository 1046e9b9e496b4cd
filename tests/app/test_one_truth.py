"""The plan starts from what is so: a lot stands where it stands until the facts of today free it and somebody moves it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime, timedelta

import pytest
from click.testing import CliRunner

from intake.app import system_clock
from intake.app.commands import hold_batch, move_animals, plan_vats, receive_shipment
from intake.app.documents.intake_sheets import sheet_of
from intake.app.queries.biosecurity.release_status import release_rows
from intake.app.queries.overview.vat_timeline import space_facts
from intake.app.queries.planning.kept_promises import no_longer_holds
from intake.app.queries.planning.plan_question import framed
from intake.app.queries.planning.present_stock import broken_promises
from intake.app.session import House
from intake.cli.command_table import vatside
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from intake.plan.problem import Standing
from tests.app.deliveries import LANDED, Open, announced, received

BEYOND = 1000
"""Days from which a plan takes a lot to stay for good."""

LINES = (("clam_small", "Q1", 40),)
"""Forty clams in Q1: accepted plan says quarantine until 18 April, then G1 until 2 May."""


def standing(house: House) -> Mapping[tuple[str, str], Standing]:
    """What the plan is given of present and promised stock, by batch and stage."""
    return {(one.batch, one.stage): one for one in framed(house).standing}


def order(house: House, lands: datetime, count: int = 60, supplier: str = "one") -> None:
    """A second shipment, still to come."""
    with house.act() as act:
        act.note("shipment", "S2", {"supplier": supplier, "lands": lands.isoformat()})
        batch = Batch("S2-01", "Tridacna maxima", "clam_small", 40.0, count, "S2", 1, supplier)
        act.note("batch", batch.id, batch_payload(batch))


def brush(at: Open, *, until: int = 6, late_days: float = 0.0) -> None:
    """Weekly brushings of S1-01 recorded, the last of them late."""
    for number in range(1, until + 1):
        moment = LANDED + timedelta(hours=2, days=7 * (number - 1) + (late_days if number == until else 0))
        house = at(moment + timedelta(hours=1))
        told = {"batch": "S1-01", "kind": "inspection", "vat": "Q1", "note": ""}
        with house.act() as act:
            act.note("done", f"S1-01/clam-brushing/Q1/{number}", told, at=moment)


def test_a_held_lot_keeps_its_vat_whatever_the_old_plan_said(house_at: Open) -> None:
    """Held with snails on 13 April; on 20 April the plan of 4 March is two days past, and the clams stand in Q1."""
    received(house_at, LINES)
    brush(house_at)
    hold_batch.hold(house_at(LANDED + timedelta(days=40)), "S1-01", "snails seen")
    now = LANDED + timedelta(days=47)
    order(house_at(now), now + timedelta(days=2))
    house = house_at(now)
    assert standing(house)["S1-01", "quarantine"].until_day > BEYOND
    placed = plan_vats.propose(house, seconds=1, reliefs=False).solution.placements
    assert all(one.vat != "Q1" for one in placed)


def test_a_lot_leaves_on_the_day_release_gives_and_not_on_the_day_a_plan_said(house_at: Open) -> None:
    """The sixth brushing 8.9 days after the fifth: release says 15 May, so Q1 is taken until then."""
    received(house_at, LINES)
    brush(house_at, late_days=1.9)
    house = house_at(LANDED + timedelta(days=38))
    told = {row["batch"]: row for row in release_rows(house)}["S1-01"]
    zero = framed(house).day_zero
    until = standing(house)["S1-01", "quarantine"].until_day
    assert (zero + timedelta(days=until)).isoformat() == told["earliest"] == "2027-05-15"


def test_the_place_promised_after_quarantine_moves_along(house_at: Open) -> None:
    """Fourteen days in G1 from the day the lot is free, not from the day that has passed."""
    received(house_at, LINES)
    brush(house_at, late_days=1.9)
    house = house_at(LANDED + timedelta(days=60))
    found = standing(house)
    inside, after = found["S1-01", "quarantine"], found["S1-01", "grow-out"]
    assert (after.vat, after.from_day, after.until_day - after.from_day) == ("G1", inside.until_day, 14)


def test_stock_moved_to_grow_out_stands_there_until_its_promise(house_at: Open) -> None:
    """Moved on 16 April: G1 is theirs for the fourteen days promised; on 3 May they still stand, so nobody says when."""
    received(house_at, LINES)
    brush(house_at)
    moved = LANDED + timedelta(days=43)
    move_animals.move(house_at(moved), "S1-01", "Q1", "G1", 40)
    first = standing(house_at(moved + timedelta(days=1)))["S1-01", "grow-out"]
    assert (first.vat, first.count, first.until_day) == ("G1", 40, 15)
    late = house_at(moved + timedelta(days=17))
    assert standing(late)["S1-01", "grow-out"].until_day > BEYOND
    assert [str(one) for one in broken_promises(late)] == [
        "P1 said G1 empty of S1-01 on 2027-05-02; 40 are still there: move them, or plan again"
    ]


def test_a_plan_accepted_since_replaces_a_promise_that_had_passed(house_at: Open) -> None:
    """The same forty, and a plan made and accepted on 3 May with them where they are: nothing is left to plan again."""
    received(house_at, LINES)
    brush(house_at)
    moved = LANDED + timedelta(days=43)
    move_animals.move(house_at(moved), "S1-01", "Q1", "G1", 40)
    late = moved + timedelta(days=17)
    assert broken_promises(house_at(late))
    order(house_at(late), late + timedelta(days=9))
    plan_vats.accept(house_at(late), plan_vats.propose(house_at(late), seconds=1, reliefs=False), short=True)
    assert broken_promises(house_at(late + timedelta(hours=1))) == ()


def test_stock_that_overstays_its_clearing_stays(house_at: Open) -> None:
    """A vat promised empty by 1 April and not emptied: on 2 April nothing says when."""
    received(house_at, LINES)
    brush(house_at)
    moved = LANDED + timedelta(days=43)
    move_animals.move(house_at(moved), "S1-01", "Q1", "G2", 40)
    plan_vats.clear_vat(house_at(moved), "G2", (moved + timedelta(days=5)).date())
    assert standing(house_at(moved + timedelta(days=1)))["S1-01", "grow-out"].until_day == 4
    assert standing(house_at(moved + timedelta(days=6)))["S1-01", "grow-out"].until_day > BEYOND


def test_a_promise_that_no_longer_holds_is_told(house_at: Open) -> None:
    """P1 said Q1 empty on 18 April; the ledger says 15 May."""
    received(house_at, LINES)
    assert broken_promises(house_at(LANDED + timedelta(days=1))) == ()
    brush(house_at, late_days=1.9)
    told = broken_promises(house_at(LANDED + timedelta(days=38)))
    assert [str(one) for one in told] == [
        "P1 said Q1 empty of S1-01 on 2027-04-18; free on 2027-05-15 at the earliest: plan again"
    ]


@pytest.mark.parametrize("supplier", ["one", "two"])
def test_a_full_farm_offers_no_room(house_at: Open, supplier: str) -> None:
    """Every quarantine vat full of lots without a day: not one animal of a mix fits, on any day."""
    full = tuple((group, vat, 555) for group, vat in (("clam_small", "Q1"), ("clam_small", "Q2"), ("clam_small", "Q3")))
    received(house_at, full)
    house = house_at(LANDED + timedelta(days=2))
    for lot in ("S1-01", "S1-02", "S1-03"):
        hold_batch.hold(house, lot, "snails seen")
    now = LANDED + timedelta(days=60)
    order(house_at(now), now + timedelta(days=30), supplier=supplier)
    assert plan_vats.propose(house_at(now), seconds=1, reliefs=False).solution.placed == 0


def test_a_place_that_a_shipment_has_lost_is_told_with_who_stands_there(house_at: Open) -> None:
    """S2 was promised Q1 from 20 April; the clams of S1 are held in Q1, so the promise is reported as broken on that day."""
    received(house_at, LINES)
    lands = LANDED + timedelta(days=47)
    order(house_at(LANDED + timedelta(hours=2)), lands)
    house = house_at(LANDED + timedelta(hours=2))
    with house.act() as act:
        row = {"batch": "S2-01", "vat": "Q1", "count": 60, "stage": "quarantine"}
        rows = [{**row, "from": "2027-04-20", "until": "2027-06-01"}]
        rows.append({**row, "vat": "G2", "stage": "grow-out", "from": "2027-06-01", "until": "2027-06-15"})
        act.note("plan", "P2", {"state": "accepted", "plan": {"plan": "P2", "placements": rows, "moves": []}})
    assert no_longer_holds(house_at(LANDED + timedelta(hours=2))) == []
    brush(house_at)
    hold_batch.hold(house_at(LANDED + timedelta(days=40)), "S1-01", "snails seen")
    told = [str(row["words"]) for row in no_longer_holds(house_at(LANDED + timedelta(days=40)))]
    assert told == [
        "P1 said Q1 empty of S1-01 on 2027-04-18; no day yet: on hold since 2027-04-13: snails seen: plan again",
        "P2 places 60 of S2-01 in Q1 from 2027-04-20; Q1 holds 40 of S1-01 with no day yet: plan again",
    ]


def test_the_intake_sheet_prints_the_day_of_the_ledger(house_at: Open) -> None:
    """Printed on 11 April after a late brushing: the paper says 15 May, as release does, and not what the plan said."""
    received(house_at, LINES)
    brush(house_at, late_days=1.9)
    house = house_at(LANDED + timedelta(days=38))
    assert "As of Sun 11 Apr: Sat 15 May at the earliest." in sheet_of(house, house.floor().batches["S1-01"]).gates[0]
    hold_batch.hold(house, "S1-01", "snails seen")
    later = house_at(LANDED + timedelta(days=39))
    assert "no day yet: on hold" in sheet_of(later, later.floor().batches["S1-01"]).gates[0]


def test_vat_space_ends_a_stay_where_the_ledger_does(house_at: Open) -> None:
    """The bar of S1-01 in Q1 ends on 15 May and its place in G1 begins there; held, the bar has an open end."""
    received(house_at, LINES)
    brush(house_at, late_days=1.9)
    house = house_at(LANDED + timedelta(days=38))
    bars = {
        bar.vat: bar for _, vats in space_facts(house).systems for _, row in vats for bar in row if not bar.open_end
    }
    assert (str(bars["Q1"].last), str(bars["G1"].first), str(bars["G1"].last)) == (
        "2027-05-15",
        "2027-05-15",
        "2027-05-29",
    )
    hold_batch.hold(house, "S1-01", "snails seen")
    later = house_at(LANDED + timedelta(days=39))
    assert [bar.open_end for _, vats in space_facts(later).systems for v, row in vats for bar in row if v == "Q1"] == [
        True
    ]


def test_check_lists_rules_that_stand_broken_by_vat_and_exits_1(
    house_at: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    """More clams than Q1 has bench for were received in spite of it: the ledger adds up, and the vat is over its area."""
    announced(house_at(), (("clam_small", "Q1", 900),))
    receive_shipment.receive(house_at(LANDED + timedelta(hours=1)), "S1", despite="no other water today")
    house = house_at(LANDED + timedelta(days=1))
    monkeypatch.setattr(system_clock, "now", lambda: house.now)
    told = CliRunner().invoke(vatside, ["--farm", str(house.folder), "check", "--json"])
    facts = json.loads(told.stdout)
    assert (told.exit_code, facts["sound"], facts["faults"]) == (1, True, [])
    assert [(one["id"], one["where"]) for one in facts["breaches"] if "area" in one["id"]] == [("bench-area", "Q1")]
    assert "Q1: " in CliRunner().invoke(vatside, ["--farm", str(house.folder), "check"]).stdout
