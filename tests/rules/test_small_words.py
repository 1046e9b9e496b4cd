"""The figures and small words of a refusal, and who is counted in the very minute of an act."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from intake.farm.floor import Past
from intake.rules import Amending, Measuring, Noticing, Placing, Portion, Rebooking, Transferring, Treating
from intake.rules.limits import other_unit
from intake.rules.scene import Scene
from intake.rules.treating import worst
from tests.rules.ground import LIBRARY, NOW, SITE, asked, batch, days, done, floor, found, hours, ids, read

CLAM = batch("S1-01")
FISH = batch("S1-12", "fish_reef_safe")
CORAL = batch("S1-06", "stony_montipora", "Montipora")


def test_a_finding_of_the_minute_of_entry_is_booked_where_the_batch_came() -> None:
    """And one of a minute before is not; past stays count from their first minute too."""
    here = floor((CLAM, "A1", 5))
    at = here.stays[0].since
    assert ids(here, Noticing(at, CLAM, "A1", "perkinsus")) == {"reportable"}
    assert "finding-elsewhere" in ids(here, Noticing(at - hours(1), CLAM, "A1", "perkinsus"))
    gone = replace(here, stays=(), past=(Past(CLAM.id, "B1", at, NOW),))
    assert "finding-elsewhere" not in ids(gone, Noticing(at, CLAM, "B1", "perkinsus"))
    (nowhere,) = asked(replace(gone, past=()), Noticing(at, CLAM, "", "slime"))
    assert (nowhere.what, nowhere.do) == ("S1-01 has not stood in any vat.", "Receive it first.")
    (elsewhere,) = asked(here, Noticing(NOW, CLAM, "A2", "slime"))
    assert (elsewhere.what, elsewhere.do) == ("S1-01 has not stood in A2.", "Name a vat it stood in: A1.")


def test_what_to_do_about_a_forbidden_treatment() -> None:
    """A veterinarian may lift the one and nobody the other."""
    act = Treating(NOW, CLAM, ("A1",), "clam-dip", ("fresh-water",))
    (lifted,) = asked(floor((CLAM, "A1", 5)), act)
    (never,) = asked(floor((CLAM, "A1", 5)), replace(act, agents=("formalin",)))
    assert (lifted.do, never.do) == ("Record --prescriber and --reference, with --despite.", "Do not do it.")


def test_a_finding_of_this_minute_is_carried() -> None:
    """Found while it is lifted out of its vat."""
    other = batch("S1-14", "fish_reef_safe", "Gobiodon")
    here = floor((FISH, "B1", 10), (other, "A2", 5))
    act = Placing(NOW, (Portion(FISH, "A1", 5, "B1"),), "move")
    assert "carries-finding" in ids(replace(here, found=(found(FISH, "white-spot", "B1", NOW),)), act)
    assert "carries-finding" not in ids(replace(here, found=(found(FISH, "white-spot", "B1", NOW + hours(1)),)), act)


def test_a_medicine_is_told_by_the_reason_of_the_table_or_by_its_name() -> None:
    """Where the table says no more than that nobody tried."""
    here = replace(floor(), batches={FISH.id: FISH})
    mushroom = batch("S1-07", "corallimorph", "Discosoma")
    for newcomer, agent in ((CLAM, "chloroquine"), (mushroom, "iodine-ki")):
        dosed = replace(here, done=(done(FISH, "own-potion", "B1", NOW - days(1), agents=(agent,), where="vat"),))
        told = {one.id: one for one in asked(dosed, Placing(NOW, (Portion(newcomer, "B2", 1),), "receive"))}
        reason = LIBRARY.verdict(agent, newcomer.group, newcomer.name).reason
        assert told["medicated-water"].have == (reason or agent)
        assert bool(reason) is (newcomer is CLAM)


def test_a_place_without_a_setting_is_taken_for_a_reef_of_26_degrees() -> None:
    """66 °F are 18.9 °C, within eight of 26; 94 °F are 34.4 and not."""
    told = [other_unit("temperature_c", value, None) for value in (64.0, 66.0, 93.0, 94.0)]
    assert [one[0] if one else "" for one in told] == ["", "°F", "°F", ""]


def test_a_fallow_vat_is_told_with_the_day_it_is_free() -> None:
    """Three days from yesterday."""
    other = batch("S9-01", shipment="S9")
    here = replace(floor(), batches={other.id: other}, past=(Past(other.id, "A1", NOW - days(40), NOW - days(1)),))
    told = {one.id: one for one in asked(here, Placing(NOW, (Portion(CLAM, "A1", 5),), "receive"))}
    assert told["fallow"].do == "Wait until Wed 2 Dec, or use another vat."


def test_a_bath_is_no_inspection_and_an_inspection_without_agents_is_one() -> None:
    """Looking with a flashlight names no agent; an iodine bath looks at nothing."""
    act = Treating(NOW, CORAL, ("A1",), "coral-iodine-dip", ("iodine-ki",), work=True)
    here = floor((CORAL, "A1", 5))
    bath = done(CORAL, "coral-iodine-dip", "A1", NOW - days(5), agents=("iodine-ki",))
    look = done(CORAL, "no-dip", "A1", NOW - hours(2), kind="inspection")
    assert "inspect-first" in ids(replace(here, done=(bath,)), act)
    assert "inspect-first" not in ids(replace(here, done=(look,)), act)
    assert "inspect-first" not in ids(replace(here, done=(replace(look, at=NOW),)), act)
    assert "inspect-first" in ids(replace(here, done=(replace(look, at=NOW + hours(1)),)), act)


def test_one_weak_animal_counted_this_minute_stops_a_bath() -> None:
    """One is enough, and now is not too late."""
    act = Treating(NOW, CORAL, ("A1",), "coral-iodine-dip", ("iodine-ki",), work=True)
    here = replace(floor((CORAL, "A1", 5)), found=(found(CORAL, "", "A1", NOW - days(1)),))
    for count, weak in ((1, True), (0, False)):
        reading = read("vat:A1", f"weak {CORAL.id}", count, NOW)
        assert ("weak-lot" in ids(replace(here, readings=(reading,)), act)) is weak


def test_values_are_told_to_the_hundredth() -> None:
    """79.5 °F of a farm file are 26.388… °C."""
    warm = SITE.systems["qa"].model_copy(update={"temperature_c": 26.38888})
    site = SITE.model_copy(update={"systems": {**SITE.systems, "qa": warm}})
    (far,) = (
        one
        for one in asked(floor(), Measuring(NOW, "A1", "temperature_c", 8.1234), site=site)
        if one.id == "reading-far"
    )
    assert (far.need, far.have, far.what) == ("26.39 ± 5 °C", "8.12 °C", "8.12 °C at A1: sure?")
    (ph,) = (one for one in asked(floor(), Measuring(NOW, "A1", "ph", 9.5)) if one.id == "reading-far")
    assert ph.what == "9.5 at A1: sure?"


def test_a_line_of_none_may_become_ten() -> None:
    """Announced as nothing yet: eleven is asked again."""
    empty = replace(CLAM, announced=0)
    here = floor(batches={empty.id: empty})
    for number, many in ((10, False), (11, True)):
        assert ("amend-many" in ids(here, Amending(NOW, "S1", None, {empty.id: number}))) is many


def test_the_strictest_of_several_agents_speaks() -> None:
    """And of none, none."""
    scene = Scene(SITE, LIBRARY, floor((CLAM, "A1", 5)))
    told = worst(scene, ("mechanical-shake", "copper-ionic"), CLAM)
    assert told is not None
    assert told[0] == "copper-ionic"
    assert worst(scene, (), CLAM) is None


def test_a_refusal_says_where() -> None:
    """In the vats given, or on the batch where none is; what was meant, or none."""
    act = Treating(NOW, CLAM, ("A1", "A2"), "fish-copper-bath", ("copper-ionic",))
    here = floor((CLAM, "A1", 5))
    places = {
        one.where for vats in ((), ("A1", "A2")) for one in asked(here, replace(act, vats=vats)) if one.id == "copper"
    }
    assert places == {"S1-01", "A1, A2"}
    (elsewhere,) = asked(here, Noticing(NOW, CLAM, "A2", "slime"))
    (nowhere,) = asked(floor(batches={CLAM.id: CLAM}), Noticing(NOW, CLAM, "", "slime"))
    assert [(one.where, one.need, one.have) for one in (elsewhere, nowhere)] == [
        ("A2", "A1", "A2"),
        ("S1-01", "no vat", "none"),
    ]


def test_a_line_is_told_with_ten_times_what_it_was() -> None:
    """Of none, ten; of sixty, six hundred."""
    for announced, need in ((0, "at most 10"), (60, "at most 600")):
        line = replace(CLAM, announced=announced)
        (breach,) = asked(floor(batches={line.id: line}), Amending(NOW, "S1", None, {line.id: 5000}))
        assert (breach.need, breach.have) == (need, "5000")


def test_all_who_are_in_a_water_must_have_been_found_clean() -> None:
    """Two lots with white spot, one of them clean since."""
    other = batch("S1-14", "fish_reef_safe", "Gobiodon")
    sick = tuple(found(one, "white-spot", "B1", NOW - days(60)) for one in (FISH, other))
    here = floor((FISH, "B1", 10), (other, "B1", 5))
    act = Placing(NOW, (Portion(batch("S1-13", "fish_reef_safe"), "B2", 3),), "receive")
    one_clean = (*sick, found(FISH, "", "B1", NOW - days(5)))
    assert ids(replace(here, found=one_clean), act) == {"water-finding"}
    both = (*one_clean, found(other, "", "B1", NOW - days(5)))
    assert ids(replace(here, found=both), act) == set()


def test_a_ph_without_its_point_is_from_7000_to_9000() -> None:
    """8200 is 8.2."""
    told = [other_unit("ph", value, None) for value in (6999.0, 7000.0, 9000.0, 9000.5)]
    assert [one[1] if one else "" for one in told] == ["", "7", "9", ""]
    told = [other_unit("oxygen_mg_per_l", value, None) for value in (24.9, 25.0, 200.0, 200.5)]
    assert [one[0] if one else "" for one in told] == ["", "% saturation", "% saturation", ""]


def test_a_vat_opened_on_the_first_day_of_its_closure_is_open() -> None:
    """By hand against the farm file; opened the day before it means an older closure."""
    for ago, closed in ((2, True), (1, False), (0, False)):
        here = replace(floor(), opened={"AC": NOW - days(ago)})
        assert ("vat-closed" in ids(here, Placing(NOW, (Portion(CLAM, "AC", 3),), "receive"))) is closed


def test_who_enters_in_the_minute_of_the_cleaning_enters_a_clean_vat() -> None:
    """Who stood there a minute before it was cleaned makes it none."""
    vats = [vat.id for vat in SITE.vats_of("qb")]
    snail = batch("S1-10", "grazing_snail", "Trochus")
    act = Placing(NOW, (Portion(batch("S1-13", "fish_reef_safe"), "B2", 3),), "receive")
    for minutes, clean in ((0, True), (1, False)):
        here = floor((snail, "B1", 5))
        at = here.stays[0].since
        told = replace(
            here,
            batches={FISH.id: FISH, snail.id: snail},
            found=(found(FISH, "uronema", "B1", NOW - days(40)),),
            past=(Past(FISH.id, "B1", NOW - days(70), NOW - days(30)),),
            cleaned=dict.fromkeys(vats, at + hours(minutes / 60)),
        )
        assert ("water-finding" not in ids(told, act)) is clean


def test_a_pair_in_one_water_and_two_vats_is_told_of_the_water() -> None:
    """One vat, or one water: the place and the words."""
    fish = batch("S1-12", "fish_reef_safe")
    told = {
        (one.where, one.have)
        for vat in ("G1", "G2")
        for one in asked(floor((fish, "G1", 3)), Placing(NOW, (Portion(CLAM, vat, 3, "H1", "grow-out"),), "move"))
        if one.id == "company-water"
    }
    assert told == {("G1", "one vat"), ("gr", "one water")}


def test_a_vat_not_dry_for_a_day_is_told_with_its_hours() -> None:
    """Rounded to the hour: five and a half and a second are six."""
    here = replace(floor((FISH, "A1", 10)), cleaned={"B1": NOW - timedelta(seconds=19801)})
    (breach,) = asked(here, Transferring(NOW, FISH, ("A1",), "B1", 10))
    assert (breach.id, breach.what, breach.have) == ("transfer-dry", "B1 has been dry for 6 h.", "6 h")


def test_an_upper_alarm_of_the_farm_file_is_no_lower_one() -> None:
    """System gr: above 27.5 °C, below 33.5 PSU, and nothing else."""
    for quantity, value, alarm in (
        ("temperature_c", 26.0, False),
        ("temperature_c", 27.6, True),
        ("salinity_psu", 34.5, False),
        ("salinity_psu", 33.4, True),
    ):
        assert ("reading-alarm" in ids(floor(), Measuring(NOW, "gr", quantity, value))) is alarm


def test_too_many_are_told_in_their_vat_or_on_their_line() -> None:
    """Where none is given yet."""
    here = floor((CLAM, "A1", 5))
    told = [one.where for vat in ("A1", "") for one in asked(here, Rebooking(NOW, CLAM, vat, 5000))]
    assert told == ["A1", "S1-01"]
