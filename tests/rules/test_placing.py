"""Animals entering a vat: every rule broken alone, and the figure beside it that breaks nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest

from intake.farm.floor import Batch, Closure, Floor, Past, Stay
from intake.rules import Placing, Portion
from intake.rules.acts import Door
from tests.rules.ground import LIBRARY, NOW, SITE, asked, batch, days, done, floor, found, hours, ids, read

CLAM = batch("S1-01")
FISH = batch("S1-12", "fish_reef_safe")
OTHER = batch("S2-01", shipment="S2", supplier="two")
EMPTY = floor()
FIVE_DAYS_AGO = NOW - days(5)


def place(
    one: Batch, vat: str, count: int = 10, source: str = "", stage: str = "quarantine", door: Door = "receive"
) -> Placing:
    """One portion entering one vat now."""
    return Placing(NOW, (Portion(one, vat, count, source, stage),), door)


def test_an_ordinary_receipt_breaks_nothing() -> None:
    """Ten clams into an empty, suited quarantine vat."""
    assert ids(EMPTY, place(CLAM, "A1")) == set()


def test_a_vat_closed_by_the_farm_file_takes_nobody_until_it_is_opened() -> None:
    """Opening it by hand lifts the days of the file; the day after needs no lifting."""
    assert ids(EMPTY, place(CLAM, "AC")) == {"vat-closed"}
    (breach,) = asked(EMPTY, place(CLAM, "AC"))
    assert (breach.severity, breach.where, breach.animals) == ("refuse", "AC", ("S1-01",))
    assert "pump" in breach.have
    assert ids(replace(EMPTY, opened={"AC": NOW}), place(CLAM, "AC")) == set()
    assert ids(replace(EMPTY, opened={"AC": NOW - days(2)}), place(CLAM, "AC")) == {"vat-closed"}
    later = NOW + days(6)
    assert ids(replace(EMPTY, at=later), replace(place(CLAM, "AC"), at=later)) == set()
    sooner = NOW - days(2)
    assert ids(replace(EMPTY, at=sooner), replace(place(CLAM, "AC"), at=sooner)) == set()


@pytest.mark.parametrize(
    ("since", "until", "broken"),
    [(-1, None, True), (-1, 1, True), (0, None, True), (1, None, False), (-2, 0, False), (-2, -1, False)],
)
def test_a_vat_closed_by_a_person(since: int, until: int | None, broken: bool) -> None:
    """From the moment it is closed to the moment it is opened."""
    closure = Closure("A1", NOW + days(since), None if until is None else NOW + days(until), "crack in the glass")
    here = replace(EMPTY, closures=(closure,))
    assert ids(here, place(CLAM, "A1")) == ({"vat-closed"} if broken else set())
    assert ids(here, place(CLAM, "A2")) == set()


def test_a_bench_is_full_at_its_area_and_not_a_square_millimeter_before() -> None:
    """1 m² holds 493 clams of 30 mm at 20.25 cm² each."""
    assert ids(EMPTY, place(CLAM, "A1", 493)) == set()
    (breach,) = asked(EMPTY, place(CLAM, "A1", 494))
    assert (breach.id, breach.need, breach.have, breach.severity) == ("bench-area", "1.000 m²", "1.000 m²", "reason")
    (breach,) = asked(EMPTY, place(CLAM, "A1", 600))
    assert (breach.need, breach.what) == ("1.215 m²", "A1 would be 122 % full.")


def test_those_who_stand_there_count_and_those_who_leave_do_not() -> None:
    """A move within one vat's batch counts once; a full vat takes no more."""
    here = floor((CLAM, "A1", 490))
    assert ids(here, place(CLAM, "A1", 3)) == set()
    assert ids(here, place(CLAM, "A1", 4)) == {"bench-area"}
    assert ids(here, place(CLAM, "A2", 490, source="A1", door="move")) == set()
    two = Placing(NOW, (Portion(CLAM, "A1", 250), Portion(batch("S1-02"), "A1", 250)), "receive")
    assert ids(EMPTY, two) == {"bench-area"}


