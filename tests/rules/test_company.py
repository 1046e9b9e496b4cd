"""Who may not touch, share a vat or share water: every pair of the library, and which vats join."""

from __future__ import annotations

from dataclasses import replace
from fnmatch import fnmatchcase

import pytest

from intake.farm.floor import Batch
from intake.library import Incompatible
from intake.rules import Joining, Placing, Portion
from tests.rules.ground import LIBRARY, NOW, SITE, asked, batch, days, done, floor, ids

COMPANY = {"company-touch", "company-vat", "company-water", "company-caution"}


def example(pair: Incompatible, side: str) -> Batch | None:
    """A batch of a group and genus a pair names."""
    pattern = getattr(pair, side)
    only = getattr(pair, f"{'a' if pair.same_name else side}_taxa")
    groups = [group for group in LIBRARY.groups if fnmatchcase(group, pattern)]
    if not groups:
        return None
    genus = only[0] if only else groups[0]
    family = {"Ostraciidae": "Ostracion", "Acanthuridae": "Acanthurus", "Muricidae": "Muricidae"}
    group = "fish_predatory" if genus == "Ostraciidae" else groups[0]
    name = family.get(genus, genus)
    return batch(f"X-{side}", group, name if pair.same_name else f"{name} {side}")


PAIRS = [
    (number, pair)
    for number, pair in enumerate(LIBRARY.incompatible, start=1)
    if example(pair, "a") is not None and example(pair, "b") is not None
]


@pytest.mark.parametrize(("number", "pair"), PAIRS, ids=lambda value: value if isinstance(value, int) else "")
def test_every_pair_is_kept_apart_in_its_own_way(number: int, pair: Incompatible) -> None:
    """Together in one undivided vat each pair is reported; in other water none is; a caution is a warning only."""
    one, other = example(pair, "a"), example(pair, "b")
    assert one is not None
    assert other is not None
    here = floor((other, "A1", 1))
    told = [breach for breach in asked(here, place(one, "A1", 1)) if breach.id in COMPANY and pair.why in breach.what]
    assert [breach.id for breach in told] == ["company-caution" if pair.caution else f"company-{pair.kind}"]
    assert {breach.severity for breach in told} == {"warn" if pair.caution else "reason"}
    assert told[0].source == pair.source
    assert not COMPANY & ids(here, place(one, "B1", 1))
    beside = COMPANY & {breach.id for breach in asked(here, place(one, "A2", 1)) if pair.why in breach.what}
    assert bool(beside) == (pair.kind == "water")
    divided = floor((other, "A3", 1))
    still = COMPANY & {breach.id for breach in asked(divided, place(one, "A3", 1)) if pair.why in breach.what}
    assert bool(still) == (pair.kind != "touch")


def place(one: Batch, vat: str, count: int = 1) -> Placing:
    """One portion."""
    return Placing(NOW, (Portion(one, vat, count),), "receive")


def test_company_is_read_from_both_sides() -> None:
    """Clams to shrimps or shrimps to clams."""
    clam, crab = batch("S1-01"), batch("S1-02", "decapod_crustacean", "Calcinus")
    assert ids(floor((crab, "A1", 1)), place(clam, "A1")) == {"company-vat"}
    assert ids(floor((clam, "A1", 1)), place(crab, "A1")) == {"company-vat"}
    both = Placing(NOW, (Portion(clam, "A1", 1), Portion(crab, "A1", 1)), "receive")
    assert [one.id for one in asked(floor(), both)] == ["company-vat"]


def test_what_stood_before_does_not_stop_others() -> None:
    """Two who should not meet stand there already: a third that harms neither is not refused."""
    clam, crab = batch("S1-01"), batch("S1-02", "decapod_crustacean", "Calcinus")
    here = floor((clam, "A1", 1), (crab, "A1", 1))
    assert ids(here, place(batch("S1-03", "clam_medium", "Tridacna derasa"), "A2")) == set()


