"""Edges of the rules: what lies exactly on a limit, who counts and who does not, and what a refusal says."""

from __future__ import annotations

from dataclasses import replace

import pytest

from intake.farm.floor import Done, Past
from intake.rules import Counting, Measuring, Placing, Portion, Rebooking, Transferring, Treating, Undoing
from intake.rules.limits import QUANTITIES, READINGS, Limits, other_unit
from intake.rules.scene import Scene
from intake.rules.suitability import one_setting, suits
from tests.rules.ground import LIBRARY, NOW, SITE, asked, batch, days, done, floor, found, hours, ids, read

CLAM = batch("S1-01")
FISH = batch("S1-12", "fish_reef_safe")


def test_the_table_of_readings_is_the_one_that_is_told() -> None:
    """What instruments show, and how far readings may lie apart: figures of ours, changed on purpose only."""
    assert READINGS == {
        "temperature_c": (-2.0, 45.0), "salinity_psu": (0.0, 60.0), "ph": (4.0, 11.0), "tan_n_mg_per_l": (0.0, 100.0),
        "oxygen_mg_per_l": (0.0, 60.0), "specific_gravity": (0.98, 1.06), "alkalinity_meq_per_l": (0.0, 12.0),
        "light_umol": (0.0, 3000.0), "damp": (0.0, 1.0), "bag_water_l": (0.0, 200.0), "hours_in_bag": (0.0, 240.0),
        "copper_ug_per_l": (0.0, 5000.0),
    }  # fmt: skip
    assert {name: (one.far, one.jump) for name, one in QUANTITIES.items()} == {
        "temperature_c": (5.0, 3.0), "salinity_psu": (6.0, 3.0), "ph": (0.8, 0.5), "oxygen_mg_per_l": (4.0, 3.0),
        "tan_n_mg_per_l": (2.0, 1.0),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("quantity", "last", "value", "broken"),
    [
        ("tan_n_mg_per_l", 0.2, 1.2, False),
        ("tan_n_mg_per_l", 0.2, 1.3, True),
        ("ph", 8.2, 7.7, False),
        ("ph", 8.2, 7.6, True),
        ("salinity_psu", 34.0, 32.0, False),
    ],
)
def test_jumps_by_quantity(quantity: str, last: float, value: float, broken: bool) -> None:
    """Each quantity has its own."""
    here = replace(floor((CLAM, "A1", 5)), readings=(read("A1", quantity, last, NOW - hours(1)),))
    assert ("reading-jump" in ids(here, Measuring(NOW, "A1", quantity, value))) == broken


def vat(**changed: object):  # type: ignore[no-untyped-def]
    """The first vat, changed."""
    return SITE.vats["A1"].model_copy(update=changed)


@pytest.mark.parametrize(
    ("changed", "broken"),
    [
        ({"flow": (2, 2)}, set()),
        ({"flow": (1, 2)}, set()),
        ({"flow": (2, 4)}, set()),
        ({"flow": (1, 1)}, {"flow"}),
        ({"flow": (3, 4)}, {"flow"}),
        ({"water_depth_mm": 100.0}, set()),
        ({"water_depth_mm": 99.9}, {"depth"}),
        ({"light_umol": (0.0, 150.0)}, set()),
        ({"light_umol": (0.0, 149.9)}, {"light"}),
        ({"light_umol": (120.0, 400.0)}, set()),
        ({"light_umol": (120.1, 400.0)}, {"light-day-one"}),
        ({"light_umol": (300.0, 400.0)}, {"light-day-one"}),
        ({"light_umol": (300.1, 400.0)}, {"light", "light-day-one"}),
    ],
)
def test_a_vat_suits_up_to_the_edge(changed: dict[str, object], broken: set[str]) -> None:
    """Clams: flow class 2, depth from 100 mm, light 150 to 300, at most 120 on day 1."""
    rules = suits(LIBRARY.groups["clam_small"], "quarantine", landing=True)
    assert {one.id for one in rules if not one.test(vat(**changed), SITE.systems["qa"])} == broken


