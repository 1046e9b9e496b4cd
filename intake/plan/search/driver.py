"""The order of the search: a first plan at once, then aim after aim, by methods that suit the size of the farm."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from typing import Any

from intake.plan.model.exact_model import Model, build
from intake.plan.model.mip import Rows, Terms
from intake.plan.model.objectives import NAMES, SETTLED_FROM, aim, settle
from intake.plan.model.occupancy import Layout, Scene, Spot
from intake.plan.problem import Problem
from intake.plan.relaxations.aggregated_quarantine import Lot, quarantined, rooms_in
from intake.plan.relaxations.disaggregation import claims_counted, seated, wanted
from intake.plan.relaxations.lower_bound import bound, counted
from intake.plan.relaxations.partial_aggregation import halfway, packed
from intake.plan.search.aggregate_lns import Recount
from intake.plan.search.destroy_and_repair import Steps
from intake.plan.search.first_fit import first_plan
from intake.plan.search.lot_placement import planned
from intake.plan.search.neighbourhoods import improve, possible
from intake.plan.search.vat_elimination import close_vats
from intake.plan.search.water_assignment import claims_dealt
from intake.plan.search.water_assignment_lns import dealt
from intake.plan.solution import Objective, Progress, Solution, layout_of, placements_of
from intake.plan.solvers.interface import Answer, Crew, Effort, Limits, Runner

__all__ = ["Report", "Search"]

Report = Callable[[Progress], object]

_SHARES = dict(zip(NAMES, (0.5, 0.15, 0.2, 0.1, 0.05), strict=True))
"""Each aim's share of the time; what an aim leaves unused goes to the next."""

_SMALL, _LARGE = 600, 2500
"""Places to choose from (batch × stage × suited vat): up to the first the exact model alone is best, beyond the second
it is too slow to be tried whole."""

_ROUNDS, _ROUNDS_LARGE = ((0.15, 0.05), (0.4, 0.12), (0.13, 0.1)), ((0.45, 0.53),)
_ROUNDS_SHORT, _SHORT = ((0.65, 0.15),), 5.0
"""Shares of the first aim's time left for neighbourhood search and for the bound, by turns; the rest is the exact model's.
Too many turns leave none of them time for a step when there are only so few seconds."""


_DEAL_SHARE, _RECOUNT_SHARE, _PLAN_SHARE = 0.1, 0.35, 0.15
"""Shares of the first aim's time, at most, for dealing out waters, for counting anew a few lots at a time (on a large farm),
and for a plan made of either."""

_HALFWAY_SHARE, _FIRST_SHARE, _HALFWAY_LEAST, _TAKE_IN_SECONDS = 0.9, 0.25, 2.0, 2.0
"""Share of what is then left of the first aim's time for the model halfway between counting and naming, of that for its
first run, the least time in which it is tried once more, and the time to make a plan of what it found."""

_NEAR, _CLOSE = 1.05, 1.02
"""A plan that leaves over so many times the bound, and no more, is near enough: waters need not be dealt out anew, and a proof
is tried without any search."""

_VATS, _CLOSING_SHARE = NAMES[2], 0.5
"""The aim to which closing vats belongs, and its share of that aim's time."""

_NODES_PER_SECOND = 10
"""Nodes of branching on counted quarantine for each second of the first aim."""


