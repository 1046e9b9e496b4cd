"""The proved lower bound on animals left over, from relaxations small enough to be solved whatever the farm's size.

Batches that share no separate water in quarantine are bounded apart and added up: leaving all others out makes room.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from intake.plan.model.mip import Rows, Terms
from intake.plan.model.occupancy import Occupancy
from intake.plan.model.release_dates import relaxed_days
from intake.plan.problem import Problem
from intake.plan.relaxations.aggregated_quarantine import Rooms, Waters, quarantined, rooms_in, separately
from intake.plan.relaxations.disaggregation import claims_aggregated, disaggregated
from intake.plan.relaxations.supplier_curves import Curve, Curves, Group, held, proved, under
from intake.plan.solvers.highs import branch, linear, linear_seconds
from intake.plan.solvers.interface import Answer, Crew, Heartbeat, Limits, Runner, no_report
from intake.plan.tuning import (
    CURVES_SHARE,
    CURVES_SHARE_LARGE,
    LINEAR_SHARE,
    LINES_FACTOR,
    MOST_BRANCHED_ROWS,
    MOST_STARTING_ROWS,
    PART_SHARE,
    RUN_SECONDS,
    SUPPLIER_COUNT_SHARE,
)

__all__ = ["AggregatedBound", "Bound", "alone", "bound", "counted"]


@dataclass(frozen=True, slots=True)
class Bound:
    """Animals, each times its weight, that every plan leaves over at least, and what it took to prove that."""

    value: int
    charged: float
    seconds: float
    cut: bool


def bound(
    problem: Problem,
    run: Runner,
    crew: Crew,
    seconds: float,
    *,
    seed: int = 1,
    left_over: int | None = None,
    counted: int | None = None,
    report: Heartbeat = no_report,
) -> Bound:
    """Prove how many animals, each times its weight, every plan leaves over at least.

    Parameters
    ----------
    run, crew
        The solver's door, for one run and for several at a time.
    seconds
        Time for all of it, by the solver's deterministic clock: the same problem and seed give the same bound.
    left_over
        What a plan known leaves over, weighted; once the bound has reached it there is nothing more to prove.
    counted
        What counting all of quarantine to its end has proved, if it has: nothing more can come of its parts.
    report
        Called while it goes on; after a true answer nothing more is begun, and what was proved by then is given.
    """
    problem = relaxed_days(problem)
    occupancy = Occupancy(problem, loose=True)
    rooms = rooms_in(occupancy)
    whole = sum(batch.count * batch.weight for batch in problem.batches)
    ceiling = whole if left_over is None else min(whole, left_over)
    parts = sorted(_parts(occupancy), key=lambda part: (len(part), part))
    floors = [sum(alone(occupancy, owner, rooms) for owner in part) for part in parts]
    work = _Work(run, crew, seed, rooms, seconds, report)
    total = max(sum(floors), counted or 0)
    for number, part in enumerate(parts if counted is None else ()):
        if total >= ceiling or work.stopped():
            break
        share = work.left * (PART_SHARE if number + 1 < len(parts) else 1.0)
        if any(
            separately(occupancy, owner, stage) for owner in part for stage in range(len(occupancy.stage_vats[owner]))
        ):
            total += max(0, _of_part(work, occupancy, part, share) - floors[number])
    return Bound(min(total, ceiling), seconds - work.left, work.clock, work.cut)


def alone(occupancy: Occupancy, owner: int, rooms: Rooms) -> int:
    """What a batch leaves over, times its weight, even if it has the farm's free room to itself."""
    batch = occupancy.problem.batches[owner]
    most = batch.count
    for position in range(len(batch.stages)):
        most = min(most, sum(sorted(rooms(owner, position).values(), reverse=True)[: batch.max_vats]))
    return (batch.count - most) * batch.weight


def _parts(occupancy: Occupancy) -> list[tuple[int, ...]]:
    """Batches grouped so that those of two groups have no separate water in common."""
    root = list(range(len(occupancy.problem.batches)))

    def find(owner: int) -> int:
        while root[owner] != owner:
            owner = root[owner]
        return owner

    first: dict[int, int] = {}
    for owner in root[:]:
        for position, vats in enumerate(occupancy.stage_vats[owner]):
            if separately(occupancy, owner, position):
                for system in sorted({occupancy.system_of[vat] for vat in vats}):
                    root[find(owner)] = find(first.setdefault(system, owner))
    parts: dict[int, list[int]] = {}
    for owner in range(len(root)):
        parts.setdefault(find(owner), []).append(owner)
    return [tuple(part) for part in parts.values()]


@dataclass(slots=True)
class _Work:
    """The solver's door with what is left of the time."""

    run: Runner
    crew: Crew
    seed: int
    rooms: Rooms
    left: float
    report: Heartbeat
    clock: float = 0.0
    cut: bool = False

    def solve(self, rows: Rows, terms: Terms, seconds: float, *, workers: int = 1) -> Answer:
        limits = Limits(max(0.05, min(seconds, self.left)), self.seed, workers, brief=workers == 1)
        answer = self.run(rows, terms, limits)
        self.spend(answer.charged + RUN_SECONDS, answer.seconds, cut=answer.cut)
        return answer

    def stopped(self) -> bool:
        """Whether whoever waits requests that nothing more be begun."""
        return self.report(self.clock)

    def spend(self, charged: float, clock: float, *, cut: bool) -> None:
        """Take note of what something took."""
        self.left -= charged
        self.clock += clock
        self.cut = self.cut or cut

    def curves(self, occupancy: Occupancy, groups: Sequence[Group], seconds: float) -> dict[Group, Curve]:
        """Curves of as many groups as the time allows, two being found at the same time."""
        found = Curves(self.crew, occupancy, self.rooms, self.seed)
        curves = found.of(groups, seconds, lambda clock: self.report(self.clock + clock))
        self.spend(found.charged, found.seconds, cut=found.cut)
        return curves


