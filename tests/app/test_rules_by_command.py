"""Each rule on a real ledger: a command that breaks it is refused by its name, before anything is written."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from intake.app import session
from intake.app.act_recording import RulesBroken
from intake.app.commands import (
    announce_shipment,
    maintain_vats,
    move_animals,
    order_treatment,
    receive_shipment,
    record_observation,
    take_stock,
)
from intake.app.commands.order_treatment import Order
from intake.app.farm_folder import init
from intake.app.session import House, open_house
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from tests.rules.ground import FARM, NOW

Row = tuple[str, str, str, int, str]
"""Vat, name, group, number, stage."""

CLAM: Row = ("G1", "Tridacna maxima", "clam_small", 10, "grow-out")
FISH: Row = ("H1", "Chrysiptera", "fish_reef_safe", 5, "grow-out")
CORAL: Row = ("G2", "Montipora", "stony_montipora", 5, "grow-out")
ILL: Row = ("B1", "Chrysiptera", "fish_reef_safe", 5, "quarantine")
MUSHROOM: Row = ("A3", "Discosoma", "corallimorph", 1, "quarantine")
HEAD = "vat,name,group,size_mm,count,since,stage"


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The farm of the rules' tests with nothing in its ledger."""
    folder = tmp_path_factory.mktemp("commands") / "farm"
    init(folder)
    (folder / "farm.toml").write_bytes(FARM)
    house = open_house(folder, now=NOW - timedelta(days=1))
    with house.act() as act:
        act.note("farm", "farm", {"name": "opened"})
    house.books.close()
    return folder


def stocked(house: House, *rows: Row, despite: str = "") -> None:
    """A stocktake: H1, H2 and so on, in the order of the rows."""
    lines = [f"{vat},{name},{group},30,{count},2026-10-01,{stage}" for vat, name, group, count, stage in rows]
    take_stock.take_stock(house, "\n".join((HEAD, *lines)).encode(), "stock.csv", despite=despite)


def dosed(house: House, vat: str, agent: str) -> None:
    """A medicine put into the water of a vat nine days ago."""
    told = {"batch": "", "kind": "dip", "vat": vat, "agents": [agent], "where": "vat"}
    with house.act() as act:
        act.note("done", f"OLD/{agent}/{vat}/1", told, at=NOW - timedelta(hours=20))


def coming(house: House, shipment: str, supplier: str, *vats: str) -> None:
    """A shipment of clams with an accepted plan, a line for each vat."""
    with house.act() as act:
        act.note("shipment", shipment, {"supplier": supplier, "lands": (NOW + timedelta(hours=1)).isoformat()})
        rows = []
        for line, vat in enumerate(vats, start=1):
            batch = Batch(f"{shipment}-{line:02d}", "Tridacna maxima", "clam_small", 30.0, 20, shipment, line, supplier)
            act.note("batch", batch.id, batch_payload(batch))
            stay = {"vat": vat, "stage": "quarantine", "from": "2026-11-30", "until": "2027-01-15"}
            rows.append({"batch": batch.id, "count": 20, **stay})
        plan = {"plan": f"P{shipment}", "placements": rows, "moves": []}
        act.note("plan", f"P{shipment}", {"state": "accepted", "plan": plan})


def bath(house: House, batch: str, dip: str, **told: str | float) -> None:
    """An order with everything a prescriber writes."""
    written = {"prescriber": "vet", "reference": "RX", "agent": "as told", "strength": "as told", "dose_source": "RX"}
    order_treatment.order(house, batch, dip, Order("seen today", **{**written, **told}))  # type: ignore[arg-type]


def _stock(house: House, *rows: Row) -> None:
    stocked(house, *rows, despite="set up for a test")


def _copper(house: House) -> None:
    _stock(house, CLAM)
    dosed(house, "B1", "copper-ionic")


def _medicine(house: House) -> None:
    _stock(house, CLAM)
    dosed(house, "B1", "chloroquine")


def _finding(house: House) -> None:
    _stock(house, ILL, FISH)
    record_observation.finding(house, "H1", "white-spot", vat="B1")


def _landed(house: House) -> None:
    coming(house, "S1", "one", "A1")
    receive_shipment.receive(house, "S1")
    coming(house, "S2", "two", "A1", "A2")


def _warm(house: House) -> None:
    _stock(house, ("W1", *ILL[1:]))


def _shared(house: House) -> None:
    _stock(house, ("A1", *ILL[1:]), ("A2", "Tridacna maxima", "clam_small", 5, "quarantine"))


def _two_suppliers(house: House) -> None:
    _landed(house)
    _stock(house, ("B1", *CLAM[1:4], "quarantine"))


def _cool(house: House) -> None:
    record_observation.reading(house, "A1", "temperature_c", 24.0)


