"""A bound on the animals that no plan can place, from relaxations small enough to be solved whatever the farm's size.

Batches that share no separate water in quarantine are bounded apart and added up: leaving all others out makes room.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from intake.plan.branching import branch, start_seconds
from intake.plan.classes import relaxed
from intake.plan.problem import Problem
from intake.plan.rows import Rows, Terms
from intake.plan.runs import Answer, Limits, Runner
from intake.plan.scene import Scene
from intake.plan.solution import Solution
from intake.plan.waters import Rooms, Waters, quarantined, rooms_in, separately

__all__ = ["alone", "bound"]

_Group = tuple[int, ...]
"""Batches by their place in the problem."""

_Line = tuple[int, int, int]
"""Price of an animal left over, price of a water held, and what the two come to at least."""

_CURVES_SHARE, _CURVES_SHARE_LARGE, _CURVE_SECONDS = 0.5, 0.8, 0.5
"""Share of a part's time for what a supplier must leave over when it holds few waters, and of a part too large for more;
and the time of one such run."""

_COUNTED_SHARE = 0.2
"""Share of a part's time for waters counted by supplier alone."""

_PART_SHARE = 0.5
"""Share of the time left for each part but the last and largest; small parts use little and gain most."""

_RUN_SECONDS = 0.01
"""What handing a small model over costs, beside the solver's own work."""

_MOST_ROWS = 8_000
"""More rows than this take longer to presolve than they are worth."""

_ROOT_SHARE, _LINES_MORE = 0.7, 1.1
"""Most of a part's time for which all of its counted quarantine goes to branch and bound, for its root alone; and how much
the lines of curves add to its rows."""

_CLASS_ROWS = 12_000
"""Up to so many rows the relaxation by classes of vats is tried as well."""

_HALVINGS = 2
"""How often the gap between two points of a supplier's curve is halved in search of a better row."""


def bound(
    problem: Problem,
    run: Runner,
    *,
    seconds: float,
    seed: int = 1,
    start: Solution | None = None,
    counted: int | None = None,
) -> int:
    """Prove how many animals, each times its weight, every plan leaves over at least.

    Parameters
    ----------
    run
        The solver's door.
    seconds
        Time for all of it, by the solver's deterministic clock: the same problem and seed give the same bound.
    start
        A plan known; once the bound has reached what it leaves over there is nothing more to prove.
    counted
        What counting all of quarantine to its end has proved, if it has: nothing more can come of its parts.
    """
    scene = Scene(problem, loose=True)
    rooms = rooms_in(scene)
    ceiling = _left_over(problem, start)
    parts = sorted(_parts(scene), key=lambda part: (len(part), part))
    floors = [sum(alone(scene, owner, rooms) for owner in part) for part in parts]
    work = _Work(run, seed, rooms, seconds)
    total = max(sum(floors), counted or 0)
    classes = relaxed(scene) if ceiling > total and _places(problem) <= _CLASS_ROWS else None
    small = classes is not None and len(classes.rows.row_vars) <= _CLASS_ROWS
    keep = 0.6 * seconds if small else 0.0
    for number, part in enumerate(parts if counted is None else ()):
        if total >= ceiling:
            break
        share = (work.left - keep) * (_PART_SHARE if number + 1 < len(parts) else 1.0)
        if any(separately(scene, owner, stage) for owner in part for stage in range(len(scene.stage_vats[owner]))):
            total += max(0, _of_part(work, scene, part, share) - floors[number])
    if small and classes is not None and total < ceiling:
        answer = work.solve(classes.rows, classes.terms(), work.left, workers=8)
        total = max(total, _proved(answer))
    return min(total, ceiling)


def alone(scene: Scene, owner: int, rooms: Rooms) -> int:
    """What a batch leaves over, times its weight, even if it has the farm's free room to itself."""
    batch = scene.problem.batches[owner]
    most = batch.count
    for position in range(len(batch.stages)):
        most = min(most, sum(sorted(rooms(owner, position).values(), reverse=True)[: batch.max_vats]))
    return (batch.count - most) * batch.weight


