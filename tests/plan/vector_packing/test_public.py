"""The planner's core on public packing instances, stripped to that problem: the published fewest bins hold everything."""

from __future__ import annotations

import json

import pytest

from intake.plan.solve import solve
from tests.checker import judge
from tests.plan.facts import facts_of_problem
from tests.plan.vector_packing.planted import Packing, as_plan
from tests.plan.vector_packing.public import SETS, packings

SLOW = {"N1C1W1_C"}
"""Left to ``tests/bench/packing_sets.py``, as are the triplets."""

BEYOND_ADDING_UP = {"N1C1W1_I": 1, "N1C1W1_K": 1}
"""Bins by which the published proof exceeds the sums of ``least``."""

EASY = [one for one in packings("Scholl", "arc-flow", "2DVPP-PLC") if one.name not in SLOW]


def least(packing: Packing) -> int:
    """Bins that are needed at least, by adding up: what is large takes a bin, the rest what room is left beside it.

    The bound L2 of Martello and Toth 1990, in each dimension alone; from memory.
    """
    most = 0
    for size, needs in zip(packing.size, zip(*packing.items, strict=True), strict=True):
        for small in range(size // 2 + 1):
            alone = [need for need in needs if need > size - small]
            half = [need for need in needs if size - small >= need > size / 2]
            rest = sum(need for need in needs if size / 2 >= need >= small) - sum(size - need for need in half)
            most = max(most, len(alone) + len(half) + max(0, -(-rest // size)))
    return most


@pytest.mark.parametrize("packing", packings(), ids=lambda packing: packing.name)
def test_no_fewer_bins_than_published_can_hold_the_items(packing: Packing) -> None:
    """Half of what makes the published number an optimum, without the solver; a mistyped item would show here."""
    assert packing.fewest - least(packing) == BEYOND_ADDING_UP.get(packing.name, 0)


@pytest.mark.parametrize("packing", EASY, ids=lambda packing: packing.name)
def test_the_fewest_bins_published_hold_everything(packing: Packing) -> None:
    """The other half, and what the planner is held to: as many vats as bins, and nothing left over."""
    problem = as_plan(packing, packing.fewest)
    plan = solve(problem, seconds=6, aims=1)
    assert judge(facts_of_problem(problem), plan.as_dict(problem.day_zero)) == []
    assert plan.placed == len(packing.items)


@pytest.mark.parametrize("packing", packings("arc-flow"), ids=lambda packing: packing.name)
def test_with_vats_to_spare_no_more_are_used_than_published(packing: Packing) -> None:
    """The aim of fewest vats comes down to the published number; the larger ones are measured by the bench."""
    plan = solve(as_plan(packing, packing.fewest + 2), seconds=6)
    assert plan.placed == len(packing.items)
    assert len({one.vat for one in plan.placements}) == packing.fewest


def test_every_set_carries_its_source_and_licence() -> None:
    """Data of others travels only with where it is from."""
    held = json.loads(SETS.read_text(encoding="utf-8"))
    assert {row["set"] for row in held["instances"]} == set(held["sources"])
    assert all("Apache-2.0 licence" in words for words in held["sources"].values())
    assert SETS.stat().st_size < 50_000