def test_a_cleaner_shrimp_is_no_crab_and_a_shrimp_eater_no_shrimp() -> None:
    """Genera are distinguished where the library does."""
    clam = batch("S1-01")
    cleaner = batch("S1-02", "decapod_crustacean", "Lysmata amboinensis")
    boxer = batch("S1-03", "decapod_crustacean", "Stenopus hispidus")
    assert ids(floor((clam, "A1", 1)), place(cleaner, "A1")) == set()
    assert ids(floor((boxer, "A1", 1)), place(cleaner, "A1")) == {"company-vat"}
    assert ids(floor((cleaner, "A1", 1)), place(batch("S1-04", "decapod_crustacean", "Thor"), "A1")) == set()


def test_a_kind_kept_singly_is_placed_alone() -> None:
    """Two triggers in one vat; one is well; two in two vats are well."""
    trigger = batch("S1-05", "fish_predatory", "Balistes")
    assert not COMPANY & ids(floor(), place(trigger, "A1", 1))
    (breach,) = [one for one in asked(floor(), place(trigger, "A1", 2)) if one.id in COMPANY]
    assert (breach.id, breach.need, breach.have) == ("company-vat", "1 animal", "2 animals")
    assert not COMPANY & ids(floor((trigger, "A1", 1)), place(trigger, "A2", 1))
    assert COMPANY & ids(floor((trigger, "A1", 1)), place(trigger, "A1", 1)) == {"company-vat"}
    torch = batch("S1-06", "stony_lps_long_tentacle", "Euphyllia glabrescens")
    assert COMPANY & ids(floor(), place(torch, "A1", 2)) == {"company-touch"}
    assert not COMPANY & ids(floor(), place(torch, "A3", 2))


def test_one_light_must_suit_everybody_in_a_vat() -> None:
    """A mushroom (at most 120) and an Acropora (from 200) share no setting, in any water but one vat."""
    mushroom, staghorn = (
        batch("S1-07", "corallimorph", "Discosoma"),
        batch("S1-08", "stony_branching_acropora", "Acropora"),
    )
    (breach,) = [one for one in asked(floor((mushroom, "A3", 1)), place(staghorn, "A3")) if one.id == "one-setting"]
    assert breach.animals == ("S1-07", "S1-08") or breach.animals == ("S1-08", "S1-07")
    assert "one-setting" not in ids(floor((mushroom, "A2", 1)), place(staghorn, "A3"))
    assert "one-setting" not in ids(
        floor((batch("S1-09", "stony_branching_acropora", "Acropora"), "A3", 1)), place(staghorn, "A3")
    )


def test_a_vat_joins_only_water_its_animals_may_share() -> None:
    """Fish and clams; the same with copper, from either side; nothing where nobody stands."""
    clam, fish = batch("S1-01"), batch("S1-12", "fish_reef_safe", "Chrysiptera cyanea")
    here = floor((clam, "A1", 5), (fish, "B1", 5))
    (breach,) = asked(here, Joining(NOW, "A1", "qb"))
    assert (breach.id, breach.severity, breach.where) == ("joined-water", "reason", "qb")
    assert ids(here, Joining(NOW, "A1", "gr")) == set()
    assert ids(floor((clam, "A1", 5)), Joining(NOW, "A1", "qb")) == set()
    dosed = replace(
        floor((clam, "A1", 5)),
        batches={clam.id: clam, fish.id: fish},
        done=(done(fish, "fish-copper-bath", "B1", NOW - days(9)),),
    )
    (breach,) = asked(dosed, Joining(NOW, "A1", "qb"))
    assert (breach.id, breach.severity, breach.animals) == ("joined-copper", "refuse", ("S1-01",))
    assert [one.id for one in asked(dosed, Joining(NOW, "B2", "qa"))] == ["joined-copper"]
    assert ids(dosed, Joining(NOW, "B2", "gr")) == set()
    swimming = replace(dosed, stays=floor((fish, "A1", 5)).stays)
    assert ids(swimming, Joining(NOW, "A1", "qb")) == set()


def test_a_caution_does_not_stop_a_vat_from_joining() -> None:
    """Leathers and clams in one water are reported on paper."""
    clam, leather = batch("S1-01"), batch("S1-02", "soft_leathery", "Sinularia")
    assert ids(floor((clam, "A1", 5), (leather, "B1", 5)), Joining(NOW, "A1", "qb")) == set()
    assert SITE.vat("A1").system == "qa"