def _of_part(work: _Work, occupancy: Occupancy, owners: Sequence[int], seconds: float) -> int:
    """Bound one part: waters counted by supplier, then its quarantine counted with what that has shown."""
    end = work.left - seconds
    model = quarantined(occupancy, owners, work.rooms)
    large = len(model.rows.row_vars) > MOST_BRANCHED_ROWS
    whole = linear_seconds(model.rows) * LINES_FACTOR if large else 0.0
    whole = whole if whole < LINEAR_SHARE * seconds else 0.0
    later = (1 - (CURVES_SHARE_LARGE if large else CURVES_SHARE)) * (seconds - whole) + whole
    days = _overlaps(occupancy, owners)
    asked = list(dict.fromkeys(group for groups in days for group in groups))
    curves = work.curves(occupancy, asked, work.left - end - later)
    rows, terms = _counted(model, days, curves)
    least = proved(work.solve(rows, terms, SUPPLIER_COUNT_SHARE * seconds))
    if (large and not whole) or work.stopped():
        return least
    for group, curve in curves.items():
        for line in curve.lines:
            under(model.rows, line, _left(model, group), held(model, group))
    model.rows.row(model.terms(), least, None)
    if large:
        answer = linear(model.rows, model.terms())
        work.spend(answer.charged, answer.seconds, cut=answer.cut)
        return max(least, answer.bound)
    return max(least, proved(work.solve(model.rows, model.terms(), work.left - end)))


def _overlaps(occupancy: Occupancy, owners: Iterable[int]) -> list[tuple[Group, ...]]:
    """By day, the batches in separate quarantine of each supplier; days with most animals first."""
    batches = occupancy.problem.batches
    stays = [
        (owner, stage.start_day, stage.end_day)
        for owner in owners
        for position, stage in enumerate(batches[owner].stages)
        if separately(occupancy, owner, position)
    ]
    days = set()
    for day in sorted({start for _, start, _ in stays}):
        by_supplier: dict[str, set[int]] = {}
        for owner, start, end in stays:
            if start <= day < end:
                by_supplier.setdefault(batches[owner].supplier, set()).add(owner)
        days.add(tuple(tuple(sorted(group)) for _, group in sorted(by_supplier.items())))
    return sorted(days, key=lambda groups: (-sum(batches[owner].count for group in groups for owner in group), groups))


def _left(model: Waters, group: Group) -> Terms:
    return [(model.left[owner], model.occupancy.problem.batches[owner].weight) for owner in group]


def _counted(model: Waters, days: Sequence[tuple[Group, ...]], curves: Mapping[Group, Curve]) -> tuple[Rows, Terms]:
    """How many waters each supplier holds day by day: never more in all than there are for those who are there."""
    rows, batches = Rows(), model.occupancy.problem.batches
    left = {owner: rows.variable(model.rows.low[v], model.rows.high[v]) for owner, v in model.left.items()}
    waters: dict[Group, int] = {}
    for group, curve in curves.items():
        waters[group] = rows.variable(0, len(curve.systems))
        for line in curve.lines:
            under(rows, line, [(left[owner], batches[owner].weight) for owner in group], [waters[group]])
    for groups in days:
        known = [group for group in groups if group in curves]
        systems = {system for group in known for system in curves[group].systems}
        if len(known) > 1:
            rows.row([(waters[group], 1) for group in known], None, len(systems))
    return rows, [(variable, batches[owner].weight) for owner, variable in left.items()]


@dataclass(frozen=True, slots=True)
class AggregatedBound:
    """What came of counting: the model and the answer, and the vats it gives to each batch (empty if it found none)."""

    model: Waters
    answer: Answer
    given: dict[int, set[int]]

    @property
    def proved(self) -> bool:
        """Whether nothing more can be learnt from counting quarantine alone."""
        return self.answer.status == "OPTIMAL"


def counted(problem: Problem, *, nodes: int) -> AggregatedBound | None:
    """Solve the aggregated quarantine of a problem by branch and bound.

    Parameters
    ----------
    nodes
        How many nodes to look at.

    Returns
    -------
    AggregatedBound or None
        None where the farm is too large for this, or no one is to be quarantined.
    """
    occupancy = Occupancy(relaxed_days(problem), loose=True)
    model = quarantined(occupancy, range(len(problem.batches)), rooms_in(occupancy))
    if (
        not any(vat_class.batch_counts for vat_class in model.vat_classes)
        or len(model.rows.row_vars) > MOST_STARTING_ROWS
    ):
        return None
    answer = branch(model.rows, model.terms(), nodes=nodes)
    return AggregatedBound(
        model, answer, disaggregated(occupancy, claims_aggregated(model, answer.values)) if answer.values else {}
    )
