"""Tiny farms in which release dates decide who fits: the proved plan against every way there is, dated by the judge."""

from __future__ import annotations

from dataclasses import replace
from random import Random

from intake.plan import BatchNeed, Problem, StageNeed, Standing, SystemOffer, VatOffer
from intake.plan.solve import solve
from tests.checker import judge
from tests.plan.brute import best_left_over
from tests.plan.facts import facts_of_problem
from tests.plan.test_release_dates import ZERO

FARMS = 80


def tight(seed: int) -> Problem:
    """Two or three small lots, mostly of one supplier, for two small quarantine vats, mostly of one water, and one beyond."""
    dice = Random(seed)  # a test, not a lock
    batches = tuple(_batch(dice, number) for number in range(dice.choice((2, 3))))
    waters = ("WA", dice.choice(("WA", "WA", "WB")))
    vats = tuple(
        VatOffer(name, water, dice.randint(2, 5), 10**6) for name, water in zip(("QA", "QB"), waters, strict=True)
    )
    systems = tuple(SystemOffer(name, "quarantine", 10**6) for name in ("WA", "WB"))
    until = dice.choice((0, 2, 5))
    lot = Standing("H", "QA", "quarantine", 1, "clam", -10, until, 1, 0, 0, "H", "P", served_day=until)
    return Problem(
        ZERO,
        (*systems, SystemOffer("WG", "grow-out", 10**6)),
        (*vats, VatOffer("G", "WG", dice.randint(2, 4), 10**6)),
        batches,
        (lot,) if until else (),
    )


def _batch(dice: Random, number: int) -> BatchNeed:
    start, days, grow = dice.choice((0, 3, 6)), dice.choice((4, 7)), dice.choice((0, 4))
    stages = [StageNeed("quarantine", start, start + days, ("QA", "QB"))]
    if grow:
        stages.append(StageNeed("grow-out", start + days, start + days + grow, ("G",)))
    supplier = dice.choice(("P", "P", "R"))
    return BatchNeed(f"B{number}", f"T{start}", supplier, "clam", dice.randint(1, 3), 1, 0, 0, tuple(stages))


def test_the_proved_plan_is_the_best_of_all_that_release_allows() -> None:
    """Whoever enters a water prolongs those in it, and their grow-out moves along: nobody is left over who could fit."""
    for seed in range(FARMS):
        problem = tight(seed)
        plan = solve(problem, seconds=5)
        assert judge(facts_of_problem(problem), plan.as_dict(ZERO)) == []
        assert plan.objectives[0].proved
        assert plan.announced - plan.placed == best_left_over(problem), seed


def test_in_many_of_these_farms_release_decides() -> None:
    """A plan that lets each lot go by its own clock alone comes to another number: so the test above can fail."""
    other = 0
    for seed in range(FARMS):
        problem = tight(seed)
        blind = solve(replace(problem, together=False), seconds=5, aims=1)
        other += blind.announced - blind.placed != best_left_over(problem)
    assert other >= FARMS // 8
