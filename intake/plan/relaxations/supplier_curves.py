"""What a supplier's batches leave over at least, against how many waters they hold: lines under a convex curve.

The corners of the curve are found on the rows of these batches alone; every line under all of it is a row that every plan
satisfies.  Two curves are found at the same time.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, field

from intake.plan.model.mip import Rows, Terms
from intake.plan.model.occupancy import Occupancy
from intake.plan.relaxations.aggregated_quarantine import Rooms, Waters, quarantined
from intake.plan.solvers.interface import Answer, Crew, Heartbeat, Limits, no_report
from intake.plan.tuning import AT_ONCE, CURVE_HALVINGS, CURVE_SECONDS, RUN_SECONDS

__all__ = ["Curve", "Curves", "Group", "held", "proved", "under"]

Group = tuple[int, ...]
"""Batches by their place in the problem."""

_Line = tuple[int, int, int]
"""Price of an animal left over, price of a water held, and what the two come to at least."""

_Point = tuple[int, int]
"""Waters held and animals left over."""


class Curve:
    """Lines for some batches of one supplier, all there on one day."""

    def __init__(self, occupancy: Occupancy, group: Group, rooms: Rooms) -> None:
        self.lines: list[_Line] = []
        self.model = quarantined(occupancy, group, rooms, separate_only=True)
        self.systems = {one.system for one in self.model.stretches}
        self.held = held(self.model, group)

    def search(self) -> Generator[Terms, Answer, None]:
        """Ask for the objectives whose answers give the lines."""
        most = yield from self._line(len(self.held) + 1, 1)
        if most is not None and self.held:
            whole = sum(self.model.rows.high[variable] * weight for variable, weight in self.model.terms())
            yield from self._between((0, whole), most, CURVE_HALVINGS)

    def _line(self, animals: int, waters: int) -> Generator[Terms, Answer, _Point | None]:
        """Find the line that touches the curve at one slope; the point where it does."""
        merged: dict[int, int] = {}
        for variable, weight in self.model.terms():
            merged[variable] = animals * weight
        for variable in self.held:
            merged[variable] = merged.get(variable, 0) + waters
        answer = yield list(merged.items())
        self.lines.append((animals, waters, proved(answer)))
        if not answer.values:
            return None
        kept = sum(answer.values[variable] for variable in self.held)
        return kept, sum(weight * answer.values[variable] for variable, weight in self.model.terms())

    def _between(self, few: _Point, many: _Point, halvings: int) -> Generator[Terms, Answer, None]:
        animals, waters = many[0] - few[0], few[1] - many[1]
        if animals <= 0 or waters <= 0 or not halvings:
            return
        corner = yield from self._line(animals, waters)
        if corner and animals * corner[1] + waters * corner[0] < animals * many[1] + waters * many[0]:
            yield from self._between(few, corner, halvings - 1)
            yield from self._between(corner, many, halvings - 1)


@dataclass(slots=True)
class _Running:
    group: Group
    curve: Curve
    search: Generator[Terms, Answer, None]
    answer: Callable[[], Answer]


@dataclass(slots=True)
class Curves:
    """Finds curves, with what that took.

    Attributes
    ----------
    charged, seconds
        Deterministic seconds used, and clock seconds of the solver.
    """

    crew: Crew
    occupancy: Occupancy
    rooms: Rooms
    seed: int
    charged: float = 0.0
    seconds: float = 0.0
    cut: bool = False
    queue: deque[_Running] = field(default_factory=deque)

    def of(self, groups: Sequence[Group], seconds: float, report: Heartbeat = no_report) -> dict[Group, Curve]:
        """Curves of the first of these groups, as many as are begun within the time and before ``report`` ends it."""
        found: dict[Group, Curve] = {}
        ahead = deque(groups)
        while self.queue or (ahead and self.charged < seconds):
            if report(self.seconds):
                ahead.clear()
            if ahead and self.charged < seconds and len(self.queue) < AT_ONCE:
                self._begin(ahead.popleft())
            else:
                done = self._go_on()
                if done is not None:
                    found[done.group] = done.curve
        return {group: found[group] for group in groups if group in found}

    def _begin(self, group: Group) -> None:
        curve = Curve(self.occupancy, group, self.rooms)
        search = curve.search()
        self.queue.append(_Running(group, curve, search, self._ask(curve, next(search))))

    def _ask(self, curve: Curve, terms: Terms) -> Callable[[], Answer]:
        limits = Limits(CURVE_SECONDS, self.seed, workers=1, brief=True)
        return self.crew.start(curve.model.rows, terms, limits, ())

    def _go_on(self) -> _Running | None:
        """Wait for the oldest run and begin the next of its curve; the curve, once there is none."""
        one = self.queue.popleft()
        answer = one.answer()
        self.charged += (answer.charged + RUN_SECONDS) / AT_ONCE
        self.seconds += answer.seconds / AT_ONCE
        self.cut = self.cut or answer.cut
        try:
            terms = one.search.send(answer)
        except StopIteration:
            return one
        one.answer = self._ask(one.curve, terms)
        self.queue.append(one)
        return None


def proved(answer: Answer) -> int:
    """What an answer shows to be the least possible."""
    return 0 if answer.status in {"INFEASIBLE", "MODEL_INVALID"} else max(0, answer.bound)


def under(rows: Rows, line: _Line, left: Terms, waters: Sequence[int]) -> None:
    """Add a line: animals left over and waters held, at their prices, come to so much at least."""
    animals, water, least = line
    terms = [*((variable, animals * weight) for variable, weight in left), *((variable, water) for variable in waters)]
    rows.row(terms, least, None)


def held(model: Waters, group: Group) -> list[int]:
    """For every separate water, 1 when any lot of these batches is in it."""
    lots = {model.occupancy.problem.batches[owner].lot for owner in group}
    by_system: dict[int, list[int]] = {}
    for one in model.stretches:
        if one.lot in lots:
            by_system.setdefault(one.system, []).append(one.there)
    return [model.rows.any_of(literals) for literals in by_system.values()]
