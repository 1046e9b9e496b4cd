"""Planning again with the least upheaval: of all plans that place as many animals, the one nearest an accepted plan."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from intake.plan.answers.plan_diff import changes_between
from intake.plan.model.exact_model import build
from intake.plan.model.mip import Terms
from intake.plan.model.objectives import HELD, MOVES, NAMES, SETTLED_FROM, VATS, aim_parts, objective_terms, settle
from intake.plan.model.occupancy import Layout, Occupancy, Spot, full_occupancy
from intake.plan.model.program import Model
from intake.plan.model.release_dates import held_lots, true_end
from intake.plan.problem import Problem
from intake.plan.search.first_fit import ends_open, later_ends, place_batch
from intake.plan.shortage import shortages
from intake.plan.solution import Change, Objective, Placement, Solution, layout_of, placements_of
from intake.plan.solve import solve
from intake.plan.solvers.interface import Limits, Runner
from intake.plan.tuning import PROMISED_WEIGHT, REPLAN_ROOMIEST_VATS, REPLAN_WHOLE_PLACES

__all__ = ["CHANGES", "carried_over", "in_heads", "least_change", "lost_places", "placed_by_batch", "promised_first"]

CHANGES = "changes to the accepted plan"
"""Name of the aim: places left or newly taken by batches of the accepted plan, and stock in the water moved."""


def carried_over(problem: Problem, kept: Iterable[Placement]) -> Solution:
    """The accepted plan as far as it still holds, those who lost their place put where there is room.

    Parameters
    ----------
    kept
        Placements of the accepted plan; days do not matter, batches and vats unknown by now are passed over.
    """
    occupancy, old = Occupancy(problem), _by_spot(problem, kept)
    counts: dict[Spot, int] = {}
    lost = []
    for owner in _longest_first(occupancy):
        portions = _still_dated(occupancy, owner, old)
        counts.update(portions)
        if not portions:
            lost.append(owner)
    for owner in lost:
        counts.update(place_batch(occupancy, owner))
    homes = tuple(occupancy.vat_index[standing.vat] for standing in problem.standing)
    layout = Layout(dict(sorted(counts.items())), homes, later_ends(occupancy, {owner for owner, _, _ in counts}))
    placements, moves = placements_of(Occupancy(problem), layout)
    placed = sum(layout.placed(owner) for owner in range(len(problem.batches)))
    status = "short" if placed < problem.announced else "bounded"
    return Solution(status, problem.announced, placed, problem.announced, (), placements, moves)  # type: ignore[arg-type]


def lost_places(problem: Problem, kept: Collection[Placement]) -> tuple[str, ...]:
    """Batches still to come whose places in the accepted plan no longer hold, with current stock and rules as they are now.

    Parameters
    ----------
    kept
        As for :func:`carried_over`; a batch without a placement has none to lose.
    """
    occupancy, old = Occupancy(problem), _by_spot(problem, kept)
    promised = {one.batch for one in kept}
    kept_places = {owner for owner in _longest_first(occupancy) if _still_dated(occupancy, owner, old)}
    return tuple(
        batch.id for owner, batch in enumerate(problem.batches) if owner not in kept_places and batch.id in promised
    )


def placed_by_batch(problem: Problem, solution: Solution) -> dict[str, int]:
    """Batch id → animals with a place; batches without any are left out."""
    first = {batch.id: batch.stages[0].stage for batch in problem.batches if batch.stages}
    found: dict[str, int] = {}
    for one in solution.placements:
        if first.get(one.batch) == one.stage:
            found[one.batch] = found.get(one.batch, 0) + one.count
    return found


def promised_first(
    problem: Problem, solution: Solution, kept: Collection[Placement], *, seconds: float, seed: int = 1, **options: Any
) -> tuple[Problem, Solution, tuple[str, ...]]:
    """Plan again where newcomers took places an accepted plan promised and could still keep: those come first.

    An animal with a promised place then counts as :data:`PROMISED_WEIGHT` others.

    Parameters
    ----------
    kept
        As for :func:`carried_over`.
    options
        As for ``solve``.

    Returns
    -------
    tuple
        The problem with the weights used and its plan, as given where no place was lost; and the batches that had lost some.
    """
    known = {one.batch for one in kept}
    as_promised = carried_over(problem, kept)
    sure = placed_by_batch(problem, as_promised)
    placed = placed_by_batch(problem, solution)
    lost = tuple(sorted(name for name in known if placed.get(name, 0) < sure.get(name, 0)))
    if not lost:
        return problem, solution, ()
    batches = (replace(one, weight=one.weight * PROMISED_WEIGHT) if one.id in known else one for one in problem.batches)
    weighed = replace(problem, batches=tuple(batches))
    found = solve(weighed, seconds=seconds, seed=seed, start=as_promised, **options)
    return weighed, found, lost


def in_heads(solution: Solution, bound: int) -> Solution:
    """A plan made with promised places first, its first aim told in animals; ``bound``: what any plan might place."""
    if not solution.objectives:
        return replace(solution, placed_bound=max(solution.placed, bound))
    first = Objective(solution.objectives[0].name, solution.placed, bound, solution.placed == bound)
    return replace(solution, placed_bound=max(solution.placed, bound), objectives=(first, *solution.objectives[1:]))


def _longest_first(occupancy: Occupancy) -> list[int]:
    """Batches by their own ends of quarantine, the last first: those beside it can then wait for it."""
    return sorted(range(len(occupancy.problem.batches)), key=lambda owner: -occupancy.own_ends[owner])


def _by_spot(problem: Problem, kept: Iterable[Placement]) -> dict[Spot, int]:
    vats = {vat.id: number for number, vat in enumerate(problem.vats)}
    stages: dict[tuple[str, str], tuple[int, int]] = {
        (batch.id, need.stage): (owner, position)
        for owner, batch in enumerate(problem.batches)
        for position, need in enumerate(batch.stages)
    }
    return {
        (*stages[one.batch, one.stage], vats[one.vat]): one.count
        for one in kept
        if (one.batch, one.stage) in stages and one.vat in vats
    }


def _still_dated(occupancy: Occupancy, owner: int, old: Mapping[Spot, int]) -> dict[Spot, int]:
    """The batch in its old vats, leaving quarantine on the first day that release allows there, or nothing."""
    place, own = occupancy.in_quarantine[owner], occupancy.own_ends[owner]
    for end in ends_open(occupancy, owner):
        occupancy.ends[owner] = end
        portions = _still_there(occupancy, owner, old)
        waters = {occupancy.system_of[vat] for _, position, vat in portions if position == place}
        if portions and (not waters or true_end(occupancy, owner, waters)[0] == end):
            return portions
        for spot, count in portions.items():
            occupancy.take(occupancy.tenant(spot, count))
    occupancy.ends[owner] = own
    return {}


def _still_there(occupancy: Occupancy, owner: int, old: Mapping[Spot, int]) -> dict[Spot, int]:
    """The batch in its old vats with as many animals as there are now, or nothing where that cannot be."""
    batch = occupancy.problem.batches[owner]
    portions: dict[Spot, int] = {}
    for position in range(len(batch.stages)):
        mine = {spot: count for spot, count in old.items() if spot[:2] == (owner, position)}
        share = _shared_out(batch.count, batch.min_portion, list(mine.values()))
        if len(mine) > batch.max_vats:
            share = [0] * len(mine)
        for spot, count in zip(mine, share, strict=True):
            if (
                count >= batch.min_portion
                and spot[2] in occupancy.stage_vats[owner][position]
                and occupancy.most(spot) >= count
            ):
                portions[spot] = count
                occupancy.put(occupancy.tenant(spot, count))
    placed = [sum(n for spot, n in portions.items() if spot[1] == at) for at in range(len(batch.stages))]
    if portions and set(placed) == {batch.count}:
        return portions
    for spot, count in portions.items():
        occupancy.take(occupancy.tenant(spot, count))
    return {}


def _shared_out(count: int, least: int, old: Sequence[int]) -> list[int]:
    """Animals over the old vats, as near the old portions as whole animals and the smallest portion allow."""
    share = list(old)
    surplus = sum(share) - count
    for number in reversed(range(len(share))):
        if surplus > 0:
            spare = share[number] if surplus >= share[number] and number else max(0, share[number] - least)
            share[number] -= min(spare, surplus)
            surplus -= min(spare, surplus)
    if surplus < 0 and share:
        share[0] -= surplus
    return share


def least_change(
    problem: Problem,
    solution: Solution,
    kept: Sequence[Placement],
    run: Runner,
    *,
    seconds: float = 10.0,
    seed: int = 1,
    order: Sequence[str] = NAMES,
) -> Solution:
    """Of the plans that place as many animals as a solution does, find one that changes least of an accepted plan.

    Parameters
    ----------
    solution
        What can be placed at all; its moves of current stock count as changes like any other.
    kept
        Placements of the accepted plan.  Batches it does not know cannot change.
    run
        The solver's door.
    order
        The aims in the order they are pursued once as little as possible is changed.

    Returns
    -------
    Solution
        With its aims reported again in the new order, and every change with its reason.
    """
    old = _by_spot(problem, kept)
    known = {spot[0] for spot in old}
    best = _nearest(problem, old, (solution, carried_over(problem, kept)))
    whole = sum(len(stage.vats) for batch in problem.batches for stage in batch.stages) <= REPLAN_WHOLE_PLACES
    spots = None if whole else _near(problem, [*old, *best.counts, *layout_of(problem, solution).counts])
    occupancy = Occupancy(problem, loose=True)
    dated = (best.ends, layout_of(problem, solution).ends)
    ends = {
        owner: tuple(sorted({own, *(some[owner] for some in dated if owner in some)}))
        for owner, own in enumerate(occupancy.own_ends)
        if occupancy.in_quarantine[owner] >= 0
    }
    model = build(occupancy, range(len(problem.batches)), spots, ends=ends)
    chase = _Chase(model, model.write(best), run, Limits(seconds, seed), whole=whole)
    chase.hold(objective_terms(model, NAMES[0]).terms)
    chase.reach(CHANGES, _changes(model, old, known), share=0.5, beside=len(old))
    chase.reach("", _differences(model, old, known), share=0.1)
    settled = False
    for name, share in zip((one for one in order[1:] if one != MOVES), (0.2, 0.2, 0.1, 0.05), strict=True):
        if name in NAMES[SETTLED_FROM:] and not settled:
            settle(model, chase.values)
            settled = True
        chase.reach(name, *aim_parts(model, name), share=share)
    return _reported(problem, solution, chase, changes_between(problem, old, model.read(chase.values)))


def _reported(problem: Problem, solution: Solution, chase: _Chase, changes: tuple[Change, ...]) -> Solution:
    layout = chase.model.read(chase.values)
    placements, moves = placements_of(Occupancy(problem), layout)
    placed = sum(layout.placed(owner) for owner in range(len(problem.batches)))
    aims = (*_first(problem, solution, layout), *chase.objectives)
    proved = len(aims) > 2 and all(one.proved for one in aims[:4])
    return replace(
        solution,
        status="short" if placed < problem.announced else "optimal" if proved else "bounded",
        placed=placed,
        placed_bound=max(placed, solution.placed_bound),
        objectives=aims,
        placements=placements,
        moves=moves,
        changes=changes,
        held=held_lots(full_occupancy(problem, layout), layout),
        short=shortages(problem, layout),
        seconds=solution.seconds + chase.seconds,
        reproducible=solution.reproducible and not chase.cut,
    )


def _first(problem: Problem, solution: Solution, layout: Layout) -> tuple[Objective, ...]:
    """The first aim with the value of this layout, which may have turned out better than the solution's."""
    if not solution.objectives:
        return ()
    first = solution.objectives[0]
    value = sum(problem.batches[spot[0]].weight * n for spot, n in layout.counts.items() if spot[1] == 0)
    return (Objective(first.name, value, first.bound, value == first.bound),)


