"""The phases of the search for most animals placed: each may better the plan in hand or the bound on every plan."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from typing import Any

from intake.plan.model.exact_model import build
from intake.plan.model.mip import Rows, Terms
from intake.plan.model.objectives import NAMES, objective_terms
from intake.plan.model.occupancy import Layout, Occupancy, Spot
from intake.plan.model.program import Model
from intake.plan.model.release_dates import candidate_ends, relaxed_days
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
from intake.plan.search.water_assignment import claims_assigned
from intake.plan.search.water_assignment_lns import assigned_waters
from intake.plan.solution import Objective, Progress, Solution, layout_of
from intake.plan.solvers.interface import Answer, Crew, Effort, Limits, Runner
from intake.plan.tuning import (
    ENDS_OFFERED,
    LARGE_PLACES,
    PARTIAL_FIRST_SHARE,
    PARTIAL_LEAST_SECONDS,
    TAKE_IN_SECONDS,
    WIDE_PLACES,
)

__all__ = ["Phases", "Report"]

Report = Callable[[Progress], object]


class Phases:
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
        self.relaxed, self.ends = relaxed_days(problem), candidate_ends(problem)
        self.left, self.spent = seconds, 0.0
        self.objectives: list[Objective] = []
        self.bound = 0
        self.cut = self.stopped = self.counted = False
        self.model: Model | None = None
        self.values: list[int] = []
        self.loose: set[Lot] = set()
        self.places = sum(len(stage.vats) for batch in problem.batches for stage in batch.stages)
        wide = sum(
            len(stage.vats) * max(1, len(ends))
            for batch, ends in zip(problem.batches, self.ends, strict=True)
            for stage in batch.stages
        )
        self.whole = self.places <= LARGE_PLACES and wide <= WIDE_PLACES

    def begin(self, start: Solution | None) -> None:
        """Publish the greedy plan, and take a better one known before where it is sound here."""
        self.layout = first_plan(Occupancy(self.problem))
        self._report(NAMES[0], self._left_over(self.layout), 0.0, "greedy")
        if start is not None:
            known = layout_of(self.problem, start)
            if self._left_over(known) < self._left_over(self.layout):
                model = build(Occupancy(self.problem, loose=True), self._all(), known.counts, ends=self._dated(known))
                self.layout = known if not model.rows.broken(model.write(known)) else self.layout

    def _dated(self, layout: Layout, *, beside: bool = False) -> dict[int, tuple[int, ...]]:
        """Days of release to choose from: those of a layout, and each batch's own where ``beside``."""
        return {
            owner: tuple(sorted({layout.ends.get(owner, ends[0]), *(ends[:1] if beside else ())}))
            for owner, ends in enumerate(self.ends)
            if ends
        }

    def _exact(self) -> Model:
        """The exact model: with every place and day where that is not too much, else around the plan in hand."""
        occupancy = Occupancy(self.problem, loose=True)
        if self.whole:
            return build(occupancy, self._all(), ends=dict(enumerate(self.ends)))
        if self.places <= LARGE_PLACES:
            return build(occupancy, self._all(), ends=self._dated(self.layout, beside=True))
        return build(occupancy, self._all(), self.layout.counts, ends=self._dated(self.layout))

    def _all(self) -> range:
        return range(len(self.problem.batches))

    def _left_over(self, layout: Layout) -> int:
        placed = sum(
            count * self.problem.batches[owner].weight
            for (owner, stage, _), count in layout.counts.items()
            if stage == 0
        )
        return sum(batch.weight * batch.count for batch in self.problem.batches) - placed

    def _assign_waters(self, seconds: float, seconds_planned: float) -> None:
        """Assign the waters kept lot by lot, and plan from that."""
        if self._left_over(self.layout) <= self.bound or self.stopped:
            return
        with self.crew() as crew:
            report = self._waiting("deal")
            lns = assigned_waters(self.relaxed, crew, f"{self.seed}", possible(self.relaxed), seconds, report)
        self._account(lns)
        self._plan_from(
            disaggregated(Occupancy(self.relaxed, loose=True), claims_assigned(lns.assignment)), seconds_planned, "deal"
        )

    def _improve_aggregate(self, seconds: float, seconds_planned: float) -> None:
        """Re-optimise the aggregated quarantine a few lots at a time, and plan from that."""
        if self._left_over(self.layout) <= self.bound or self.stopped:
            return
        occupancy = Occupancy(self.relaxed, loose=True)
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
        found = counted(self.relaxed, nodes=nodes)
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

    def _search_around(self, seconds: float, turn: int, start: Layout | None = None) -> None:
        """Neighborhood search, which never breaks a rule on the way; from the plan in hand, or another to begin with."""
        if self._left_over(self.layout) > self.bound and seconds and not self.stopped:
            with self._stepping(f"{turn}", "neighbourhood", start) as (steps, report):
                improve(steps, report, seconds=seconds)

    @contextmanager
    def _stepping(
        self, key: str, source: str, start: Layout | None = None
    ) -> Iterator[tuple[Steps, Callable[[int], bool]]]:
        """Steps from the plan in hand, and how they report what they leave over; what they come to is taken if it is better."""
        best = self._left_over(self.layout)
        with self.crew() as crew:
            steps = Steps(self.problem, crew, f"{self.seed}.{key}", start or self.layout)
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
            half = partially_aggregated(self.relaxed, lots)
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
        occupancy = Occupancy(self.problem, loose=True)
        later = {
            (owner, position, vat)
            for owner, ends in enumerate(self.ends)
            for position, vats in enumerate(occupancy.stage_vats[owner])
            for vat in vats
            if len(ends) > 1 and position > occupancy.in_quarantine[owner]
        }
        ends = {owner: some[:ENDS_OFFERED] for owner, some in enumerate(self.ends) if some}
        model = build(occupancy, self._all(), {*spots, *later}, ends=ends)
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
            for batch, most in zip(self.problem.batches, possible(self.relaxed), strict=True)
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
                found = bound(self.relaxed, self.solver, crew, seconds, **options)
            self._account(found)
            self.bound = min(self._left_over(self.layout), max(self.bound, found.value))
            self._report(NAMES[0], self._left_over(self.layout), 0.0, "bound", self.bound)

    def _charged(self, rows: Rows, objective: Terms, limits: Limits, **options: Any) -> Answer:
        answer = self.solver(rows, objective, limits, **options)
        self._account(answer)
        return answer

    def _account(self, effort: Effort) -> None:
        self.left = max(0.0, self.left - effort.charged)
        self.spent += effort.seconds
        self.cut = self.cut or effort.cut

    def _report(self, name: str, value: int, clock: float, source: str, bound: int = 0) -> bool:
        if self.progress is not None and not self.stopped:
            if name == NAMES[0]:  # searched for as what is left over, reported as what is placed
                whole = sum(batch.weight * batch.count for batch in self.problem.batches)
                value, bound = whole - value, whole - max(bound, self.bound)
            told = Progress(name, value, bound, self.spent + clock, source, max(0.0, self.left - clock))
            self.stopped = bool(self.progress(told))
            self.cut = self.cut or self.stopped
        return self.stopped