Case = tuple[Callable[[House], None], Callable[[House], object]]
CASES: dict[str, Case] = {
    "stage-role": (lambda h: _stock(h, CORAL), lambda h: move_animals.cut(h, "H1", 4, "A1", size_mm=20.0)),
    "light-day-one": (_landed, lambda h: receive_shipment.came_extra(h, "S1-01", "BRIGHT", 1)),
    "other-lot": (_landed, lambda h: receive_shipment.receive(h, "S2")),
    "other-supplier": (_landed, lambda h: receive_shipment.receive(h, "S2")),
    "water-finding": (_finding, lambda h: move_animals.move(h, "H2", "H1", "B2", 2)),
    "carries-finding": (_finding, lambda h: move_animals.move(h, "H1", "B1", "H1", 2)),
    "copper-water": (_copper, lambda h: move_animals.move(h, "H1", "G1", "B2", 2)),
    "medicated-water": (_medicine, lambda h: move_animals.move(h, "H1", "G1", "B2", 2)),
    "anemone-intakes": (lambda h: None, lambda h: stocked(h, ("B2", "Entacmaea", "anemone_host", 1, "quarantine"))),
    "company-touch": (
        lambda h: None,
        lambda h: stocked(h, ("G1", "Euphyllia", "stony_lps_long_tentacle", 2, "grow-out")),
    ),
    "company-vat": (
        lambda h: None,
        lambda h: stocked(h, CLAM, ("G1", "Calcinus", "decapod_crustacean", 1, "grow-out")),
    ),
    "company-water": (lambda h: None, lambda h: stocked(h, CLAM, ("G2", *FISH[1:]))),
    "one-setting": (
        lambda h: None,
        lambda h: stocked(h, MUSHROOM, ("A3", "Acropora", "stony_branching_acropora", 1, "quarantine")),
    ),
    "joined-water": (lambda h: _stock(h, CLAM, FISH), lambda h: maintain_vats.replumb(h, "G1", "gr", "hall")),
    "joined-finding": (_finding, lambda h: maintain_vats.replumb(h, "H1", "hall", "qb")),
    "joined-supplier": (_two_suppliers, lambda h: maintain_vats.replumb(h, "B1", "qb", "qa")),
    "joined-medicine": (_medicine, lambda h: maintain_vats.replumb(h, "G1", "gr", "qb")),
    "joined-copper": (_copper, lambda h: maintain_vats.replumb(h, "G1", "gr", "qb")),
    "treatment-forbidden": (lambda h: _stock(h, CLAM), lambda h: bath(h, "H1", "peroxide-dip", prescriber="")),
    "treatment-veterinarian": (lambda h: _stock(h, CLAM), lambda h: bath(h, "H1", "clam-freshwater-dip")),
    "treatment-unknown": (lambda h: _stock(h, CORAL), lambda h: bath(h, "H1", "potassium-chloride-dip")),
    "test-piece": (lambda h: _stock(h, CORAL), lambda h: bath(h, "H1", "potassium-chloride-dip")),
    "prescription": (lambda h: _stock(h, FISH), lambda h: bath(h, "H1", "fish-chloroquine-bath", dose_source="")),
    "shared-water-treatment": (_shared, lambda h: bath(h, "H1", "fish-chloroquine-bath", where="vat", days=14)),
    "contact-time": (lambda h: _stock(h, FISH), lambda h: bath(h, "H1", "fish-freshwater-dip", minutes=600.0)),
    "treatment-temperature": (_warm, lambda h: bath(h, "H1", "fish-copper-bath", where="vat", days=14)),
    "reading-jump": (_cool, lambda h: record_observation.reading(h, "A1", "temperature_c", 28.0)),
    "cut-many": (lambda h: _stock(h, CORAL), lambda h: move_animals.cut(h, "H1", 61, "G2", size_mm=10.0)),
    "amend-past": (_landed, lambda h: announce_shipment.amend(h, "S2", lands=NOW - timedelta(days=2))),
    "amend-many": (_landed, lambda h: announce_shipment.amend(h, "S2", announced={"S2-01": 2000})),
}


@pytest.mark.parametrize("rule", CASES)
def test_a_command_that_breaks_a_rule_is_refused_by_it(
    empty: Path, tmp_path: Path, rule: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Refused among all the act breaks, each told with what is needed and there; the ledger as before."""
    monkeypatch.setattr(session, "_FOLLOWERS", [])  # timetable and calendars are held to the rules elsewhere
    ready, act = CASES[rule]
    house = open_house(Path(shutil.copytree(empty, tmp_path / "farm")), now=NOW)
    ready(house)
    house = house.at(NOW + timedelta(hours=1))
    before = house.view.count()
    with pytest.raises(RulesBroken) as caught:
        act(house)
    told = {one.id: one for one in caught.value.broken}
    assert rule in told
    assert all(one.need and one.have and one.do and one.where for one in told.values())
    assert house.at(NOW + timedelta(hours=2)).view.count() == before
    house.books.close()
