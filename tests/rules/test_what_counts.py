"""Which of several vats, stays and findings counts: the last cleaning, the first entry, the water meant."""

from __future__ import annotations

from dataclasses import replace

from intake.farm.floor import Done, Past
from intake.rules import Counting, Joining, Noticing, Placing, Portion, Transferring, Treating
from intake.rules.scene import Scene
from intake.rules.water import inspection_owed
from tests.rules.ground import LIBRARY, NOW, SITE, asked, batch, days, done, floor, found, hours, ids, read

CLAM = batch("S1-01")
FISH = batch("S1-12", "fish_reef_safe")
NEW = batch("S1-13", "fish_reef_safe")
QB = [vat.id for vat in SITE.vats_of("qb")]


def into(vat: str, one: object = NEW) -> Placing:
    """Three animals from outside into a vat."""
    return Placing(NOW, (Portion(one, vat, 3),), "receive")  # type: ignore[arg-type]


def test_copper_is_read_after_the_last_vat_was_cleaned() -> None:
    """Readings between the first vat's cleaning and the last one's clear nothing."""
    cleaned = {**dict.fromkeys(QB, NOW - days(9)), "B2": NOW - days(4)}
    here = replace(
        floor(), batches={FISH.id: FISH}, done=(done(FISH, "fish-copper-bath", "B1", NOW - days(30)),), cleaned=cleaned
    )
    between = tuple(read("qb", "copper_ug_per_l", 2.0, NOW - days(ago)) for ago in (8, 7))
    after = tuple(read("qb", "copper_ug_per_l", 2.0, NOW - days(ago)) for ago in (3, 2))
    assert "copper-water" in ids(replace(here, readings=between), into("B2", CLAM))
    assert "copper-water" not in ids(replace(here, readings=(*between, *after)), into("B2", CLAM))


def test_a_forbidden_treatment_is_told_with_the_reason_of_the_table() -> None:
    """In the words of its row."""
    (breach,) = asked(floor((CLAM, "A1", 5)), Treating(NOW, CLAM, ("A1",), "clam-dip", ("fresh-water",)))
    reason = LIBRARY.verdict("fresh-water", "clam_small", CLAM.name).reason
    assert breach.what == f"fresh-water for S1-01 Tridacna maxima (clam_small): {reason}."


def test_what_a_batch_owes_is_told_with_its_day() -> None:
    """Forty-two days after the finding, for fish."""
    here = replace(floor((FISH, "B1", 5)), found=(found(FISH, "white-spot", "B1", NOW - days(5)),))
    (words,) = inspection_owed(Scene(SITE, LIBRARY, here), FISH)
    assert words == (
        "white-spot found on it on 2026-11-25: no clean inspection since; "
        "inspect it on or after 2027-01-06 (vatside finding S1-12 clean)"
    )


def test_a_transfer_is_late_by_the_first_stay_and_by_the_minute() -> None:
    """Seventy-two hours and not a minute more, from the first fish that entered."""
    moved = Done(f"{FISH.id}/fish-tank-transfer/1", FISH.id, "transfer", NOW - days(9), "marou", vat="A1", to="B1")
    for minutes, late in ((0, False), (1, True)):
        here = floor((FISH, "B1", 10), (FISH, "B2", 2))
        first, second = here.stays
        stays = (replace(second, since=NOW - hours(5)), replace(first, since=NOW - hours(72 + minutes / 60)))
        act = Transferring(NOW, FISH, ("B1", "B2"), "A1", 12)
        assert ("transfer-late" in ids(replace(here, stays=stays, done=(moved,)), act)) is late


def test_who_left_another_water_does_not_soil_this_one() -> None:
    """Clean since the last who left it, whoever left elsewhere."""
    here = replace(
        floor(batches={FISH.id: FISH}),
        found=(found(FISH, "uronema", "B1", NOW - days(40)),),
        past=(
            Past(FISH.id, "B1", NOW - days(70), NOW - days(30)),
            Past(FISH.id, "A1", NOW - days(30), NOW - days(5)),
        ),
        cleaned=dict.fromkeys(QB, NOW - days(20)),
    )
    assert "water-finding" not in ids(here, into("B2"))


