"""Animals that grow and stock that is sold change what fits, by the day: needs, plans, bounds and the judge say the same."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings

from intake.errors import BadInput
from intake.library import load
from intake.library.groups import Growth
from intake.plan import BatchNeed, Grown, Problem, StageNeed, Standing, SystemOffer, VatOffer
from intake.plan.answers.relief_acts import apply
from intake.plan.growth import less_sold, needs_by_day
from intake.plan.solution import Relief
from intake.plan.solve import solve
from tests.checker import judge
from tests.plan.brute import best_left_over
from tests.plan.facts import facts_of_problem
from tests.strategies import problems


def growth(**values: float) -> Growth:
    """A row of growth."""
    return Growth.model_validate({**values, "source": "test", "evidence": "default"})


def farm(*grown: Grown, left: tuple[tuple[int, int], ...] = (), present: int = 0) -> Problem:
    """Ten animals for a quarantine vat and a grow-out vat of ten places each; perhaps some already in the second."""
    stages = (StageNeed("quarantine", 1, 8, ("Q1",)), StageNeed("grow-out", 8, 22, ("G1",)))
    batch = BatchNeed("S-1", "S", "one", "clam", 10, 1, 1, 1, stages, grown=grown)
    standing = Standing("H1", "G1", "grow-out", present, "clam", -9, 99, 1, 1, 1, left=left)
    systems = (SystemOffer("Q", "quarantine", 99), SystemOffer("G", "grow-out", 99))
    vats = (VatOffer("Q1", "Q", 10, 99), VatOffer("G1", "G", 10, 99))
    return Problem(date(2030, 1, 1), systems, vats, (batch,), (standing,) if present else ())


@pytest.mark.parametrize(
    ("values", "size", "days", "grown"),
    [
        # von Bertalanffy of T. maxima, Red Sea (abstract): 244 mm, 0.26 a year, 132.15 mm at three years
        ({"k_per_year": 0.26, "most_mm": 244.0}, 0.0, 3 * 365.25, 132.15),
        # season study: 35 mm at 0.26 a year needs 1.38 times its bench area after six weeks
        ({"k_per_year": 0.26, "most_mm": 244.0}, 35.0, 42, 35.0 * 1.383**0.5),
        ({"mm_per_week": 0.5}, 40.0, 28, 42.0),
        ({"mm_per_week": 0.5, "most_mm": 41.0}, 40.0, 28, 41.0),
        ({"mm_per_week": 0.5, "most_mm": 41.0}, 50.0, 28, 50.0),
        ({"k_per_year": 0.26, "most_mm": 41.0}, 50.0, 28, 50.0),
    ],
)
def test_sizes_grow_as_published_and_never_shrink(
    values: dict[str, float], size: float, days: float, grown: float
) -> None:
    """Straight on or towards the greatest size; what is bigger than that stays as it is."""
    assert growth(**values).size_after(size, days) == pytest.approx(grown, abs=0.01)


@pytest.mark.parametrize("values", [{"k_per_year": 0.2}, {"k_per_year": 0.2, "most_mm": 9.0, "mm_per_week": 1.0}])
def test_a_row_of_growth_is_one_of_the_two(values: dict[str, float]) -> None:
    """A rate towards no size, or two ways to grow, says nothing."""
    with pytest.raises(ValueError, match="mm_per_week, or k_per_year with most_mm"):
        growth(**values)


def test_every_group_says_how_it_grows_and_how_that_is_known() -> None:
    """Clams and corals grow; what is counted at one size says that it is a default."""
    for group in load().groups.values():
        assert group.growth is not None
        still = group.growth.size_after(30.0, 70.0) == 30.0
        assert still == (group.growth.evidence == "default" and group.kind not in {"stony coral", "soft coral"}), (
            group.id
        )


def test_needs_are_those_of_the_first_day_of_each_week() -> None:
    """From 40 mm by 1 mm a week: cells of 1.5 times the size, 0.5 mm of growth after half a week not counted yet."""
    clam = load().groups["clam_small"].model_copy(update={"growth": growth(mm_per_week=1.0)})
    found = needs_by_day(clam, 40.0, 0, (7, 28))
    assert [(one.from_day, one.footprint_mm2) for one in found] == [(7, 3783), (14, 3969), (21, 4161)]
    assert [one.from_day for one in needs_by_day(clam, 40.0, 0, (7, 28), grows=False)] == [7]


def test_what_fits_quarantine_may_not_fit_once_grown() -> None:
    """Ten of one place each fit for a week; from day 9 each takes two, so five are placed, and that is proved and told."""
    problem = farm(Grown(9, 2, 1, 1))
    plan = solve(problem, seconds=2)
    assert (plan.placed, plan.placed_bound, best_left_over(problem)) == (5, 5, 5)
    assert judge(facts_of_problem(problem), plan.as_dict(problem.day_zero)) == []
    (short,) = plan.short
    assert (short.count, short.binding[0].resource, short.after_quarantine) == (5, "bench area m²", True)
    tight = replace(problem, vats=(replace(problem.vats[0], area_mm2=4), problem.vats[1]))
    assert [one.after_quarantine for one in solve(tight, seconds=2).short] == [False], "quarantine is in the way first"
    assert solve(farm(), seconds=2).placed == 10


@pytest.mark.parametrize("need", ["area", "oxygen", "ammonia"])
def test_the_judge_sees_each_need_grow(need: str) -> None:
    """The plan of a farm without growth breaks the rule of just that need once animals grow."""
    plain = farm()
    tight = replace(
        plain,
        systems=(plain.systems[0], SystemOffer("G", "grow-out", 10)),
        vats=(plain.vats[0], VatOffer("G1", "G", 10, 10)),
    )
    plan = solve(tight, seconds=2).as_dict(tight.day_zero)
    needs = {"area": (2, 1, 1), "oxygen": (1, 2, 1), "ammonia": (1, 1, 2)}[need]
    grown = replace(tight, batches=(replace(tight.batches[0], grown=(Grown(20, *needs),)),))
    assert judge(facts_of_problem(tight), plan) == []
    faults = judge(facts_of_problem(grown), plan)
    assert [fault.split(":")[0] for fault in faults] == [need]


def test_in_the_first_stage_growth_is_in_the_need_already() -> None:
    """Room for the size at the end of quarantine is kept from landing, so later needs do not count there."""
    problem = farm(Grown(2, 2, 1, 1))
    assert solve(problem, seconds=2).placed == 5, "two places each in grow-out only"
    alone = replace(problem, batches=(replace(problem.batches[0], stages=problem.batches[0].stages[:1]),))
    plan = solve(alone, seconds=2)
    assert plan.placed == 10
    assert judge(facts_of_problem(alone), plan.as_dict(alone.day_zero)) == []


@pytest.mark.parametrize(("left", "placed"), [((), 0), (((7, 4),), 6), (((7, 4), (9, 0)), 6), (((9, 0),), 0)])
def test_expected_sales_free_room_from_their_day_on(left: tuple[tuple[int, int], ...], placed: int) -> None:
    """Grow-out begins on day 8: only what is sold by then makes room, and what is sold later does not."""
    problem = farm(left=left, present=10)
    plan = solve(problem, seconds=2)
    assert (plan.placed, best_left_over(problem)) == (placed, 10 - placed)
    assert judge(facts_of_problem(problem), plan.as_dict(problem.day_zero)) == []


def test_stock_is_sold_the_oldest_first_and_never_in_quarantine() -> None:
    """Twelve a week of a group: the older stay empties before the younger begins; other groups and lots in quarantine stay."""
    some = [
        Standing("A", "G1", "grow-out", 20, "clam", -20, 99, 1, 1, 1),
        Standing("B", "G1", "grow-out", 20, "clam", -40, 99, 1, 1, 1),
        Standing("C", "G1", "grow-out", 20, "coral", -40, 99, 1, 1, 1),
        Standing("D", "G1", "quarantine", 20, "clam", -40, 99, 1, 1, 1, served_day=99),
        Standing("E", "G1", "grow-out", 20, "clam", -60, 99, 1, 1, 1, served_day=5),
    ]
    groups = dict(zip("ABCDE", ("clam_small", "clam_small", "zoanthid", "clam_small", "clam_small"), strict=True))
    found = {one.batch: one.left for one in less_sold(some, groups, {"clam_small": 12.0}, 28)}
    assert found == {"A": ((14, 16), (21, 4), (28, 0)), "B": ((7, 8), (14, 0)), "C": (), "D": (), "E": ()}


def test_a_later_landing_grows_later() -> None:
    """Landing a week later moves the growth with it."""
    late = apply(farm(Grown(9, 2, 1, 1)), Relief("", "delay", 0, 0, 0, 0, proved=False, shipment="S", day=7))
    assert [one.from_day for one in late.batches[0].grown] == [16]


@pytest.mark.parametrize(
    "grown", [(Grown(9, 2, 1, 1), Grown(9, 3, 1, 1)), (Grown(9, 0, 1, 1),), (Grown(9, 2, 2, 2), Grown(10, 2, 1, 2))]
)
def test_growth_that_shrinks_or_goes_back_in_time_is_refused(grown: tuple[Grown, ...]) -> None:
    """What the rows rely on is checked where the question is stated."""
    with pytest.raises(BadInput, match="growth"):
        farm(*grown)


@pytest.mark.parametrize("left", [((7, 11),), ((7, 4), (9, 5)), ((9, 4), (7, 3)), ((7, -1),)])
def test_stock_never_gets_more_by_sales(left: tuple[tuple[int, int], ...]) -> None:
    """Nor fewer than none, nor in the wrong order of days."""
    with pytest.raises(BadInput, match="growth and sales"):
        farm(left=left, present=10)


@given(problem=problems())
@settings(max_examples=25, deadline=None)
def test_growth_never_lets_more_in(problem: Problem) -> None:
    """Without growth the proved best places at least as many."""
    plain = replace(problem, batches=tuple(replace(one, grown=()) for one in problem.batches))
    assert solve(plain, seconds=2).placed_bound >= solve(problem, seconds=2).placed
