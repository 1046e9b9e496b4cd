"""The order of the search: a first plan at once, then aim after aim, by methods that suit the size of the farm."""

from __future__ import annotations

from collections.abc import Sequence

from intake.plan.model.mip import Terms
from intake.plan.model.objectives import HELD, NAMES, SETTLED_FROM, VATS, aim_parts, objective_terms, settle
from intake.plan.model.occupancy import Layout, Occupancy, full_occupancy
from intake.plan.model.release_dates import held_lots, waiting_cost
from intake.plan.search.destroy_and_repair import Steps
from intake.plan.search.first_fit import first_plan
from intake.plan.search.phases import Phases, Report
from intake.plan.search.release_sooner import release_sooner
from intake.plan.search.vat_elimination import eliminate_vats
from intake.plan.solution import Objective, Solution, placements_of
from intake.plan.solvers.interface import Answer, Limits
from intake.plan.tuning import (
    AGGREGATE_SHARE,
    ASSIGNMENT_SHARE,
    CLOSE_FACTOR,
    ELIMINATION_SHARE,
    FAR_FACTOR,
    FAR_SHARE,
    LARGE_PLACES,
    NEAR_FACTOR,
    NODES_PER_SECOND,
    OBJECTIVE_SHARES,
    PARTIAL_SHARE,
    PLACEMENT_SHARE,
    ROUNDS,
    ROUNDS_LARGE,
    ROUNDS_SHORT,
    SHORT_SECONDS,
    SMALL_PLACES,
)

__all__ = ["Report", "Search"]

_SHARES = dict(zip(NAMES, OBJECTIVE_SHARES, strict=True))


