"""What a water and a batch remember of a finding: what is found again, who left last, and who joins such a water."""

from __future__ import annotations

from dataclasses import replace

from intake.farm.floor import Floor, Past
from intake.rules import Joining, Placing, Portion, Undoing
from tests.rules.ground import NOW, SITE, asked, batch, days, done, floor, found, ids

CLAM = batch("S1-01")
FISH = batch("S1-12", "fish_reef_safe")
OTHER = batch("S1-14", "fish_reef_safe", "Gobiodon")
NEW = batch("S1-13", "fish_reef_safe")


def place(vat: str) -> Placing:
    """New fish into a vat."""
    return Placing(NOW, (Portion(NEW, vat, 5),), "receive")


def carried(here: Floor) -> set[str]:
    """Rules broken by moving the fish from B1 among others in A1."""
    return ids(here, Placing(NOW, (Portion(FISH, "A1", 5, "B1"),), "move"))


def test_words_that_name_no_hazard_are_carried_and_what_is_everywhere_is_not() -> None:
    """Odd spots go with the fish; vibrio is in every water."""
    here = floor((FISH, "B1", 10), (OTHER, "A2", 5))
    assert "carries-finding" in carried(replace(here, found=(found(FISH, "odd spots", "B1", NOW - days(5)),)))
    assert "carries-finding" not in carried(replace(here, found=(found(FISH, "vibrio", "B1", NOW - days(5)),)))


def test_the_last_finding_on_the_batch_itself_counts_the_days_to_its_clean_look() -> None:
    """Forty-two days from its own last finding: another lot's white spot elsewhere is not its own."""
    first, clean = found(FISH, "white-spot", "B1", NOW - days(60)), found(FISH, "", "B1", NOW - days(10))
    here = floor((FISH, "B1", 10), (OTHER, "G1", 5))
    assert ids(replace(here, found=(first, clean)), place("B2")) == set()
    again = found(FISH, "white-spot", "B1", NOW - days(40))
    assert ids(replace(here, found=(first, again, clean)), place("B2")) == {"water-finding"}
    elsewhere = found(OTHER, "white-spot", "G1", NOW - days(40))
    assert ids(replace(here, found=(first, elsewhere, clean)), place("B2")) == set()
    flukes = found(FISH, "fish-fluke", "B1", NOW - days(40))
    (breach,) = asked(replace(here, found=(first, flukes, clean)), place("B2"))
    assert "a finding: Neobenedenia sp. (skin fluke) on S1-12, Wed 21 Oct" in breach.what


def test_a_vat_is_clean_when_it_was_cleaned_after_the_last_who_left() -> None:
    """Not after the first of two lots."""
    vats = [vat.id for vat in SITE.vats_of("qb")]
    here = replace(
        floor(batches={FISH.id: FISH, OTHER.id: OTHER}),
        found=(found(FISH, "uronema", "B1", NOW - days(40)),),
        past=(
            Past(FISH.id, "B1", NOW - days(70), NOW - days(30)),
            Past(OTHER.id, "B1", NOW - days(60), NOW - days(10)),
        ),
    )
    between = replace(here, cleaned=dict.fromkeys(vats, NOW - days(20)))
    assert "water-finding" in ids(between, place("B2"))
    after = replace(here, cleaned=dict.fromkeys(vats, NOW - days(5)))
    assert "water-finding" not in ids(after, place("B2"))


def test_a_refused_undoing_names_who_may_not() -> None:
    """By name where there is one."""
    told = [one.what for who in ("odo", "") for one in asked(floor(), Undoing(NOW, "the receipt", may=False, who=who))]
    assert told == ["odo may not undo this: the receipt.", "This person may not undo this: the receipt."]


