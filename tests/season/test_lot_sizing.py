"""The order plan on its smallest cases: equal to dynamic programs that share no code with it, and to published answers."""

from __future__ import annotations

from random import Random

import pytest

from intake.season import Kind, Offer, Season, Shipper, solve_orders
from tests.season.lot_sizing import wagner_whitin, with_backlog, with_lost_sales

MET = 1000.0
"""Price at which every sale pays, so that what is greatest is price × demand less the least cost."""


def lot_sizing(
    demand: list[int], price: list[float], setup: list[float], holding: float, cost: float, backlog: float | None = None,
    most: int | None = None, store: float = float("inf"),
) -> Season:  # fmt: skip
    """One kind without losses, at home the week it is ordered; each week a flight of its own, since freight differs by week."""
    weeks = len(demand)
    kind = Kind("k", tuple(price), (*map(float, demand), 0.0), upkeep=holding, area_m2=(1.0,))
    shippers = tuple(
        Shipper(f"s{week}", (Offer("k", cost),), (week,), setup[week], most=most, quarantine=0) for week in range(weeks)
    )
    return Season(
        weeks, (kind,), shippers, selling=0, window=weeks, backlog=backlog, headroom_quarantine=0.0, grow_out_m2=store
    )


def least_cost(season: Season, demand: list[int]) -> float:
    """Cost of meeting everything, from the greatest margin at a price at which everything pays."""
    plan = solve_orders(season, seconds=20)
    assert plan.proved
    assert plan.lost == ()
    return MET * sum(demand) - plan.value


PUBLISHED = [
    # public tests of stockpyl, MIT (LarrySnyder/stockpyl, tests/test_wagner_whitin.py): examples of Snyder & Shen
    ([90, 120, 80, 70], [500.0] * 4, 2.0, 1380),
    ([150, 100, 80, 200], [120.0] * 4, 0.8, 424),
    ([730, 580, 445, 650, 880], [100.0] * 5, 0.1, 423),
    ([200] * 5, [100.0] * 5, 0.1, 280),
    # Wagner & Whitin 1958, twelve periods; figures from memory, the answer as the study read it
    (
        [69, 29, 36, 61, 61, 26, 34, 67, 45, 67, 79, 56],
        [85.0, 102, 102, 101, 98, 114, 105, 86, 119, 110, 98, 114], 1.0, 864,
    ),
    # public test of inventoryanalytics, MIT (gwr3n/inventoryanalytics, wagnerwhitin1958_test.py)
    ([10, 20, 30, 40], [30.0] * 4, 1.0, 110),
]  # fmt: skip


@pytest.mark.parametrize(("demand", "setup", "holding", "answer"), PUBLISHED)
def test_published_answers(demand: list[int], setup: list[float], holding: float, answer: float) -> None:
    """What others published, both from the program and from the dynamic program here."""
    season = lot_sizing(demand, [MET], setup, holding, 0.0)
    assert least_cost(season, demand) == pytest.approx(answer, abs=1e-6)
    assert wagner_whitin(demand, setup, holding) == pytest.approx(answer)


def test_published_answer_with_backorders() -> None:
    """Setup 40, a unit 1, holding 1, waiting 2: 230 (inventoryanalytics, planned_backorders_test.py, MIT)."""
    demand = [10, 20, 30, 40]
    season = lot_sizing(demand, [MET], [40.0] * 4, 1.0, 1.0, backlog=2.0)
    assert least_cost(season, demand) == pytest.approx(230)


def test_published_answer_with_capacity() -> None:
    """Setup 3, a unit 1, holding 0.5, five a period and store for four: 20 (exercise after Winston, from memory)."""
    demand = [1, 3, 2, 4]
    season = lot_sizing(demand, [MET], [3.0] * 4, 0.5, 1.0, most=5, store=4.0)
    assert least_cost(season, demand) == pytest.approx(20)


def _drawn(rng: Random) -> tuple[list[int], list[float], list[float], float, float]:
    weeks = rng.randint(3, 12)
    demand = [rng.choice([0, rng.randint(1, 90)]) for _ in range(weeks)]
    price = [float(rng.randint(2, 30)) for _ in range(weeks)]
    setup = [float(rng.randint(10, 400)) for _ in range(weeks)]
    return demand, price, setup, rng.choice([0.5, 1.0, 2.0, 3.5]), float(rng.randint(0, 8))


def test_wagner_whitin_on_a_thousand_random_cases() -> None:
    """Every demand met at least cost."""
    rng = Random(20261130)
    for case in range(1000):
        demand, _, setup, holding, cost = _drawn(rng)
        season = lot_sizing(demand, [MET], setup, holding, cost)
        assert least_cost(season, demand) == pytest.approx(wagner_whitin(demand, setup, holding, cost), abs=1e-4), case


def test_lost_sales_on_three_hundred_random_cases() -> None:
    """Sales that do not pay are left."""
    rng = Random(20261201)
    for case in range(300):
        demand, price, setup, holding, cost = _drawn(rng)
        plan = solve_orders(lot_sizing(demand, price, setup, holding, cost), seconds=20)
        assert plan.value == pytest.approx(with_lost_sales(demand, price, setup, holding, cost), abs=1e-5), case


def test_backlog_on_two_hundred_random_cases() -> None:
    """Sales may wait for a later order, at a price a week."""
    rng = Random(20261202)
    for case in range(200):
        demand, price, setup, holding, cost = _drawn(rng)
        waiting = rng.choice([0.5, 1.0, 4.0])
        plan = solve_orders(lot_sizing(demand, price, setup, holding, cost, backlog=waiting), seconds=20)
        expected = with_backlog(demand, price, setup, holding, waiting, cost)
        assert plan.value == pytest.approx(expected, abs=1e-5), case
