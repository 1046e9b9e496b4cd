"""What is written down: readings, counts, findings, cuts, orders, vats and the undoing of acts, one rule at a time."""

from __future__ import annotations

from dataclasses import replace

import pytest

from intake.farm.floor import Dead, Past
from intake.rules import (
    Amending,
    Cleaning,
    Closing,
    Counting,
    Cutting,
    Leaving,
    Measuring,
    Noticing,
    Rebooking,
    Undoing,
    reason_enough,
)
from tests.rules.ground import NOW, asked, batch, days, floor, hours, ids, read

CLAM = batch("S1-01")
HERE = floor((CLAM, "A1", 60))


@pytest.mark.parametrize(
    ("quantity", "value", "broken"),
    [
        ("temperature_c", 26.0, set()),
        ("temperature_c", 29.5, set()),
        ("temperature_c", 29.6, {"reading-alarm"}),
        ("temperature_c", 31.0, {"reading-alarm"}),
        ("temperature_c", 31.1, {"reading-alarm", "reading-far"}),
        ("temperature_c", 23.0, set()),
        ("temperature_c", 22.9, {"reading-alarm"}),
        ("temperature_c", 21.0, {"reading-alarm"}),
        ("temperature_c", 20.9, {"reading-alarm", "reading-far"}),
        ("temperature_c", 8.0, {"reading-alarm", "reading-far"}),
        ("temperature_c", 36.6, {"reading-alarm", "reading-far"}),
        ("temperature_c", 78.4, {"reading-alarm", "reading-unit"}),
        ("salinity_psu", 34.5, set()),
        ("salinity_psu", 32.0, set()),
        ("salinity_psu", 31.9, {"reading-alarm"}),
        ("salinity_psu", 36.1, {"reading-alarm"}),
        ("salinity_psu", 28.4, {"reading-alarm", "reading-far"}),
        ("salinity_psu", 1.025, {"reading-alarm", "reading-unit"}),
        ("salinity_psu", 53.0, {"reading-alarm", "reading-unit"}),
        ("ph", 8.2, set()),
        ("ph", 7.4, set()),
        ("ph", 7.39, {"reading-far"}),
        ("ph", 9.1, {"reading-far"}),
        ("oxygen_mg_per_l", 5.0, set()),
        ("oxygen_mg_per_l", 4.9, {"reading-alarm"}),
        ("oxygen_mg_per_l", 96.0, {"reading-unit"}),
        ("light_umol", 9000.0, set()),
    ],
)
def test_a_reading_alone(quantity: str, value: float, broken: set[str]) -> None:
    """Alarm limits of the clams that stand there, and how far water goes from its setting without an accident."""
    assert ids(HERE, Measuring(NOW, "vat:A1", quantity, value)) == broken
    assert ids(HERE, Measuring(NOW, "A1", quantity, value)) == broken


def test_a_reading_in_fahrenheit_is_named() -> None:
    """With the value it would be."""
    breaches = asked(HERE, Measuring(NOW, "A1", "temperature_c", 78.4))
    (breach,) = [one for one in breaches if one.id == "reading-unit"]
    assert (breach.severity, breach.do) == ("refuse", "Record it as 25.8 °C.")
    assert "looks like °F" in breach.what


@pytest.mark.parametrize(("value", "broken"), [(59.9, False), (60.0, False), (70.0, True), (93.0, True), (94.0, False)])
def test_what_is_far_in_both_units_is_not_called_fahrenheit(value: float, broken: bool) -> None:
    """70 °F is 21 °C, near the setting; 60 °F is 15.6 °C and is not."""
    assert ("reading-unit" in ids(HERE, Measuring(NOW, "A1", "temperature_c", value))) == broken


def test_a_jump_from_the_last_reading_asks_again() -> None:
    """More than 3 °C within a day, at the same place."""
    here = replace(HERE, readings=(read("vat:A1", "temperature_c", 25.0, NOW - hours(24)),))
    assert ids(here, Measuring(NOW, "A1", "temperature_c", 28.0)) == set()
    (breach,) = asked(here, Measuring(NOW, "A1", "temperature_c", 28.1))
    assert (breach.id, breach.severity, breach.need) == ("reading-jump", "reason", "25 ± 3 °C")
    assert "sure?" in breach.what
    assert ids(here, Measuring(NOW, "A2", "temperature_c", 28.1)) == set()
    assert ids(here, Measuring(NOW, "A1", "salinity_psu", 33.0)) == set()
    old = replace(HERE, readings=(read("vat:A1", "temperature_c", 25.0, NOW - hours(24.1)),))
    assert ids(old, Measuring(NOW, "A1", "temperature_c", 28.1)) == set()
    later = replace(HERE, readings=(read("vat:A1", "temperature_c", 25.0, NOW + hours(1)),))
    assert ids(later, Measuring(NOW, "A1", "temperature_c", 28.1)) == set()
    twice = replace(here, readings=(*here.readings, read("A1", "temperature_c", 27.0, NOW - hours(2))))
    assert ids(twice, Measuring(NOW, "A1", "temperature_c", 28.1)) == set()


