"""Animals that endanger those around them, and every row of the study on company held by a rule that can be broken."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from intake.farm.floor import Stay
from intake.plan.model.eligibility import suited
from intake.rules import Act, Counting, Cutting, Noticing, Placing, Portion, Treating
from tests.rules.ground import LIBRARY, NOW, SITE, asked, batch, days, floor, found, ids

ZOA = batch("S1-05", "zoanthid", "Zoanthus")
CORAL = batch("S1-06", "stony_montipora", "Montipora capricornis")
FISH = batch("S1-12", "fish_reef_safe")
CLAM = batch("S1-01")
ANEMONE = batch("S1-09", "anemone_host", "Entacmaea")
SHRIMP = batch("S1-10", "decapod_crustacean", "Lysmata")


def told(here: Any, act: Act, rule: str) -> Any:
    """The one breach of a rule by an act."""
    (breach,) = [one for one in asked(here, act) if one.id == rule]
    return breach


@pytest.mark.parametrize(
    "act",
    [
        Counting(NOW, ZOA, "A1", {"dead": 1}),
        Cutting(NOW, ZOA, 4),
        Noticing(NOW, ZOA, "A1", "brown-jelly"),
    ],
)
def test_a_hurt_zoanthid_is_told_of_beside_fish_and_shrimps(act: Act) -> None:
    """K28: in their water, and in no other; corals are not struck; a clean look and a count without dead say nothing."""
    beside = floor((ZOA, "A1", 5), (FISH, "A2", 5), (SHRIMP, "A3", 2), (CORAL, "A3", 5))
    breach = told(beside, act, "dying-in-water")
    assert (breach.severity, breach.where, breach.animals) == ("warn", "qa", (ZOA.id, SHRIMP.id, FISH.id))
    assert "palytoxin" in breach.what
    assert "dying-in-water" not in ids(floor((ZOA, "A1", 5), (FISH, "B1", 5), (CORAL, "A2", 5)), act)


def test_what_is_not_hurt_is_not_told_of() -> None:
    """A clean finding, animals found again, and a coral that dies."""
    beside = floor((ZOA, "A1", 5), (FISH, "A2", 5), (CORAL, "A3", 5))
    assert "dying-in-water" not in ids(beside, Noticing(NOW, ZOA, "A1", ""))
    assert "dying-in-water" not in ids(beside, Counting(NOW, ZOA, "A1", {"missing": 1}))
    assert "dying-in-water" not in ids(beside, Counting(NOW, CORAL, "A3", {"dead": 1}))


def test_a_dying_anemone_fouls_the_water_of_all() -> None:
    """K26: whoever shares it; alone it harms nobody else."""
    act = Counting(NOW, ANEMONE, "A1", {"dead": 1})
    breach = told(floor((ANEMONE, "A1", 2), (CLAM, "A2", 5)), act, "dying-in-water")
    assert (breach.animals, "gaping mouth" in breach.do) == ((ANEMONE.id, CLAM.id), True)
    assert "dying-in-water" not in ids(floor((ANEMONE, "A1", 2), (CLAM, "B1", 5)), act)


def test_intakes_are_guarded_where_an_anemone_enters() -> None:
    """K48, hard in the study: anemones alone, at every door, where the farm file says nothing of guards."""
    act = Placing(NOW, (Portion(ANEMONE, "B2", 1),), "receive")
    breach = told(floor(batches={ANEMONE.id: ANEMONE}), act, "anemone-intakes")
    assert (breach.severity, breach.where, breach.animals) == ("reason", "B2", (ANEMONE.id,))
    assert (breach.have, breach.source) == ("no guards on record", "common practice, no source (K48)")
    assert "guarded = true" in breach.do
    assert "anemone-intakes" not in ids(floor(), replace(act, rows=(Portion(CLAM, "B2", 1),)))
    assert "anemone-intakes" not in ids(floor(), replace(act, rows=(Portion(ANEMONE, "A1", 1),)))
    stays = floor((ANEMONE, "B2", 1))
    for door in ("check", "plan", "stock", "move"):
        assert "anemone-intakes" in ids(stays, replace(act, door=door, rows=(Portion(ANEMONE, "B2", 1, "B2"),)))


def test_the_plan_offers_an_anemone_guarded_vats_alone() -> None:
    """K48 again: the plan asks the same rule, and says what is missing where no vat is left."""
    anemone = LIBRARY.groups[ANEMONE.group]
    vats, _ = suited(SITE, anemone, "quarantine", landing=True)
    assert "B1" in vats
    assert "B2" not in vats
    bare = SITE.model_copy(
        update={"vats": {name: vat.model_copy(update={"guarded": False}) for name, vat in SITE.vats.items()}}
    )
    vats, excluded = suited(bare, anemone, "quarantine", landing=True)
    assert (vats, [one.resource for one in excluded]) == ((), ["vats with every intake guarded"])


def acoels(dip: str, where: str, *agents: str) -> Treating:
    """A treatment of the coral."""
    return Treating(NOW, CORAL, ("A1",), dip, agents, where, work=True)  # type: ignore[arg-type]


def test_water_with_acoels_is_not_treated() -> None:
    """K29: in the water, with an agent, while they are there; a dip outside and hands are how it is done."""
    ill = replace(floor((CORAL, "A1", 5), (CLAM, "A2", 5)), found=(found(CORAL, "acoel", "A1", NOW - days(2)),))
    breach = told(ill, acoels("any", "vat", "peroxide"), "acoel-bath")
    assert (breach.severity, breach.where, breach.animals) == ("reason", "qa", (CLAM.id, CORAL.id))
    assert "acoel-bath" not in ids(ill, acoels("any", "tub", "peroxide"))
    assert "acoel-bath" not in ids(ill, acoels("any", "vat", "mechanical-removal"))
    assert "acoel-bath" not in ids(replace(ill, found=()), acoels("any", "vat", "peroxide"))
    other = replace(ill, found=(found(CORAL, "brown-jelly", "A1", NOW - days(2)),))
    assert "acoel-bath" not in ids(other, acoels("any", "vat", "peroxide"))
    long = NOW - days(LIBRARY.groups[CORAL.group].quarantine.days + 3)
    clean = (found(CORAL, "acoel", "A1", long), found(CORAL, "", "A1", NOW - days(1)))
    assert "acoel-bath" not in ids(replace(ill, found=clean), acoels("any", "vat", "peroxide"))
    emptied = replace(ill, stays=(Stay(CORAL.id, "A1", 5, NOW - days(1), "quarantine"),))
    dried = replace(emptied, cleaned=dict.fromkeys(("A1", "A2", "A3", "AR", "AC"), NOW - days(1.5)))
    assert "acoel-bath" not in ids(dried, acoels("any", "vat", "peroxide"))


def test_a_reportable_disease_is_said_so() -> None:
    """K66: on the finding, and at every death in a batch that has it."""
    here = floor((CLAM, "A1", 5))
    breach = told(here, Noticing(NOW, CLAM, "A1", "perkinsus"), "reportable")
    assert (breach.severity, breach.where, "burn the carcasses" in breach.do) == ("warn", "A1", True)
    ill = replace(here, found=(found(CLAM, "perkinsus", "A1", NOW - days(2)),))
    assert told(ill, Counting(NOW, CLAM, "A1", {"dead": 1}), "reportable").animals == (CLAM.id,)
    assert "reportable" not in ids(ill, Counting(NOW, CLAM, "A1", {"missing": 1}))
    assert "reportable" not in ids(here, Counting(NOW, CLAM, "A1", {"dead": 1}))
    assert "reportable" not in ids(here, Noticing(NOW, CLAM, "A1", "pinched-mantle"))
    assert "reportable" not in ids(
        replace(ill, found=(found(FISH, "perkinsus", "A1", NOW),)), Counting(NOW, CLAM, "A1", {"dead": 1})
    )


def test_territorial_fish_of_one_species_are_told_of() -> None:
    """K60: in one vat, of one batch or of two; other species, other vats and other families say nothing."""

    def company(*rows: Portion) -> set[str]:
        batches = {row.batch.id: row.batch for row in rows}
        return {one.where for one in asked(floor(batches=batches), Placing(NOW, rows)) if one.id == "company-caution"}

    first = batch("S1-11", "fish_reef_safe", "Chrysiptera cyanea")
    second = batch("S1-13", "fish_reef_safe", "Chrysiptera cyanea")
    other = batch("S1-14", "fish_reef_safe", "Chrysiptera parasema")
    goby = batch("S1-15", "fish_reef_safe", "Gobiodon")
    assert company(Portion(first, "A1", 5)) == {"A1"}
    assert company(Portion(first, "A1", 1), Portion(second, "A1", 1)) == {"A1"}
    assert company(Portion(first, "A1", 1), Portion(second, "A2", 1)) == set()
    assert company(Portion(first, "A1", 1), Portion(other, "A1", 1)) == set()
    assert company(Portion(goby, "A1", 5)) == set()


def test_a_wrasse_beside_clams_hides_the_count_of_snails() -> None:
    """K63: a caution in the vat, beside the company of water that is barred anyway."""
    wrasse = batch("S1-16", "fish_reef_safe", "Halichoeres")
    act = Placing(NOW, (Portion(CLAM, "A1", 5), Portion(wrasse, "A1", 1)))
    said = {one.what for one in asked(floor(batches={CLAM.id: CLAM, wrasse.id: wrasse}), act)}
    assert any("hides their count" in line for line in said)


def test_lots_of_clams_do_not_meet_until_their_checks_are_clean() -> None:
    """K18: two lots in one quarantine vat; snails walk from clam to clam."""
    second = batch("S2-01", shipment="S2")
    act = Placing(NOW, (Portion(second, "A1", 5),))
    assert "other-lot" in ids(floor((CLAM, "A1", 5), batches={second.id: second}), act)


def test_what_hands_carry_is_on_the_sheets_of_the_group() -> None:
    """K58 cone shells, K64 wet tools of fish vats, K65 gloves after zoanthids."""

    def words(group: str) -> str:
        return " ".join(LIBRARY.groups[group].cautions.text)

    assert "tongs only" in words("grazing_snail")
    assert all("only dry or disinfected" in words(group) for group in ("fish_reef_safe", "fish_predatory"))
    assert "Change gloves and wash after zoanthids" in words("zoanthid")
