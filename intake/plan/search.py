"""The order of the search: a first plan at once, then aim after aim, by methods that suit the size of the farm."""

from __future__ import annotations

from collections.abc import Callable

from intake.plan.aims import NAMES, SETTLED_FROM, aim, settle
from intake.plan.binding import shortages
from intake.plan.classes import relaxed
from intake.plan.exact import Model, build
from intake.plan.greedy import first_plan
from intake.plan.neighbourhood import Steps, improve, insert
from intake.plan.problem import Problem
from intake.plan.rows import Terms
from intake.plan.runs import Answer, Limits, Runner
from intake.plan.scene import Layout, Scene
from intake.plan.solution import Objective, Progress, Solution, layout_of, placements_of

__all__ = ["Report", "Search"]

Report = Callable[[Progress], object]

_SHARES = dict(zip(NAMES, (0.5, 0.15, 0.2, 0.1, 0.05), strict=True))
"""Each aim's share of the time; what an aim leaves unused goes to the next."""

_SMALL, _LARGE = 600, 2500
"""Places to choose from (batch × stage × suited vat): up to the first the exact model alone is best, beyond the second
it is too slow to be tried whole."""

_ROWS_RELAXED = 40_000
"""A relaxation of more rows than this takes longer to presolve than it is worth."""