def test_one_setting_meets_at_the_edge() -> None:
    """Ranges that share one figure meet; those that share none do not, in light or in flow."""
    clam = LIBRARY.groups["clam_small"]

    def other(**changed: object):  # type: ignore[no-untyped-def]
        assert clam.light is not None
        light = clam.light.model_copy(update={key: value for key, value in changed.items() if key.startswith("target")})
        flow = clam.flow.model_copy(update={key: value for key, value in changed.items() if key in ("min", "max")})
        return clam.model_copy(update={"light": light, "flow": flow})

    assert one_setting(clam, other(target_min=300.0, target_max=500.0))
    assert not one_setting(clam, other(target_min=300.1, target_max=500.0))
    assert one_setting(clam, other(target_min=20.0, target_max=150.0))
    assert not one_setting(clam, other(target_min=20.0, target_max=149.9))
    assert not one_setting(clam, other(min=3, max=4))
    assert not one_setting(clam, other(min=1, max=1))
    assert one_setting(clam, other(min=2, max=4))
    assert one_setting(clam, other(min=1, max=2))
    assert one_setting(clam, LIBRARY.groups["grazing_snail"])


def test_a_cutting_is_of_its_parents_lot_and_supplier() -> None:
    """Through all its parents; a parent nobody knows, or one that is its own, ends the way."""
    parent = batch("S1-06", "stony_montipora", "Montipora")
    child = batch("C1", "stony_montipora", "Montipora", shipment="", supplier="", parent="S1-06")
    grandchild = batch("C2", "stony_montipora", "Montipora", shipment="", supplier="", parent="C1")
    here = floor((parent, "A1", 3), (child, "A1", 4), (grandchild, "A1", 4))
    scene = Scene(SITE, LIBRARY, here)
    assert [scene.origin(one).id for one in (parent, child, grandchild)] == ["S1-06"] * 3
    assert scene.lot(grandchild, NOW) == "S1"
    assert scene.supplier(grandchild) == "one"
    lost = batch("C3", parent="gone", shipment="", supplier="")
    loop = batch("C4", parent="C4", shipment="", supplier="")
    twist = floor((loop, "A1", 1), (lost, "A1", 1))
    assert [Scene(SITE, LIBRARY, twist).origin(one).id for one in (lost, loop)] == ["C3", "C4"]
    assert Scene(SITE, LIBRARY, twist).supplier(lost) == "house"
    bought = batch("S9-01", shipment="S9", supplier="two", parent="S1-06")
    assert scene.origin(bought).id == "S9-01"


def test_cuttings_heal_beside_their_parent_also_in_quarantine() -> None:
    """And nowhere else in it."""
    parent = batch("S1-06", "stony_montipora", "Montipora")
    child = batch("C1", "stony_montipora", "Montipora", shipment="", supplier="", parent="S1-06")
    here = floor((parent, "A1", 3))
    assert ids(here, Placing(NOW, (Portion(child, "A1", 4, "cut", "healing"),), "cut")) == set()
    assert ids(here, Placing(NOW, (Portion(child, "B1", 4, "cut", "healing"),), "cut")) == {"stage-role"}
    assert ids(here, Placing(NOW, (Portion(child, "A2", 4, "", "quarantine"),), "cut")) == set()


def test_some_clean_vats_leave_a_medicine_in_the_water() -> None:
    """All of them take it out; one cleaned before the medicine does not count."""
    here = replace(floor(), batches={FISH.id: FISH}, done=(done(FISH, "fish-chloroquine-bath", "B1", NOW - days(3)),))
    vats = [one.id for one in SITE.vats_of("qb")]
    act = Placing(NOW, (Portion(CLAM, "B2", 5),), "receive")
    assert ids(replace(here, cleaned=dict.fromkeys(vats[1:], NOW - days(1))), act) == {"medicated-water"}
    assert ids(replace(here, cleaned=dict.fromkeys(vats, NOW - days(4))), act) == {"medicated-water"}
    assert ids(replace(here, cleaned=dict.fromkeys(vats, NOW - days(2))), act) == set()
    test = replace(here.done[0], kind="test")
    assert ids(replace(here, done=(test,)), act) == set()
    assert ids(replace(here, done=(replace(here.done[0], at=NOW + days(1)),)), act) == set()


