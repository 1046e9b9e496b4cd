"""From farm file and library to a judged plan, and what the owner reads when a farm or shipment is impossible."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from intake.errors import BadInput, UnknownName
from intake.library import load
from intake.plan import Arrival, Commitment, Problem, frame
from intake.plan.answers.capacity import capacity
from intake.plan.solve import solve
from tests.checker import judge
from tests.plan.facts import facts_of_farm
from tests.plan.farm import TODAY, arrivals, batch, floor, site


def framed(**options: object) -> Problem:
    """The invented farm as a problem."""
    return frame(site(), load(), floor(), arrivals(), TODAY, **options)  # type: ignore[arg-type]


@pytest.mark.parametrize("growth", ["none", "library"])
def test_plan_of_a_whole_farm_passes_a_judge_with_its_own_arithmetic(growth: str) -> None:
    """The judge's facts come from farm and library without framing: footprints, saturation, settings, growth are redone."""
    farm = site()
    farm = farm.model_copy(update={"planning": farm.planning.model_copy(update={"growth": growth})})
    problem = frame(farm, load(), floor(), arrivals(), TODAY)
    assert any(one.grown for one in problem.batches) == (growth == "library")
    plan: dict[str, Any] = solve(problem, seconds=5).as_dict(TODAY)
    assert judge(facts_of_farm(farm, load(), floor(), arrivals(), TODAY), plan) == []
    assert plan["placed"] > 0


def test_stages_follow_the_library_and_cuttings_heal_instead_of_quarantine() -> None:
    """Quarantine is as long as the group says; house cuttings have none."""
    by_id = {one.id: one for one in framed().batches}
    clam = by_id["S1-01"].stages
    assert [(one.stage, one.start_day, one.end_day) for one in clam] == [("quarantine", 9, 51), ("grow-out", 51, 65)]
    assert [one.stage for one in by_id["C1"].stages] == ["healing", "grow-out"]


def test_reserve_and_wrong_water_are_never_offered() -> None:
    """A reserve vat stays empty for trouble, and 22 °C is too cool for these groups."""
    offered = {vat for one in framed().batches for stage in one.stages for vat in stage.vats}
    assert offered == {"Q1a", "Q1b", "Q2a", "Ga", "Gb"}


def test_batch_no_vat_suits_is_short_with_the_rule_that_excludes_it() -> None:
    """Predatory fish need 400 mm of water; no vat here has it, and the owner is told the two figures."""
    arrival = Arrival("S1", "one", date(2030, 3, 10), (batch("S1-01", "fish_predatory", 100, 2),))
    solution = solve(frame(site(), load(), floor(), [arrival], TODAY), seconds=2)
    short = solution.short[0]
    assert (short.batch, short.count) == ("S1-01", 2)
    assert (short.binding[0].resource, short.binding[0].need, short.binding[0].have) == ("water depth mm", 400, 300)


def test_overfull_shipment_says_which_bench_is_short_in_square_metres() -> None:
    """What binds is reported with need and have, so that the owner can argue with it."""
    arrival = Arrival("S1", "one", date(2030, 3, 10), (batch("S1-01", "clam_medium", 100, 900),))
    solution = solve(frame(site(), load(), floor(), [arrival], TODAY), seconds=2)
    area = next(one for one in solution.short[0].binding if one.resource == "bench area m²")
    assert area.need == pytest.approx(900 * 0.0225)
    assert 0 < area.have < area.need
    assert area.have / 0.0225 == pytest.approx(round(area.have / 0.0225), abs=0.05), (
        "what whole clams can use, to 0.001 m²"
    )


def test_accepted_plan_keeps_its_places() -> None:
    """A commitment still to come takes its room away from newcomers; one of a batch being planned again does not."""
    promised = Commitment("S0-01", "Ga", "grow-out", 30, date(2030, 3, 24), date(2030, 4, 7))
    standing = framed(commitments=[promised]).standing
    assert [(one.batch, one.vat, one.from_day, one.until_day) for one in standing if one.stage == "grow-out"] == [
        ("H1", "Ga", -273, 10_000),
        ("S0-01", "Ga", 23, 37),
    ]
    again = replace(promised, batch="S1-01")
    assert all(one.batch != "S1-01" for one in framed(commitments=[again]).standing)


