"""The plan asks the rules: vats closed by hand, water with a finding and water that held copper take nobody it should not."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from intake.errors import BadInput
from intake.farm.floor import Closure, Floor, Past, Stay
from intake.plan.answers.relief_options import apply, relief
from intake.plan.framing import Arrival, frame
from intake.plan.model.pins import Pins, pinned
from intake.plan.problem import Problem
from intake.plan.solve import solve
from tests.rules.ground import LIBRARY, NOW, SITE, batch, days, done, floor, found

CLAM = batch("S1-01")
FISH = batch("S1-12", "fish_reef_safe")
TODAY = NOW.date()


def framed(here: Floor, *lots: object) -> Problem:
    """The question for a shipment landing in two days."""
    return frame(SITE, LIBRARY, here, [Arrival("S1", "one", TODAY + timedelta(days=2), tuple(lots))], TODAY)  # type: ignore[arg-type]


def vats(problem: Problem, lot: str) -> tuple[str, ...]:
    """Quarantine vats offered to a lot."""
    return next(one for one in problem.batches if one.id == lot).stages[0].vats


def closed(problem: Problem, vat: str) -> tuple[tuple[int, int], ...]:
    """Days a vat is closed."""
    return next(one for one in problem.vats if one.id == vat).closed


def test_a_vat_closed_by_hand_is_closed_in_the_plan() -> None:
    """For its days, or for good; opened by hand it is offered whatever the farm file says."""
    here = replace(
        floor(), closures=(Closure("A1", NOW - days(1), NOW + days(9), "crack"), Closure("A2", NOW, None, "leak"))
    )
    problem = framed(here, CLAM)
    assert closed(problem, "A1") == ((-1, 9),)
    assert closed(problem, "A2")[0][1] > 1000
    assert closed(framed(floor(), CLAM), "AC") != ()
    assert closed(framed(replace(floor(), opened={"AC": NOW}), CLAM), "AC") == ()


def test_water_with_a_finding_is_not_offered_to_what_can_catch_it() -> None:
    """Fish are planned elsewhere, clams as before; free again when the host-free days are over."""
    ill = replace(floor(batches={FISH.id: FISH}), found=(found(FISH, "white-spot", "B1", NOW - days(27)),))
    old = replace(ill, found=(found(FISH, "white-spot", "B1", NOW - days(40)),))
    ill = replace(ill, past=(Past(FISH.id, "B1", NOW - days(60), NOW - days(27)),))
    old = replace(old, past=(Past(FISH.id, "B1", NOW - days(60), NOW - days(40)),))
    plain = vats(framed(floor(), FISH, CLAM), FISH.id)
    assert {"B1", "B2"} <= set(plain)
    assert not {"B1", "B2"} & set(vats(framed(ill, FISH, CLAM), FISH.id))
    assert {"B1", "B2"} <= set(vats(framed(old, FISH, CLAM), FISH.id))
    assert vats(framed(ill, CLAM), CLAM.id) == vats(framed(floor(), CLAM), CLAM.id)


def test_water_that_held_copper_is_offered_to_fish_only() -> None:
    """For good."""
    dosed = replace(floor(batches={FISH.id: FISH}), done=(done(FISH, "fish-copper-bath", "B1", NOW - days(400)),))
    assert not {"B1", "B2"} & set(vats(framed(dosed, FISH, CLAM), CLAM.id))
    assert {"B1", "B2"} <= set(vats(framed(dosed, FISH, CLAM), FISH.id))


def test_a_vat_kept_in_reserve_is_not_borrowed_from_such_water() -> None:
    """For hire at a price: to clams while its water never held copper, and not after."""
    hired = SITE.vats["B2"].model_copy(update={"reserve": True, "price_per_week": 20.0})
    site = SITE.model_copy(update={"vats": {**SITE.vats, "B2": hired}})
    dosed = replace(floor(batches={FISH.id: FISH}), done=(done(FISH, "fish-copper-bath", "B1", NOW - days(400)),))
    for here, offered in ((floor(), ("B2",)), (dosed, ())):
        arrival = Arrival("S1", "one", TODAY + timedelta(days=2), (CLAM,))
        (clam,) = frame(site, LIBRARY, here, [arrival], TODAY).batches
        assert clam.stages[0].reserve == offered


def test_a_water_closed_by_a_finding_is_told_beside_those_that_are_full() -> None:
    """Too many fish for the waters left: reasons and a refused pin name the closed one and its day."""
    ill = replace(floor(batches={FISH.id: FISH}), found=(found(FISH, "white-spot", "B1", NOW - days(5)),))
    ill = replace(ill, past=(Past(FISH.id, "B1", NOW - days(60), NOW - days(5)),))
    problem = framed(ill, replace(FISH, announced=200))
    (lot,) = problem.batches
    only = replace(problem, batches=(replace(lot, stages=(replace(lot.stages[0], vats=("A1",)),)),))
    (short,) = solve(only, seconds=1, aims=1).short
    row = next(one for one in short.binding if one.resource == "water without a standing finding")
    assert "free of hosts from Fri 25 Dec" in row.where
    assert row.gain > 0
    with pytest.raises(BadInput) as refused:
        pinned(problem, Pins(pin={FISH.id: ("B1",)}))
    (fault,) = refused.value.findings
    assert "B1 (" in fault.value
    assert "free of hosts from Fri 25 Dec" in fault.value
    assert fault.expected.startswith("a vat that suits it: ")


def test_what_binds_names_the_water_and_the_day_it_is_free() -> None:
    """Where no water is left the reason is reported."""
    everywhere = tuple(found(FISH, "white-spot", vat, NOW - days(5)) for vat in ("A1", "B1", "Y1"))
    past = tuple(Past(FISH.id, vat, NOW - days(60), NOW - days(5)) for vat in ("A1", "B1", "Y1"))
    here = replace(floor(batches={FISH.id: FISH}), found=everywhere, past=past)
    stage = next(one for one in framed(here, FISH).batches if one.id == FISH.id).stages[0]
    if not stage.vats:
        assert "water without a standing finding" in stage.excluded[0].resource
        assert "free of hosts from Fri 25 Dec" in stage.excluded[0].where
    else:
        assert not {"A1", "B1", "Y1"} & set(stage.vats)


def test_waiting_for_water_free_of_hosts_is_offered_as_a_relief() -> None:
    """Every quarantine water had white spot; the first to be free is waited for, by its day, and the fish then fit."""
    waters = ("A1", "B1", "W1", "S1", "Y1")
    seen = tuple(found(FISH, "white-spot", vat, NOW - days(9)) for vat in waters)
    past = tuple(Past(FISH.id, vat, NOW - days(60), NOW - days(4 if vat == "B1" else 2)) for vat in waters)
    problem = framed(replace(floor(batches={FISH.id: FISH}), found=seen, past=past), FISH)
    stage = problem.batches[0].stages[0]
    assert (stage.vats, len(stage.excluded)) == ((), 1)
    solution = solve(problem, seconds=2.0, seed=1)
    assert solution.placed == 0
    offered = relief(problem, solution, seconds=4.0)
    (wait,) = [one for one in offered if one.kind == "delay" and "free of hosts" in one.do and one.day == 24]
    assert wait.do == (
        "move the arrival of shipment S1 to 2026-12-26 (24 days later): qb is free of hosts from Sat 26 Dec"
    )
    assert (wait.places, wait.left_over) == (60, 0)
    later = apply(problem, wait).batches[0].stages[0]
    assert {scene_of(vat) for vat in later.vats} == {"qb"}
    assert all(one.day > later.start_day for one in later.opening)
    assert not [one for one in offered if one.kind == "delay" and one.day < 24]


def scene_of(vat: str) -> str:
    """The water of a vat."""
    return SITE.vat(vat).system


def test_company_by_genus_reaches_the_plan() -> None:
    """A cleaner shrimp may stand with clams, a hermit may not."""
    shrimp, hermit = batch("S1-02", "decapod_crustacean", "Lysmata"), batch("S1-03", "decapod_crustacean", "Calcinus")
    problem = framed(floor(), CLAM, shrimp, hermit)
    groups = {one.id: one.group for one in problem.batches}
    assert problem.kept_apart(groups["S1-01"], groups["S1-02"]) in ("", None)
    assert problem.kept_apart(groups["S1-01"], groups["S1-03"]) == "vat"


def test_strays_are_gathered_only_where_their_water_may_take_them() -> None:
    """Fish that stand in A1: not to water with white spot, and nowhere while they carry it themselves."""
    stands = Stay(FISH.id, "A1", 10, NOW - days(3), "quarantine")
    other = batch("S0-12", "fish_reef_safe")
    here = replace(floor(batches={FISH.id: FISH, other.id: other}), stays=(stands,))
    ill = replace(here, found=(found(other, "white-spot", "B1", NOW - days(5)),))
    ill = replace(ill, past=(Past(other.id, "B1", NOW - days(60), NOW - days(5)),))
    carrier = replace(here, found=(found(FISH, "white-spot", "A1", NOW - days(1)),))

    def goes(floor_: Floor) -> set[str]:
        (one,) = framed(floor_, CLAM).standing
        return set(one.gather_to or ())

    assert {"B1", "B2", "Y1"} <= goes(here)
    assert not {"A1", "A2"} & goes(here)
    assert not {"B1", "B2"} & goes(ill)
    assert "Y1" in goes(ill)
    assert goes(carrier) == set()
