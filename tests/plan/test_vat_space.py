"""Vat space must show what the plan says: every placement, every stay, fallow days, and fullness by plain arithmetic."""

from __future__ import annotations

import pytest
from hypothesis import given, settings

from intake.plan import Problem
from intake.plan.answers.vat_space import space
from intake.plan.solve import solve
from tests.strategies import problems


@given(problem=problems())
@settings(max_examples=15, deadline=None)
def test_placements_are_all_shown_and_no_vat_that_takes_newcomers_is_overfull(problem: Problem) -> None:
    """What comes with the plan is there once, in its vat; while a newcomer stands somewhere nothing is over 100 %."""
    plan = solve(problem, seconds=1, aims=1)
    moved = {(one.batch, one.to_vat) for one in plan.moves}
    shown = []
    for system in space(problem, plan):
        for vat in system.vats:
            coming = [one for one in vat.stays if one.kind == "coming" and (one.batch, vat.vat) not in moved]
            shown += [(one.batch, vat.vat, one.count, one.start_day, one.end_day) for one in coming]
            for step in vat.fullness:
                if any(one.start_day <= step.start_day < one.end_day for one in coming):
                    assert step.percent <= 100.0 + 1e-9
    wanted = [(one.batch, one.vat, one.count, one.from_day, one.until_day) for one in plan.placements]
    assert sorted(shown) == sorted(wanted)


def test_fullness_is_the_greater_share_and_fallow_follows_the_lot(tiny: Problem) -> None:
    """Worked out by hand for one quarantine vat of the small farm."""
    plan = solve(tiny, seconds=3)
    vats = {vat.vat: vat for system in space(tiny, plan) for vat in system.vats}
    offers = {vat.id: vat for vat in tiny.vats}
    here = [one for one in plan.placements if one.vat == "Q1b"]
    first = min(one.from_day for one in here)
    area = sum(4 * one.count for one in here if one.from_day <= first < one.until_day)
    step = next(one for one in vats["Q1b"].fullness if one.start_day == first)
    assert step.percent == pytest.approx(100 * area / offers["Q1b"].area_mm2)
    assert step.resource == "area"
    last = max(one.until_day for one in here)
    fallow = [one for one in vats["Q1b"].stays if one.kind == "fallow"]
    assert [(one.start_day, one.end_day) for one in fallow] == [(last, last + 2)]
    assert [one.kind for one in vats["Q2b"].stays if one.batch == "H3"] == ["present"]