def test_a_vat_joins_no_water_with_a_finding_and_brings_none() -> None:
    """White spot in B1: fish of A1 would meet it, and fish of A2 when B1 comes to them; clams do not catch it."""
    here = replace(floor((FISH, "B1", 10), (OTHER, "A1", 5)), found=(found(FISH, "white-spot", "B1", NOW - days(5)),))
    (breach,) = asked(here, Joining(NOW, "A1", "qb"))
    assert (breach.id, breach.severity, breach.animals) == ("joined-finding", "reason", (OTHER.id,))
    assert "water with qb, which has a finding: Cryptocaryon irritans (white spot) on S1-12, Wed 25 Nov" in breach.what
    assert [one.animals for one in asked(here, Joining(NOW, "B1", "qa"))] == [(OTHER.id,)]
    assert ids(here, Joining(NOW, "A1", "gr")) == set()
    assert ids(here, Joining(NOW, "B2", "qb")) == set()
    clams = replace(here, stays=floor((CLAM, "A1", 5)).stays, batches={CLAM.id: CLAM, FISH.id: FISH})
    assert ids(clams, Joining(NOW, "A1", "qb")) == set()


def test_an_empty_vat_cleaned_since_the_finding_brings_nothing() -> None:
    """Not cleaned, or cleaned before, it brings cysts; cleaned and full again it has the water it stands in."""
    here = replace(floor((FISH, "B1", 10), (OTHER, "A1", 5)), found=(found(FISH, "white-spot", "B1", NOW - days(5)),))
    for ago, told in ((None, True), (6, True), (5, False), (1, False)):
        cleaned = {} if ago is None else {"B2": NOW - days(ago)}
        assert ("joined-finding" in ids(replace(here, cleaned=cleaned), Joining(NOW, "B2", "qa"))) is told
    full = replace(here, cleaned={"B1": NOW - days(1)})
    assert "joined-finding" in ids(full, Joining(NOW, "B1", "qa"))


def test_a_vat_joins_no_quarantine_water_of_another_supplier() -> None:
    """Unless the farm says so, the vat is empty, or the water is no quarantine."""
    two = batch("S2-01", shipment="S2", supplier="two")
    here = floor((CLAM, "A1", 5), (two, "B1", 5))
    (breach,) = asked(here, Joining(NOW, "A1", "qb"))
    assert (breach.id, breach.where, breach.have, breach.animals) == (
        "joined-supplier",
        "qb",
        "2 suppliers",
        (CLAM.id,),
    )
    assert "one, two" in breach.what
    assert ids(here, Joining(NOW, "A2", "qb")) == set()
    assert ids(floor((CLAM, "A1", 5), (two, "G1", 5)), Joining(NOW, "A1", "gr")) == set()
    assert ids(floor((CLAM, "A1", 5), (batch("S1-02"), "B1", 5)), Joining(NOW, "A1", "qb")) == set()
    shared = SITE.systems["qb"].model_copy(update={"suppliers_share": True})
    site = SITE.model_copy(update={"systems": {**SITE.systems, "qb": shared}})
    assert ids(here, Joining(NOW, "A1", "qb"), site=site) == set()


def test_a_vat_joins_no_water_with_a_medicine_and_brings_none() -> None:
    """Chloroquine in B1 is not for clams, from either side; fish it was prescribed for stay where they are."""
    dosed = replace(
        floor((FISH, "B1", 5), (batch("S1-02"), "G1", 5)),
        done=(done(FISH, "fish-chloroquine-bath", "B1", NOW - days(3)),),
    )
    to, brings = asked(dosed, Joining(NOW, "G1", "qb")), asked(dosed, Joining(NOW, "B1", "gr"))
    assert [one.animals for one in to if one.id == "joined-medicine"] == [("S1-02",)]
    assert [one.animals for one in brings if one.id == "joined-medicine"] == [("S1-02",)]
    assert "chloroquine went into the water of qb on Fri 27 Nov" in next(
        one.what for one in to if one.id == "joined-medicine"
    )
    old = replace(dosed, done=(replace(dosed.done[0], at=NOW - days(31)),))
    assert "joined-medicine" not in ids(old, Joining(NOW, "G1", "qb"))


def test_a_vat_already_of_the_water_brings_it_nothing_new() -> None:
    """Where farm.toml was changed before the act was recorded."""
    here = replace(floor((FISH, "B1", 10), (OTHER, "B2", 5)), found=(found(FISH, "white-spot", "B1", NOW - days(5)),))
    assert [one.animals for one in asked(here, Joining(NOW, "B1", "qb"))] == [(FISH.id,)]
