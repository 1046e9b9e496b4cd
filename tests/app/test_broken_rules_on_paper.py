"""Every rule broken by the accepted plan stands on checklist and run sheet, and its box's label says that one is."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from intake.app.act_recording import asked
from intake.app.commands import move_animals
from intake.app.documents.cautions import cautions_of, gravest_of
from intake.app.documents.printing import print_forms
from intake.app.session import House
from intake.farm.floor import Batch
from intake.ledger import batch_payload
from intake.rules import Placing, Portion
from tests.app.deliveries import LANDED, Open, announced, received
from tests.forms.reading import text_of

CROWD = (
    ("clam_small", "Q1", 3000),
    ("fish_predatory", "Q1", 3),
    ("decapod_crustacean", "Q1", 4),
    ("anemone_host", "Q1", 5),
    ("zoanthid", "Q1", 20),
    ("stony_montipora", "Q1", 20),
)


def _broken(house: House) -> list[str]:
    """What the rules themselves say of the plan as one act, stated without the papers."""
    floor = house.floor()
    rows = tuple(
        Portion(floor.batches[f"S1-{line:02d}"], vat, number, "", "quarantine")
        for line, (_, vat, number) in enumerate(CROWD, start=1)
    )
    found = asked(house, Placing(floor.at, rows, "plan"))
    return list(dict.fromkeys(one.what for one in found if one.severity != "warn" and one.id != "company-caution"))


def _plain(text: str) -> str:
    return "".join(text.split())  # lines break inside sentences on paper


def test_every_broken_rule_is_on_every_paper_of_the_landing(house_at: Open, tmp_path: Path) -> None:
    """More of them than a handful, none left out; and a plan that breaks none prints none."""
    house = house_at()
    announced(house, CROWD)
    broken = _broken(house)
    assert len(broken) > 4, "or the test could not see a list cut short"
    batches = [batch for batch in house.floor().batches.values() if batch.shipment == "S1"]
    assert all(any(line.startswith(what) for line in cautions_of(house, batches)) for what in broken)
    assert all(any(line.startswith(what) for line in gravest_of(house, batches)) for what in broken)
    for paper in ("checklists", "runsheet"):
        text = _plain("".join(text_of(p.read_bytes()) for p in print_forms(house, paper, tmp_path, shipment="S1")))
        assert [what for what in broken if _plain(what) not in text] == [], paper
    (labels,) = print_forms(house, "boxlabels", tmp_path, shipment="S1")
    assert "RULE BROKEN" in text_of(labels.read_bytes())


def test_a_plan_that_breaks_nothing_prints_no_broken_rule(house_at: Open, tmp_path: Path) -> None:
    """One lot of clams where it may stand."""
    house = house_at()
    announced(house, (("clam_small", "Q1", 40),))
    batch = house.floor().batches["S1-01"]
    (labels,) = print_forms(house, "boxlabels", tmp_path, shipment="S1")
    assert "RULE BROKEN" not in text_of(labels.read_bytes())
    assert cautions_of(house, [batch])


@pytest.mark.parametrize(("days", "fallow"), [(1, True), (30, False)])
def test_a_vat_that_is_fallow_today_is_judged_on_the_day_of_the_landing(
    house_at: Open, days: int, fallow: bool
) -> None:
    """A vat left an hour ago is not ready tomorrow, and is ready in a month: the paper is of the day it is used on."""
    received(house_at, (("clam_small", "Q1", 40),))
    left = LANDED + timedelta(hours=2)
    move_animals.move(house_at(left), "S1-01", "Q1", "sold", 40, despite="sold on to another farm as they came")
    house = house_at(left + timedelta(hours=1))
    with house.act() as act:
        act.note("shipment", "S2", {"supplier": "one", "lands": (left + timedelta(days=days)).isoformat()})
        batch = Batch("S2-01", "clam small", "clam_small", 40.0, 20, "S2", 1, "one", ("7",))
        act.note("batch", batch.id, batch_payload(batch))
        row = {
            "batch": "S2-01",
            "vat": "Q1",
            "count": 20,
            "stage": "quarantine",
            "from": "2027-03-10",
            "until": "2027-04-24",
        }
        act.note("plan", "P2", {"state": "accepted", "plan": {"plan": "P2", "placements": [row], "moves": []}})
    told = cautions_of(house_at(left + timedelta(hours=1)), [batch])
    assert any("Q1 was left by S1-01" in line for line in told) == fallow