def test_commitment_is_cut_to_the_animals_still_alive() -> None:
    """Dead animals need no grow-out place."""
    promised = Commitment("S0-01", "Ga", "grow-out", 45, date(2030, 3, 24), date(2030, 4, 7))
    assert [one.count for one in framed(commitments=[promised]).standing if one.batch == "S0-01"] == [30, 30]


def test_stock_leaves_when_the_owner_says_so() -> None:
    """A leaving day of the ledger counts, and what it does not name stays; without a ledger the group's days are taken."""
    told = framed(leave={("H1", "Ga"): date(2030, 3, 31)}).standing
    assert {one.batch: one.until_day for one in told} == {"S0-01": 10_000, "H1": 30}
    assert {one.batch: one.until_day for one in framed().standing} == {"S0-01": -19 + 42, "H1": 10_000}


def test_only_stock_out_of_quarantine_can_be_movable() -> None:
    """Asking to move a quarantine lot is not granted."""
    movable = {one.batch for one in framed(movable={"H1", "S0-01"}).standing if one.movable}
    assert movable == {"H1"}


@pytest.mark.parametrize(
    ("arrival", "words"),
    [
        (Arrival("S1", "one", date(2030, 2, 1), (batch("S1-01", "zoanthid", 40, 5),)), "2030-02-01"),
        (Arrival("S1", "one", date(2030, 3, 9), (batch("S1-01", "zoanthid", 40, 0),)), "at least one animal"),
        (Arrival("S1", "one", date(2030, 3, 9), (batch("S1-01", "zoanthid", 0, 5),)), "a size above 0 mm"),
    ],
)
def test_impossible_arrivals_are_refused_with_what_was_expected(arrival: Arrival, words: str) -> None:
    """A landing in the past, no animals, or no size: refused before anything is planned."""
    with pytest.raises(BadInput, match=words):
        frame(site(), load(), floor(), [arrival], TODAY)


def test_unknown_group_is_named_with_its_batch() -> None:
    """A group the library does not know is an error of the list, not a batch that does not fit."""
    arrival = Arrival("S1", "one", date(2030, 3, 9), (batch("S1-01", "unicorn", 40, 5),))
    with pytest.raises(UnknownName, match="S1-01"):
        frame(site(), load(), floor(), [arrival], TODAY)


def test_same_batch_twice_is_refused() -> None:
    """Two batches of one id could not be modelled one by one on any sheet."""
    one = Arrival("S1", "one", date(2030, 3, 9), (batch("S1-01", "zoanthid", 40, 5),))
    with pytest.raises(BadInput, match="each id once"):
        frame(site(), load(), floor(), [one, one], TODAY)


def test_problem_collects_all_its_faults() -> None:
    """Several mistakes are reported at once."""
    problem = framed()
    broken = (replace(problem.vats[0], system="nowhere"), replace(problem.vats[1], area_mm2=-1), *problem.vats[2:])
    with pytest.raises(BadInput) as caught:
        replace(problem, vats=broken)
    assert len(caught.value.findings) == 2


def test_empty_request_is_an_empty_plan() -> None:
    """Nothing to place is placed."""
    solution = solve(frame(site(), load(), floor(), [], TODAY), seconds=1)
    assert (solution.status, solution.announced, solution.placements) == ("optimal", 0, ())


def test_capacity_grows_when_the_quarantine_lot_has_left() -> None:
    """The largest shipment that fits is found per day, really fits, and one animal more is proved not to."""
    mix = [batch("S9-01", "clam_small", 40, 100), batch("S9-02", "zoanthid", 40, 50)]
    days = [TODAY + timedelta(days=offset) for offset in (1, 30)]
    found = capacity(site(), load(), floor(), mix, days, TODAY, supplier="one", seconds=2)
    early, late = found.days
    assert 0 < early.animals < late.animals
    assert early.proved
    assert found.mix == 150


def test_capacity_reaches_the_most_that_is_tried() -> None:
    """One clam: sixteen of them, the most that is tried, fit into any vat."""
    found = capacity(site(), load(), floor(), [batch("S9-01", "clam_small", 40, 1)], [TODAY], TODAY, seconds=1)
    assert (found.days[0].animals, found.days[0].multiple) == (16, 16)


def test_capacity_of_nothing_is_refused() -> None:
    """A mix without animals has no multiple."""
    with pytest.raises(BadInput, match="at least one animal"):
        capacity(site(), load(), floor(), [], [TODAY], TODAY)
