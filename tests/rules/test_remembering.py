"""What a water and a batch remember of a finding: who found what again, who left last, and what is no pest at all."""

from __future__ import annotations

from dataclasses import replace

from intake.farm.floor import Floor, Past
from intake.rules import Placing, Portion, Undoing
from tests.rules.ground import NOW, SITE, asked, batch, days, floor, found, ids

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