def test_oxygen_is_judged_at_the_alarm_level() -> None:
    """A vat without through-flow gives what its aeration gives: 10 mg/h."""
    uptake = LIBRARY.groups["clam_small"].oxygen.mg_per_h(30.0)
    most = int(10 / uptake)
    assert ids(EMPTY, place(CLAM, "AIRLESS", most)) == set()
    (breach,) = asked(EMPTY, place(CLAM, "AIRLESS", most + 1))
    assert (breach.id, breach.have) == ("oxygen", "10 mg/h")


def test_oxygen_comes_with_the_water_and_the_air() -> None:
    """400 L × 4 /h above 5 mg/L and 400 mg/h of air, as the plan counts it."""
    from intake.water.oxygen import oxygen_mg_per_l

    big = batch("S1-03", "clam_large", "Tridacna gigas", size_mm=200.0)
    room = {**SITE.vats, "A1": SITE.vats["A1"].model_copy(update={"bench_area_m2": 1000.0})}
    wide = SITE.model_copy(
        update={
            "vats": room,
            "systems": {**SITE.systems, "qa": SITE.systems["qa"].model_copy(update={"filter_area_m2": 1e6})},
        }
    )
    supply = 1600 * (oxygen_mg_per_l(26.0, 34.5) - 5.0) + 400
    most = int(supply / LIBRARY.groups["clam_large"].oxygen.mg_per_h(200.0))
    assert ids(EMPTY, place(big, "A1", most), site=wide) == set()
    (breach,) = asked(EMPTY, place(big, "A1", most + 1), site=wide)
    assert (breach.id, breach.have) == ("oxygen", f"{supply:.0f} mg/h")


def test_the_filter_of_a_system_carries_all_its_vats() -> None:
    """A filter of 20 m² takes up 233 mg N an hour; 0.4 of it before it has matured."""
    fish = batch("S1-05", "fish_reef_safe", size_mm=60.0)
    group = LIBRARY.groups["fish_reef_safe"]
    each = group.oxygen.mg_per_h(60.0) * group.ammonia.mg_n_per_mg_o2
    roomy = {
        name: vat.model_copy(update={"bench_area_m2": 1e4, "aeration_mg_per_h": 1e7}) for name, vat in SITE.vats.items()
    }
    site = SITE.model_copy(update={"vats": roomy})
    budget = 20 * 280 / 24
    most = int(budget / each)
    assert ids(EMPTY, place(fish, "A1", most), site=site) == set()
    (breach,) = asked(EMPTY, place(fish, "A1", most + 1), site=site)
    assert (breach.id, breach.where, breach.have) == ("filter", "qa", f"{budget:.0f} mg N/h")
    half = floor((fish, "A2", most - 5))
    assert ids(half, place(fish, "A1", 5), site=site) == set()
    assert ids(half, place(fish, "A1", 6), site=site) == {"filter"}
    young = int(10 * 280 / 24 * 0.4 / each)
    assert ids(EMPTY, place(fish, "Y1", young), site=site) == set()
    assert ids(EMPTY, place(fish, "Y1", young + 1), site=site) == {"filter"}
    ripe = NOW + days(1)
    assert ids(replace(EMPTY, at=ripe), replace(place(fish, "Y1", young + 1), at=ripe), site=site) == set()


def test_a_coral_gives_off_nothing_and_is_not_in_the_way_of_a_full_filter() -> None:
    """An overloaded filter is not made worse by those who give off nothing."""
    coral = batch("S1-06", "stony_montipora", "Montipora", size_mm=30.0)
    assert LIBRARY.groups["stony_montipora"].ammonia.mg_n_per_mg_o2 == 0
    fish = batch("S1-05", "fish_reef_safe", size_mm=60.0)
    site = SITE.model_copy(
        update={"systems": {**SITE.systems, "qa": SITE.systems["qa"].model_copy(update={"filter_area_m2": 0.01})}}
    )
    assert "filter" not in ids(floor((fish, "A2", 20)), place(coral, "A1", 1), site=site)
    assert "filter" in ids(floor((fish, "A2", 20)), place(fish, "A1", 1), site=site)


