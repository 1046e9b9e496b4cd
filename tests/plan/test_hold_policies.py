"""The three policies side by side: each places at least as many as the one before, and says whom that holds for how long."""

from __future__ import annotations

from datetime import date

import pytest

from intake.plan import BatchNeed, Problem, StageNeed, Standing, SystemOffer, VatOffer
from intake.plan.answers.hold_policies import side_by_side
from intake.plan.answers.longer_holds import held_until
from intake.plan.solve import solve


def coral(batch: str, start: int, end: int, count: int) -> BatchNeed:
    """Corals for the one quarantine water, then for grow-out."""
    return BatchNeed(
        batch, batch.split("-")[0], "P1", "coral", count, 1, 1, 1,
        (StageNeed("quarantine", start, end, ("Q1", "Q2", "Q3")), StageNeed("grow-out", end, end + 10, ("G1",))),
        min_portion=5, max_vats=2, handling_seconds=30,
    )  # fmt: skip


def farm(standing: int = 40) -> Problem:
    """One water of three vats: a lot stands in the first until day 20; two batches land on day 5, ending on days 20 and 33."""
    stands = Standing(
        "S0-01", "Q1", "quarantine", 40, "coral", -10, standing, 1, 1, 1,
        shipment="S0", supplier="P1", served_day=standing, handling_seconds=30,
    )  # fmt: skip
    return Problem(
        date(2030, 3, 1),
        (SystemOffer("Q", "quarantine", 10_000), SystemOffer("G", "grow-out", 10_000)),
        (*(VatOffer(f"Q{n}", "Q", 50, 10_000, 3) for n in (1, 2, 3)), VatOffer("G1", "G", 500, 10_000)),
        (coral("S1-01", 5, 20, 50), coral("S1-02", 5, 33, 50)),
        (stands,) if standing else (),
    )


def test_each_policy_allows_more_than_the_one_before_and_says_what_it_costs() -> None:
    """Alone: one of the two.  Waiting: both, were nobody there.  With the lot held 13 days: both."""
    alone, waiting, held = side_by_side(farm(20), seconds=6)
    assert (alone.placed, alone.waiting_days, alone.held_days) == (50, 0, 0)
    assert (waiting.placed, waiting.held_days) == (50, 0)
    assert (held.placed, held.held_days, held.holds) == (100, 40 * 13, (("Q", 33),))
    assert held.waiting_days == 50 * 13
    assert solve(held_until(farm(20), "Q", 33), seconds=2).placed == held.placed


def test_newcomers_wait_for_each_other_where_nobody_stands() -> None:
    """The earlier of two waits thirteen days; without waiting only one of them fits."""
    alone, waiting, held = side_by_side(farm(0), seconds=6)
    assert (alone.placed, waiting.placed, held.placed) == (50, 100, 100)
    assert waiting.waiting_days == 50 * 13
    assert held.holds == ()
    assert held.proved


@pytest.mark.parametrize("until", [0, 12, 20, 33])
def test_more_freedom_never_places_fewer(until: int) -> None:
    """Whatever the lot that stands there does; and no policy places more than its bound."""
    rows = side_by_side(farm(until), seconds=3)
    assert [one.placed for one in rows] == sorted(one.placed for one in rows)
    assert all(one.placed <= one.bound <= one.announced for one in rows)
