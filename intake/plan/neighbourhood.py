"""Search for farms too large to be solved in one go: insert shipments a few at a time, then free and re-place some.

Every step solves the exact model for a few shipments with everybody else held where they are, so a step can never break
a rule and the plan in hand is always a plan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from hashlib import sha256

from intake.plan.exact import Model, build
from intake.plan.problem import Problem
from intake.plan.rows import Terms
from intake.plan.runs import Limits, Runner
from intake.plan.scene import Layout, Scene, Spot

__all__ = ["Steps", "improve", "insert"]

_ANIMAL = 1000
"""Worth of an animal against one vat more, so that compactness decides only between equals."""

_LOT, _WATER, _PORTION = 2, 10, 1
"""Prices of a quarantine vat, of a stretch of quarantine water and of a portion: compact plans leave room for others."""

_SECONDS_PER_STEP, _SECONDS_PER_ROW = 0.01, 1e-5
"""What a step and building and handing over a row cost, so that steps are charged for more than the solver's work."""

_STALE = 400
"""Steps in a row that gain nothing after which the search gives up."""

_FEWEST_FREED, _MOST_FREED = 4, 20
"""Batches freed in one step."""

_OFFERED = 40
"""Vats offered to one batch in one stage of a step."""


@dataclass(slots=True)
class Steps:
    """Steps of the search over one problem, and what they have cost so far.

    Attributes
    ----------
    tell
        Hears of every step's layout and the seconds so far; a true answer ends the search.
    charged, seconds
        Deterministic and clock seconds used so far.
    """

    problem: Problem
    run: Runner
    seed: int
    tell: Callable[[Layout, float], bool]
    together: int = 8
    step_seconds: float = 1.0
    charged: float = 0.0
    seconds: float = 0.0
    cut: bool = False

    def replace(self, layout: Layout, freed: Iterable[int], loose: Sequence[int]) -> Layout:
        """The layout with some batches and stays placed anew; the same layout when nothing better was found."""
        chosen = set(freed)
        held = {spot: count for spot, count in layout.counts.items() if spot[0] not in chosen}
        scene = Scene(self.problem, loose=loose, homes=layout.homes)
        scene.fill(Layout(held, layout.homes))
        only = _candidates(scene, chosen, layout, f"{self.seed}/{self.charged:.6f}")
        model = build(scene, chosen, only)
        hint = model.write(layout)
        terms = _objective(model)
        now = sum(price * hint[variable] for variable, price in terms)
        answer = self.run(model.rows, terms, Limits(self.step_seconds, self.seed, workers=1), hint=hint)
        self.charged += _SECONDS_PER_STEP + answer.charged + len(model.rows.row_vars) * _SECONDS_PER_ROW
        self.seconds += answer.seconds
        self.cut = self.cut or answer.cut
        if not answer.values or sum(price * answer.values[variable] for variable, price in terms) > now:
            return layout
        part = model.read(answer.values)
        homes = list(layout.homes)
        for index in loose:
            homes[index] = part.homes[index]
        return Layout({**held, **part.counts}, tuple(homes))


def _shipments(problem: Problem) -> list[tuple[int, ...]]:
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


def _objective(model: Model) -> Terms:
    batches = model.scene.problem.batches
    terms = [(variable, _ANIMAL * batches[owner].weight) for owner, variable in model.left.items()]
    terms += [(literal, _LOT) for literal in sorted(model.lots)]
    terms += [(literal, _WATER) for literal in sorted(model.waters)]
    terms += [(literal, _PORTION) for literal in model.present.values()]
    homes = [model.scene.vat_index[standing.vat] for standing in model.scene.problem.standing]
    terms += [
        (literal, 1) for one, choices in model.homes.items() for vat, literal in choices.items() if vat != homes[one]
    ]
    merged: dict[int, int] = {}
    for variable, price in terms:
        merged[variable] = merged.get(variable, 0) + price
    return list(merged.items())


def insert(steps: Steps, layout: Layout, *, seconds: float) -> Layout:
    """Place the batches a few at a time, the bulkiest shipment first, around stock where the layout has it.

    Gives the layout back as it was when the time would not do for all of them: a half-inserted farm is worth nothing.
    """
    owners = [owner for lot in _shipments(steps.problem) for owner in lot]
    grown, began = Layout({}, layout.homes), steps.charged
    for first in range(0, len(owners), steps.together):
        grown = steps.replace(grown, owners[first : first + steps.together], ())
        done = min(first + steps.together, len(owners))
        if (steps.charged - began) * len(owners) > seconds * done and first >= steps.together:
            return layout
    steps.tell(grown, steps.seconds)
    return grown


