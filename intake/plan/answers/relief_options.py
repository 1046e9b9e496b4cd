"""What would make room for animals not placed: each way tested by planning again, with what it gains and costs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from itertools import combinations, islice

from intake.plan.answers.cheapest_clearance import cheapest_clearing
from intake.plan.answers.least_change_replan import carried_over
from intake.plan.answers.relief_acts import apply
from intake.plan.answers.relief_ideas import Idea, clearable, clearing, ideas, opened
from intake.plan.problem import Problem
from intake.plan.solution import Relief, Solution
from intake.plan.solve import solve
from intake.plan.tuning import RELIEF_RANKS, RELIEFS_MOST_PAIRS, RELIEFS_MOST_SEARCHED, RELIEFS_MOST_TRIED, SMALL_PLACES

__all__ = ["Report", "apply", "cheapest_clearing", "relief"]

Report = Callable[[str, int, int], object]
"""Called with the relief about to be searched, its number and how many there are; a true answer ends the searching."""

_OPPOSED = {
    frozenset({"delay", "split"}),
    frozenset({"clear", "sell"}),
    frozenset({"clear", "move"}),
    frozenset({"move", "sell"}),
}


def relief(
    problem: Problem, solution: Solution, *, seconds: float = 20.0, seed: int = 1, report: Report | None = None
) -> tuple[Relief, ...]:
    """Find what would let more animals in, each checked by solving again, what places most first.

    Each is planned around the plan before; the best of each kind is then searched for a better plan.  Tried is every kind that
    applies: land later (the day found by search), in two landings, clear a vat, sell, move, borrow a vat in reserve that has a
    price, let suppliers share a water, hold lots longer, buy less; and two together where none alone places everyone.

    Parameters
    ----------
    seconds
        Time for all the solving together.

    Returns
    -------
    tuple of Relief
        Only such as leave fewer animals over.  Those that place most come first, and of those that place about as many the
        cheapest; taking fewer of a line comes last, for it places no one.  Empty when nothing is left over.
    """
    if solution.announced == solution.placed:
        return ()
    short = {one.batch: one.count for one in solution.short}
    work = _Work(problem, solution, max(0.3, seconds / RELIEFS_MOST_SEARCHED), seed, report)
    found = work.tested(islice(ideas(problem, short), RELIEFS_MOST_TRIED))
    if not any(one.left_over == 0 and one.kind == "clear" for one in found) and not work.stopped:
        days = clearable(problem, short)
        together = cheapest_clearing(problem, days, seconds=work.each, seed=seed) if days else ()
        if together:
            found += work.tested([clearing(problem, {index: days[index] for index in together})])
    if not any(one.left_over == 0 for one in found if one.kind != "fewer"):
        pairs = work.tested(islice(_pairs(problem, found), RELIEFS_MOST_PAIRS))
        found += [one for one in pairs if one.places > max(step.places for step in one.steps)]
    return tuple(sorted({one.do: one for one in found}.values(), key=lambda one: _rank(one, work)))


def _rank(one: Relief, work: _Work) -> tuple[bool, int, float, int, str]:
    """Fewer last; then by the part of what is left over that it places, in value where the plan counts value; then by cost."""
    gain = one.value_cents / work.value_left if work.by_value else one.places / work.left
    return (one.kind == "fewer", -round(RELIEF_RANKS * gain), one.cost, one.left_over, one.do)


def _pairs(problem: Problem, found: list[Relief]) -> Iterator[Idea]:
    """Two of different kinds done together, the best of each kind that places animals, most promising first."""
    best: dict[str, Relief] = {}
    for one in sorted(found, key=lambda one: (-one.places, one.cost)):
        if one.kind != "fewer" and not one.steps:
            best.setdefault(one.kind, one)
    both = [pair for pair in combinations(best.values(), 2) if frozenset(step.kind for step in pair) not in _OPPOSED]
    for one, other in sorted(both, key=lambda pair: -sum(step.places for step in pair)):
        pair = Relief(
            f"{one.do}; and {other.do}", "pair", one.frees + other.frees, one.cost + other.cost, 0, 0, proved=False,
            price_cents=one.price_cents + other.price_cents, steps=(one, other),
            disturbs="; ".join((one.disturbs, other.disturbs)), risk="; ".join(risk for risk in (one.risk, other.risk) if risk),
        )  # fmt: skip
        yield Idea(pair, apply(problem, pair))


class _Work:
    """Reliefs checked one by one, each by planning again with it done."""

    def __init__(self, problem: Problem, before: Solution, each: float, seed: int, report: Report | None) -> None:
        self.problem, self.before, self.each, self.seed = problem, before, each, seed
        self.report, self.stopped = report, False
        self.prices = {batch.id: batch.price_cents for batch in problem.batches if problem.money is not None}
        self.value = self._worth(before)
        self.left = before.announced - before.placed
        self.value_left = sum(self.prices.get(one.batch, 0) * one.count for one in before.short)
        weighed = len({batch.weight for batch in problem.batches}) > 1
        self.by_value = weighed and self.value_left > 0 and min(self.prices.values(), default=0) > 0

    def _worth(self, plan: Solution | None) -> int:
        """Price of the animals placed, in cents; a batch in two landings counts in both."""
        first: dict[tuple[str, str], int] = {}
        stages: dict[str, str] = {}
        for one in plan.placements if plan else ():
            if stages.setdefault(one.batch, one.stage) == one.stage:
                first[one.batch, one.vat] = first.get((one.batch, one.vat), 0) + one.count
        return sum(count * self.prices.get(batch.removesuffix("/2"), 0) for (batch, _), count in first.items())

    def tested(self, some: Iterable[Idea]) -> list[Relief]:
        """Those that leave fewer over; the best of each kind is searched for a better plan."""
        found: dict[str, list[tuple[Relief, Idea, Solution]]] = {}
        small = sum(len(stage.vats) for batch in self.problem.batches for stage in batch.stages) <= SMALL_PLACES
        tried: set[str] = set()
        for idea in some:
            kind, quick = idea.relief.kind, carried_over(idea.problem, self.before.placements)
            one = self._relieved(idea, quick, proved=False)
            if (
                one is None
                and idea.problem.batches
                and not self.stopped
                and (small or kind == "move" or kind not in tried)
            ):
                quick = solve(idea.problem, seconds=self.each, seed=self.seed, aims=1, start=self.before)
                one = self._relieved(idea, quick, proved=quick.objectives[0].proved)
            tried.add(kind)
            if one is not None:
                found.setdefault(kind, []).append((one, idea, quick))
        best = [max(of_kind, key=lambda one: one[0].places) for kind, of_kind in found.items() if kind != "fewer"]
        best.sort(key=lambda one: -one[0].places)
        better = {
            one.do: self._searched(one, idea, quick, (number + 1, len(best)))
            for number, (one, idea, quick) in enumerate(best)
        }
        return [better.get(one.do, one) for of_kind in found.values() for one, _, _ in of_kind]

    def _searched(self, one: Relief, idea: Idea, quick: Solution, number: tuple[int, int]) -> Relief:
        """The relief with what a search finds it to place, unless that is stopped or no better."""
        if self.report is not None and not self.stopped:
            self.stopped = bool(self.report(one.do, *number))
        if self.stopped or not one.left_over:
            return one
        again = solve(idea.problem, seconds=self.each, seed=self.seed, aims=1, start=quick)
        return self._relieved(idea, again, proved=again.objectives[0].proved) or one

    def _relieved(self, idea: Idea, again: Solution, *, proved: bool) -> Relief | None:
        """What a plan with the relief done gains; nothing when it leaves no fewer animals over."""
        left, now = self.before.announced - self.before.placed, again.announced - again.placed
        if now >= left:
            return None
        gained = 0 if idea.relief.kind == "fewer" else self._worth(again) - self.value
        words = idea.relief.do + opened(self.problem, again, idea.relief)
        return replace(
            idea.relief, do=words, places=left - now, left_over=now, proved=proved or not now, value_cents=gained
        )
