"""The vat plan as an answer: who stands where and when, who moves, who is left out and what bound proves it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from intake.plan.model.occupancy import Layout, Occupancy
from intake.plan.model.release_dates import Held
from intake.plan.problem import Problem

__all__ = [
    "Binding",
    "Change",
    "Move",
    "Objective",
    "Placement",
    "Progress",
    "Relief",
    "Short",
    "Solution",
    "layout_of",
    "placements_of",
    "vats_first_left",
]


@dataclass(frozen=True, slots=True)
class Objective:
    """One aim of the plan: what was reached, the best that is possible at all, and whether that is proved.

    The objectives are lexicographic: each is pursued with the values of those before it kept.
    """

    name: str
    value: int
    bound: int
    proved: bool


@dataclass(frozen=True, slots=True)
class Placement:
    """Animals of a batch in one vat for half-open days counted from the plan's day zero."""

    batch: str
    vat: str
    stage: str
    count: int
    from_day: int
    until_day: int


@dataclass(frozen=True, slots=True)
class Move:
    """Current stock that goes from one vat to another on the morning of ``by_day`` at the latest."""

    batch: str
    from_vat: str
    to_vat: str
    count: int
    by_day: int


@dataclass(frozen=True, slots=True)
class Change:
    """What is otherwise than in the plan accepted before, and why.

    Attributes
    ----------
    before, after
        Vats with their animals, in the order of the problem.
    places
        Places (batch × stage × vat) left or newly taken; 0 when only numbers differ.
    why
        The reason in plain words.
    """

    batch: str
    stage: str
    before: tuple[tuple[str, int], ...]
    after: tuple[tuple[str, int], ...]
    places: int
    why: str

    def as_dict(self) -> dict[str, object]:
        """The change as plain data."""
        return {
            "batch": self.batch,
            "stage": self.stage,
            "before": [{"vat": vat, "count": count} for vat, count in self.before],
            "after": [{"vat": vat, "count": count} for vat, count in self.after],
            "places": self.places,
            "why": self.why,
        }


@dataclass(frozen=True, slots=True)
class Binding:
    """A fact that keeps animals out: so much is needed, so much there is, and what its going alone would gain.

    ``gain`` is counted in animals of the batch; 0 for a fact that only counts together with the others reported.
    """

    resource: str
    where: str
    need: float
    have: float
    gain: int = 0


@dataclass(frozen=True, slots=True)
class Short:
    """Animals of a batch without a place, with what binds."""

    batch: str
    count: int
    binding: tuple[Binding, ...] = ()

    @property
    def after_quarantine(self) -> bool:
        """Whether quarantine is not what keeps them out: everything that binds does so in grow-out."""
        return bool(self.binding) and all(one.where.startswith("grow-out in ") for one in self.binding)