def test_a_finding_of_this_minute_closes_the_water() -> None:
    """And is reportable with the first death of the same minute."""
    here = replace(floor((FISH, "B1", 5)), found=(found(FISH, "white-spot", "B1", NOW),))
    assert "water-finding" in ids(here, into("B2"))
    assert "water-finding" not in ids(
        replace(here, found=(found(FISH, "white-spot", "B1", NOW + hours(1)),)), into("B2")
    )
    dying = Counting(NOW, CLAM, "A1", {"dead": 1})
    ill = replace(floor((CLAM, "A1", 5)), found=(found(CLAM, "perkinsus", "A1", NOW),))
    assert "reportable" in ids(ill, dying)
    assert "reportable" not in ids(replace(ill, found=(found(CLAM, "perkinsus", "A1", NOW + hours(1)),)), dying)
    assert "reportable" in ids(floor((CLAM, "A1", 5)), Noticing(NOW, CLAM, "A1", "perkinsus"))


def test_the_last_copper_counts() -> None:
    """Dosed again after the water had been shown clear."""
    baths = tuple(done(FISH, "fish-copper-bath", "B1", NOW - days(ago)) for ago in (30, 10))
    clear = tuple(read("qb", "copper_ug_per_l", 2.0, NOW - days(ago)) for ago in (9, 8))
    here = replace(
        floor(), batches={FISH.id: FISH}, done=baths, readings=clear, cleaned=dict.fromkeys(QB, NOW - days(20))
    )
    (breach,) = (one for one in asked(here, into("B2", CLAM)) if one.id == "copper-water")
    assert breach.have == "copper on 2026-11-20"
    assert "copper-water" not in ids(replace(here, done=baths[:1]), into("B2", CLAM))


def test_the_newest_acoels_of_a_water_are_told() -> None:
    """Seen twice, reported once, with the last."""
    coral = batch("S1-06", "stony_montipora", "Montipora")
    ill = replace(floor((coral, "A1", 5)), found=tuple(found(coral, "acoel", "A1", NOW - days(ago)) for ago in (9, 2)))
    act = Treating(NOW, coral, ("A1",), "any", ("peroxide",), "vat", work=True)
    (breach,) = (one for one in asked(ill, act) if one.id == "acoel-bath")
    assert "(Sat 28 Nov)" in breach.what


def test_two_agents_in_one_minute_are_two_agents() -> None:
    """Recorded one after the other, in one minute of the ledger; what is planned for later is not done."""
    coral = batch("S1-06", "stony_montipora", "Montipora")
    act = Treating(NOW, coral, ("A1",), "coral-iodine-dip", ("iodine-ki",), work=True)
    here = replace(floor((coral, "A1", 5)), found=(found(coral, "", "A1", NOW - days(1)),))
    for later, told in ((0, True), (1, False)):
        bath = done(coral, "peroxide-dip", "A1", NOW + hours(later), agents=("hydrogen-peroxide",))
        assert ("two-agents" in ids(replace(here, done=(bath,)), act)) is told


def test_a_vat_cleaned_in_the_minute_the_last_left_is_clean() -> None:
    """Emptied and cleaned in one entry; cleaned a minute before it is not."""
    for minutes, clean in ((0, True), (1, False)):
        here = replace(
            floor(batches={FISH.id: FISH}),
            found=(found(FISH, "uronema", "B1", NOW - days(40)),),
            past=(Past(FISH.id, "B1", NOW - days(70), NOW - days(9)),),
            cleaned=dict.fromkeys(QB, NOW - days(9) - hours(minutes / 60)),
        )
        assert ("water-finding" not in ids(here, into("B2"))) is clean


def test_those_who_stand_already_are_not_told_of_again() -> None:
    """A mushroom and an Acropora in one vat are the check's; a snail beside them changes no light."""
    mushroom = batch("S1-07", "corallimorph", "Discosoma")
    staghorn = batch("S1-08", "stony_branching_acropora", "Acropora")
    snail = batch("S1-10", "grazing_snail", "Trochus")
    here = floor((mushroom, "A3", 1), (staghorn, "A3", 1))
    assert "one-setting" not in ids(here, into("A3", snail))
    assert "one-setting" in ids(here, Placing(NOW, (Portion(mushroom, "A3", 1, "A3"),), "check"))