def _nearest(problem: Problem, old: Mapping[Spot, int], plans: Sequence[Solution]) -> Layout:
    """The sound layout that places most, and of equals the one with fewest changes."""

    def rank(layout: Layout) -> tuple[int, int]:
        placed = sum(problem.batches[spot[0]].weight * n for spot, n in layout.counts.items() if spot[1] == 0)
        return placed, -len(changes_between(problem, old, layout))

    return max((layout_of(problem, plan) for plan in plans), key=rank)


def _near(problem: Problem, spots: Iterable[Spot]) -> set[Spot]:
    """Places of either plan, and for every stage the roomiest few."""
    occupancy, chosen = Occupancy(problem), set(spots)
    for owner, stages in enumerate(occupancy.stage_vats):
        for position, vats in enumerate(stages):
            rooms = sorted((-occupancy.most((owner, position, vat)), vat) for vat in vats)
            chosen.update((owner, position, vat) for room, vat in rooms[:REPLAN_ROOMIEST_VATS] if room)
    return chosen


def _changes(model: Model, old: Mapping[Spot, int], known: Collection[int]) -> Terms:
    """One for every old place left, for every new place taken by a batch that had one, for every stay moved."""
    terms = dict(objective_terms(model, MOVES).terms)
    for choice, literal in model.present.items():
        if choice[0] in known:
            terms[literal] = -1 if choice[:3] in old else 1
    return list(terms.items())