@pytest.mark.parametrize(
    ("vat", "rule", "need", "have"),
    [
        ("W1", "temperature", "temperature °C, 25 to 28", "28.5 °C"),
        ("S1", "salinity", "salinity PSU, 32 to 36", "37 PSU"),
        ("SHALLOW", "depth", "100 mm", "90 mm"),
        ("STILL", "flow", "flow class, 2 to 2", "4"),
        ("DIM", "light", "light µmol m⁻² s⁻¹, 150 to 300", "30"),
        ("BRIGHT", "light-day-one", "light µmol m⁻² s⁻¹ on day 1, at most", "130"),
        ("AR", "reserve", "vats that are not kept in reserve", "0"),
    ],
)
def test_a_vat_that_does_not_suit(vat: str, rule: str, need: str, have: str) -> None:
    """Each alone, with the range needed and the figure there."""
    (breach,) = asked(EMPTY, place(CLAM, vat))
    assert (breach.id, breach.where, breach.animals) == (rule, vat, ("S1-01",))
    assert breach.severity == ("warn" if rule == "reserve" else "reason")
    assert need in breach.need
    assert breach.have == have


@pytest.mark.parametrize(("source", "door"), [("B1", "move"), ("", "stock")])
def test_the_light_of_day_one_is_for_newcomers(source: str, door: Door) -> None:
    """Who has stood on the farm before, or stands there at the stocktake, bears the target."""
    here = floor((CLAM, "B1", 20))
    assert ids(here, place(CLAM, "BRIGHT", source=source, door=door)) == set()


def test_newcomers_go_to_quarantine_and_cuttings_to_where_they_heal() -> None:
    """The dock is as good as the truck."""
    assert ids(EMPTY, place(CLAM, "G1")) == {"stage-role"}
    assert ids(EMPTY, place(CLAM, "G1", source="dock", door="move")) == {"stage-role"}
    assert ids(EMPTY, place(CLAM, "G1", stage="grow-out", door="move", source="A1")) == set()
    coral = batch("C1", "stony_montipora", "Montipora", shipment="", supplier="")
    assert ids(EMPTY, place(coral, "G1", stage="healing", door="cut", source="cut")) == set()
    assert ids(EMPTY, place(coral, "A1", stage="healing", door="cut", source="cut")) == {"stage-role"}
    assert ids(EMPTY, place(CLAM, "G1", door="stock")) == set()
    (breach,) = asked(EMPTY, place(CLAM, "G1"))
    assert (breach.need, breach.have) == ("vats in systems of role quarantine", "grow-out")


def test_cuttings_may_heal_in_the_water_their_parent_stands_in() -> None:
    """In quarantine they stay with the parent; in another quarantine water they have no business."""
    parent = batch("S1-09", "stony_montipora", "Montipora")
    cutting = replace(batch("C1", "stony_montipora", "Montipora", shipment="", supplier=""), parent="S1-09")
    here = floor((parent, "A1", 5))
    assert ids(here, place(cutting, "A1", stage="healing", door="cut", source="cut")) == set()
    (breach,) = asked(here, place(cutting, "B1", stage="healing", door="cut", source="cut"))
    assert (breach.id, breach.need) == ("stage-role", "vats in systems of role healing")


@pytest.mark.parametrize(("ago", "broken"), [(0, True), (2, True), (3, False), (9, False)])
def test_a_quarantine_vat_lies_fallow_between_lots(ago: int, broken: bool) -> None:
    """Three days from the day the last animal left."""
    here = replace(EMPTY, batches={"S2-01": OTHER}, past=(Past("S2-01", "A1", NOW - days(60), NOW - days(ago)),))
    assert ids(here, place(CLAM, "A1")) == ({"fallow"} if broken else set())
    if broken:
        (breach,) = asked(here, place(CLAM, "A1"))
        assert (breach.need, breach.have) == ("3 days", f"{ago} days")
    assert ids(here, place(CLAM, "A2")) == set()
    assert ids(here, place(CLAM, "A1", door="stock")) == set()


