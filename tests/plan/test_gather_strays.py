"""Strays make room by joining their kind: a few animals in the only water of another kind move to lots they may wait with."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from intake.plan import BatchNeed, Problem, StageNeed, Standing, SystemOffer, VatOffer
from intake.plan.answers.gather_strays import gathering
from intake.plan.answers.relief_acts import apply
from intake.plan.answers.relief_options import relief
from intake.plan.solve import solve
from tests.checker import judge
from tests.plan.facts import facts_of_problem


def corals(batch: str, vat: str, count: int, until: int, **more: object) -> Standing:
    """Soft corals in quarantine, one supplier's."""
    told = Standing(
        batch, vat, "quarantine", count, "soft", -10, until, 1, 1, 1,
        shipment="S0", supplier="P1", served_day=until, handling_seconds=60,
    )  # fmt: skip
    return replace(told, **more)  # type: ignore[arg-type]


def farm(*standing: Standing) -> Problem:
    """284 fish for the fish water; soft corals stand in it and in the corals' own."""
    return Problem(
        date(2030, 3, 1),
        (SystemOffer("F", "quarantine", 10_000), SystemOffer("C", "quarantine", 10_000), SystemOffer("G", "grow-out", 10_000)),
        (
            VatOffer("F1", "F", 150, 10_000, 3), VatOffer("F2", "F", 150, 10_000, 3),
            VatOffer("C1", "C", 100, 10_000, 3), VatOffer("C2", "C", 100, 10_000, 3), VatOffer("G1", "G", 900, 10_000),
        ),
        (
            BatchNeed(
                "S1-01", "S1", "P2", "fish", 284, 1, 1, 1,
                (StageNeed("quarantine", 6, 48, ("F1", "F2")), StageNeed("grow-out", 48, 60, ("G1",))),
                min_portion=10, max_vats=4, handling_seconds=30,
            ),
        ),
        standing,
        {("fish", "soft"): "water"},
    )  # fmt: skip


STRAYS, KIND = corals("S0-03", "F1", 17, 20), corals("S0-01", "C1", 60, 31)


def test_seventeen_corals_in_the_fish_water_are_brought_to_the_corals() -> None:
    """They blocked 284 fish for three weeks; no relief named them."""
    problem = farm(STRAYS, KIND)
    solution = solve(problem, seconds=2)
    assert solution.placed == 0
    found = next(one for one in relief(problem, solution, seconds=6) if one.kind == "gather")
    assert found.do == "gather strays: move 17 of S0-03 to C1 and keep them there 11 days longer, so that F empties"
    assert (found.places, found.left_over, found.count) == (284, 0, 17)
    then = apply(problem, found)
    again = solve(then, seconds=2)
    assert again.placed == 284
    assert judge(facts_of_problem(then), again.as_dict(then.day_zero)) == []


@pytest.mark.parametrize(
    ("standing", "why"),
    [
        ((STRAYS,), "nobody of their kind stands elsewhere"),
        ((corals("S0-03", "F1", 90, 20), KIND), "too many to be strays"),
        ((corals("S0-03", "F1", 17, 40), KIND), "the lots they would join would wait for them"),
        ((replace(STRAYS, supplier="P9"), KIND), "another supplier's water"),
        ((STRAYS, KIND, corals("S0-02", "C2", 40, 45)), "lots there leave on two days"),
        (
            (STRAYS, corals("S0-01", "C1", 90, 31), corals("S9-02", "C2", 40, 31, shipment="S9")),
            "no room and no empty vat",
        ),
        (
            (STRAYS, KIND, replace(STRAYS, batch="H1", stage="grow-out", vat="F2", until_day=900)),
            "others stay in the water",
        ),
    ],
)
def test_nobody_is_gathered_where_it_would_harm_or_not_help(standing: tuple[Standing, ...], why: str) -> None:
    """Each with one fact otherwise."""
    assert gathering(farm(*standing), "F") is None, why


def test_a_place_promised_after_quarantine_moves_along() -> None:
    """Eleven days later, as long as they wait."""
    promised = corals("S0-03", "G1", 17, 60, stage="grow-out", from_day=20, served_day=0)
    found = gathering(farm(STRAYS, KIND, promised), "F")
    assert found is not None
    later = next(one for one in found.problem.standing if one.stage == "grow-out")
    assert (later.from_day, later.until_day) == (31, 71)