class Search(Phases):
    """The order of the phases, objective after objective."""

    # ── most animals ────────────────────────────────────────────────────────────────────────────────────────────────

    def place(self, *, last: bool) -> None:
        """Place as many animals as the time allows, and bound how many can be placed at all."""
        budget = self.left * (1.0 if last else _SHARES[NAMES[0]])
        after = self.left - budget
        rounds = (ROUNDS if budget > SHORT_SECONDS else ROUNDS_SHORT) if self.places <= LARGE_PLACES else ROUNDS_LARGE
        large = self.places > LARGE_PLACES
        small = self.places <= SMALL_PLACES and self.whole
        if not small:
            self._count(round(NODES_PER_SECOND * budget), budget * PLACEMENT_SHARE)
            if large or self._left_over(self.layout) > NEAR_FACTOR * self.bound:
                self._assign_waters(budget * ASSIGNMENT_SHARE, budget * PLACEMENT_SHARE)
            if not self.counted:
                self._improve_aggregate(budget * AGGREGATE_SHARE, budget * PLACEMENT_SHARE)
            if not large:
                if self._left_over(self.layout) > CLOSE_FACTOR * self.bound:
                    # far off, what a relaxation began with lies where few steps lead to a better plan: first fit does not
                    share, start = (
                        (FAR_SHARE, first_plan(Occupancy(self.problem))) if self._far() else (ROUNDS[0][0], None)
                    )
                    self._search_around(share * max(0.0, self.left - after), 0, start)
                if not self._far() or not self.bound:
                    self._solve_partial_aggregation(PARTIAL_SHARE * max(0.0, self.left - after))
        rest = max(0.0, self.left - after)
        for number, (around, proof) in enumerate(() if small else rounds):
            self._search_around(rest * around, number)
            self._bound(rest * proof)
        self.model = self._exact()
        self.values = self.model.write(self.layout)
        self._pursue_left_over(max(0.05, self.left - after))

    def _far(self) -> bool:
        """Whether the plan in hand is so far from the bound that a relaxation, which knows no release, proves nothing of it."""
        return self._left_over(self.layout) > FAR_FACTOR * self.bound

    def _pursue_left_over(self, seconds: float) -> None:
        assert self.model is not None  # noqa: S101  # place has built it
        terms = objective_terms(self.model, NAMES[0]).terms
        value = self._left_over(self.layout)
        if self.places <= LARGE_PLACES:
            if self.bound:
                self.model.rows.row(terms, self.bound, None)
            value, least = self._reach(NAMES[0], terms, seconds)
            self.bound = max(self.bound, least) if self.whole else self.bound
        batches = self.problem.batches
        whole = sum(batch.weight * batch.count for batch in batches)
        self.objectives.append(Objective(NAMES[0], whole - value, whole - self.bound, value == self.bound))
        self.model.rows.row(terms, None, value)

    # ── the aims after it ───────────────────────────────────────────────────────────────────────────────────────────

    def pursue(self, name: str) -> None:
        """Reach one aim as far as its share of time allows, then hold it."""
        assert self.model is not None  # noqa: S101  # place has built it
        if NAMES.index(name) == SETTLED_FROM:
            settle(self.model, self.values)
        ahead = sum(_SHARES[later] for later in NAMES[NAMES.index(name) :])
        if name == HELD and not self.whole and not self.stopped:
            self._release_sooner(self.left * _SHARES[name] / ahead)
        if name == VATS and self.places > SMALL_PLACES and not self.stopped:
            self._eliminate_vats(ELIMINATION_SHARE * self.left * _SHARES[name] / ahead)
        parts = aim_parts(self.model, name)
        terms = [term for part in parts for term in part]
        value, least = self._reach(name, terms, self.left * _SHARES[name] / ahead)
        if not self.whole and NAMES.index(name) < SETTLED_FROM:
            least = 0  # not all places and days were looked at, which bounds nothing
        told = self._hold(parts)[0]
        self.objectives.append(Objective(name, told, max(0, told - value + least), value == least))

    def _hold(self, parts: Sequence[Terms]) -> list[int]:
        """Let no later aim make any part of this one worse; the value of each part."""
        assert self.model is not None  # noqa: S101  # place has built it
        values = [sum(price * self.values[variable] for variable, price in part) for part in parts]
        for part, value in zip(parts, values, strict=True):
            if part:
                self.model.rows.row(part, None, value)
        return values

    def _eliminate_vats(self, seconds: float) -> None:
        """Empty vats to newcomers one by one; if that helps, the model is made again around the plan found."""
        with self.crew() as crew:
            found = eliminate_vats(self.problem, crew, f"{self.seed}", self.layout, seconds)
        self._account(found)
        if found.layout != self.layout and waiting_cost(self.problem, found.layout) <= waiting_cost(
            self.problem, self.layout
        ):
            self._begin_from(found.layout)

    def _release_sooner(self, seconds: float) -> None:
        """Place batches that wait for others again, so that fewer wait, or for less long, and no one loses a place."""
        if not self.layout.ends or seconds <= 0:
            return
        with self.crew() as crew:
            steps = Steps(self.problem, crew, f"{self.seed}.sooner", self.layout)
            release_sooner(steps, seconds)
        self._account(steps)
        found = steps.plan()
        if self._left_over(found) <= self._left_over(self.layout) and waiting_cost(self.problem, found) < waiting_cost(
            self.problem, self.layout
        ):
            self._begin_from(found)

    def _begin_from(self, layout: Layout) -> None:
        """Make the model again around a plan that is no worse in what was reached."""
        self.layout = layout
        self.model = self._exact()
        self.values = self.model.write(self.layout)
        for objective in self.objectives:
            parts = aim_parts(self.model, objective.name)
            self.values = self.model.rows.complete(dict(enumerate(self.values)))
            self._hold(parts)

    def _reach(self, name: str, terms: Terms, seconds: float) -> tuple[int, int]:
        """Make terms small from the values in hand; the value reached and the bound."""
        assert self.model is not None  # noqa: S101  # place has built it
        rows = self.model.rows
        self.values = rows.complete(dict(enumerate(self.values)))
        value = sum(price * self.values[variable] for variable, price in terms)
        least = sum(price * rows.low[variable] for variable, price in terms)
        least = max(least, self.bound) if name == NAMES[0] else least
        if value > least and not self.stopped:
            answer = self._run(name, terms, seconds)
            if answer.values:
                better = sum(price * answer.values[variable] for variable, price in terms)
                if better <= value:
                    value, self.values = better, list(answer.values)
                    self.layout = self.model.read(self.values)
            if answer.status not in {"INFEASIBLE", "MODEL_INVALID"}:
                least = max(least, min(answer.bound, value))
        return value, least

    def _run(self, name: str, terms: Terms, seconds: float) -> Answer:
        assert self.model is not None  # noqa: S101  # place has built it
        limits = Limits(max(0.05, seconds), self.seed)

        def report(value: int, bound: int, clock: float) -> object:
            return self._report(name, value, clock, "search", bound)

        answer = self.solver(self.model.rows, terms, limits, hint=self.values, report=report if self.progress else None)
        self._account(answer)
        if answer.status in {"INFEASIBLE", "MODEL_INVALID"}:
            # The plan in hand satisfies every row, so this is the solver's error; ask it once more another way.
            plain = Limits(limits.seconds, self.seed, workers=1, presolve=False)
            answer = self.solver(self.model.rows, terms, plain, hint=self.values)
            self._account(answer)
        return answer

    # ── the answer ──────────────────────────────────────────────────────────────────────────────────────────────────

    def solution(self) -> Solution:
        """The answer from the best plan and the aims reached; what binds the animals left over is for the caller to add."""
        placements, moves = placements_of(Occupancy(self.problem), self.layout)
        placed = sum(self.layout.placed(owner) for owner in self._all())
        heaviest = max((batch.weight for batch in self.problem.batches), default=1)
        announced = self.problem.announced
        all_proved = len(self.objectives) > 3 and all(objective.proved for objective in self.objectives[:4])
        return Solution(
            status="short" if placed < announced else ("optimal" if all_proved else "bounded"),
            announced=announced,
            placed=placed,
            placed_bound=min(announced, max(placed, announced - -(-self.bound // heaviest))),
            objectives=tuple(self.objectives),
            placements=placements,
            moves=moves,
            held=held_lots(full_occupancy(self.problem, self.layout), self.layout),
            seconds=self.spent,
            seed=self.seed,
            reproducible=not self.cut,
        )