_DOING = {
    "greedy": "first plan made",
    "count": "counting quarantine space by system",
    "deal": "assigning waters to lots",
    "recount": "improving the numbers of a few lots",
    "neighbourhood": "placing a few batches again",
    "halfway": "looking for anything better",
    "bound": "proving how many can fit",
}


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the search has come: the aim pursued, the best value so far and the bound.

    Attributes
    ----------
    value, bound
        For animals placed (weighted by their worth) what the plan in hand places and what no plan exceeds; for later aims
        what is reached and what no plan goes below.
    seconds
        Seconds searched by the clock.
    source
        The method at work; :attr:`doing` says it in words.
    left
        Seconds of the time given that are left.
    """

    step: str
    value: int
    bound: int
    seconds: float
    source: str
    left: float = 0.0

    @property
    def doing(self) -> str:
        """What the search does, in plain words."""
        return _DOING.get(self.source, "searching")


@dataclass(frozen=True, slots=True)
class Relief:
    """Something the owner can do so that more animals find a place; checked by planning again with it done.

    Attributes
    ----------
    do
        The act in plain words, with vat and ISO date.
    kind
        The act for the app to apply; ``pair`` is two of the others, in ``steps``.
    frees
        Bench area set free, or not needed any more, in m².
    cost
        Work in minutes (animals handled × the group's handling time, or paper work).
    places
        Animals fewer left over than without it.  Animals of a ``fewer`` relief are counted here although they are not
        bought; their number is ``count``.
    left_over
        Animals still left over with it; 0 when all fits.
    proved
        Whether the plan with the relief is proved to leave no fewer.
    lines
        For ``split``: batch id and animals of it that land later.
    value_cents, price_cents
        Price of the animals it places more, as far as prices are known, and what it costs in money beside the work.
    disturbs, risk
        What is otherwise than before, and what may go wrong by it, in plain words.
    """

    do: str
    kind: Literal["clear", "fewer", "delay", "split", "hold", "gather", "move", "sell", "borrow", "share", "pair"]
    frees: float
    cost: float
    places: int
    left_over: int
    proved: bool
    vat: str = ""
    day: int = 0
    batch: str = ""
    shipment: str = ""
    count: int = 0
    steps: tuple[Relief, ...] = ()
    lines: tuple[tuple[str, int], ...] = ()
    value_cents: int = 0
    price_cents: int = 0
    disturbs: str = ""
    risk: str = ""

    def as_dict(self) -> dict[str, object]:
        """The relief as the command contract names it."""
        return {
            "do": self.do,
            "frees": round(self.frees, 3),
            "cost": round(self.cost, 1),
            "places": self.places,
            "kind": self.kind,
            "left_over": self.left_over,
            "proved": self.proved,
            "value": self.value_cents / 100,
            "price": self.price_cents / 100,
            "disturbs": self.disturbs,
            "risk": self.risk,
        }


@dataclass(frozen=True, slots=True)
class Solution:
    """The plan.

    Attributes
    ----------
    status
        ``short`` when animals are left over (bounds and proofs are in ``objectives``), else ``optimal`` when the
        first three aims are proved, else ``bounded``.
    placed_bound
        No plan can place more animals than this.
    changes
        What is otherwise than in the plan accepted before, when there was one to keep to.
    held
        Batches that stay in quarantine longer than their own clock asks, and the lot each waits for.
    reproducible
        Whether the same problem and seed give the same plan again: false after a stop by wall clock or by hand.
    """

    status: Literal["optimal", "bounded", "short"]
    announced: int
    placed: int
    placed_bound: int
    objectives: tuple[Objective, ...]
    placements: tuple[Placement, ...]
    moves: tuple[Move, ...] = ()
    short: tuple[Short, ...] = ()
    relief: tuple[Relief, ...] = ()
    changes: tuple[Change, ...] = ()
    held: tuple[Held, ...] = ()
    seconds: float = 0.0
    seed: int = 1
    reproducible: bool = True

    def as_dict(self, day_zero: date) -> dict[str, object]:
        """The plan as plain data with ISO dates, keys as the command contract names them."""

        def day(number: int) -> str:
            return (day_zero + timedelta(days=number)).isoformat()

        return {
            "status": self.status,
            "announced": self.announced,
            "placed": self.placed,
            "placed_bound": self.placed_bound,
            "objectives": [
                {
                    "name": objective_terms.name,
                    "value": objective_terms.value,
                    "bound": objective_terms.bound,
                    "proved": objective_terms.proved,
                }
                for objective_terms in self.objectives
            ],
            "placements": [
                {
                    "batch": one.batch,
                    "vat": one.vat,
                    "stage": one.stage,
                    "count": one.count,
                    "from": day(one.from_day),
                    "until": day(one.until_day),
                }
                for one in self.placements
            ],
            "moves": [
                {
                    "batch": one.batch,
                    "from_vat": one.from_vat,
                    "to_vat": one.to_vat,
                    "count": one.count,
                    "by": day(one.by_day),
                }
                for one in self.moves
            ],
            "short": [
                {
                    "batch": one.batch,
                    "count": one.count,
                    "after_quarantine": one.after_quarantine,
                    "binding": [
                        {
                            "resource": what.resource,
                            "where": what.where,
                            "need": what.need,
                            "have": what.have,
                            "gain": what.gain,
                        }
                        for what in one.binding
                    ],
                }
                for one in self.short
            ],
            "relief": [one.as_dict() for one in self.relief],
            "changes": [one.as_dict() for one in self.changes],
            "held": [
                {
                    "batch": one.batch,
                    "count": one.count,
                    "until": day(one.until_day),
                    "days": one.days,
                    "because": one.because,
                }
                for one in self.held
            ],
            "seconds": round(self.seconds, 3),
            "reproducible": self.reproducible,
        }


def placements_of(occupancy: Occupancy, layout: Layout) -> tuple[tuple[Placement, ...], tuple[Move, ...]]:
    """Placements and moves of a layout, in the order of batches, stages and vats."""
    problem = occupancy.problem
    placements = []
    for (owner, position, vat), count in sorted(layout.counts.items()):
        batch = problem.batches[owner]
        stage = batch.stages[position]
        start, until = occupancy.days(owner, position, layout.ends.get(owner, batch.own_end))
        placements.append(Placement(batch.id, problem.vats[vat].id, stage.stage, count, start, until))
    moves = [
        Move(standing.batch, standing.vat, problem.vats[home].id, standing.count, standing.move_day)
        for standing, home in zip(problem.standing, layout.homes, strict=True)
        if problem.vats[home].id != standing.vat
    ]
    return tuple(placements), tuple(vats_first_left(moves))


def vats_first_left(moves: Sequence[Move]) -> list[Move]:
    """Moves in an order in which they can be done: into a vat after those out of it; a ring keeps the order it had."""
    waiting, ordered = list(moves), list[Move]()
    while waiting:
        taken = {one.from_vat for one in waiting}
        ready = [one for one in waiting if one.to_vat not in taken] or waiting[:1]
        ordered += ready
        waiting = [one for one in waiting if one not in ready]
    return ordered


def layout_of(problem: Problem, solution: Solution) -> Layout:
    """The numbers of a solution by a problem's own order; what the problem does not know is left out."""
    vats = {vat.id: index for index, vat in enumerate(problem.vats)}
    stages: dict[tuple[str, str], tuple[int, int]] = {
        (batch.id, need.stage): (owner, position)
        for owner, batch in enumerate(problem.batches)
        for position, need in enumerate(batch.stages)
    }
    counts = {
        (*stages[one.batch, one.stage], vats[one.vat]): one.count
        for one in solution.placements
        if (one.batch, one.stage) in stages
    }
    moved = {(one.batch, one.from_vat, one.count): one.to_vat for one in solution.moves}
    homes = [
        vats[moved.get((one.batch, one.vat, one.count), one.vat) if one.movable else one.vat]
        for one in problem.standing
    ]
    own = [batch.own_end for batch in problem.batches]
    ends = {
        stages[one.batch, one.stage][0]: one.until_day
        for one in solution.placements
        if one.stage == "quarantine" and (one.batch, one.stage) in stages
    }
    return Layout(counts, tuple(homes), {owner: end for owner, end in ends.items() if end > own[owner]})