def _left_over(problem: Problem, plan: Solution | None) -> int:
    whole = sum(batch.count * batch.weight for batch in problem.batches)
    if plan is None:
        return whole
    weight = {batch.id: batch.weight for batch in problem.batches}
    return min(whole, sum(one.count * weight.get(one.batch, 0) for one in plan.short))


def _places(problem: Problem) -> int:
    return sum(len(stage.vats) for batch in problem.batches for stage in batch.stages)


def _parts(scene: Scene) -> list[tuple[int, ...]]:
    """Batches grouped so that those of two groups have no separate water in common."""
    root = list(range(len(scene.problem.batches)))

    def find(owner: int) -> int:
        while root[owner] != owner:
            owner = root[owner]
        return owner

    first: dict[int, int] = {}
    for owner in root[:]:
        for position, vats in enumerate(scene.stage_vats[owner]):
            if separately(scene, owner, position):
                for system in sorted({scene.system_of[vat] for vat in vats}):
                    root[find(owner)] = find(first.setdefault(system, owner))
    parts: dict[int, list[int]] = {}
    for owner in range(len(root)):
        parts.setdefault(find(owner), []).append(owner)
    return [tuple(part) for part in parts.values()]


@dataclass(slots=True)
class _Work:
    """The solver's door with what is left of the time."""

    run: Runner
    seed: int
    rooms: Rooms
    left: float

    def solve(self, rows: Rows, terms: Terms, seconds: float, *, workers: int = 1) -> Answer:
        limits = Limits(max(0.05, min(seconds, self.left)), self.seed, workers, brief=workers == 1)
        answer = self.run(rows, terms, limits)
        self.left = max(0.0, self.left - answer.charged - _RUN_SECONDS)
        return answer


def _proved(answer: Answer) -> int:
    return 0 if answer.status in {"INFEASIBLE", "MODEL_INVALID"} else max(0, answer.bound)


def _of_part(work: _Work, scene: Scene, owners: Sequence[int], seconds: float) -> int:
    """Bound one part: waters counted by supplier, then its quarantine counted with what that has shown."""
    end = work.left - seconds
    model = quarantined(scene, owners, work.rooms)
    large = len(model.rows.row_vars) > _MOST_ROWS
    root = start_seconds(model.rows) * _LINES_MORE if large else 0.0
    root = root if root < _ROOT_SHARE * seconds else 0.0
    later = (1 - (_CURVES_SHARE_LARGE if large else _CURVES_SHARE)) * (seconds - root) + root
    days = _meetings(scene, owners)
    curves: dict[_Group, _Curve] = {}
    for groups in days:
        for group in groups:
            if group not in curves and work.left > end + later:
                curves[group] = _Curve(work, scene, group)
    rows, terms = _counted(model, days, curves)
    least = _proved(work.solve(rows, terms, _COUNTED_SHARE * seconds))
    if large and not root:
        return least
    for group, curve in curves.items():
        for line in curve.lines:
            _under(model.rows, line, _left(model, group), _held(model, group))
    model.rows.row(model.terms(), least, None)
    if large:
        answer = branch(model.rows, model.terms(), nodes=1)
        work.left = max(0.0, work.left - answer.charged)
        return max(least, answer.bound)
    return max(least, _proved(work.solve(model.rows, model.terms(), work.left - end)))


def _meetings(scene: Scene, owners: Iterable[int]) -> list[tuple[_Group, ...]]:
    """By day, the batches in separate quarantine of each supplier; days with most animals first."""
    batches = scene.problem.batches
    stays = [
        (owner, stage.start_day, stage.end_day)
        for owner in owners
        for position, stage in enumerate(batches[owner].stages)
        if separately(scene, owner, position)
    ]
    days = set()
    for day in sorted({start for _, start, _ in stays}):
        by_supplier: dict[str, set[int]] = {}
        for owner, start, end in stays:
            if start <= day < end:
                by_supplier.setdefault(batches[owner].supplier, set()).add(owner)
        days.add(tuple(tuple(sorted(group)) for _, group in sorted(by_supplier.items())))
    return sorted(days, key=lambda groups: (-sum(batches[owner].count for group in groups for owner in group), groups))


