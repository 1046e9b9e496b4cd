"""Order plans are sound by a judge of their own, as good as trying everything where that can be, and bounded truly."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake.errors import BadInput
from intake.season import Kind, Offer, Season, Shipper, Stock, Water, solve_orders, worth_of
from tests.bench.season_instances import season_of
from tests.season.order_judge import judge_orders


def tiny(sales: int = 8, area: float = 1.0) -> Season:
    """Two kinds, two suppliers, one water, six weeks: small enough to try every set of boxes."""
    kinds = (
        Kind("a", (10.0,), (float(sales),), 0.1, 1.0, 2.0, 0.98, (0.05, 0.06, 0.07), (1.0,)),
        Kind("b", (6.0, 6.0, 9.0), (5.0,), 0.1, 0.0, 1.0, 1.0, (0.04,), (1.0,)),
    )
    shippers = (
        Shipper("one", (Offer("a", 3.0, 5, 3, 0.1, 0.05), Offer("b", 2.0, 5, 2)), (0, 3), 10.0, 0, 20, 2),
        Shipper("two", (Offer("a", 2.5, 10, 1, 0.2, 0.0),), (1, 4), 6.0, 5, None, 2),
    )
    return Season(6, kinds, shippers, (Water("Q", area),), 1.0, selling=2, window=3, fallow=1, budget=90.0)


def by_trying_everything(season: Season) -> float:
    """Best margin over every set of boxes, each with its own best sales; flights and the one water follow from the boxes."""
    keys = [(shipper, offer, week) for shipper in season.shippers for offer in shipper.offers for week in shipper.ships]
    best = 0.0
    for boxes in product(*(range((offer.most_boxes or 0) + 1) for _, offer, _ in keys)):
        fixed = tuple(
            replace(shipper, offers=tuple(
                replace(offer, most_boxes=count)
                for (owner, offer, start), count in zip(keys, boxes, strict=True)
                if owner is shipper and start == week and count
            ), ships=(week,), id=f"{shipper.id}@{week}")
            for shipper in season.shippers for week in shipper.ships
        )  # fmt: skip
        lots = tuple(one for one in fixed if one.offers)
        starts = sorted((one.ships[0], one.quarantine) for one in lots)
        if any(a + q + season.fallow > b for (a, q), (b, _) in pairwise(starts)):
            continue
        plan = solve_orders(replace(season, shippers=lots), seconds=5)
        best = max(best, plan.value)
    return best


def test_a_tiny_season_is_as_good_as_trying_every_set_of_boxes() -> None:
    """Flights, waters, boxes and budget against enumeration of what is ordered at most."""
    season = replace(tiny(), shippers=(replace(tiny().shippers[0], ships=(0,)), tiny().shippers[1]))
    plan = solve_orders(season, seconds=10)
    assert plan.proved
    assert judge_orders(season, plan) == []
    assert plan.value == pytest.approx(by_trying_everything(season), abs=1e-5)


@pytest.mark.parametrize(("size", "seed"), [("small", 1), ("small", 2), ("mid", 1)])
def test_plans_of_seasons_of_our_own_are_sound(size: str, seed: int) -> None:
    """Whatever the time, there is a plan, the judge accepts it, and the bound is a bound."""
    season = season_of(size, seed)
    plan = solve_orders(season, seconds=6)
    assert judge_orders(season, plan) == []
    assert plan.landings
    assert plan.bound >= plan.value


@given(st.integers(4, 12), st.floats(0.3, 2.0))
@settings(max_examples=15, deadline=None)
def test_more_room_money_or_sales_never_lower_a_proved_margin_and_headroom_never_raises_it(
    sales: int, area: float
) -> None:
    """What is possible with less stays possible with more."""
    season = tiny(sales, area)
    plan = solve_orders(season, seconds=10)
    assert plan.proved
    assert judge_orders(season, plan) == []
    more = [
        replace(season, waters=(Water("Q", area * 1.5),)), replace(season, budget=season.budget * 2),
        replace(season, kinds=tuple(replace(one, sales=tuple(2 * each for each in one.sales)) for one in season.kinds)),
        replace(season, headroom_quarantine=0.0),
    ]  # fmt: skip
    assert all(solve_orders(other, seconds=10).value >= plan.value - 1e-6 for other in more)


def test_a_spoiled_plan_is_named_by_the_judge() -> None:
    """The judge is not blind: more boxes, another water week, a dearer sale and a wrong margin are each found."""
    season = tiny()
    plan = solve_orders(season, seconds=10)
    first = plan.landings[0]
    more = replace(first, boxes=tuple((kind, count + 3) for kind, count in first.boxes))
    assert any(
        fault.startswith("room") for fault in judge_orders(season, replace(plan, landings=(more, *plan.landings[1:])))
    )
    off = replace(first, week=first.week + 2)
    assert any(fault.startswith("ship day") for fault in judge_orders(season, replace(plan, landings=(off,))))
    assert any(fault.startswith("value") for fault in judge_orders(season, replace(plan, value=plan.value + 5)))
    assert any(fault.startswith("bound") for fault in judge_orders(season, replace(plan, bound=plan.value - 5)))
    assert any(fault.startswith("conservation") for fault in judge_orders(season, replace(plan, sold=plan.sold[1:])))


def test_stock_is_sold_or_cleared_and_keeps_its_water_until_released() -> None:
    """What is there is part of the plan."""
    season = replace(tiny(), stock=(Stock("a", 10.0, 2, 3, "Q"),))
    plan = solve_orders(season, seconds=10)
    assert judge_orders(season, plan) == []
    assert all(one.week >= 4 for one in plan.landings)  # released in week 3, fallow for one


def test_one_more_water_is_worth_something_where_room_binds_and_nothing_where_it_does_not() -> None:
    """Worth by re-solving, with what it lies between by the bounds."""
    tight, wide = tiny(area=0.3), tiny(sales=1, area=50.0)
    plan = solve_orders(tight, seconds=10)
    more = {one.what: one for one in worth_of(tight, plan, area_m2=0.3, seconds=8)}
    assert more["one more quarantine water"].value > 0
    assert more["one more quarantine water"].low <= more["one more quarantine water"].value
    roomy = replace(wide, shippers=(replace(wide.shippers[0], ships=(0,)),))
    none = worth_of(roomy, solve_orders(roomy, seconds=10), area_m2=1.0, seconds=8)
    assert none[0].value == pytest.approx(0.0, abs=1e-6)


def test_faults_are_told_at_once() -> None:
    """A season that cannot be is refused with a finding for each fault."""
    with pytest.raises(BadInput) as trouble:
        replace(tiny(), weeks=0, shippers=(replace(tiny().shippers[0], offers=(Offer("c", -1.0),)),))
    assert len(trouble.value.findings) == 3
