"""A tank-transfer course needs a second vat in other water: the plan keeps it, and keeps invertebrates out of both waters."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from intake.farm.floor import Floor, Stay
from intake.farm.site import Site
from intake.plan.framing import Arrival, frame
from intake.plan.problem import Problem
from intake.plan.solve import solve
from tests.checker import judge
from tests.plan.facts import facts_of_farm
from tests.plan.test_open_water import TODAY, closed, vats
from tests.rules.ground import LIBRARY, NOW, SITE, batch, days, done, floor, found

FISH = batch("S1-12", "fish_reef_safe", announced=6)
SHRIMP = batch("S1-11", "decapod_crustacean", announced=6)
PAIR = ("A1", "B1")
COURSE = 13
"""Four transfers, the first on day 3, three days apart, and the day the last vat is left."""


def small() -> Site:
    """Only two quarantine vats, each in water of its own, and one vat to grow out in."""
    kept = {name: vat for name, vat in SITE.vats.items() if name in {*PAIR, "G1", "H1"}}
    return SITE.model_copy(update={"vats": kept})


def framed(here: Floor, *lots: object, site: Site | None = None) -> Problem:
    """The question for a shipment landing today."""
    return frame(site or small(), LIBRARY, here, [Arrival("S1", "one", TODAY, tuple(lots))], TODAY)  # type: ignore[arg-type]


def test_one_of_two_waters_is_kept_for_the_transfers_and_opens_again() -> None:
    """The fish enter the other; the second vat is closed to everybody for the course and free after it."""
    problem = framed(floor(), FISH)
    (second,) = [vat for vat in PAIR if closed(problem, vat)]
    assert closed(problem, second) == ((0, COURSE),)
    assert vats(problem, FISH.id) == tuple(vat for vat in PAIR if vat != second)
    assert {one.vat for one in solve(problem, seconds=1).placements if one.stage == "quarantine"} == set(PAIR) - {
        second
    }


def test_shrimp_of_the_same_shipment_are_kept_out_of_both_waters() -> None:
    """They were planned into the fish's second water, where every transfer was refused to the end."""
    problem = framed(floor(), FISH, SHRIMP)
    assert vats(problem, SHRIMP.id) == ()
    (why,) = next(one for one in problem.batches if one.id == SHRIMP.id).stages[0].excluded
    assert "tank transfers of S1" in why.resource
    elsewhere = vats(framed(floor(), FISH, SHRIMP, site=SITE), SHRIMP.id)
    assert elsewhere
    assert len({SITE.vat(name).system for name in elsewhere}) < len(
        {SITE.vat(name).system for name in vats(framed(floor(), SHRIMP, site=SITE), SHRIMP.id)}
    )


def test_without_fish_nothing_is_kept() -> None:
    """Both vats stand open to corals and shrimp."""
    problem = framed(floor(), SHRIMP)
    assert [closed(problem, vat) for vat in PAIR] == [(), ()]
    assert vats(problem, SHRIMP.id) == PAIR


def test_a_farm_with_one_water_keeps_nothing_and_still_takes_the_fish() -> None:
    """The timetable says that no vat is free; a plan that refused the fish would help nobody."""
    alone = SITE.model_copy(update={"vats": {name: SITE.vats[name] for name in ("A1", "A2", "H1")}})
    problem = framed(floor(), FISH, site=alone)
    assert [closed(problem, vat) for vat in ("A1", "A2")] == [(), ()]
    assert vats(problem, FISH.id) == ("A1", "A2")


def test_water_in_which_shrimp_stand_is_no_second_water() -> None:
    """What stands on their shells comes along: the course would be refused there."""
    old = batch("S0-11", "decapod_crustacean", shipment="S0")
    problem = framed(floor((old, "B1", 5)), FISH)
    assert [closed(problem, vat) for vat in PAIR] == [(), ()]


def test_a_course_under_way_keeps_its_second_vat_for_the_transfers_left() -> None:
    """Two of four done: two to go, three days apart.  A finding on them since begins the count again; four done free it."""
    fish = batch("S0-12", "fish_reef_safe", shipment="S0")
    here = floor((fish, "A1", 6))
    stay = Stay(fish.id, "A1", 6, NOW - days(1), "quarantine")
    moves = [
        done(fish, f"fish-tank-transfer/{n}", "A1", NOW - days(9 - 3 * n), kind="transfer", to="A1") for n in range(4)
    ]
    half = replace(here, stays=(stay,), done=tuple(moves[:2]))
    assert closed(framed(half, SHRIMP), "B1") == ((0, 7),)
    assert vats(framed(half, SHRIMP), SHRIMP.id) == ()
    again = replace(half, found=(found(fish, "white-spot", "A1", NOW - days(2)),))
    assert closed(framed(again, SHRIMP), "B1") == ((0, COURSE),)
    assert closed(framed(replace(half, done=tuple(moves)), SHRIMP), "B1") == ()


@pytest.mark.parametrize("farm", ["small", "whole"])
def test_a_judge_with_its_own_arithmetic_finds_the_second_vat(farm: str) -> None:
    """Worked out from farm and library without the framing; shrimp put into the empty vat break its rule and no other."""
    site = small() if farm == "small" else SITE
    arrivals = [Arrival("S1", "one", TODAY, (FISH, SHRIMP))]
    plan: dict[str, Any] = solve(framed(floor(), FISH, SHRIMP, site=site), seconds=2).as_dict(TODAY)
    facts = facts_of_farm(site, LIBRARY, floor(), arrivals, TODAY)
    assert judge(facts, plan) == []
    assert {row["batch"] for row in plan["placements"]} >= {FISH.id}
    if farm == "small":
        (fish,) = [row for row in plan["placements"] if row["batch"] == FISH.id and row["stage"] == "quarantine"]
        (second,) = set(PAIR) - {fish["vat"]}
        facts["standing"].append(
            {**STRAY, "vat": second, "from": TODAY.isoformat(), "until": (TODAY + days(9)).isoformat()}
        )
        assert [words for words in judge(facts, plan) if words.startswith("transfer: S1-12")]


STRAY = {
    "batch": "S0-11", "stage": "quarantine", "count": 1, "group": "decapod_crustacean", "shipment": "S0", "supplier": "one",
    "movable": False, "move_to": [], "served": "2027-01-01", "area_mm2": 1, "oxygen_ug_per_h": 1, "ammonia_ug_per_h": 1,
}  # fmt: skip