def test_fallow_is_not_asked_of_the_lot_itself_nor_in_grow_out() -> None:
    """The rest of a lot may follow it into its vat."""
    mine = batch("S1-02")
    here = replace(EMPTY, batches={"S1-02": mine}, past=(Past("S1-02", "A1", NOW - days(60), NOW),))
    assert ids(here, place(CLAM, "A1")) == set()
    theirs = replace(EMPTY, batches={"S2-01": OTHER}, past=(Past("S2-01", "G1", NOW - days(60), NOW),))
    assert ids(theirs, place(CLAM, "G1", stage="grow-out", source="A1", door="move")) == set()
    house = batch("H1", shipment="", supplier="one")
    both = replace(
        EMPTY, batches={"H2": batch("H2", shipment="", supplier="one")}, past=(Past("H2", "A1", NOW - days(9), NOW),)
    )
    assert ids(both, place(house, "A1")) == {"fallow"}


def test_two_lots_do_not_share_a_quarantine_vat() -> None:
    """Nor two suppliers the water, unless the farm says so."""
    same = batch("S3-01", shipment="S3")
    (breach,) = asked(floor((same, "A1", 5)), place(CLAM, "A1"))
    assert (breach.id, breach.need, breach.have) == ("other-lot", "1 lot", "2 lots")
    assert ids(floor((same, "A2", 5)), place(CLAM, "A1")) == set()
    assert ids(floor((batch("S1-02"), "A1", 5)), place(CLAM, "A1")) == set()
    assert ids(floor((same, "G1", 5)), place(CLAM, "G1", stage="grow-out", source="A1", door="move")) == set()
    (breach,) = asked(floor((OTHER, "A2", 5)), place(CLAM, "A1"))
    assert (breach.id, breach.where, breach.have) == ("other-supplier", "qa", "2 suppliers")
    shared = SITE.model_copy(
        update={"systems": {**SITE.systems, "qa": SITE.systems["qa"].model_copy(update={"suppliers_share": True})}}
    )
    assert ids(floor((OTHER, "A2", 5)), place(CLAM, "A1"), site=shared) == set()
    assert ids(floor((OTHER, "G2", 5)), place(CLAM, "G1", stage="grow-out", source="A1", door="move")) == set()


def sick(at: datetime = FIVE_DAYS_AGO, what: str = "white-spot") -> Floor:
    """Fish found ill in B1, their vat."""
    here = floor((FISH, "B1", 10))
    return replace(here, found=(found(FISH, what, "B1", at),))


def left(here: Floor, ago: float) -> Floor:
    """The same with the fish gone from B1 for some days."""
    return replace(here, stays=(), past=(Past(FISH.id, "B1", NOW - days(70), NOW - days(ago)),))


NEW_FISH = batch("S1-13", "fish_reef_safe")


def test_positive_water_takes_no_new_fish_but_takes_clams() -> None:
    """Fish in it keep it closed; clams do not catch white spot."""
    (breach,) = asked(sick(), place(NEW_FISH, "B2"))
    assert (breach.id, breach.where, breach.need, breach.severity) == (
        "water-finding",
        "B2",
        "30 days without hosts",
        "reason",
    )
    assert ids(sick(), place(NEW_FISH, "A1")) == set()
    assert ids(left(sick(NOW - days(60)), 60), place(CLAM, "B2")) == set()
    assert "water-finding" not in ids(left(sick(), 1), place(CLAM, "B2"))


@pytest.mark.parametrize(("gone", "broken"), [(1, True), (29.9, True), (30, False), (40, False)])
def test_host_free_days_open_it_again(gone: float, broken: bool) -> None:
    """Thirty days from the last fish out."""
    here = left(sick(NOW - days(60)), gone)
    assert ids(here, place(NEW_FISH, "B2")) == ({"water-finding"} if broken else set())
    if broken:
        (breach,) = asked(here, place(NEW_FISH, "B2"))
        assert "free of hosts from" in breach.have


def test_one_fish_in_between_starts_the_count_again() -> None:
    """A guest for a day, ten days ago."""
    here = left(sick(NOW - days(60)), 50)
    assert ids(here, place(NEW_FISH, "B2")) == set()
    guest = replace(here, past=(*here.past, Past(FISH.id, "B2", NOW - days(11), NOW - days(10))))
    assert ids(guest, place(NEW_FISH, "B2")) == {"water-finding"}


