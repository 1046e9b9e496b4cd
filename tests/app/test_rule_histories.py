"""Random histories of acts by command on a real ledger: what no rule asked a reason for leaves the check nothing to say."""

from __future__ import annotations

import os
import random
import shutil
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest

from intake.app import session
from intake.app.commands import (
    count_animals,
    maintain_vats,
    move_animals,
    order_treatment,
    receive_shipment,
    record_observation,
    take_stock,
)
from intake.app.commands.count_animals import Count
from intake.app.commands.order_treatment import Order
from intake.app.commands.records.undo_act import undo
from intake.app.farm_folder import check_house, init
from intake.app.session import House, open_house
from intake.errors import IntakeError
from intake.farm.floor import Batch
from intake.ledger import Movement, batch_payload
from intake.rules import standing
from tests.rules.floor_judge import judged
from tests.rules.ground import FARM, NOW
from tests.rules.test_histories import KINDS, VATS, facts

HISTORIES, SHARDS, ACTS = int(os.environ.get("VATSIDE_HISTORIES", "400")), 20, 5
"""Histories in all; 2,000 with VATSIDE_HISTORIES=2000, about four minutes of one processor."""
SEED = 20261130
GROWN = ("G1", "G2", "H1")


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The farm of the rules' tests as a folder, its ledger empty."""
    folder = tmp_path_factory.mktemp("rules") / "farm"
    init(folder)
    (folder / "farm.toml").write_bytes(FARM)
    house = open_house(folder, now=NOW - timedelta(days=1))
    with house.act() as act:
        act.note("farm", "farm", {"name": "opened"})
    house.books.close()
    return folder


def announce(house: House, chance: random.Random) -> None:
    """Two shipments with plans nobody has checked, and now and then a water that held copper long ago."""
    with house.act() as act:
        for shipment, supplier in (("S1", "one"), ("S2", "two")):
            act.note("shipment", shipment, {"supplier": supplier, "lands": NOW.isoformat()})
            rows = []
            for line in (1, 2):
                group, name, size = chance.choice(KINDS)
                number = chance.choice((1, 5, 40, 200))
                batch = Batch(f"{shipment}-{line:02d}", name, group, size, number, shipment, line, supplier, ("1",))
                act.note("batch", batch.id, batch_payload(batch))
                days = {"from": "2026-11-30", "until": "2027-01-15"}
                rows.append(
                    {"batch": batch.id, "count": number, "vat": chance.choice(VATS[:5]), "stage": "quarantine", **days}
                )
            act.note(
                "plan",
                f"P{shipment}",
                {"state": "accepted", "plan": {"plan": f"P{shipment}", "placements": rows, "moves": []}},
            )
        if chance.random() < 0.3:
            vat = chance.choice(VATS)
            told = {"batch": "", "kind": "dip", "vat": vat, "agents": ["copper-ionic"], "where": "vat"}
            act.note("done", f"OLD/fish-copper-bath/{vat}/1", told, at=NOW - timedelta(days=9))


def stock(house: House, chance: random.Random) -> None:
    """A stocktake of two rows."""
    lines = ["vat,name,group,size_mm,count,since,stage"]
    for vat in chance.sample(GROWN, 2):
        group, name, size = chance.choice(KINDS)
        lines.append(f"{vat},{name},{group},{size},{chance.choice((1, 5, 40))},{date(2026, 11, 1)},grow-out")
    take_stock.take_stock(house, "\n".join(lines).encode(), "stock.csv")


def _move(house: House, chance: random.Random) -> None:
    stay = chance.choice(house.floor().stays)
    target = chance.choice((*VATS, "sold"))
    move_animals.move(house, stay.batch, stay.vat, target, chance.choice((1, stay.count)))


def _count(house: House, chance: random.Random) -> None:
    stay = chance.choice(house.floor().stays)
    tally = chance.choice((Count(dead=1), Count(missing=2), Count(found=1), Count(weak=1), Count(dead=stay.count)))
    count_animals.count(house, stay.batch, stay.vat, tally)


def _find(house: House, chance: random.Random) -> None:
    stay = chance.choice(house.floor().stays)
    record_observation.finding(house, stay.batch, chance.choice(("white-spot", "perkinsus", "clean")), vat=stay.vat)


def _cut(house: House, chance: random.Random) -> None:
    stay = chance.choice(house.floor().stays)
    move_animals.cut(house, stay.batch, 3, chance.choice(VATS), size_mm=20.0)


def _order(house: House, chance: random.Random) -> None:
    stay = chance.choice(house.floor().stays)
    told = Order("spots seen", "vet", "RX", "copper", "as told", days=14, dose_source="RX", where="vat")
    order_treatment.order(house, stay.batch, "fish-copper-bath", told)


def _undo(house: House, chance: random.Random) -> None:
    keys = [one.key for one in house.entries() if isinstance(one, Movement) and not one.corrects]
    undo(house, chance.choice(keys), whole=True)


ACTS_OF: dict[str, Callable[[House, random.Random], object]] = {
    "receive S1": lambda house, _: receive_shipment.receive(house, "S1"),
    "receive S2": lambda house, _: receive_shipment.receive(house, "S2"),
    "stock": stock,
    "move": _move,
    "count": _count,
    "find": _find,
    "cut": _cut,
    "order": _order,
    "undo": _undo,
    "clean": lambda house, chance: maintain_vats.clean(house, chance.choice(VATS)),
    "close": lambda house, chance: maintain_vats.close_vat(house, chance.choice(VATS), "crack in the glass"),
    "open": lambda house, chance: maintain_vats.open_vat(house, chance.choice(VATS)),
    "more": lambda house, chance: receive_shipment.came_extra(
        house, "S1-01", chance.choice(VATS), chance.choice((1, 90))
    ),
}
FIRST = ("stock", "receive S1", "receive S2")


@pytest.mark.slow
@pytest.mark.parametrize("shard", range(SHARDS))
def test_accepted_acts_leave_the_check_with_nothing_to_say(
    written: Path, tmp_path: Path, shard: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Histories on the ledger, no act with a reason: rules, check and a judge of its own find no breach."""
    monkeypatch.setattr(
        session, "_FOLLOWERS", []
    )  # timetable and calendars follow elsewhere; here only the ledger counts
    accepted = refused = 0
    for number in range(shard, HISTORIES, SHARDS):
        chance = random.Random(SEED + number)
        folder = Path(shutil.copytree(written, tmp_path / f"{number}"))
        house = open_house(folder, now=NOW)
        announce(house, chance)
        told: list[str] = []
        house = house.at(NOW + timedelta(hours=1))
        for step in range(ACTS):
            named = FIRST if step == 0 or not house.floor().stays else tuple(ACTS_OF)
            told.append(chance.choice(named))
            before = house.view.count()
            try:
                ACTS_OF[told[-1]](house, chance)
                accepted, written_by = accepted + 1, True
            except IntakeError as error:
                refused, written_by = refused + 1, False
                told[-1] += f" refused: {type(error).__name__}"
            house = house.at(NOW + timedelta(hours=7 * step + 8))
            assert written_by or house.view.count() == before, (number, told)
            assert [one.words for one in standing(house.site, house.library, house.floor())] == [], (number, told)
            assert judged(facts(house.floor(), house.site)) == set(), (number, told)
        assert check_house(house) == [], (number, told)
        house.books.close()
        shutil.rmtree(folder)
    assert accepted > HISTORIES // SHARDS
    assert refused > HISTORIES // SHARDS // 2
