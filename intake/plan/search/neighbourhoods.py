"""Neighborhoods: which batches a step relaxes, by chance led by what has paid so far, with ejection when stuck."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

from intake.plan.model.occupancy import Occupancy
from intake.plan.model.release_dates import relaxed_days
from intake.plan.problem import Problem
from intake.plan.search.candidates import offered
from intake.plan.search.destroy_and_repair import Outcome, Steps
from intake.plan.search.seeded_random import draw, shuffled
from intake.plan.tuning import (
    CURIOSITY,
    EJECT_AFTER_STEPS,
    FEWEST_RELAXED,
    FIRST_RELAXED,
    MOST_PATIENT_FACTOR,
    MOST_RELAXED,
    PATIENT_AFTER_STEPS,
    RECORD_MEMORY,
    RELAXED_STOCK,
    STALE_STEPS,
    STEP_SECONDS,
    WHOLE_AFTER_STEPS,
    WHOLE_BATCHES,
    WHOLE_LONGEST_SECONDS,
    WHOLE_SECONDS,
)

__all__ = ["Chooser", "ReportLeft", "finish", "improve", "one_step", "possible", "shipments"]

ReportLeft = Callable[[int], bool]
"""Called with the weighted animals left over; a true answer ends the search."""


_KINDS = ("days", "lots", "water", "vats", "short")
"""Batches that share days with the centre, one by one or by lots; those in its way in some water or some vats, the former
by lots; those that lack places as well."""


def shipments(problem: Problem) -> list[tuple[int, ...]]:
    """Batches by lot, the bulkiest lot first."""
    lots: dict[tuple[str, int], list[int]] = {}
    for owner, batch in enumerate(problem.batches):
        if not batch.excluded:
            lots.setdefault(batch.lot, []).append(owner)

    def bulk(owners: Sequence[int]) -> int:
        return sum(
            problem.batches[owner].count
            * problem.batches[owner].footprint_mm2
            * sum(stage.end_day - stage.start_day for stage in problem.batches[owner].stages)
            for owner in owners
        )

    return sorted((tuple(owners) for owners in lots.values()), key=lambda owners: (-bulk(owners), owners))


@dataclass(slots=True)
class Kind:
    """A way of choosing batches, with its record."""

    name: str
    focused: bool = False
    size: float = FIRST_RELAXED
    gained: float = 1.0
    charged: float = 1.0
    tried: int = 0
    won: int = 0


@dataclass(slots=True)
class Chooser:
    """Chooses the batches to free, around one that has animals left over.

    Attributes
    ----------
    given
        For each batch the vats it may have in stages kept lot by lot; any if not given.
    wanted
        Animals of each batch for which a place is looked for; as many as there might be one for, if not given.
    """

    steps: Steps
    given: Mapping[int, set[int]] | None = None
    wanted: Sequence[int] = ()
    kinds: list[Kind] = field(
        default_factory=lambda: [Kind(name, focused) for focused in (False, True) for name in _KINDS]
    )
    number: int = 0
    spans: list[tuple[int, int]] = field(init=False)
    lot_of: dict[int, tuple[int, ...]] = field(init=False)
    stale: int = 0

    def __post_init__(self) -> None:
        problem = self.steps.problem
        self.spans = [
            span(problem, (owner,)) if batch.stages else (0, 0) for owner, batch in enumerate(problem.batches)
        ]
        most = possible(problem)
        self.wanted = self.wanted or most
        self.lot_of = {owner: lot for lot in shipments(problem) for owner in lot if most[owner]}

    def next(self) -> tuple[int, list[int], list[int], str]:
        """Kind, batches and current stock to free, and the stage to look at; no batches when none is left over."""
        self.number += 1
        key = f"{self.steps.seed}/{self.number}"
        busy = self.steps.busy
        short = [owner for owner in self.lot_of if self.lacking(owner) and owner not in busy]
        if not short:
            return -1, [], [], ""
        kind = self._kind(key)
        tickets = [short[draw(f"{key}/centre/{turn}", len(short))] for turn in range(1 + self.number % 2)]
        centre = max(tickets, key=self.lacking)
        most = max(2, round(kind.size * self.patience * (0.6 + draw(f"{key}/size", 81) / 100)))
        chosen = self._around(kind.name, centre, key)
        relaxed: list[int] = []
        for owner in chosen:
            if len(relaxed) >= most:
                break
            if owner not in busy and owner not in relaxed:
                relaxed.append(owner)
        focus = self.tightest(centre) if kind.focused and self.given is None else ""
        return self.kinds.index(kind), relaxed, self.stock(centre, key), focus

    def tightest(self, centre: int) -> str:
        """The stage in which least room is left for a batch."""
        occupancy = self.steps.occupancy
        stages = self.steps.problem.batches[centre].stages
        rooms = [
            sum(occupancy.most((centre, position, vat)) for vat in occupancy.stage_vats[centre][position])
            for position in range(len(stages))
        ]
        return stages[rooms.index(min(rooms))].stage

    @property
    def patience(self) -> float:
        """How much larger and longer steps are made, because those before gained nothing."""
        return min(MOST_PATIENT_FACTOR, 1.0 + self.stale / PATIENT_AFTER_STEPS)

    def lacking(self, owner: int) -> int:
        """Weighted animals of a batch that have no place but might have one."""
        batch = self.steps.problem.batches[owner]
        return (self.steps.left[owner] - batch.count + self.wanted[owner]) * batch.weight

    def _kind(self, key: str) -> Kind:
        rates = [kind.gained / kind.charged for kind in self.kinds]
        floor = max(1e-9, CURIOSITY * sum(rates) / len(rates))
        weights = [round(1e6 * (rate + floor) / (sum(rates) + floor * len(rates))) + 1 for rate in rates]
        ticket = draw(f"{key}/kind", sum(weights))
        for kind, weight in zip(self.kinds, weights, strict=True):
            ticket -= weight
            if ticket < 0:
                return kind
        return self.kinds[-1]

    def learn(self, outcome: Outcome) -> None:
        """Take note of what a step came to."""
        self.stale = 0 if outcome.gained > 0 else self.stale + 1
        if outcome.kind < 0:
            return
        kind = self.kinds[outcome.kind]
        kind.gained = kind.gained * RECORD_MEMORY + outcome.gained
        kind.charged = kind.charged * RECORD_MEMORY + outcome.charged
        kind.tried += 1
        kind.won += outcome.gained > 0
        grow = 1.04 if outcome.solved and outcome.charged < 0.4 * STEP_SECONDS * self.patience else 0.94
        kind.size = min(MOST_RELAXED, max(FEWEST_RELAXED, kind.size * grow))

    def _around(self, name: str, centre: int, key: str) -> list[int]:
        """Batches in the order in which to free them, the centre first."""
        near = shuffled([o for o in self.lot_of if o != centre and meet(self.spans[centre], self.spans[o])], key)
        if name == "lots":
            lots = dict.fromkeys(self.lot_of[owner] for owner in near)
            return [centre, *self.lot_of[centre], *(owner for lot in lots for owner in lot)]
        if name == "short":
            return [centre, *(o for o in near if self.lacking(o)), *near]
        if name in {"water", "vats"}:
            blockers = shuffled(self._blockers(centre, key, whole_system=name == "water"), f"{key}/b")
            if name == "vats":
                return [centre, *blockers, *near]
            lots = dict.fromkeys(self.lot_of[owner] for owner in blockers)
            supplier = self.steps.problem.batches[centre].supplier
            kin = [o for o in near if self.lacking(o) and self.steps.problem.batches[o].supplier == supplier]
            return [centre, *self.lot_of[centre], *(owner for lot in lots for owner in lot), *kin, *near]
        return [centre, *near]

    def eject(self) -> None:
        """Let the lot of a batch without a place eject whoever is in some water that suits it."""
        self.number, self.stale = self.number + 1, 0
        key = f"{self.steps.seed}/{self.number}/drive"
        short = [owner for owner in self.lot_of if self.lacking(owner)]
        if short:
            centre = short[draw(key, len(short))]
            lot, whole = self.lot_of[centre], draw(f"{key}/whole", 3) > 0
            ejected = [owner for owner in self._blockers(centre, key, whole_system=whole) if owner not in lot]
            for owner in ejected:
                self.steps.remove(owner)
            supplier = self.steps.problem.batches[centre].supplier
            kin = [o for o in short if o not in lot and self.steps.problem.batches[o].supplier == supplier]
            choose = partial(offered, key=key, focus=self.tightest(centre))
            self.steps.begin([*lot, *kin[: 2 * len(lot)]], self.stock(centre, key), STEP_SECONDS, choose)

    def _blockers(self, centre: int, key: str, *, whole_system: bool) -> list[int]:
        """Batches that stand, while the centre would, in some vats that suit it, or anywhere in their water.

        Whoever could not be placed again, were they taken out, is left in peace.
        """
        occupancy, problem = self.steps.occupancy, self.steps.problem
        stages = problem.batches[centre].stages
        positions = [p for p in range(len(stages)) if occupancy.quarantine[occupancy.stage_vats[centre][p][0]]] or [0]
        if not whole_system:
            positions = list(range(len(stages)))
        if self.given is not None:
            positions = [p for p in range(len(stages)) if not occupancy.by_lots(centre, p)] or positions
        position = positions[draw(f"{key}/stage", len(positions))]
        vats = shuffled(occupancy.stage_vats[centre][position], f"{key}/v")
        chosen = set(vats[: 2 + draw(f"{key}/vats", 6)])
        if whole_system:
            chosen = set(occupancy.vats_of[occupancy.system_of[vats[0]]])
        gap = max(problem.vats[vat].fallow_days for vat in chosen)
        days = (stages[position].start_day - gap, stages[position].end_day + gap)
        found: dict[int, None] = {}
        for owner, spots in enumerate(self.steps.placed):
            for _, stage, vat in spots:
                need = problem.batches[owner].stages[stage]
                if vat in chosen and meet(days, (need.start_day, need.end_day)):
                    found[owner] = None
        return [owner for owner in found if owner != centre and owner in self.lot_of]

    def stock(self, centre: int, key: str) -> list[int]:
        """Movable stock to free: some that is in vats that suit the centre, and some by chance."""
        busy = self.steps.busy_stays
        suited = {vat for vats in self.steps.occupancy.stage_vats[centre] for vat in vats}
        movable = [i for i, one in enumerate(self.steps.problem.standing) if one.movable and i not in busy]
        some = shuffled(movable, f"{key}/stock")
        near = [stay for stay in some if self.steps.homes[stay] in suited]
        return list(dict.fromkeys([*near, *some]))[: round(RELAXED_STOCK * self.patience)]


def improve(steps: Steps, report: ReportLeft, *, seconds: float) -> Chooser:
    """Free a batch with animals left over and some that are in its way, place them again, and so on.

    When nothing is gained any more, everybody is relaxed at once on a small farm; on a larger one a lot without a place
    ejects others, who must then find another, and the best plan is come back to if that leads nowhere.
    """
    chooser = Chooser(steps)
    end = steps.charged + seconds
    small, patience = len(chooser.lot_of) <= WHOLE_BATCHES, WHOLE_SECONDS
    best, least = steps.plan(), steps.left_over()
    going = True
    while going and steps.charged < end and chooser.stale < STALE_STEPS:
        if small and chooser.stale and chooser.stale % WHOLE_AFTER_STEPS == 0:
            gained = _all_at_once(steps, chooser, min(patience, end - steps.charged))
            patience = WHOLE_SECONDS if gained else min(WHOLE_LONGEST_SECONDS, 2 * patience)
            chooser.stale = 0 if gained else chooser.stale + 1
        elif not small and chooser.stale >= EJECT_AFTER_STEPS:
            finish(steps)
            if steps.left_over() > least:
                steps.adopt(best)
            chooser.eject()
        elif not one_step(steps, chooser):
            break
        if steps.left_over() < least or (steps.left_over() == least and not steps.queue):
            best, least = steps.plan(), steps.left_over()
        going = not report(least)
    finish(steps)
    if steps.left_over() > least:
        steps.adopt(best)
    return chooser


def one_step(steps: Steps, chooser: Chooser) -> bool:
    """Begin a step, or end one when enough are under way; false when there is nothing to do."""
    kind, relaxed, loose, focus = chooser.next() if not steps.full else (-1, [], [], "")
    if relaxed:
        choose = partial(offered, key=f"{steps.seed}/{chooser.number}", focus=focus, given=chooser.given)
        steps.begin(relaxed, loose, STEP_SECONDS * chooser.patience, choose, kind)
    elif steps.queue:
        chooser.learn(steps.end())
    else:
        return False
    return True


def finish(steps: Steps) -> None:
    """End all steps under way."""
    while steps.queue:
        steps.end()


def _all_at_once(steps: Steps, chooser: Chooser, seconds: float) -> int:
    """Free everybody, once looking at the tightest stage and once at all; the animals gained."""
    gained = 0
    while steps.queue:
        gained += steps.end().gained
    short = [owner for owner in chooser.lot_of if chooser.lacking(owner)]
    if not short:
        return gained
    key = f"{steps.seed}/all/{steps.charged:.6f}"
    stock = chooser.stock(short[0], key)
    for focus in (chooser.tightest(short[draw(key, len(short))]), ""):
        steps.begin(chooser.lot_of, stock, seconds, partial(offered, key=key, focus=focus))
    while steps.queue:
        gained += steps.end().gained
    return gained


def possible(problem: Problem) -> list[int]:
    """Animals of each batch that could be placed if there were no other newcomers: more is beyond every plan."""
    occupancy = Occupancy(relaxed_days(problem), loose=True)
    most = []
    for owner, batch in enumerate(problem.batches):
        rooms = [
            [occupancy.most((owner, stage, vat)) for vat in vats]
            for stage, vats in enumerate(occupancy.stage_vats[owner])
        ]
        fits = [sum(sorted(room for room in some if room >= batch.min_portion)[-batch.max_vats :]) for some in rooms]
        most.append(min(batch.count, *fits) if fits else 0)
    return most


def span(problem: Problem, owners: Sequence[int]) -> tuple[int, int]:
    """First day and day after the last of some batches."""
    stages = [stage for owner in owners for stage in problem.batches[owner].stages]
    return min(stage.start_day for stage in stages), max(stage.end_day for stage in stages)


def meet(one: tuple[int, int], other: tuple[int, int]) -> bool:
    """Whether two half-open ranges of days have a day in common."""
    return one[0] < other[1] and other[0] < one[1]