@pytest.mark.parametrize("came", [19, 20, 21])
def test_a_host_that_came_once_the_water_was_free_does_not_close_it_again(came: int) -> None:
    """The water was free thirty days after the last fish left: who came later brought nothing, who came before caught it."""
    here = left(sick(NOW - days(60)), 50)
    later = Past(NEW_FISH.id, "B2", NOW - days(came), NOW - days(1))
    here = replace(here, past=(*here.past, later), batches={**here.batches, NEW_FISH.id: NEW_FISH})
    third = batch("S1-14", "fish_reef_safe")
    assert ids(here, place(third, "B2")) == ({"water-finding"} if came > 20 else set())
    stands = replace(here, past=here.past[:1], stays=(Stay(NEW_FISH.id, "B2", 10, NOW - days(came), "quarantine"),))
    assert ("water-finding" in ids(stands, place(third, "B2"))) == (came > 20)


def test_cleaning_every_vat_opens_it_and_one_vat_does_not() -> None:
    """Also where time clears nothing."""
    vats = [vat.id for vat in SITE.vats_of("qb")]
    for what in ("white-spot", "uronema"):
        here = left(sick(what=what), 2)
        assert ids(here, place(NEW_FISH, "B2")) == {"water-finding"}
        some = replace(here, cleaned={"B1": NOW - days(1), "B2": NOW - days(1)})
        assert ids(some, place(NEW_FISH, "B2")) == {"water-finding"}
        whole = replace(here, cleaned=dict.fromkeys(vats, NOW - days(1)))
        assert ids(whole, place(NEW_FISH, "B2")) == set()
        early = replace(here, cleaned=dict.fromkeys(vats, NOW - days(3)))
        assert ids(early, place(NEW_FISH, "B2")) == {"water-finding"}


def test_time_does_not_clear_what_never_goes_by_time() -> None:
    """Uronema lives free."""
    here = left(sick(NOW - days(600), "uronema"), 500)
    (breach,) = asked(here, place(NEW_FISH, "B2"))
    assert breach.need == "every vat of it emptied, cleaned and dry"


def test_a_lot_found_clean_after_a_whole_quarantine_opens_its_water() -> None:
    """Forty-two days after the last finding, not before."""
    here = sick(NOW - days(50))
    for ago, broken in ((9, True), (8, False), (1, False), (0, False)):
        seen = (*here.found, found(FISH, "", "B1", NOW - days(ago)))
        assert ids(replace(here, found=seen), place(NEW_FISH, "B2")) == ({"water-finding"} if broken else set())


def test_words_that_name_no_hazard_close_the_water_to_the_kind() -> None:
    """Thirty days, for all fish."""
    assert ids(left(sick(what="odd spots"), 29), place(NEW_FISH, "B2")) == {"water-finding"}
    assert ids(left(sick(NOW - days(40), "odd spots"), 30), place(NEW_FISH, "B2")) == set()
    assert ids(left(sick(what="odd spots"), 4), place(CLAM, "B2")) == set()


def test_what_is_always_there_closes_nothing() -> None:
    """Vibrio."""
    assert ids(left(sick(what="vibrio"), 4), place(NEW_FISH, "B2")) == set()


def test_moving_within_one_water_brings_nobody_new() -> None:
    """A finding is not in the way of spreading out the lot that has it."""
    assert ids(sick(), place(FISH, "B2", 5, source="B1", door="move")) == set()


def test_a_carrier_does_not_go_among_those_it_can_infect() -> None:
    """A snail batch with pyramidellids is kept from clams, whatever group they were found on."""
    snails = batch("S1-10", "grazing_snail", "Trochus")
    here = floor((snails, "B1", 10), (CLAM, "A1", 10))
    ill = replace(here, found=(found(snails, "pyramidellid-snail", "B1", NOW - days(3)),))
    (breach,) = asked(ill, place(snails, "A2", 5, source="B1", door="move"))
    assert (breach.id, breach.animals) == ("carries-finding", ("S1-10",))
    assert "S1-01" in breach.what
    assert ids(here, place(snails, "A2", 5, source="B1", door="move")) == set()
    alone = replace(floor((snails, "B1", 10)), found=ill.found)
    assert ids(alone, place(snails, "A2", 5, source="B1", door="move")) == set()
    clean = replace(
        ill, found=(found(snails, "pyramidellid-snail", "B1", NOW - days(40)), found(snails, "", "B1", NOW - days(3)))
    )
    assert ids(clean, place(snails, "A2", 5, source="B1", door="move")) == set()


