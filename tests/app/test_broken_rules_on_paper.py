"""Every rule broken by the accepted plan stands on checklist and run sheet, and its box's label says that one is."""

from __future__ import annotations

from pathlib import Path

from intake.app.documents.cautions import cautions_of, gravest_of
from intake.app.documents.printing import print_forms
from intake.app.recording import asked
from intake.app.session import House
from intake.rules import Placing, Portion
from tests.app.deliveries import Open, announced
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
    """What the rules themselves say of the plan as one act, told without the papers."""
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
