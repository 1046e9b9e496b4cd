"""Destroy and repair: some batches relaxed, the exact sub-model solved for them, everybody else fixed.

A step can never break a rule, because whoever is not relaxed is in the model as fixed load.  Steps are solved two at a
time: each starts from the plan as it was two steps ago, and is taken over, in a fixed order, only if it still fits.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from intake.plan.model.exact_model import build, may_stand
from intake.plan.model.mip import Terms
from intake.plan.model.objectives import held_terms
from intake.plan.model.occupancy import Layout, Occupancy, Spot
from intake.plan.model.program import Model
from intake.plan.model.release_dates import candidate_ends, true_end
from intake.plan.problem import Problem
from intake.plan.search.first_fit import later_ends, place_batch
from intake.plan.solvers.interface import Answer, Crew, Limits
from intake.plan.tuning import (
    AT_ONCE,
    ENDS_OFFERED,
    STEP_ANIMAL_PRICE,
    STEP_HELD_PRICE,
    STEP_HELD_SCALE,
    STEP_LOT_PRICE,
    STEP_OVERHEAD_SECONDS,
    STEP_PORTION_PRICE,
    STEP_SECONDS_PER_ENTRY,
    STEP_WATER_PRICE,
)

__all__ = ["Outcome", "Steps"]


@dataclass(slots=True)
class Step:
    """A step that is being solved."""

    relaxed: tuple[int, ...]
    loose: tuple[int, ...]
    model: Model
    terms: Terms
    now: int
    left: int
    versions: tuple[int, ...]
    stamp: int
    answer: Callable[[], Answer]
    kind: int = -1


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a step came to: weighted animals gained, seconds charged, whether it was solved to its optimum."""

    kind: int
    gained: int
    cheaper: bool
    charged: float
    solved: bool
    relaxed: tuple[int, ...] = ()