def _differences(model: Model, old: Mapping[Spot, int], known: Collection[int]) -> Terms:
    """Animals by which the portions differ from those of the accepted plan."""
    terms = []
    by_spot: dict[Spot, list[int]] = {}
    for choice, animals in model.animals.items():
        if choice[0] in known:
            by_spot.setdefault(choice[:3], []).append(animals)
    for spot, some in by_spot.items():
        more = model.rows.variable(0, max(old.get(spot, 0), sum(model.rows.high[animals] for animals in some)))
        model.rows.at_least(more, [(animals, 1) for animals in some], -old.get(spot, 0), 1)
        model.rows.at_least(more, [(animals, -1) for animals in some], old.get(spot, 0), 1)
        terms.append((more, 1))
    return terms


class _Chase:
    """Aim after aim on one model, each held once it is reached."""

    def __init__(self, model: Model, values: Sequence[int], run: Runner, limits: Limits, *, whole: bool) -> None:
        self.model, self.values, self.run, self.limits, self.whole = model, list(values), run, limits, whole
        self.objectives: list[Objective] = []
        self.seconds, self.cut = 0.0, False

    def hold(self, terms: Terms) -> int:
        """Let no later aim make this one worse; its value."""
        value = sum(price * self.values[variable] for variable, price in terms)
        if terms:
            self.model.rows.row(terms, None, value)
        return value

    def reach(self, name: str, *parts: Terms, share: float, beside: int = 0) -> None:
        """Make the terms of all parts small within a share of the time, then hold each part.

        The first part is reported, with what is beside it; without a name nothing is.
        """
        rows, terms = self.model.rows, [term for part in parts for term in part]
        self.values = rows.complete(dict(enumerate(self.values)))
        value = sum(price * self.values[variable] for variable, price in terms)
        least = sum(price * (rows.low[v] if price > 0 else rows.high[v]) for v, price in terms)
        if value > least:
            limits = replace(self.limits, seconds=max(0.05, self.limits.seconds * share))
            answer = self.run(rows, terms, limits, hint=self.values)
            self.seconds, self.cut = self.seconds + answer.seconds, self.cut or answer.cut
            if answer.values and answer.value <= value:
                self.values = list(answer.values)
            if answer.status not in {"INFEASIBLE", "MODEL_INVALID"}:
                least = max(least, min(answer.bound, value))
        values = [self.hold(part) for part in parts]
        if name:
            told, reached = values[0] + beside, sum(values) + beside
            known = self.whole or name not in (CHANGES, HELD, VATS)
            bound = max(0, told - sum(values) + least) if known else 0
            proved = sum(values) == least if known else reached == 0
            self.objectives.append(Objective(name, told, bound, proved))