class Search:
    """The best plan so far, and the aims reached on the way.

    Parameters
    ----------
    run
        The solver's door.
    crew
        Opens the solver's door for several runs at a time.
    """

    def __init__(
        self,
        problem: Problem,
        run: Runner,
        crew: Callable[[], AbstractContextManager[Crew]],
        *,
        seconds: float,
        seed: int,
        progress: Report | None,
    ) -> None:
        self.problem, self.solver, self.crew, self.seed, self.progress = problem, run, crew, seed, progress
        self.left, self.spent = seconds, 0.0
        self.objectives: list[Objective] = []
        self.bound = 0
        self.cut = self.stopped = self.counted = False
        self.model: Model | None = None
        self.values: list[int] = []
        self.loose: set[Lot] = set()
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
        after = self.left - budget
        rounds = (_ROUNDS if budget > _SHORT else _ROUNDS_SHORT) if self.places <= _LARGE else _ROUNDS_LARGE
        large = self.places > _LARGE
        if self.places > _SMALL:
            self._count(round(_NODES_PER_SECOND * budget), budget * _PLAN_SHARE)
            if large or self._left_over(self.layout) > _NEAR * self.bound:
                self._deal(budget * _DEAL_SHARE, budget * _PLAN_SHARE)
            if not self.counted:
                self._recount(budget * _RECOUNT_SHARE, budget * _PLAN_SHARE)
            if not large:
                if self._left_over(self.layout) > _CLOSE * self.bound:
                    self._search_around(_ROUNDS[0][0] * max(0.0, self.left - after), 0)
                self._go_halfway(_HALFWAY_SHARE * max(0.0, self.left - after))
        rest = max(0.0, self.left - after)
        for number, (around, proof) in enumerate(rounds if self.places > _SMALL else ()):
            self._search_around(rest * around, number)
            self._bound(rest * proof)
        if self.places <= _LARGE:
            self.model = build(Scene(self.problem, loose=True), self._all())
        else:
            self.model = build(Scene(self.problem, loose=True), self._all(), self.layout.counts)
        self.values = self.model.write(self.layout)
        self._pursue_left_over(max(0.05, self.left - after))

    def _deal(self, seconds: float, seconds_planned: float) -> None:
        """Deal out the waters kept lot by lot, and plan from that."""
        if self._left_over(self.layout) <= self.bound or self.stopped:
            return
        with self.crew() as crew:
            tell = self._waiting("deal")
            dealer = dealt(self.problem, crew, f"{self.seed}", possible(self.problem), seconds, tell)
        self._account(dealer)
        self._plan_from(seated(Scene(self.problem, loose=True), claims_dealt(dealer.book)), seconds_planned, "deal")

    def _recount(self, seconds: float, seconds_planned: float) -> None:
        """Count quarantine anew a few lots at a time, and plan from that."""
        if self._left_over(self.layout) <= self.bound or self.stopped:
            return
        scene = Scene(self.problem, loose=True)
        model = quarantined(scene, self._all(), rooms_in(scene))
        with self.crew() as crew:
            counts = Recount(model, self.layout, crew, f"{self.seed}")
            counts.improve(seconds, self._waiting("recount"))
        self._account(counts)
        given = seated(scene, claims_counted(model, counts.values))
        self._plan_from(given, seconds_planned, "recount", wanted(model, counts.values))

    def _count(self, nodes: int, seconds_planned: float) -> None:
        """Count quarantine to its end where the farm is not too large: a bound, and perhaps a better plan."""
        if self._left_over(self.layout) <= self.bound or self.stopped:
            return
        found = counted(self.problem, nodes=nodes)
        if found is None:
            return
        self._account(found.answer)
        self.counted = found.proved
        self.bound = min(self._left_over(self.layout), max(self.bound, found.answer.bound))
        self._tell(NAMES[0], self._left_over(self.layout), 0.0, "count", self.bound)
        if found.given:
            self._plan_from(found.given, seconds_planned, "count", wanted(found.model, found.answer.values))
            _, self.loose = packed(found.model, found.answer.values, self._charged)

    def _plan_from(self, given: Mapping[int, set[int]], seconds: float, source: str, meant: Sequence[int] = ()) -> None:
        """Make a plan of vats given to batches; taken if it is better than the one in hand."""
        if self.stopped:
            return
        with self._stepping(source, source) as (steps, tell):
            planned(steps, given, seconds, meant, tell)
        self._tell(NAMES[0], self._left_over(self.layout), 0.0, source)

    def _search_around(self, seconds: float, turn: int) -> None:
        """Neighbourhood search, which never breaks a rule on the way."""
        if self._left_over(self.layout) > self.bound and seconds and not self.stopped:
            with self._stepping(f"{turn}", "neighbourhood") as (steps, tell):
                improve(steps, tell, seconds=seconds)

    @contextmanager
    def _stepping(self, key: str, source: str) -> Iterator[tuple[Steps, Callable[[int], bool]]]:
        """Steps from the plan in hand, and how they tell of what they leave over; what they come to is taken if it is better."""
        best = self._left_over(self.layout)
        with self.crew() as crew:
            steps = Steps(self.problem, crew, f"{self.seed}.{key}", self.layout)
            yield steps, lambda left: self._tell(NAMES[0], min(best, left), steps.seconds, source)
        if steps.left_over() < best:
            self.layout = steps.plan()
        self._account(steps)

    def _go_halfway(self, seconds: float) -> None:
        """Ask the model halfway between counting and naming for anything better than the plan in hand.

        What it finds becomes a plan; lots for which that failed have their vats told apart, and it is asked again.  Only
        the first time is its best wanted, after that whether there is anything better at all.
        """
        end, lots, proving = self.left - seconds, set[Lot](), False
        while self._left_over(self.layout) > self.bound and self.left - end > _HALFWAY_LEAST and not self.stopped:
            left, known = self._left_over(self.layout), len(lots)
            half = halfway(self.problem, lots)
            half.rows.row(half.terms, self.bound, left - 1)
            share = 1.0 if proving else _FIRST_SHARE
            limits = Limits(share * (self.left - end), self.seed, proving=proving)
            answer = self._charged(half.rows, half.terms, limits, report=self._alive() if self.progress else None)
            self.bound = left if answer.status == "INFEASIBLE" else max(self.bound, min(left, answer.bound))
            if answer.values:
                values, loose = packed(half.waters, answer.values, self._charged)
                lots |= loose
                self._take_in(half.spots(values))
            self._tell(NAMES[0], self._left_over(self.layout), 0.0, "halfway", self.bound)
            if proving and len(lots) == known and self._left_over(self.layout) == left:
                return
            lots |= self.loose
            proving = True

    def _alive(self) -> Callable[[int, int, float], object]:
        """Tells the plan in hand while others are looked for, and whether to stop."""
        left = self._left_over(self.layout)
        return lambda _, bound, clock: self._tell(NAMES[0], left, clock, "halfway", min(left, bound))

    def _waiting(self, source: str) -> Callable[[float], bool]:
        """Tells the plan in hand, after so many seconds, while what will make another is looked for; and whether to stop."""
        left = self._left_over(self.layout)
        return lambda clock: self._tell(NAMES[0], left, clock, source)

    def _take_in(self, spots: Collection[Spot]) -> None:
        """Find the best plan that uses no spots but these; taken if it is better than the one in hand."""
        model = build(Scene(self.problem, loose=True), self._all(), spots)
        terms = aim(model, NAMES[0]).terms
        model.rows.row(terms, self.bound, None)
        answer = self._charged(model.rows, terms, Limits(_TAKE_IN_SECONDS, self.seed))
        if answer.values:
            found = model.read(answer.values)
            if self._left_over(found) < self._left_over(self.layout):
                self.layout = found
                self._tell(NAMES[0], self._left_over(self.layout), 0.0, "halfway", self.bound)

    def _bound(self, seconds: float) -> None:
        """A bound from relaxations far smaller than the model; certain animals have no vat whatever is planned."""
        least = sum(
            (batch.count - most) * batch.weight
            for batch, most in zip(self.problem.batches, possible(self.problem), strict=True)
        )
        self.bound = max(self.bound, least)
        if self._left_over(self.layout) > self.bound and seconds and not self.stopped:
            left, known, tell = (
                self._left_over(self.layout),
                self.bound if self.counted else None,
                self._waiting("bound"),
            )
            with self.crew() as crew:
                found = bound(
                    self.problem, self.solver, crew, seconds, seed=self.seed, left_over=left, counted=known, tell=tell
                )
            self._account(found)
            self.bound = min(self._left_over(self.layout), max(self.bound, found.value))
            self._tell(NAMES[0], self._left_over(self.layout), 0.0, "bound", self.bound)

    def _charged(self, rows: Rows, objective: Terms, limits: Limits, **options: Any) -> Answer:
        answer = self.solver(rows, objective, limits, **options)
        self._account(answer)
        return answer

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
        if name == _VATS and self.places > _SMALL and not self.stopped:
            self._close_vats(_CLOSING_SHARE * self.left * _SHARES[name] / ahead)
        terms = aim(self.model, name).terms
        value, least = self._reach(name, terms, self.left * _SHARES[name] / ahead)
        if self.places > _LARGE and NAMES.index(name) < SETTLED_FROM:
            least = 0  # only the places in use were looked at, which bounds nothing
        self.objectives.append(Objective(name, value, least, value == least))
        if terms:
            self.model.rows.row(terms, None, value)

    def _close_vats(self, seconds: float) -> None:
        """Close vats to newcomers one by one; if that helps, the model is made again around the plan found."""
        with self.crew() as crew:
            found = close_vats(self.problem, crew, f"{self.seed}", self.layout, seconds)
        self._account(found)
        if found.layout == self.layout:
            return
        self.layout = found.layout
        only = None if self.places <= _LARGE else self.layout.counts
        self.model = build(Scene(self.problem, loose=True), self._all(), only)
        self.values = self.model.write(self.layout)
        for objective in self.objectives:
            terms = aim(self.model, objective.name).terms
            value = sum(price * self.values[variable] for variable, price in terms)
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

    def _account(self, effort: Effort) -> None:
        self.left = max(0.0, self.left - effort.charged)
        self.spent += effort.seconds
        self.cut = self.cut or effort.cut

    def _tell(self, name: str, value: int, clock: float, source: str, bound: int = 0) -> bool:
        if self.progress is not None and not self.stopped:
            best = max(bound, self.bound) if name == NAMES[0] else bound
            self.stopped = bool(self.progress(Progress(name, value, best, self.spent + clock, source)))
            self.cut = self.cut or self.stopped
        return self.stopped

    # ── the answer ──────────────────────────────────────────────────────────────────────────────────────────────────

    def solution(self) -> Solution:
        """The answer from the best plan and the aims reached; what binds the animals left over is for the caller to add."""
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
            seconds=self.spent,
            seed=self.seed,
            reproducible=not self.cut,
        )