def test_the_farm_file_may_set_narrower_alarms() -> None:
    """System gr alarms above 27.5 °C and below 33.5 PSU, with nobody in it too."""
    assert ids(floor(), Measuring(NOW, "gr", "temperature_c", 27.6)) == {"reading-alarm"}
    assert ids(floor(), Measuring(NOW, "gr", "temperature_c", 27.5)) == set()
    assert ids(floor((CLAM, "G1", 5)), Measuring(NOW, "G1", "salinity_psu", 33.4)) == {"reading-alarm"}
    assert ids(floor(), Measuring(NOW, "qa", "temperature_c", 30.0)) == set()
    (breach,) = asked(floor((CLAM, "G1", 5)), Measuring(NOW, "G2", "salinity_psu", 33.4))
    assert (breach.severity, breach.need) == ("warn", "alarm below 33.5 PSU")


def test_the_narrowest_limits_of_those_who_stand_there_count() -> None:
    """Fish alarm at 29, clams at 29.5 °C; a system's reading is for all its vats."""
    fish = batch("S1-12", "fish_reef_safe")
    both = floor((CLAM, "A1", 5), (fish, "A2", 5))
    assert ids(both, Measuring(NOW, "A1", "temperature_c", 29.2)) == set()
    (breach,) = asked(both, Measuring(NOW, "qa", "temperature_c", 29.2))
    assert (breach.id, breach.animals) == ("reading-alarm", ("S1-01", "S1-12"))


def test_bags_and_boxes_have_no_limits() -> None:
    """Bag water is what it is; only what can be no unit of ours is named."""
    assert ids(HERE, Measuring(NOW, "S1/3", "temperature_c", 18.0)) == set()
    assert ids(HERE, Measuring(NOW, "S1/3", "temperature_c", 78.4)) == {"reading-unit"}


@pytest.mark.parametrize(
    ("stands", "lost", "broken"),
    [
        (60, 15, False),
        (60, 16, True),
        (60, 60, True),
        (12, 5, False),
        (12, 6, True),
        (100, 25, False),
        (100, 26, True),
        (60, 61, False),
    ],
)
def test_a_great_loss_is_counted_again(stands: int, lost: int, broken: bool) -> None:
    """More than a quarter and more than five; more than stand there is the ledger's to refuse."""
    here = floor((CLAM, "A1", stands))
    assert ids(here, Counting(NOW, CLAM, "A1", {"dead": lost})) == ({"count-many"} if broken else set())
    assert ids(here, Counting(NOW, CLAM, "A1", {"dead": lost - 3, "missing": 3})) == (
        {"count-many"} if broken else set()
    )
    assert ids(here, Counting(NOW, CLAM, "A1", {"doa": lost})) == set()


def test_found_again_are_at_most_the_missing() -> None:
    """Five are missing; six are too many without a reason."""
    here = replace(
        HERE,
        losses=(
            Dead(CLAM.id, "A1", "missing", 5, NOW),
            Dead(CLAM.id, "A1", "dead", 9, NOW),
            Dead("S9", "A1", "missing", 9, NOW),
        ),
    )
    assert ids(here, Counting(NOW, CLAM, "A1", {}, found=5)) == set()
    (breach,) = asked(here, Counting(NOW, CLAM, "A1", {}, found=6))
    assert (breach.id, breach.need, breach.have, breach.severity) == ("above-line", "at most 5", "6", "reason")


@pytest.mark.parametrize(
    ("number", "extra", "broken"),
    [(60, False, False), (61, False, True), (5000, False, True), (6, True, False), (7, True, True)],
)
def test_a_line_of_sixty(number: int, extra: bool, broken: bool) -> None:
    """Rebooked: at most the line; beyond it: at most a tenth without a reason."""
    assert ids(HERE, Rebooking(NOW, CLAM, "A1", number, extra)) == ({"above-line"} if broken else set())


def test_a_small_line_may_come_with_one_more() -> None:
    """A tenth of four is less than one."""
    small = batch("S1-09", announced=4)
    assert ids(HERE, Rebooking(NOW, small, "A1", 1, extra=True)) == set()
    assert ids(HERE, Rebooking(NOW, small, "A1", 2, extra=True)) == {"above-line"}


@pytest.mark.parametrize(
    ("group", "broken"),
    [
        ("stony_montipora", False),
        ("zoanthid", False),
        ("soft_leathery", False),
        ("clam_small", True),
        ("anemone_host", True),
        ("grazing_snail", True),
        ("fish_reef_safe", True),
    ],
)
def test_only_corals_are_cut(group: str, broken: bool) -> None:
    """A clam is not."""
    parent = batch("H1", group)
    assert ids(floor((parent, "G1", 3)), Cutting(NOW, parent, 4)) == ({"cut-kind"} if broken else set())


