"""The order of the search: a first plan at once, then aim after aim, by methods that suit the size of the farm."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from typing import Any

from intake.plan.model.exact_model import Model, build
from intake.plan.model.mip import Rows, Terms
from intake.plan.model.objectives import NAMES, SETTLED_FROM, objective_terms, settle
from intake.plan.model.occupancy import Layout, Occupancy, Spot
from intake.plan.problem import Problem
from intake.plan.relaxations.aggregated_quarantine import Lot, quarantined, rooms_in
from intake.plan.relaxations.disaggregation import claims_aggregated, disaggregated, wanted
from intake.plan.relaxations.lower_bound import bound, counted
from intake.plan.relaxations.partial_aggregation import packed, partially_aggregated
from intake.plan.search.aggregate_lns import AggregateLns
from intake.plan.search.destroy_and_repair import Steps
from intake.plan.search.first_fit import first_plan
from intake.plan.search.lot_placement import planned
from intake.plan.search.neighbourhoods import improve, possible
from intake.plan.search.vat_elimination import eliminate_vats
from intake.plan.search.water_assignment import claims_assigned
from intake.plan.search.water_assignment_lns import assigned_waters
from intake.plan.solution import Objective, Progress, Solution, layout_of, placements_of
from intake.plan.solvers.interface import Answer, Crew, Effort, Limits, Runner
from intake.plan.tuning import (
    AGGREGATE_SHARE,
    ASSIGNMENT_SHARE,
    CLOSE_FACTOR,
    ELIMINATION_SHARE,
    LARGE_PLACES,
    NEAR_FACTOR,
    NODES_PER_SECOND,
    OBJECTIVE_SHARES,
    PARTIAL_FIRST_SHARE,
    PARTIAL_LEAST_SECONDS,
    PARTIAL_SHARE,
    PLACEMENT_SHARE,
    ROUNDS,
    ROUNDS_LARGE,
    ROUNDS_SHORT,
    SHORT_SECONDS,
    SMALL_PLACES,
    TAKE_IN_SECONDS,
)

__all__ = ["Report", "Search"]

Report = Callable[[Progress], object]

_SHARES = dict(zip(NAMES, OBJECTIVE_SHARES, strict=True))


_VATS = NAMES[2]


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
        self.layout = first_plan(Occupancy(self.problem))
        self._report(NAMES[0], self._left_over(self.layout), 0.0, "greedy")
        if start is not None:
            known = layout_of(self.problem, start)
            if self._left_over(known) < self._left_over(self.layout):
                model = build(Occupancy(self.problem, loose=True), self._all(), known.counts)
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
        rounds = (ROUNDS if budget > SHORT_SECONDS else ROUNDS_SHORT) if self.places <= LARGE_PLACES else ROUNDS_LARGE
        large = self.places > LARGE_PLACES
        if self.places > SMALL_PLACES:
            self._count(round(NODES_PER_SECOND * budget), budget * PLACEMENT_SHARE)
            if large or self._left_over(self.layout) > NEAR_FACTOR * self.bound:
                self._assign_waters(budget * ASSIGNMENT_SHARE, budget * PLACEMENT_SHARE)
            if not self.counted:
                self._improve_aggregate(budget * AGGREGATE_SHARE, budget * PLACEMENT_SHARE)
            if not large:
                if self._left_over(self.layout) > CLOSE_FACTOR * self.bound:
                    self._search_around(ROUNDS[0][0] * max(0.0, self.left - after), 0)
                self._solve_partial_aggregation(PARTIAL_SHARE * max(0.0, self.left - after))
        rest = max(0.0, self.left - after)
        for number, (around, proof) in enumerate(rounds if self.places > SMALL_PLACES else ()):
            self._search_around(rest * around, number)
            self._bound(rest * proof)
        if self.places <= LARGE_PLACES:
            self.model = build(Occupancy(self.problem, loose=True), self._all())
        else:
            self.model = build(Occupancy(self.problem, loose=True), self._all(), self.layout.counts)
        self.values = self.model.write(self.layout)
        self._pursue_left_over(max(0.05, self.left - after))

    def _assign_waters(self, seconds: float, seconds_planned: float) -> None:
        """Assign the waters kept lot by lot, and plan from that."""
        if self._left_over(self.layout) <= self.bound or self.stopped:
            return
        with self.crew() as crew:
            report = self._waiting("deal")
            lns = assigned_waters(self.problem, crew, f"{self.seed}", possible(self.problem), seconds, report)
        self._account(lns)
        self._plan_from(
            disaggregated(Occupancy(self.problem, loose=True), claims_assigned(lns.assignment)), seconds_planned, "deal"
        )

    def _improve_aggregate(self, seconds: float, seconds_planned: float) -> None:
        """re-optimise the aggregated quarantine a few lots at a time, and plan from that."""
        if self._left_over(self.layout) <= self.bound or self.stopped:
            return
        occupancy = Occupancy(self.problem, loose=True)
        model = quarantined(occupancy, self._all(), rooms_in(occupancy))
        with self.crew() as crew:
            counts = AggregateLns(model, self.layout, crew, f"{self.seed}")
            counts.improve(seconds, self._waiting("recount"))
        self._account(counts)
        given = disaggregated(occupancy, claims_aggregated(model, counts.values))
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
        self._report(NAMES[0], self._left_over(self.layout), 0.0, "count", self.bound)
        if found.given:
            self._plan_from(found.given, seconds_planned, "count", wanted(found.model, found.answer.values))
            _, self.loose = packed(found.model, found.answer.values, self._charged)

    def _plan_from(self, given: Mapping[int, set[int]], seconds: float, source: str, meant: Sequence[int] = ()) -> None:
        """Make a plan of vats given to batches; taken if it is better than the one in hand."""
        if self.stopped:
            return
        with self._stepping(source, source) as (steps, report):
            planned(steps, given, seconds, meant, report)
        self._report(NAMES[0], self._left_over(self.layout), 0.0, source)

    def _search_around(self, seconds: float, turn: int) -> None:
        """Neighbourhood search, which never breaks a rule on the way."""
        if self._left_over(self.layout) > self.bound and seconds and not self.stopped:
            with self._stepping(f"{turn}", "neighbourhood") as (steps, report):
                improve(steps, report, seconds=seconds)

    @contextmanager
    def _stepping(self, key: str, source: str) -> Iterator[tuple[Steps, Callable[[int], bool]]]:
        """Steps from the plan in hand, and how they report what they leave over; what they come to is taken if it is better."""
        best = self._left_over(self.layout)
        with self.crew() as crew:
            steps = Steps(self.problem, crew, f"{self.seed}.{key}", self.layout)
            yield steps, lambda left: self._report(NAMES[0], min(best, left), steps.seconds, source)
        if steps.left_over() < best:
            self.layout = steps.plan()
        self._account(steps)

    def _solve_partial_aggregation(self, seconds: float) -> None:
        """Ask the model of partial aggregation for anything better than the plan in hand.

        What it finds becomes a plan; lots for which that failed have their vats modelled one by one, and it is asked again.  Only
        the first time is its best wanted, after that whether there is anything better at all.
        """
        end, lots, proving = self.left - seconds, set[Lot](), False
        while (
            self._left_over(self.layout) > self.bound and self.left - end > PARTIAL_LEAST_SECONDS and not self.stopped
        ):
            left, known = self._left_over(self.layout), len(lots)
            half = partially_aggregated(self.problem, lots)
            half.rows.row(half.terms, self.bound, left - 1)
            share = 1.0 if proving else PARTIAL_FIRST_SHARE
            limits = Limits(share * (self.left - end), self.seed, proving=proving)
            answer = self._charged(half.rows, half.terms, limits, report=self._alive() if self.progress else None)
            self.bound = left if answer.status == "INFEASIBLE" else max(self.bound, min(left, answer.bound))
            if answer.values:
                values, loose = packed(half.waters, answer.values, self._charged)
                lots |= loose
                self._take_in(half.spots(values))
            self._report(NAMES[0], self._left_over(self.layout), 0.0, "halfway", self.bound)
            if proving and len(lots) == known and self._left_over(self.layout) == left:
                return
            lots |= self.loose
            proving = True

    def _alive(self) -> Callable[[int, int, float], object]:
        """Reports the plan in hand while others are looked for, and whether to stop."""
        left = self._left_over(self.layout)
        return lambda _, bound, clock: self._report(NAMES[0], left, clock, "halfway", min(left, bound))

    def _waiting(self, source: str) -> Callable[[float], bool]:
        """Reports the plan in hand, after so many seconds, while what will make another is looked for; and whether to stop."""
        left = self._left_over(self.layout)
        return lambda clock: self._report(NAMES[0], left, clock, source)

    def _take_in(self, spots: Collection[Spot]) -> None:
        """Find the best plan that uses no spots but these; taken if it is better than the one in hand."""
        model = build(Occupancy(self.problem, loose=True), self._all(), spots)
        terms = objective_terms(model, NAMES[0]).terms
        model.rows.row(terms, self.bound, None)
        answer = self._charged(model.rows, terms, Limits(TAKE_IN_SECONDS, self.seed))
        if answer.values:
            found = model.read(answer.values)
            if self._left_over(found) < self._left_over(self.layout):
                self.layout = found
                self._report(NAMES[0], self._left_over(self.layout), 0.0, "halfway", self.bound)

    def _bound(self, seconds: float) -> None:
        """A bound from relaxations far smaller than the model; certain animals have no vat whatever is planned."""
        least = sum(
            (batch.count - most) * batch.weight
            for batch, most in zip(self.problem.batches, possible(self.problem), strict=True)
        )
        self.bound = max(self.bound, least)
        if self._left_over(self.layout) > self.bound and seconds and not self.stopped:
            left, known = self._left_over(self.layout), self.bound if self.counted else None
            options: dict[str, Any] = {
                "seed": self.seed,
                "left_over": left,
                "counted": known,
                "report": self._waiting("bound"),
            }
            with self.crew() as crew:
                found = bound(self.problem, self.solver, crew, seconds, **options)
            self._account(found)
            self.bound = min(self._left_over(self.layout), max(self.bound, found.value))
            self._report(NAMES[0], self._left_over(self.layout), 0.0, "bound", self.bound)

    def _charged(self, rows: Rows, objective: Terms, limits: Limits, **options: Any) -> Answer:
        answer = self.solver(rows, objective, limits, **options)
        self._account(answer)
        return answer

    def _pursue_left_over(self, seconds: float) -> None:
        assert self.model is not None  # noqa: S101  # place has built it
        terms = objective_terms(self.model, NAMES[0]).terms
        value = self._left_over(self.layout)
        if self.places <= LARGE_PLACES:
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
        if name == _VATS and self.places > SMALL_PLACES and not self.stopped:
            self._eliminate_vats(ELIMINATION_SHARE * self.left * _SHARES[name] / ahead)
        terms = objective_terms(self.model, name).terms
        value, least = self._reach(name, terms, self.left * _SHARES[name] / ahead)
        if self.places > LARGE_PLACES and NAMES.index(name) < SETTLED_FROM:
            least = 0  # only the places in use were looked at, which bounds nothing
        self.objectives.append(Objective(name, value, least, value == least))
        if terms:
            self.model.rows.row(terms, None, value)

    def _eliminate_vats(self, seconds: float) -> None:
        """Empty vats to newcomers one by one; if that helps, the model is made again around the plan found."""
        with self.crew() as crew:
            found = eliminate_vats(self.problem, crew, f"{self.seed}", self.layout, seconds)
        self._account(found)
        if found.layout == self.layout:
            return
        self.layout = found.layout
        only = None if self.places <= LARGE_PLACES else self.layout.counts
        self.model = build(Occupancy(self.problem, loose=True), self._all(), only)
        self.values = self.model.write(self.layout)
        for objective in self.objectives:
            terms = objective_terms(self.model, objective.name).terms
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
            return self._report(name, value, clock, "search", bound)

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

    def _report(self, name: str, value: int, clock: float, source: str, bound: int = 0) -> bool:
        if self.progress is not None and not self.stopped:
            best = max(bound, self.bound) if name == NAMES[0] else bound
            self.stopped = bool(self.progress(Progress(name, value, best, self.spent + clock, source)))
            self.cut = self.cut or self.stopped
        return self.stopped

    # ── the answer ──────────────────────────────────────────────────────────────────────────────────────────────────

    def solution(self) -> Solution:
        """The answer from the best plan and the aims reached; what binds the animals left over is for the caller to add."""
        placements, moves = placements_of(Occupancy(self.problem), self.layout)
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