def test_acoels_seen_this_minute_stop_a_bath() -> None:
    """While the bottle is in the hand."""
    coral = batch("S1-06", "stony_montipora", "Montipora")
    act = Treating(NOW, coral, ("A1",), "any", ("peroxide",), "vat", work=True)
    for later, told in ((0, True), (1, False)):
        ill = replace(floor((coral, "A1", 5)), found=(found(coral, "acoel", "A1", NOW + hours(later)),))
        assert ("acoel-bath" in ids(ill, act)) is told


def test_a_medicine_a_vat_would_meet_is_told_by_its_reason_or_its_name() -> None:
    """The same words as for animals that enter the water."""
    mushroom = batch("S1-07", "corallimorph", "Discosoma")
    for one, agent in ((CLAM, "chloroquine"), (mushroom, "iodine-ki")):
        bath = done(FISH, "own-potion", "B1", NOW - days(1), agents=(agent,), where="vat")
        here = replace(floor((one, "A1", 1), batches={FISH.id: FISH}), done=(bath,))
        (breach,) = (row for row in asked(here, Joining(NOW, "A1", "qb")) if row.id == "joined-medicine")
        assert breach.have == (LIBRARY.verdict(agent, one.group, one.name).reason or agent)


def test_a_transfer_is_offered_the_first_four_free_vats() -> None:
    """In the order of the farm file; closed ones and those of the same water left out."""
    (breach,) = asked(floor((FISH, "B1", 10)), Transferring(NOW, FISH, ("B1",), "", 10))
    assert breach.do == "Say --to VAT. Free in other water: A1, A2, A3, AR."


def test_work_by_hand_has_no_shortest_time() -> None:
    """Eggs scraped off in half a minute; sixteen minutes in the air are too long."""
    coral = batch("S1-06", "stony_montipora", "Montipora")
    for minutes, told in ((0.5, False), (15.0, False), (16.0, True)):
        act = Treating(NOW, coral, ("A1",), "coral-egg-scrape", ("mechanical-removal",), minutes=minutes)
        assert ("contact-time" in ids(floor((coral, "A1", 5)), act)) is told


def test_a_vat_emptied_and_cleaned_in_one_minute_dries_from_then() -> None:
    """Left a minute after it was cleaned, it was not cleaned since."""
    other = batch("S9-01", "fish_reef_safe", shipment="S9")
    for minutes, clean in ((0, True), (1, False)):
        cleaned = NOW - days(2)
        here = replace(
            floor((FISH, "A1", 10), batches={other.id: other}),
            cleaned={"B1": cleaned},
            past=(Past(other.id, "B1", NOW - days(60), cleaned + hours(minutes / 60)),),
        )
        told = ids(here, Transferring(NOW, FISH, ("A1",), "B1", 10))
        assert ("transfer-dry" not in told) is clean


def test_one_who_stood_there_before_the_cleaning_makes_it_none() -> None:
    """Of two lots in a vat the one that came first counts."""
    snail, clam = batch("S1-10", "grazing_snail", "Trochus"), CLAM
    here = floor((snail, "B1", 5), (clam, "B1", 5), batches={FISH.id: FISH})
    first, second = here.stays
    told = replace(
        here,
        stays=(replace(first, since=NOW - days(10)), replace(second, since=NOW - days(4))),
        found=(found(FISH, "uronema", "B1", NOW - days(40)),),
        past=(Past(FISH.id, "B1", NOW - days(70), NOW - days(30)),),
        cleaned=dict.fromkeys(QB, NOW - days(7)),
    )
    assert "water-finding" in ids(told, into("B2"))
    assert "water-finding" not in ids(replace(told, stays=told.stays[1:]), into("B2"))


def test_another_suppliers_water_is_told_with_those_who_would_enter_it() -> None:
    """Of two batches of one act, the one for that water."""
    two, second = batch("S2-01", shipment="S2", supplier="two"), batch("S1-02")
    act = Placing(NOW, (Portion(CLAM, "A1", 5), Portion(second, "B1", 5)), "receive")
    (breach,) = (one for one in asked(floor((two, "A2", 5)), act) if one.id == "other-supplier")
    assert (breach.where, breach.animals) == ("qa", ("S1-01",))
