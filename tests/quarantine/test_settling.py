"""The first weeks after landing: light ramps with a start and a stop, food, clams' feet, rest before treatments."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from itertools import pairwise
from math import inf
from typing import Any

import pytest

from intake import library as shipped
from intake.farm.floor import Batch, Floor, Found
from intake.quarantine.daily.settling import LOOK_AT_FOOT, care_lines

LIBRARY = shipped.load()
PLACED = datetime(2027, 3, 4, 15, 0, tzinfo=UTC)
TABLE = list(
    csv.DictReader((files("intake.library") / "data" / "after_arrival.csv").read_text(encoding="utf-8").splitlines())
)


def lot(group: str) -> Batch:
    """An invented lot of a group."""
    return Batch("S1-01", "invented", group, 40.0, 20, "S1", 1, "one", ("7",))


def lines(group: str, *found: Found) -> Any:
    """Its care lines."""
    floor = Floor(at=PLACED, batches={"S1-01": lot(group)}, found=found)
    return list(care_lines(lot(group), ["Q1"], PLACED, floor, LIBRARY))


@pytest.mark.parametrize("group", sorted(LIBRARY.groups))
def test_every_lot_with_light_has_a_dated_ramp_that_only_rises(group: str) -> None:
    """A start of half the target or less, steps of a tenth at most, the full target at the end, each on its day."""
    if LIBRARY.group(group).light is None:
        assert not [one for one in lines(group) if "light" in one.words]
        return
    ramp = LIBRARY.after_arrival.light(group)
    assert ramp is not None, "a lot with light and no ramp is a hole in the table"
    steps = ramp.steps()
    assert steps[0] == (0, ramp.start_share)
    assert ramp.start_share <= 0.5
    assert steps[-1] == (ramp.days, 1.0)
    for (day, share), (later, more) in pairwise(steps):
        assert day < later
        assert 0 < more - share <= 0.1 + 1e-9
    mine = [one for one in lines(group) if one.words.startswith("light")]
    assert [one.day for one in mine] == [(PLACED + timedelta(days=day)).date() for day, _ in steps]
    assert all(one.source for one in mine)


def test_acropora_takes_twenty_one_days_and_clams_ten() -> None:
    """The library's own 14 d are too short for Acropora (Z38); clams reach their target in 10 d."""
    acropora, clam = LIBRARY.after_arrival.light("stony_branching_acropora"), LIBRARY.after_arrival.light("clam_small")
    assert acropora is not None
    assert clam is not None
    assert (acropora.days, clam.days) == (21, 10)


def test_a_pale_lot_holds_its_light_for_a_week() -> None:
    """A finding of a pale lot moves every step after the start by 7 d."""
    pale = Found("S1-01", "Q1", "pale patches", PLACED + timedelta(days=1), "ada")
    plain = [one.day for one in lines("clam_small") if one.words.startswith("light")]
    held = [one.day for one in lines("clam_small", pale) if one.words.startswith("light")]
    assert held[0] == plain[0]
    assert [day - was for day, was in zip(held[1:], plain[1:], strict=True)] == [timedelta(days=7)] * (len(plain) - 1)


def test_clams_are_tilted_and_looked_at_and_fish_get_their_first_food() -> None:
    """Days 3, 7 and 14 for clams only; food when the table says so, and none for lots that live on light."""
    feet = [one.day for one in lines("clam_burrowing") if "byssus" in one.words]
    assert feet == [(PLACED + timedelta(days=day)).date() for day in LOOK_AT_FOOT]
    assert not [one for one in lines("zoanthid") if "byssus" in one.words]
    assert [one for one in lines("fish_reef_safe") if "first food" in one.words]
    assert not [one for one in lines("clam_large") if "first food" in one.words]


@pytest.mark.parametrize(
    ("group", "agents", "hours"),
    [
        ("fish_reef_safe", ("fresh-water",), 24),
        ("fish_reef_safe", ("copper-ionic",), 48),
        ("clam_small", ("mechanical-brush",), 24),
        ("clam_small", ("fresh-water",), 168),
        ("stony_montipora", ("iodine-ki",), 24),
        ("zoanthid", ("fresh-water",), 72),
        ("echinoderm", ("iodine-ki",), inf),
        ("decapod_crustacean", ("fresh-water",), inf),
    ],
)
def test_rest_before_a_treatment_is_the_tables(group: str, agents: tuple[str, ...], hours: float) -> None:
    """A009 to A017, row by row."""
    found = LIBRARY.after_arrival.rest_hours(group, agents)
    assert found is not None
    assert found[0] == hours


def test_inspection_needs_no_rest() -> None:
    """Looking, tweezers and a shake in clean water are open on the day of arrival."""
    for agent in ("inspection", "mechanical-shake", "mechanical-removal"):
        assert LIBRARY.after_arrival.rest_hours("stony_montipora", (agent,)) is None


def test_every_row_has_a_source_or_its_mark() -> None:
    """95 rows, none without a source, those without a published one marked so."""
    assert len(TABLE) == 95
    assert len(LIBRARY.after_arrival.rows) == 95
    for row in LIBRARY.after_arrival.rows:
        assert row.source
        assert row.unsourced or row.evidence in {"published", "derived", "recomputed", "secondary"}