def test_a_parent_gives_twelve_at_most() -> None:
    """Three colonies give 36."""
    parent = batch("H1", "stony_montipora")
    assert ids(floor((parent, "G1", 3)), Cutting(NOW, parent, 36)) == set()
    assert ids(floor((parent, "G1", 3)), Cutting(NOW, parent, 37)) == {"cut-many"}
    assert ids(floor(), Cutting(NOW, parent, 12)) == set()
    assert ids(floor(), Cutting(NOW, parent, 13)) == {"cut-many"}


def test_a_finding_is_booked_where_the_batch_stood() -> None:
    """Now or before; without a vat, where it stands; for a batch that never stood, nowhere."""
    assert ids(HERE, Noticing(NOW, CLAM, "A1", "white-spot")) == set()
    assert ids(HERE, Noticing(NOW, CLAM, "", "")) == set()
    (breach,) = asked(HERE, Noticing(NOW, CLAM, "G1", "white-spot"))
    assert (breach.id, breach.severity, breach.need) == ("finding-elsewhere", "refuse", "A1")
    before = replace(
        HERE, past=(Past(CLAM.id, "G1", NOW - days(30), NOW - days(20)), Past("S9", "B1", NOW - days(30), NOW))
    )
    assert ids(before, Noticing(NOW, CLAM, "G1", "white-spot")) == set()
    assert ids(before, Noticing(NOW, CLAM, "B1", "white-spot")) == {"finding-elsewhere"}
    assert ids(before, Noticing(NOW - days(31), CLAM, "G1", "white-spot")) == {"finding-elsewhere"}
    assert ids(before, Noticing(NOW - days(30), CLAM, "G1", "white-spot")) == set()
    assert ids(HERE, Noticing(NOW - days(11), CLAM, "A1", "white-spot")) == {"finding-elsewhere"}
    assert ids(floor(), Noticing(NOW, CLAM, "", "white-spot")) == {"finding-elsewhere"}


def test_vats_with_animals_are_not_clean_and_are_closed_with_a_warning() -> None:
    """Empty ones are both."""
    assert ids(HERE, Cleaning(NOW, "A1")) == {"clean-occupied"}
    assert ids(HERE, Cleaning(NOW, "A2")) == set()
    (breach,) = asked(HERE, Closing(NOW, "A1"))
    assert (breach.id, breach.severity, breach.have) == ("close-occupied", "warn", "60 of S1-01")
    assert ids(HERE, Closing(NOW, "A2")) == set()


def test_an_order_does_not_land_in_the_past_nor_grow_tenfold() -> None:
    """Now is not past."""
    assert ids(HERE, Amending(NOW, "S1", NOW)) == set()
    assert ids(HERE, Amending(NOW, "S1", NOW - hours(0.1))) == {"amend-past"}
    assert ids(HERE, Amending(NOW, "S1", None, {"S1-01": 600})) == set()
    (breach,) = asked(HERE, Amending(NOW, "S1", None, {"S1-01": 601}))
    assert (breach.id, breach.severity, breach.need) == ("amend-many", "reason", "at most 600")
    assert ids(HERE, Amending(NOW, "S1", None, {"S1-77": 601})) == set()


def test_a_lot_that_is_not_free_stays_or_goes_with_a_reason() -> None:
    """What stands in the way is named, three at most."""
    assert ids(HERE, Leaving(NOW, CLAM, "A1", "sold", ())) == set()
    (breach,) = asked(HERE, Leaving(NOW, CLAM, "A1", "sold", ("one", "two", "three", "four")))
    assert (breach.id, breach.severity) == ("not-free", "reason")
    assert breach.what.endswith("not free to go to sold: one; two; three.")


def test_undoing_asks_the_right_of_the_act_and_what_stands_on_it() -> None:
    """Both are refused; many are counted."""
    assert ids(HERE, Undoing(NOW, "receipt of S1")) == set()
    assert ids(HERE, Undoing(NOW, "receipt of S1", may=False)) == {"undo-right"}
    (breach,) = asked(HERE, Undoing(NOW, "receipt of S1", tuple(f"count {n}" for n in range(8))))
    assert (breach.id, breach.severity, breach.have) == ("undo-depends", "refuse", "8")
    assert breach.what.endswith("count 5 and 2 more.")
    (breach,) = asked(HERE, Undoing(NOW, "receipt of S1", tuple(f"count {n}" for n in range(6))))
    assert breach.what.endswith("count 5.")


@pytest.mark.parametrize(
    ("reason", "enough"),
    [
        ("", False),
        ("because", False),
        ("it is", False),
        ("it is so", True),
        ("a - b", False),
        ("Z 3 ok!", True),
        ("  the vet  said ", True),
    ],
)
def test_a_reason_has_three_words(reason: str, enough: bool) -> None:
    """Dashes are no words."""
    assert reason_enough(reason) == enough