def test_a_veterinarian_writes_name_and_reference() -> None:
    """One of them alone lifts nothing."""
    act = Treating(NOW, CLAM, ("A1",), "clam-dip", ("fresh-water",), prescriber="vet", reference="RX-1")
    assert ids(floor((CLAM, "A1", 5)), act) == {"treatment-veterinarian"}
    for half in (replace(act, prescriber=" "), replace(act, reference="")):
        (breach,) = asked(floor((CLAM, "A1", 5)), half)
        assert (breach.id, breach.need) == ("treatment-forbidden", "a veterinarian in writing, for this batch")
    (never,) = asked(floor((CLAM, "A1", 5)), replace(act, agents=("formalin",)))
    assert (never.id, never.need) == ("treatment-forbidden", "no such treatment")


def test_what_a_refusal_says() -> None:
    """Numbers left behind, reasons of the table, and a word where the table has none."""
    here = replace(floor((FISH, "A1", 10)), cleaned={"B1": NOW - days(2)})
    (breach,) = asked(here, Transferring(NOW, FISH, ("A1",), "B1", 7))
    assert breach.what == "3 of S1-12 would stay behind."
    silent = batch("X-1", "corallimorph", "Discosoma")
    told = asked(floor((silent, "A1", 5)), Treating(NOW, silent, ("A1",), "dip", ("iodine-ki",), test=True))
    assert told[0].what.endswith("(corallimorph): not tried.")
    coral = batch("X-2", "stony_montipora", "Montipora")
    told = asked(floor((coral, "A1", 5)), Treating(NOW, coral, ("A1",), "dip", ("potassium-salt",), test=True))
    assert "no published coral trial" in told[0].what
    assert "(test-piece)" not in told[0].words
    assert told[0].words.endswith("(treatment-unknown)")


def test_hosts_of_other_waters_and_times_do_not_keep_a_water_closed() -> None:
    """A fish that left before the finding, one in another water, a clam in this one."""
    ill = replace(
        floor(batches={FISH.id: FISH, CLAM.id: CLAM}),
        found=(found(FISH, "white-spot", "B1", NOW - days(60)),),
        past=(
            Past(FISH.id, "B1", NOW - days(90), NOW - days(59)),
            Past(FISH.id, "A1", NOW - days(20), NOW - days(1)),
            Past(CLAM.id, "B2", NOW - days(20), NOW - days(1)),
            Past("forgotten", "B2", NOW - days(20), NOW - days(1)),
        ),
    )
    act = Placing(NOW, (Portion(batch("S1-13", "fish_reef_safe"), "B2", 3),), "receive")
    assert ids(ill, act) == set()
    again = replace(ill, past=(*ill.past, Past(FISH.id, "B2", NOW - days(20), NOW - days(1))))
    assert ids(again, act) == {"water-finding"}


def test_several_rows_are_judged_each_in_its_vat() -> None:
    """The closed vat is named with its own animals, the full filter with those of its water."""
    other = batch("S1-02")
    act = Placing(NOW, (Portion(CLAM, "AC", 5), Portion(other, "A2", 5)), "receive")
    (breach,) = asked(floor(), act)
    assert (breach.id, breach.animals) == ("vat-closed", ("S1-01",))
    assert "S1-02" not in breach.what
    small = {**SITE.systems, "qa": SITE.systems["qa"].model_copy(update={"filter_area_m2": 0.001})}
    site = SITE.model_copy(update={"systems": small})
    coral = batch("S1-06", "stony_montipora", "Montipora")
    mixed = Placing(NOW, (Portion(coral, "A1", 1), Portion(FISH, "A2", 5)), "receive")
    assert "filter" in {one.id for one in asked(floor(), mixed, site=site)}
    apart = Placing(NOW, (Portion(coral, "A1", 1), Portion(FISH, "B1", 5)), "receive")
    assert "filter" not in {one.id for one in asked(floor((FISH, "A2", 3)), apart, site=site)}


