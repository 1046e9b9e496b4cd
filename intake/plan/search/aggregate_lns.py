"""LNS over the aggregated quarantine: a few lots re-optimised at a time, all others a fixed sub-problem."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from intake.plan.model.mip import Rows, Terms
from intake.plan.model.occupancy import Layout
from intake.plan.relaxations.aggregated_quarantine import Lot, Waters
from intake.plan.search.seeded_random import draw, shuffled
from intake.plan.solvers.interface import Answer, Crew, Heartbeat, Limits, no_report
from intake.plan.tuning import (
    AGGREGATE_ADOPT_AFTER,
    AGGREGATE_ANIMAL_PRICE,
    AGGREGATE_FEWEST_LOTS,
    AGGREGATE_FIRST_LOTS,
    AGGREGATE_GIVE_UP,
    AGGREGATE_MOST_PATIENT,
    AGGREGATE_PATIENT_AFTER,
    AGGREGATE_PORTION_PRICE,
    AGGREGATE_SECONDS_PER_ENTRY,
    AGGREGATE_SECONDS_PER_STEP,
    AGGREGATE_STEP_SECONDS,
    AGGREGATE_VAT_PRICE,
    AGGREGATE_WATER_LEAST,
    AGGREGATE_WATER_RANGE,
    AT_ONCE,
    PERTURBATION_FACTOR,
)

__all__ = ["AggregateLns", "FixedSubproblem", "Part"]


_OPEN = 2**62
"""Stands for a side of a row that is open; no row comes near it."""


@dataclass(frozen=True, slots=True)
class Part:
    """Rows about the variables that are free, and for each of these its number among all."""

    rows: Rows
    numbers: tuple[int, ...]


class FixedSubproblem:
    """Takes parts out of rows, which may not be changed any more.

    Parameters
    ----------
    rows
        Coefficients times values, without their signs, must come to less than 2⁵³ in each row, as sums are made in double
        precision.
    """

    def __init__(self, rows: Rows) -> None:
        import numpy as np  # heavy, and only needed on a farm of some size

        self._np: Any = np
        lengths = [len(members) for members in rows.row_vars]
        row = np.repeat(np.arange(len(lengths)), lengths)
        variable = np.fromiter((one for some in rows.row_vars for one in some), dtype=np.int64)
        coef = np.fromiter((one for some in rows.row_coefs for one in some), dtype=np.int64)
        by_variable = np.argsort(variable, kind="stable")
        self._row, self._variable, self._coef = row[by_variable], variable[by_variable], coef[by_variable]
        self._first = np.searchsorted(self._variable, np.arange(len(rows.low) + 1))
        self._least = np.array([-_OPEN if one is None else one for one in rows.row_low], dtype=np.int64)
        self._most = np.array([_OPEN if one is None else one for one in rows.row_high], dtype=np.int64)
        self._low, self._high = np.array(rows.low, dtype=np.int64), np.array(rows.high, dtype=np.int64)

    def part(self, values: Sequence[int], free: Iterable[int]) -> Part:
        """The rows that restrict some variables while all others keep their values.

        Whatever satisfies them and the bounds of the free variables satisfies, together with the values held, all rows,
        given that the values do.

        Raises
        ------
        ValueError
            No variable is free.
        """
        np, known = self._np, self._np.asarray(values)
        numbers = sorted(set(free))
        mine = np.concatenate([np.arange(self._first[one], self._first[one + 1]) for one in numbers])
        mine = mine[np.argsort(self._row[mine], kind="stable")]
        row, variable, coef = self._row[mine], self._variable[mine], self._coef[mine]
        whole = self._summed(self._row, self._coef * known[self._variable])
        fixed = whole - self._summed(row, coef * known[variable])
        ends = coef * self._low[variable], coef * self._high[variable]
        least, most = self._least - fixed, self._most - fixed
        binds = self._summed(row, np.minimum(*ends)) < least
        binds |= self._summed(row, np.maximum(*ends)) > most
        kept = binds[row]
        place = np.searchsorted(numbers, variable[kept])
        return Part(self._rows(row[kept], place, coef[kept], least, most, numbers), tuple(numbers))

    def _summed(self, row: Any, amounts: Any) -> Any:
        return self._np.rint(self._np.bincount(row, amounts, len(self._least))).astype(self._np.int64)

    def _rows(self, row: Any, variable: Any, coef: Any, least: Any, most: Any, numbers: Sequence[int]) -> Rows:
        np, rows = self._np, Rows()
        rows.low, rows.high = self._low[numbers].tolist(), self._high[numbers].tolist()
        firsts = np.flatnonzero(np.diff(row, prepend=-1))
        bounds = [*firsts.tolist(), len(row)]
        variables, coefs, found = variable.tolist(), coef.tolist(), row[firsts]
        rows.row_vars = [variables[first:last] for first, last in pairwise(bounds)]
        rows.row_coefs = [coefs[first:last] for first, last in pairwise(bounds)]
        half = _OPEN // 2
        rows.row_low = [one if one > -half else None for one in least[found].tolist()]
        rows.row_high = [one if one < half else None for one in most[found].tolist()]
        return rows


_KINDS = ("near", "window", "suppliers")
"""Lots there on any of the same days; those that come at nearly the same time; those of the same supplier and one other."""


@dataclass(slots=True)
class _Step:
    kind: str
    part: Part
    terms: Terms
    now: int
    seconds: float
    answer: Callable[[], Answer]


@dataclass(slots=True)
class _Thread:
    name: str
    values: list[int]
    sizes: dict[str, float] = field(default_factory=lambda: dict.fromkeys(_KINDS, AGGREGATE_FIRST_LOTS))
    number: int = 0
    stale: int = 0
    perturbed: bool = False
    step: _Step | None = None


class AggregateLns:
    """Improves values of the aggregated quarantine.

    Parameters
    ----------
    model
        Its rows may not be changed any more.
    layout
        A sound plan to begin with.

    Attributes
    ----------
    values
        The best values of all variables so far.
    charged, seconds
        Deterministic seconds used, and clock seconds of the solver.
    """

    def __init__(self, model: Waters, layout: Layout, crew: Crew, seed: str) -> None:
        self.model, self._crew = model, crew
        self.charged = self.seconds = 0.0
        self.cut = False
        self.values = model.rows.complete(model.write(layout))
        self._held = FixedSubproblem(model.rows)
        self._lots = _Lots(model)
        self._threads = [_Thread(f"{seed}/recount/{number}", self.values) for number in range(AT_ONCE)]

    def left_over(self, values: Sequence[int] | None = None) -> int:
        """Weighted animals that values leave over; the best ones if none are given."""
        values = self.values if values is None else values
        return sum(values[variable] * weight for variable, weight in self.model.terms())

    def improve(self, seconds: float, report: Heartbeat = no_report) -> None:
        """Re-optimise until the time is over, nothing is gained any more, or ``report`` answers that it is enough."""
        end, going = self.charged + seconds, True
        while going and self.charged < end and any(thread.stale < AGGREGATE_GIVE_UP for thread in self._threads):
            for thread in self._threads:
                if thread.step is not None:
                    self._end(thread)
                going = going and self._begin(thread) and not report(self.seconds)
        for thread in self._threads:
            if thread.step is not None:
                self._end(thread)

    def _begin(self, thread: _Thread) -> bool:
        """Begin a step around a lot that lacks room; false if there is none."""
        if thread.stale >= AGGREGATE_ADOPT_AFTER and self.left_over(thread.values) > self.left_over():
            thread.values, thread.stale, thread.perturbed = self.values, 0, True
        thread.number += 1
        key = f"{thread.name}/{thread.number}"
        short = [lot for lot in range(len(self._lots.names)) if self._lots.lacking(lot, thread.values)]
        if not short:
            return False
        picks = [short[draw(f"{key}/centre/{turn}", len(short))] for turn in range(1 + thread.number % 2)]
        centre = max(picks, key=lambda lot: self._lots.lacking(lot, thread.values))
        kind = _KINDS[draw(f"{key}/kind", len(_KINDS))]
        size = max(2, round(thread.sizes[kind] * (0.6 + draw(f"{key}/size", 81) / 100)))
        lots = [centre, *self._lots.around(kind, centre, key)[: size - 1]]
        thread.step = self._asked(thread, kind, lots, key)
        thread.perturbed = False
        return True

    def _asked(self, thread: _Thread, kind: str, lots: Sequence[int], key: str) -> _Step:
        """Hand a step to the solver; the first of its lots is the one that is let in if the search thread is perturbed."""
        part = self._held.part(thread.values, self._lots.variables(lots))
        hint = [thread.values[number] for number in part.numbers]
        dear = self._lots.left[lots[0]] if thread.perturbed else set()
        terms = self._terms(part.numbers, key, dear)
        now = sum(price * hint[variable] for variable, price in terms)
        limits = Limits(AGGREGATE_STEP_SECONDS * self._patience(thread), 1, workers=1, brief=True)
        answer = self._crew.start(part.rows, terms, limits, hint)
        return _Step(kind, part, terms, now, limits.seconds, answer)

    def _patience(self, thread: _Thread) -> float:
        return min(AGGREGATE_MOST_PATIENT, 1.0 + thread.stale / AGGREGATE_PATIENT_AFTER)

    def _terms(self, numbers: Sequence[int], key: str, dear: Iterable[int]) -> Terms:
        prices = {variable: AGGREGATE_ANIMAL_PRICE * weight for variable, weight in self.model.terms()}
        prices |= {variable: PERTURBATION_FACTOR * prices[variable] for variable in dear}
        prices |= self._lots.prices
        systems = {one.system for one in self.model.stretches}
        waters = {system: AGGREGATE_WATER_LEAST + draw(f"{key}/{system}", AGGREGATE_WATER_RANGE) for system in systems}
        prices |= {one.there: waters[one.system] for one in self.model.stretches}
        return [(place, prices[number]) for place, number in enumerate(numbers) if number in prices]

    def _end(self, thread: _Thread) -> None:
        step = thread.step
        assert step is not None  # noqa: S101  # only a search thread with a step under way is ended
        thread.step = None
        answer = step.answer()
        entries = sum(map(len, step.part.rows.row_vars))
        charged = answer.charged + AGGREGATE_SECONDS_PER_STEP + entries * AGGREGATE_SECONDS_PER_ENTRY
        self.charged += charged / AT_ONCE
        self.seconds += answer.seconds / AT_ONCE
        self.cut = self.cut or answer.cut
        quick = answer.status == "OPTIMAL" and answer.charged < 0.4 * step.seconds
        thread.sizes[step.kind] = max(AGGREGATE_FEWEST_LOTS, thread.sizes[step.kind] * (1.06 if quick else 0.94))
        thread.stale += 1
        value = sum(price * answer.values[one] for one, price in step.terms) if answer.values else step.now + 1
        if value > step.now:
            return
        before = self.left_over(thread.values)
        thread.values = list(thread.values)
        for place, number in enumerate(step.part.numbers):
            thread.values[number] = answer.values[place]
        after = self.left_over(thread.values)
        if after < before:
            thread.stale = 0
        if after < self.left_over():
            self.values = thread.values


class _Lots:
    """Lots by number: their variables, who they meet, whether they lack room."""

    def __init__(self, model: Waters) -> None:
        self._model = model
        batch_counts = [batch_count for vat_class in model.vat_classes for batch_count in vat_class.batch_counts]
        self.names: list[Lot] = sorted({batch_count.lot for batch_count in batch_counts})
        number = {lot: place for place, lot in enumerate(self.names)}
        self.left: list[set[int]] = [set() for _ in self.names]
        self._mine: list[set[int]] = [set() for _ in self.names]
        self._days: list[tuple[int, int]] = [(2**31, -(2**31)) for _ in self.names]
        self._suppliers = ["" for _ in self.names]
        self.prices: dict[int, int] = {}
        for batch_count in batch_counts:
            lot = number[batch_count.lot]
            first, last = self._days[lot]
            self._days[lot] = min(first, batch_count.start), max(last, batch_count.end)
            self._suppliers[lot] = model.occupancy.problem.batches[batch_count.owner].supplier
            self.left[lot].add(model.left[batch_count.owner])
            self._mine[lot] |= {batch_count.amount, batch_count.vats, model.left[batch_count.owner]}
            self.prices[batch_count.vats] = AGGREGATE_PORTION_PRICE
        for counting in model.counting.values():
            for party, variable in counting.counted.items():
                self._mine[number[party[0].lot]].add(variable)
                self.prices[variable] = AGGREGATE_VAT_PRICE
        for one in model.stretches:
            self._mine[number[one.lot]].add(one.there)
        self._literals: Mapping[int, list[int]] = _literals_of(model)

    def lacking(self, lot: int, values: Sequence[int]) -> int:
        """Animals of a lot without room that might have some."""
        return sum(values[variable] - self._model.rows.low[variable] for variable in self.left[lot])

    def variables(self, lots: Iterable[int]) -> set[int]:
        """What is decided again when some lots are re-optimised."""
        free = {variable for lot in lots for variable in self._mine[lot]}
        return free | {literal for variable in free for literal in self._literals.get(variable, ())}

    def around(self, kind: str, centre: int, key: str) -> list[int]:
        """Lots that meet one, in the order in which to count them again."""
        first, last = self._days[centre]
        days = self._days
        near = [lot for lot in range(len(days)) if lot != centre and days[lot][0] < last and first < days[lot][1]]
        near = shuffled(near, key)
        if kind == "window":
            return sorted(near, key=lambda lot: abs(days[lot][0] - first))
        if kind == "suppliers":
            mine = self._suppliers[centre]
            others = sorted({self._suppliers[lot] for lot in near} - {mine})
            two = {mine, others[draw(f"{key}/other", len(others))]} if others else {mine}
            return [lot for lot in near if self._suppliers[lot] in two]
        return near


def _literals_of(model: Waters) -> dict[int, list[int]]:
    """For each variable the derived ones that are 1 whenever it is."""
    found: dict[int, list[int]] = {}
    for literal, members in model.rows.derived:
        for member in members:
            found.setdefault(member, []).append(literal)
    return found