@dataclass(slots=True)
class Steps:
    """The plan in hand and the steps under way.

    Attributes
    ----------
    charged, seconds
        Deterministic seconds used so far, and clock seconds of the solver.
    """

    problem: Problem
    crew: Crew
    seed: str
    layout: Layout
    charged: float = 0.0
    seconds: float = 0.0
    cut: bool = False
    stamp: int = 0
    placed: list[dict[Spot, int]] = field(default_factory=list)
    homes: list[int] = field(default_factory=list)
    version: list[int] = field(default_factory=list)
    left: list[int] = field(default_factory=list)
    occupancy: Occupancy = field(init=False)
    candidates: tuple[tuple[int, ...], ...] = ()
    queue: deque[Step] = field(default_factory=deque)

    def __post_init__(self) -> None:
        self.homes = list(self.layout.homes)
        self.occupancy = Occupancy(self.problem, homes=self.homes)
        self.occupancy.fill(self.layout)
        self.placed = [{} for _ in self.problem.batches]
        self.left = [batch.count for batch in self.problem.batches]
        for spot, count in sorted(self.layout.counts.items()):
            self.placed[spot[0]][spot] = count
            self.left[spot[0]] -= count if spot[1] == 0 else 0
        self.candidates = candidate_ends(self.problem)
        self.version = [0] * (len(self.placed) + len(self.homes))

    def plan(self) -> Layout:
        """The plan in hand."""
        counts = {spot: count for spots in self.placed for spot, count in spots.items()}
        return Layout(counts, tuple(self.homes), later_ends(self.occupancy, {spot[0] for spot in counts}))

    def left_over(self) -> int:
        """Weighted animals without a place."""
        return sum(left * batch.weight for left, batch in zip(self.left, self.problem.batches, strict=True))

    def clear(self) -> None:
        """Take everybody who is not here yet out of the plan."""
        for owner in range(len(self.placed)):
            self._remove(owner)

    def adopt(self, layout: Layout) -> None:
        """Let another plan be the one in hand; no step may be under way."""
        self.clear()
        self.homes = list(layout.homes)
        self.occupancy.loosen((), self.homes)
        for spot, count in sorted(layout.counts.items()):
            self.placed[spot[0]][spot] = count
            self.left[spot[0]] -= count if spot[1] == 0 else 0
        for owner in range(len(self.placed)):
            self.occupancy.ends[owner] = layout.ends.get(owner, self.occupancy.own_ends[owner])
            self._put(owner)

    def remove(self, owner: int) -> None:
        """Take all animals of a batch out of the plan, and of those that would then leave quarantine sooner than planned."""
        gone = [owner]
        for one in gone:
            near = self._beside(one)
            self._remove(one)
            gone += [other for other in near if other not in gone and not self._dated(other)]

    def _remove(self, owner: int) -> None:
        self._take(owner)
        self.occupancy.ends[owner] = self.occupancy.own_ends[owner]
        self.placed[owner] = {}
        self.left[owner] = self.problem.batches[owner].count
        self.version[owner] += 1

    def add(self, owner: int) -> None:
        """Place as many animals of a batch that has no place as first fit finds room for."""
        counts = place_batch(self.occupancy, owner)
        self.placed[owner] = dict(sorted(counts.items()))
        self.left[owner] -= sum(count for (_, position, _), count in counts.items() if position == 0)
        self.version[owner] += 1
        self.stamp += 1

    def _waters(self, owner: int) -> set[int]:
        """Waters in which a batch is in quarantine."""
        place = self.occupancy.in_quarantine[owner]
        return {self.occupancy.system_of[vat] for _, position, vat in self.placed[owner] if position == place}

    def _beside(self, owner: int) -> list[int]:
        """Batches that leave one of its quarantine waters on the same day as it does."""
        waters, end = self._waters(owner), self.occupancy.ends[owner]
        if not waters:
            return []
        ends = self.occupancy.ends
        return [
            other
            for other in range(len(self.placed))
            if other != owner and ends[other] == end and not waters.isdisjoint(self._waters(other))
        ]

    def _dated(self, owner: int) -> bool:
        """Whether release will let a batch go on the day it is planned to."""
        waters = self._waters(owner)
        return not waters or true_end(self.occupancy, owner, waters)[0] == self.occupancy.ends[owner]

    def _cohorts(self, owners: Iterable[int]) -> tuple[int, ...]:
        """Some batches, and all whose day of release might change with theirs: a step relaxes them together."""
        found = list(dict.fromkeys(owners))
        for owner in found:
            late = later_ends(self.occupancy, self._beside(owner))
            found += [other for other in late if other not in found]
        return tuple(sorted(found))

    def _take(self, owner: int) -> None:
        for spot, count in self.placed[owner].items():
            self.occupancy.take(self.occupancy.tenant(spot, count))

    def _put(self, owner: int) -> None:
        for spot, count in self.placed[owner].items():
            self.occupancy.put(self.occupancy.tenant(spot, count))

    @property
    def busy(self) -> set[int]:
        """Batches relaxed by the steps under way."""
        return {owner for step in self.queue for owner in step.relaxed}

    @property
    def busy_stays(self) -> set[int]:
        """Current stock relaxed by the steps under way."""
        return {stay for step in self.queue for stay in step.loose}

    @property
    def full(self) -> bool:
        """Whether a step must be ended before another can begin."""
        return len(self.queue) >= AT_ONCE

    def begin(
        self,
        relaxed: Iterable[int],
        loose: Sequence[int],
        seconds: float,
        choose: Callable[[Occupancy, Sequence[int], Mapping[Spot, int]], set[Spot] | None],
        kind: int = -1,
    ) -> None:
        """Hand a step to the solver: ``choose`` names the spots worth offering, once the relaxed batches are out."""
        owners, stays = self._cohorts(relaxed), tuple(sorted(set(loose)))
        if not self.busy.isdisjoint(owners):
            owners = tuple(owner for owner in owners if owner not in self.busy)
        for owner in owners:
            self._take(owner)
        self.occupancy.loosen(stays, self.homes)
        mine = {spot: count for owner in owners for spot, count in self.placed[owner].items()}
        ends = {owner: self._offered_ends(owner) for owner in owners if self.candidates[owner]}
        model = build(self.occupancy, owners, choose(self.occupancy, owners, mine), ends=ends)
        hint = model.write(Layout(mine, tuple(self.homes), later_ends(self.occupancy, owners)))
        self.occupancy.loosen((), self.homes)
        for owner in owners:
            self._put(owner)
        terms = _objective(model)
        now = sum(price * hint[variable] for variable, price in terms)
        limits = Limits(seconds, 1, workers=1, brief=True)
        left = sum(self.left[owner] * self.problem.batches[owner].weight for owner in owners)
        versions = tuple(self.version[one] for one in self._touched(owners, stays))
        answer = self.crew.start(model.rows, terms, limits, hint)
        self.queue.append(Step(owners, stays, model, terms, now, left, versions, self.stamp, answer, kind))

    def _offered_ends(self, owner: int) -> tuple[int, ...]:
        """The first few days on which a batch might leave quarantine, and the one it is planned for."""
        return tuple(sorted({*self.candidates[owner][:ENDS_OFFERED], self.occupancy.ends[owner]}))

    def _touched(self, owners: Sequence[int], stays: Sequence[int]) -> list[int]:
        return [*owners, *(len(self.placed) + stay for stay in stays)]

    def end(self) -> Outcome:
        """Wait for the oldest step and take it over if it is no worse and still fits."""
        step = self.queue.popleft()
        answer = step.answer()
        entries = sum(map(len, step.model.rows.row_vars))
        charged = STEP_OVERHEAD_SECONDS + answer.charged + entries * STEP_SECONDS_PER_ENTRY
        self.charged += charged / AT_ONCE
        self.seconds += answer.seconds / AT_ONCE
        self.cut = self.cut or answer.cut
        solved = answer.status == "OPTIMAL"
        value = (
            sum(price * answer.values[variable] for variable, price in step.terms) if answer.values else step.now + 1
        )
        taken = value <= step.now and self._take_over(step, step.model.read(answer.values))
        after = sum(self.left[owner] * self.problem.batches[owner].weight for owner in step.relaxed)
        gained = step.left - after if taken else 0
        return Outcome(step.kind, gained, taken and value < step.now, charged, solved, step.relaxed)

    def _take_over(self, step: Step, part: Layout) -> bool:
        """Let the relaxed batches stand as the step would have them, unless what changed since leaves no room for that."""
        if step.versions != tuple(self.version[one] for one in self._touched(step.relaxed, step.loose)):
            return False
        homes = list(self.homes)
        for stay in step.loose:
            homes[stay] = part.homes[stay]
        moved = [stay for stay in step.loose if homes[stay] != self.homes[stay]]
        before = [self.occupancy.ends[owner] for owner in step.relaxed]
        for owner in step.relaxed:
            self._take(owner)
        for owner in step.relaxed:
            self.occupancy.ends[owner] = part.ends.get(owner, self.occupancy.own_ends[owner])
        self.occupancy.loosen(moved, self.homes)
        fits = step.stamp == self.stamp or all(self._may_stand(stay, homes[stay]) for stay in moved)
        self.occupancy.loosen((), homes if fits else self.homes)
        fits = fits and (self._fill(part) if step.stamp != self.stamp else self._fill_blindly(part))
        if not fits:
            self.occupancy.loosen((), self.homes)
            for owner, end in zip(step.relaxed, before, strict=True):
                self.occupancy.ends[owner] = end
                self._put(owner)
            return False
        self._record(step, part, homes)
        return True

    def _may_stand(self, stay: int, home: int) -> bool:
        stock = self.problem.standing[stay]
        return may_stand(self.occupancy, self.occupancy.stay(stock, home, stock.move_day, stock.until_day))

    def _fill_blindly(self, part: Layout) -> bool:
        self.occupancy.fill(part)
        return self._kept(part)

    def _fill(self, part: Layout) -> bool:
        """Put everybody in, or no one when someone has no room."""
        for number, (spot, count) in enumerate(part.counts.items()):
            if self.occupancy.most(spot) < count:
                for put, there in list(part.counts.items())[:number]:
                    self.occupancy.take(self.occupancy.tenant(put, there))
                return False
            self.occupancy.put(self.occupancy.tenant(spot, count))
        return self._kept(part)

    def _kept(self, part: Layout) -> bool:
        """Leave in what was put in if all dates hold, else take it out again."""
        if self._dates_hold(part):
            return True
        for spot, count in part.counts.items():
            self.occupancy.take(self.occupancy.tenant(spot, count))
        return False

    def _dates_hold(self, part: Layout) -> bool:
        """Whether batches just put in, and all others, are still dated as release will date them."""
        place, system_of = self.occupancy.in_quarantine, self.occupancy.system_of
        waters: dict[int, set[int]] = {}
        for owner, position, vat in part.counts:
            if position == place[owner]:
                waters.setdefault(owner, set()).add(system_of[vat])
        new = all(
            true_end(self.occupancy, owner, some)[0] == self.occupancy.ends[owner] for owner, some in waters.items()
        )
        late = later_ends(self.occupancy, {owner for owner in range(len(self.placed)) if owner not in waters})
        return new and all(self._dated(owner) for owner in late)

    def _record(self, step: Step, part: Layout, homes: list[int]) -> None:
        self.homes = homes
        self.stamp += 1
        for owner in step.relaxed:
            self.placed[owner] = {}
            self.left[owner] = self.problem.batches[owner].count
        for spot, count in part.counts.items():
            self.placed[spot[0]][spot] = count
            self.left[spot[0]] -= count if spot[1] == 0 else 0
        for one in self._touched(step.relaxed, step.loose):
            self.version[one] += 1


def _objective(model: Model) -> Terms:
    """Animals left over dearest, then compact plans; where batches may wait, animal-days held between the two."""
    batches = model.occupancy.problem.batches
    held = held_terms(model)
    scale = STEP_HELD_SCALE if held else 1
    terms = [(variable, scale * STEP_ANIMAL_PRICE * batches[owner].weight) for owner, variable in model.left.items()]
    terms += [(variable, STEP_HELD_PRICE * days) for variable, days in held]
    terms += [(literal, STEP_LOT_PRICE) for literal in sorted(model.lots)]
    terms += [(literal, STEP_WATER_PRICE) for literal in sorted(model.waters)]
    terms += [(literal, STEP_PORTION_PRICE) for literal in model.present.values()]
    at_first = [model.occupancy.vat_index[standing.vat] for standing in model.occupancy.problem.standing]
    terms += [
        (literal, 1) for one, choices in model.homes.items() for vat, literal in choices.items() if vat != at_first[one]
    ]
    merged: dict[int, int] = {}
    for variable, price in terms:
        merged[variable] = merged.get(variable, 0) + price
    return list(merged.items())