def test_what_an_act_says_when_nothing_else_is_said() -> None:
    """Ordinary acts are no test, no work, nothing extra, and undone by those who may."""
    act = Treating(NOW, CLAM, ("A1",), "dip", ())
    assert (act.where, act.minutes, act.test, act.work) == ("tub", None, False, False)
    assert not Rebooking(NOW, CLAM, "A1", 3).extra
    assert Undoing(NOW, "receipt").may
    assert Counting(NOW, CLAM, "A1").found == 0
    assert (Portion(CLAM, "A1", 3).source, Portion(CLAM, "A1", 3).stage) == ("", "quarantine")
    assert Placing(NOW, ()).door == "move"


def test_values_are_kept_as_they_were() -> None:
    """Acts and breaches cannot be changed after they were judged."""
    for value, name in (
        (Treating(NOW, CLAM, (), "dip", ()), "dip"),
        (asked(floor(), Placing(NOW, (Portion(CLAM, "AC", 3),)))[0], "id"),
    ):
        with pytest.raises(AttributeError):
            setattr(value, name, "other")


def test_a_finding_without_a_vat_is_of_every_water_the_batch_stood_in_then() -> None:
    """Not of the one it moved to afterwards."""
    fish = batch("S1-12", "fish_reef_safe")
    here = replace(
        floor((fish, "A1", 5)),
        found=(found(fish, "white-spot", "", NOW - days(20)),),
        past=(Past(fish.id, "B1", NOW - days(40), NOW - days(15)),),
    )
    newcomer = batch("S1-13", "fish_reef_safe")
    assert ids(here, Placing(NOW, (Portion(newcomer, "B2", 3),), "receive")) == {"water-finding"}
    assert ids(here, Placing(NOW, (Portion(newcomer, "A2", 3),), "receive")) == set()
    edge = replace(here, found=(found(fish, "white-spot", "", NOW - days(15)),))
    assert ids(edge, Placing(NOW, (Portion(newcomer, "B2", 3),), "receive")) == set()
    elsewhere = replace(here, found=(found(fish, "white-spot", "GONE", NOW - days(20)),))
    assert ids(elsewhere, Placing(NOW, (Portion(newcomer, "B2", 3),), "receive")) == set()


def test_a_full_filter_names_the_animals_put_into_its_water_alone() -> None:
    """A third batch of the same act goes into another water: it adds nothing to this filter and is not named."""
    small = {**SITE.systems, "qa": SITE.systems["qa"].model_copy(update={"filter_area_m2": 0.001})}
    site = SITE.model_copy(update={"systems": small})
    act = Placing(NOW, (Portion(FISH, "A1", 5), Portion(batch("S1-13", "fish_reef_safe"), "B1", 5)), "receive")
    (breach,) = (one for one in asked(floor(), act, site=site) if one.id == "filter")
    assert breach.animals == ("S1-12",)


def test_agents_of_work_are_read_from_its_name_where_it_names_a_dip() -> None:
    """Old entries keep no agents: a round names no dip, a bath does, and what an entry says itself counts first."""
    scene = Scene(SITE, LIBRARY, floor((FISH, "A1", 5)))
    round_of = Done("round", FISH.id, "round", NOW, "marou")
    bath = done(FISH, "clam-freshwater-dip", "A1", NOW)
    assert scene.agents_of(round_of) == ()
    assert scene.agents_of(replace(round_of, task="round/no-such-dip")) == ()
    assert scene.agents_of(bath) == LIBRARY.agents("clam-freshwater-dip") != ()
    assert scene.agents_of(replace(bath, agents=("copper",))) == ("copper",)