def improve(steps: Steps, layout: Layout, *, seconds: float) -> Layout:
    """Free a batch with animals left over and some that share its days, place them anew, and so on."""
    problem = steps.problem
    lots = _shipments(problem)
    end = steps.charged + seconds
    step = stale = 0
    left = _left_by_batch(problem, layout)
    while steps.charged < end and stale < _STALE:
        short = [owner for lot in lots for owner in lot if left[owner]]
        if not short:
            break
        freed, loose = _choice(problem, lots, short, f"{steps.seed}/{step}")
        layout = steps.replace(layout, freed, loose)
        before, left = sum(left), _left_by_batch(problem, layout)
        step, stale = step + 1, 0 if sum(left) < before else stale + 1
        if steps.tell(layout, steps.seconds):
            break
    return layout


def _left_by_batch(problem: Problem, layout: Layout) -> list[int]:
    left = [batch.count for batch in problem.batches]
    for (owner, stage, _), count in layout.counts.items():
        left[owner] -= count if stage == 0 else 0
    return left


def _draw(key: str, below: int) -> int:
    """A number below ``below`` that depends on the key alone."""
    return int.from_bytes(sha256(key.encode()).digest()[:8], "big") % below


def _choice(
    problem: Problem, lots: Sequence[tuple[int, ...]], short: Sequence[int], key: str
) -> tuple[list[int], list[int]]:
    """A batch with animals left over, others whose stays overlap its own (its lot whole, or any), and movable stock."""
    centre = short[_draw(f"{key}/centre", len(short))]
    most = _FEWEST_FREED + _draw(f"{key}/freed", _MOST_FREED - _FEWEST_FREED + 1)
    span = _span(problem, (centre,))
    whole = _draw(f"{key}/whole", 2)
    near: list[tuple[int, ...]]
    if whole:
        chosen = [owner for lot in lots if centre in lot for owner in lot][:most]
        near = [lot for lot in lots if centre not in lot and _meet(span, _span(problem, lot))]
    else:
        chosen = [centre]
        singles = [(owner,) for lot in lots for owner in lot if owner != centre]
        near = [one for one in singles if _meet(span, _span(problem, one))]
    turn = 0
    while near and len(chosen) < most:
        chosen += near.pop(_draw(f"{key}/{turn}", len(near)))
        turn += 1
    movable = [index for index, standing in enumerate(problem.standing) if standing.movable]
    loose = [movable[_draw(f"{key}/stock/{turn}", len(movable))] for turn in range(min(2, len(movable)))]
    return sorted(set(chosen)), sorted(set(loose))


def _candidates(scene: Scene, owners: Iterable[int], layout: Layout, key: str) -> set[Spot] | None:
    """Spots worth offering: those in use, those with most room, and some by chance; all of them on small farms."""
    chosen = sorted(owners)
    if all(len(vats) <= _OFFERED for owner in chosen for vats in scene.stage_vats[owner]):
        return None
    spots = {spot for spot in layout.counts if spot[0] in set(chosen)}
    for owner in chosen:
        for position, vats in enumerate(scene.stage_vats[owner]):
            rooms = sorted((-scene.most((owner, position, vat)), vat) for vat in vats)
            open_vats = [vat for room, vat in rooms if room]
            spots.update((owner, position, vat) for vat in open_vats[: _OFFERED // 2])
            rest = open_vats[_OFFERED // 2 :]
            for turn in range(min(_OFFERED // 2, len(rest))):
                spots.add((owner, position, rest.pop(_draw(f"{key}/{position}/{turn}", len(rest)))))
    return spots


def _span(problem: Problem, owners: Sequence[int]) -> tuple[int, int]:
    stages = [stage for owner in owners for stage in problem.batches[owner].stages]
    return min(stage.start_day for stage in stages), max(stage.end_day for stage in stages)


def _meet(one: tuple[int, int], other: tuple[int, int]) -> bool:
    return one[0] < other[1] and other[0] < one[1]
