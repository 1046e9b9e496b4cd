"""What a person decides is kept and priced, and counting by price places more value without losing a kind."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings

from intake.errors import BadInput
from intake.plan import BatchNeed, Problem, StageNeed, SystemOffer, VatOffer
from intake.plan.model.pins import Pins, pinned
from intake.plan.solve import solve
from intake.plan.worth import aim_before_search, by_price, left_out, most_value, pins_cost, value_placed
from tests.checker import judge
from tests.plan.conftest import tiny_problem
from tests.plan.facts import facts_of_problem
from tests.strategies import problems


def snails_and_fish(fish: int = 150, small: int = 10) -> Problem:
    """482 snails at 45 cents and some fish at 60: by heads the snails take the vat, in which an animal of each needs as much."""

    def batch(name: str, group: str, count: int, area: int, price: int) -> BatchNeed:
        stages = (StageNeed("grow-out", 3, 20, ("G1",)),)
        return BatchNeed(name, "S", "P", group, count, area, 1, 1, stages, 1, 5, 4, 30, price_cents=price)

    return Problem(
        date(2030, 1, 1), (SystemOffer("G", "grow-out", 10**6),), (VatOffer("G1", "G", 1500, 10**6),),
        (batch("S-1", "snail", 482, 3, 45), batch("S-2", "fish", fish, small, 6000)),
    )  # fmt: skip


def test_by_price_the_fish_come_first_and_snails_take_what_is_left() -> None:
    """By heads 482 snails fill 1,446 of 1,500; by price 150 fish fill it all, unless a kind would be left out."""
    problem = snails_and_fish(fish=140)
    heads = solve(problem, seconds=2)
    weighed, plan, aim = most_value(problem, heads, seconds=2, seed=1)
    assert aim.words == "Each animal counts by its price: every line has a price."
    assert judge(facts_of_problem(weighed), plan.as_dict(weighed.day_zero)) == []
    placed = {one.batch: one.count for one in plan.placements}
    assert placed == {"S-1": 33, "S-2": 140}
    assert (value_placed(problem, plan), value_placed(problem, heads)) == (140 * 60 + 33 * 0.45, 482 * 0.45 + 5 * 60)


def test_no_kind_is_left_out_wholly_for_value() -> None:
    """150 fish would fill the vat to the last place: the plan by heads, which has both kinds, stands unless snails get some."""
    problem = snails_and_fish(fish=150)
    heads = solve(problem, seconds=2)
    assert left_out(problem, heads) == set()
    _, plan, aim = most_value(problem, heads, seconds=2, seed=1)
    assert left_out(problem, plan) == set()
    assert (aim.counts, "snail" in aim.why) in {("heads", True), ("value", True)}, "the guard is reported"


def test_without_every_price_heads_count() -> None:
    """A price that is missing is no price of nothing."""
    problem = snails_and_fish()
    unknown = replace(problem, batches=(replace(problem.batches[0], price_cents=0), problem.batches[1]))
    heads = solve(unknown, seconds=1)
    assert by_price(unknown) == {}
    assert most_value(unknown, heads, seconds=1, seed=1) == (unknown, heads, aim_before_search(unknown))
    assert aim_before_search(unknown).words == "Every animal counts alike: no price for S-1."
    assert value_placed(unknown, heads) is None


def test_prices_in_two_currencies_are_not_compared() -> None:
    """4.20 of one money and 4.50 of another say nothing of which animal is worth more."""
    problem = snails_and_fish()
    mixed = replace(
        problem,
        batches=tuple(replace(one, currency=money) for one, money in zip(problem.batches, ("USD", "EUR"), strict=True)),
    )
    heads = solve(mixed, seconds=1)
    _, plan, aim = most_value(mixed, heads, seconds=1, seed=1)
    assert (plan, by_price(mixed), value_placed(mixed, heads)) == (heads, {}, None)
    assert aim.words == "Every animal counts alike: prices in EUR, USD cannot be compared."


@pytest.mark.parametrize(
    ("cents", "words"),
    [
        ((0, 0), "Every animal counts alike: no line has a price."),
        ((300, 300), "Every animal counts alike: all prices are alike."),
        ((45, 6000), "Each animal counts by its price: every line has a price in EUR."),
    ],
)
def test_the_aim_says_why(cents: tuple[int, int], words: str) -> None:
    """Whatever animals count, the reason is said."""
    problem = snails_and_fish()
    priced = tuple(
        replace(one, price_cents=price, currency="EUR") for one, price in zip(problem.batches, cents, strict=True)
    )
    assert aim_before_search(replace(problem, batches=priced)).words == words


@given(problem=problems())
@settings(max_examples=15, deadline=None)
def test_plans_with_pins_keep_pins_and_every_rule(problem: Problem) -> None:
    """Pins only take away: the judge of the free problem accepts the plan, and pinned vats are kept to."""
    first, vat = problem.batches[0], problem.vats[0].id
    pins = Pins(keep_out={first.id: (vat,)}, free=(problem.vats[-1].id,), ceiling={problem.systems[0].id: 50})
    plan = solve(pinned(problem, pins), seconds=1)
    assert judge(facts_of_problem(problem), plan.as_dict(problem.day_zero)) == []
    assert all(one.vat != problem.vats[-1].id for one in plan.placements)
    assert all((one.batch, one.vat) != (first.id, vat) for one in plan.placements)


def test_a_pin_is_kept_and_its_price_is_told() -> None:
    """The small farm with a batch pinned to its smallest vat: what a plan without the pin places more is its price."""
    problem = tiny_problem()
    free = solve(problem, seconds=3)
    pins = Pins(pin={"T1-2": ("Q1b",)}, free=("Q1a",))
    plan = solve(pinned(problem, pins), seconds=3)
    used = {one.vat for one in plan.placements if one.batch == "T1-2" and one.stage == "quarantine"}
    assert used <= {"Q1b"}
    assert pins_cost(problem, plan, pins, seconds=3, seed=1) == free.placed - plan.placed > 0


def test_faults_of_pins_are_told_at_once_and_no_rule_is_set_aside() -> None:
    """A vat nobody knows, a batch nobody knows, a vat that does not suit, a ceiling above the whole."""
    pins = Pins(pin={"T1-1": ("nowhere",), "T9-9": ("Q1a",)}, free=("nowhere",), ceiling={"Q1": 140})
    with pytest.raises(BadInput) as trouble:
        pinned(tiny_problem(), pins)
    assert len(trouble.value.findings) == 5


def test_pins_are_kept_as_plain_data() -> None:
    """There and back."""
    pins = Pins({"a": ("V1", "V2")}, {"b": ("V3",)}, ("V4",), {"Q": 80})
    assert Pins.of(pins.as_dict()) == pins
    assert len(pins.words()) == 4
    assert not Pins.of({})