class Search:
    """The best plan so far, and the aims reached on the way.

    Parameters
    ----------
    run
        The solver's door.
    """

    def __init__(self, problem: Problem, run: Runner, *, seconds: float, seed: int, progress: Report | None) -> None:
        self.problem, self.solver, self.seed, self.progress = problem, run, seed, progress
        self.left, self.spent = seconds, 0.0
        self.objectives: list[Objective] = []
        self.bound = 0
        self.cut = self.stopped = False
        self.model: Model | None = None
        self.values: list[int] = []
        self.places = sum(len(stage.vats) for batch in problem.batches for stage in batch.stages)

    # ── the first plan ──────────────────────────────────────────────────────────────────────────────────────────────

    def begin(self, start: Solution | None) -> None:
        """Publish the greedy plan, and take a better one known before where it is sound here."""
        self.layout = first_plan(Scene(self.problem))
        self._tell(NAMES[0], self._left_over(self.layout), 0.0, "greedy")
        if start is not None:
            known = layout_of(self.problem, start)
            if self._left_over(known) < self._left_over(self.layout):
                model = build(Scene(self.problem, loose=True), self._all(), known.counts)
                self.layout = known if not model.rows.broken(model.write(known)) else self.layout

    def _all(self) -> range:
        return range(len(self.problem.batches))

    def _left_over(self, layout: Layout) -> int:
        placed = sum(
            count * self.problem.batches[owner].weight
            for (owner, stage, _), count in layout.counts.items()
            if stage == 0
        )
        return sum(batch.weight * batch.count for batch in self.problem.batches) - placed

    # ── most animals ────────────────────────────────────────────────────────────────────────────────────────────────

    def place(self, *, last: bool) -> None:
        """Place as many animals as the time allows, and bound how many can be placed at all."""
        budget = self.left * (1.0 if last else _SHARES[NAMES[0]])
        if self.places > _SMALL:
            self._search_around(budget * (0.65 if self.places <= _LARGE else 0.85))
            self._bound_by_classes(budget * 0.15)
        if self.places <= _LARGE:
            self.model = build(Scene(self.problem, loose=True), self._all())
        else:
            self.model = build(Scene(self.problem, loose=True), self._all(), self.layout.counts)
        self.values = self.model.write(self.layout)
        self._pursue_left_over(budget * (0.2 if self.places > _SMALL else 1.0))

    def _search_around(self, seconds: float) -> None:
        """Insertion and neighbourhood search, which never break a rule on the way."""
        steps = Steps(self.problem, self.solver, self.seed, self._told_of_step)
        inserted = insert(steps, self.layout, seconds=seconds / 2)
        if self._left_over(inserted) < self._left_over(self.layout):
            self.layout = inserted
        if not self.stopped:
            self.layout = improve(steps, self.layout, seconds=seconds - steps.charged)
        self.left = max(0.0, self.left - steps.charged)
        self.spent += steps.seconds
        self.cut = self.cut or steps.cut

    def _told_of_step(self, layout: Layout, seconds: float) -> bool:
        return self._tell(NAMES[0], self._left_over(layout), seconds, "neighbourhood")

    def _bound_by_classes(self, seconds: float) -> None:
        """A bound from the relaxation; certain animals without any vat count at once."""
        if self._left_over(self.layout) == 0 or self.stopped:
            return
        relaxation = relaxed(Scene(self.problem, loose=True))
        terms = relaxation.terms()
        rows = relaxation.rows
        self.bound = sum(price * rows.low[variable] for variable, price in terms)
        if self._left_over(self.layout) > self.bound and len(rows.row_vars) <= _ROWS_RELAXED:
            answer = self.solver(rows, terms, Limits(seconds, self.seed))
            self._account(answer)
            if answer.status not in {"INFEASIBLE", "MODEL_INVALID"}:
                self.bound = min(self._left_over(self.layout), max(self.bound, answer.bound))

    def _pursue_left_over(self, seconds: float) -> None:
        assert self.model is not None  # noqa: S101  # place has built it
        terms = aim(self.model, NAMES[0]).terms
        value = self._left_over(self.layout)
        if self.places <= _LARGE:
            if self.bound:
                self.model.rows.row(terms, self.bound, None)
            value, least = self._reach(NAMES[0], terms, seconds)
            self.bound = max(self.bound, least)
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
        terms = aim(self.model, name).terms
        value, least = self._reach(name, terms, self.left * _SHARES[name] / ahead)
        if self.places > _LARGE and NAMES.index(name) < SETTLED_FROM:
            least = 0  # only the places in use were looked at, which bounds nothing
        self.objectives.append(Objective(name, value, least, value == least))
        if terms:
            self.model.rows.row(terms, None, value)

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
            return self._tell(name, value, clock, "search", bound)

        answer = self.solver(self.model.rows, terms, limits, hint=self.values, report=report if self.progress else None)
        self._account(answer)
        if answer.status in {"INFEASIBLE", "MODEL_INVALID"}:
            # The plan in hand satisfies every row, so this is the solver's error; ask it once more another way.
            plain = Limits(limits.seconds, self.seed, workers=1, presolve=False)
            answer = self.solver(self.model.rows, terms, plain, hint=self.values)
            self._account(answer)
        return answer

    def _account(self, answer: Answer) -> None:
        self.left = max(0.0, self.left - answer.charged)
        self.spent += answer.seconds
        self.cut = self.cut or answer.cut

    def _tell(self, name: str, value: int, clock: float, source: str, bound: int = 0) -> bool:
        if self.progress is not None and not self.stopped:
            best = max(bound, self.bound) if name == NAMES[0] else bound
            self.stopped = bool(self.progress(Progress(name, value, best, self.spent + clock, source)))
            self.cut = self.cut or self.stopped
        return self.stopped

    # ── the answer ──────────────────────────────────────────────────────────────────────────────────────────────────

    def solution(self) -> Solution:
        """The answer from the best plan and the aims reached."""
        placements, moves = placements_of(Scene(self.problem), self.layout)
        placed = sum(self.layout.placed(owner) for owner in self._all())
        heaviest = max((batch.weight for batch in self.problem.batches), default=1)
        announced = self.problem.announced
        all_proved = len(self.objectives) > 2 and all(objective.proved for objective in self.objectives[:3])
        return Solution(
            status="short" if placed < announced else ("optimal" if all_proved else "bounded"),
            announced=announced,
            placed=placed,
            placed_bound=min(announced, max(placed, announced - -(-self.bound // heaviest))),
            objectives=tuple(self.objectives),
            placements=placements,
            moves=moves,
            short=shortages(self.problem, self.layout),
            seconds=self.spent,
            seed=self.seed,
            reproducible=not self.cut,
        )