def test_a_reading_makes_sense_in_fahrenheit_up_to_eight_degrees_from_the_setting() -> None:
    """95 °F are 35 °C, just eight from 27; 60 °F is where the reading of another scale begins."""

    def unit(value: float, setting: float) -> str:
        return (other_unit("temperature_c", value, Limits(setting, None, None)) or ("", ""))[0]

    assert (unit(95.0, 27.0), unit(95.0, 26.9), unit(77.0, 33.0), unit(77.0, 33.1)) == ("°F", "", "°F", "")
    assert (unit(60.0, 20.0), unit(59.9, 20.0)) == ("°F", "")


def test_the_most_sensitive_animal_of_a_vat_sets_its_alarm_level_of_oxygen() -> None:
    """The shipped groups all have one level; a farm may set its own, and then the highest counts."""
    deaf = LIBRARY.groups["clam_small"]
    oxygen = deaf.oxygen.model_copy(update={"alarm_mg_per_l": 6.9})
    own = replace(LIBRARY, groups={**LIBRARY.groups, "clam_small": deaf.model_copy(update={"oxygen": oxygen})})
    bare = SITE.vats["A1"].model_copy(update={"aeration_mg_per_h": 0.0, "turnover_per_h": 0.5})
    site = SITE.model_copy(update={"vats": {**SITE.vats, "A1": bare}})
    coral = batch("X-2", "stony_montipora", "Montipora")
    act = Placing(NOW, (Portion(CLAM, "A1", 30),), "receive")
    here = floor((coral, "A1", 1))
    assert "oxygen" not in ids(here, act, site=site)
    assert "oxygen" in ids(here, act, site=site, library=own)


def test_a_finding_at_the_moment_of_entry_is_of_the_water_entered() -> None:
    """A batch inspected while it is put into its vat stands in it."""
    fish = batch("S1-12", "fish_reef_safe")
    here = floor((fish, "A1", 5))
    at = here.stays[0].since
    act = Placing(NOW, (Portion(batch("S1-13", "fish_reef_safe"), "A2", 3),), "receive")
    assert ids(replace(here, found=(found(fish, "white-spot", "", at),)), act) == {"water-finding"}
    early = replace(here, found=(found(fish, "white-spot", "", at - hours(1)),))
    assert ids(early, act) == set()


def test_a_medicine_of_this_very_moment_is_in_the_water() -> None:
    """Dosed and stocked in one minute of the ledger: the newcomers meet it."""
    here = replace(floor(), batches={FISH.id: FISH}, done=(done(FISH, "fish-chloroquine-bath", "B1", NOW),))
    assert ids(here, Placing(NOW, (Portion(CLAM, "B2", 5),), "receive")) == {"medicated-water"}


def test_a_test_too_old_or_too_young_is_told_by_the_last_of_them() -> None:
    """Who tested in spring and again this morning reads of this morning."""
    coral = batch("X-2", "stony_montipora", "Montipora")
    agents = ("potassium-salt",)
    tries = tuple(
        replace(done(coral, "dip", "A1", at), kind="test", agents=agents) for at in (NOW - days(200), NOW - hours(5))
    )
    here = replace(floor((coral, "A1", 5)), done=tries)
    told = {one.id: one for one in asked(here, Treating(NOW, coral, ("A1",), "dip", agents))}
    assert told["test-piece"].have == f"tested {Scene(SITE, LIBRARY, here).day_words(NOW - hours(5))}"


def test_salinity_is_conductivity_from_45_to_60() -> None:
    """Both edges; above, no meter of ours shows it."""
    told = [other_unit("salinity_psu", value, None) for value in (44.9, 45.0, 60.0, 60.5)]
    assert [one[0] if one else "" for one in told] == ["", "mS/cm", "mS/cm", ""]