def copper(ago: float = 40, **other: Any) -> Floor:
    """Fish once under copper in B1, which has been empty since."""
    here = replace(EMPTY, batches={FISH.id: FISH}, done=(done(FISH, "fish-copper-bath", "B1", NOW - days(ago)),))
    return replace(here, **other)


def test_water_that_held_copper_is_closed_to_every_invertebrate_for_good() -> None:
    """Of its pipes too: the vat beside it; fish may enter."""
    for vat in ("B1", "B2"):
        (breach,) = asked(copper(400), place(CLAM, vat))
        assert (breach.id, breach.severity, breach.where) == ("copper-water", "refuse", vat)
    assert ids(copper(), place(FISH, "B1")) == set()
    assert ids(copper(), place(CLAM, "A1")) == set()
    tub = copper(done=(done(FISH, "fish-copper-bath", "B1", NOW - days(3), where="tub"),))
    assert ids(tub, place(CLAM, "B1")) == set()
    named = copper(
        done=(done(FISH, "fish-formalin-bath", "B1", NOW - days(3), where="vat", agents=("copper-chelated",)),)
    )
    assert ids(named, place(CLAM, "B1")) == {"copper-water"}


def test_copper_is_cleared_by_cleaning_and_two_days_of_readings() -> None:
    """Every vat cleaned after it, then under 5 µg/L on two days; one high reading spoils it."""
    vats = dict.fromkeys((vat.id for vat in SITE.vats_of("qb")), NOW - days(20))
    low = (read("vat:B1", "copper_ug_per_l", 4.9, NOW - days(2)), read("qb", "copper_ug_per_l", 1.0, NOW - days(1)))
    assert ids(copper(cleaned=vats, readings=low), place(CLAM, "B1")) == set()
    assert ids(copper(cleaned=vats), place(CLAM, "B1")) == {"copper-water"}
    assert ids(copper(readings=low), place(CLAM, "B1")) == {"copper-water"}
    assert ids(copper(cleaned=vats, readings=low[:1]), place(CLAM, "B1")) == {"copper-water"}
    assert ids(copper(cleaned={**vats, "B2": NOW - days(41)}, readings=low), place(CLAM, "B1")) == {"copper-water"}
    high = (*low, read("B2", "copper_ug_per_l", 5.0, NOW - hours(1)))
    assert ids(copper(cleaned=vats, readings=high), place(CLAM, "B1")) == {"copper-water"}
    elsewhere = (low[0], read("A1", "copper_ug_per_l", 1.0, NOW - days(1)))
    assert ids(copper(cleaned=vats, readings=elsewhere), place(CLAM, "B1")) == {"copper-water"}
    before = (low[0], read("qb", "copper_ug_per_l", 1.0, NOW - days(21)))
    assert ids(copper(cleaned=vats, readings=before), place(CLAM, "B1")) == {"copper-water"}


def test_a_medicine_in_the_water_meets_newcomers_for_a_month() -> None:
    """Chloroquine is put into the vat; a tub bath is not the vat; cleaning takes it out."""
    here = replace(EMPTY, batches={FISH.id: FISH}, done=(done(FISH, "fish-chloroquine-bath", "B1", NOW - days(30)),))
    (breach,) = asked(here, place(CLAM, "B2"))
    assert (breach.id, breach.severity) == ("medicated-water", "reason")
    assert ids(here, place(CLAM, "A1")) == set()
    old = replace(here, done=(done(FISH, "fish-chloroquine-bath", "B1", NOW - days(30) - hours(1)),))
    assert ids(old, place(CLAM, "B2")) == set()
    tub = replace(here, done=(done(FISH, "fish-formalin-bath", "B1", NOW - days(1)),))
    assert ids(tub, place(CLAM, "B2")) == set()
    clean = replace(here, cleaned=dict.fromkeys((vat.id for vat in SITE.vats_of("qb")), NOW - days(1)))
    assert ids(clean, place(CLAM, "B2")) == set()