class _Curve:
    """What some batches of one supplier, all there on one day, leave over at least against how many waters they hold.

    The corners of the convex curve are found on the rows of these batches alone; every line under all of it is a row
    that every plan satisfies.
    """

    def __init__(self, work: _Work, scene: Scene, group: _Group) -> None:
        self.lines: list[_Line] = []
        self.work, self.model = work, quarantined(scene, group, work.rooms, separate_only=True)
        self.systems = {one.system for one in self.model.stretches}
        self.held = _held(self.model, group)
        most = self._line(len(self.held) + 1, 1)
        if most is not None and self.held:
            whole = sum(self.model.rows.high[v] * weight for v, weight in self.model.terms())
            self._between((0, whole), most, _HALVINGS)

    def _line(self, animals: int, waters: int) -> tuple[int, int] | None:
        """Find the line that touches the curve at one slope; the point where it does."""
        merged: dict[int, int] = {}
        for variable, weight in self.model.terms():
            merged[variable] = animals * weight
        for variable in self.held:
            merged[variable] = merged.get(variable, 0) + waters
        answer = self.work.solve(self.model.rows, list(merged.items()), _CURVE_SECONDS)
        self.lines.append((animals, waters, _proved(answer)))
        if not answer.values:
            return None
        held = sum(answer.values[variable] for variable in self.held)
        return held, sum(weight * answer.values[variable] for variable, weight in self.model.terms())

    def _between(self, few: tuple[int, int], many: tuple[int, int], halvings: int) -> None:
        animals, waters = many[0] - few[0], few[1] - many[1]
        if animals <= 0 or waters <= 0 or not halvings:
            return
        corner = self._line(animals, waters)
        if corner and animals * corner[1] + waters * corner[0] < animals * many[1] + waters * many[0]:
            self._between(few, corner, halvings - 1)
            self._between(corner, many, halvings - 1)


def _counted(model: Waters, days: Sequence[tuple[_Group, ...]], curves: Mapping[_Group, _Curve]) -> tuple[Rows, Terms]:
    """How many waters each supplier holds day by day: never more in all than there are for those who are there."""
    rows, batches = Rows(), model.scene.problem.batches
    left = {owner: rows.variable(model.rows.low[v], model.rows.high[v]) for owner, v in model.left.items()}
    held: dict[_Group, int] = {}
    for group, curve in curves.items():
        held[group] = rows.variable(0, len(curve.systems))
        for line in curve.lines:
            _under(rows, line, [(left[owner], batches[owner].weight) for owner in group], [held[group]])
    for groups in days:
        known = [group for group in groups if group in curves]
        systems = {system for group in known for system in curves[group].systems}
        if len(known) > 1:
            rows.row([(held[group], 1) for group in known], None, len(systems))
    return rows, [(variable, batches[owner].weight) for owner, variable in left.items()]


def _under(rows: Rows, line: _Line, left: Terms, held: Sequence[int]) -> None:
    animals, waters, least = line
    terms = [*((variable, animals * weight) for variable, weight in left), *((variable, waters) for variable in held)]
    rows.row(terms, least, None)


def _left(model: Waters, group: _Group) -> Terms:
    return [(model.left[owner], model.scene.problem.batches[owner].weight) for owner in group]


def _held(model: Waters, group: _Group) -> list[int]:
    """For every separate water, 1 when any lot of these batches is in it."""
    lots = {model.scene.problem.batches[owner].lot for owner in group}
    by_system: dict[int, list[int]] = {}
    for one in model.stretches:
        if one.lot in lots:
            by_system.setdefault(one.system, []).append(one.there)
    return [model.rows.any_of(literals) for literals in by_system.values()]