def test_a_bench_may_be_full_to_the_last_square_millimeter() -> None:
    """A hundred crabs of 100 cm² on a bench of 1 m²; one more is too many."""
    crab = batch("S1-02", "decapod_crustacean", "Calcinus")
    for number, broken in ((100, False), (101, True)):
        act = Placing(NOW, (Portion(crab, "A1", number),), "receive")
        assert ("bench-area" in ids(floor(), act)) is broken


def test_what_is_asked_of_a_vat_is_one_guard_one_role_one_place_out_of_reserve() -> None:
    """The figures a plan that finds no vat answers with."""
    rows = suits(LIBRARY.groups["anemone_host"], "quarantine", landing=True)
    assert {one.id: one.need for one in rows} == {
        "stage-role": 1, "reserve": 1, "anemone-intakes": 1, "temperature": 24.0, "salinity": 33.0, "depth": 250.0,
        "flow": 2, "light": 150.0, "light-day-one": 80.0,
    }  # fmt: skip
    offers = {one.id: one.offer(SITE.vats["A1"], SITE.systems["qa"]) for one in rows}
    assert offers == {
        "stage-role": 0, "reserve": 0, "anemone-intakes": 0, "temperature": 26.0, "salinity": 34.5, "depth": 300.0,
        "flow": 4, "light": 400.0, "light-day-one": 20.0,
    }  # fmt: skip


def test_a_test_piece_of_this_very_moment_is_told() -> None:
    """It counts for nothing yet, but is no reason to say that none was made."""
    coral = batch("X-2", "stony_montipora", "Montipora")
    agents = ("potassium-salt",)
    here = replace(floor((coral, "A1", 5)), done=(replace(done(coral, "dip", "A1", NOW), kind="test", agents=agents),))
    told = {one.id: one for one in asked(here, Treating(NOW, coral, ("A1",), "dip", agents))}
    assert told["test-piece"].have == "tested Mon 30 Nov"


def test_a_vat_is_closed_from_its_first_day_to_its_last() -> None:
    """The farm file closes AC from 29 November to 5 December, both included."""
    for day, closed in ((-2, False), (-1, True), (5, True), (6, False)):
        act = Placing(NOW + days(day), (Portion(CLAM, "AC", 3),), "receive")
        assert ("vat-closed" in ids(floor(at=NOW + days(day)), act)) is closed
    entered = replace(floor((CLAM, "AC", 3)), stays=(replace(floor((CLAM, "AC", 3)).stays[0], since=NOW - days(1)),))
    assert "vat-closed" in ids(entered, Placing(NOW, (Portion(CLAM, "AC", 3, "AC"),), "check"))


def test_who_leaves_in_the_same_act_is_no_company() -> None:
    """Fish out of A1 and clams into it, recorded as one."""
    here = floor((FISH, "A1", 5), (CLAM, "A2", 5))
    swap = Placing(NOW, (Portion(FISH, "G1", 5, "A1", "grow-out"), Portion(CLAM, "A1", 5, "A2")), "move")
    assert not any(one.where == "A1" for one in asked(here, swap))
    stays = Scene(SITE, LIBRARY, here).after(swap).floor.stays
    assert {(one.batch, one.vat, one.count) for one in stays} == {("S1-12", "G1", 5), ("S1-01", "A1", 5)}


def test_a_salinity_is_a_gravity_from_1_to_1_05() -> None:
    """1.06 PSU is nearly fresh water."""
    told = [other_unit("salinity_psu", value, None) for value in (0.99, 1.0, 1.05, 1.06)]
    assert [one[0] if one else "" for one in told] == ["", "specific gravity", "specific gravity", ""]


def test_six_later_entries_are_named_and_the_rest_counted() -> None:
    """An act on which a dozen stand is refused in one line."""
    six = "6 later entries stand on it: a0; a1; a2; a3; a4; a5."
    for number, words in ((6, six), (7, "a5 and 1 more."), (8, "a5 and 2 more.")):
        (breach,) = asked(floor(), Undoing(NOW, "the receipt", depends=tuple(f"a{one}" for one in range(number))))
        assert breach.what.endswith(words)
        assert breach.have == str(number)
