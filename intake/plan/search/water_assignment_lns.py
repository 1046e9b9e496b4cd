"""LNS on the water assignment: begun by bipartite matching, then a few waters reassigned at a time."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from intake.plan.model.occupancy import Occupancy
from intake.plan.problem import Problem
from intake.plan.relaxations.aggregated_quarantine import rooms_in
from intake.plan.search.seeded_random import draw, shuffled
from intake.plan.search.water_assignment import AssignmentModel, Party, WaterAssignment, water_assignment
from intake.plan.solvers.interface import Answer, Crew, Heartbeat, Limits, no_report
from intake.plan.tuning import (
    ASSIGNMENT_BESIDE_WATERS,
    ASSIGNMENT_FEWEST_WATERS,
    ASSIGNMENT_FIRST_WATERS,
    ASSIGNMENT_GUESTS,
    ASSIGNMENT_MOST_WATERS,
    ASSIGNMENT_OVERHEAD_SECONDS,
    ASSIGNMENT_STALE_STEPS,
    ASSIGNMENT_STEP_SECONDS,
    AT_ONCE,
    FILL_SECONDS,
)

__all__ = ["AssignmentLns", "assigned_waters", "matched"]


@dataclass(slots=True)
class _Step:
    model: AssignmentModel
    now: int
    answer: Callable[[], Answer]


@dataclass(slots=True)
class AssignmentLns:
    """Improves a water assignment.

    Attributes
    ----------
    charged, seconds
        Deterministic seconds used, and clock seconds of the solver.
    """

    assignment: WaterAssignment
    crew: Crew
    seed: str
    charged: float = 0.0
    seconds: float = 0.0
    cut: bool = False
    number: int = 0
    size: float = ASSIGNMENT_FIRST_WATERS
    stale: int = 0
    queue: deque[_Step] = field(default_factory=deque)

    def improve(self, seconds: float, report: Heartbeat = no_report) -> None:
        """Reassign a few waters, and others, until the time is over, nothing is gained any more or ``report`` ends it."""
        end = self.charged + seconds
        first = deque(sorted({self.assignment.parties[party].supplier for party in self._short()}))
        while self.charged < end and self.stale < ASSIGNMENT_STALE_STEPS and not report(self.seconds):
            begun = len(self.queue) < AT_ONCE and self._begin(first.popleft() if first else "")
            if not begun and not self.queue:
                if not first and not self._short():
                    break
                self.stale += 1
            elif not begun:
                self._end()
        while self.queue:
            self._end()

    def _short(self) -> list[int]:
        return [party.number for party in self.assignment.parties if self.assignment.lacking(party.number)]

    def _begin(self, supplier: str) -> bool:
        """Begin a step around a party without room, or within the waters of one supplier; false if none can be."""
        self.number += 1
        key = f"{self.seed}/deal/{self.number}"
        busy = {party for step in self.queue for party in step.model.parties}
        taken = {water for step in self.queue for water in step.model.systems}
        short = [party for party in self._short() if party not in busy]
        if supplier:
            short = [party for party in short if self.assignment.parties[party].supplier == supplier]
        if not short:
            return False
        picks = [short[draw(f"{key}/centre/{turn}", len(short))] for turn in range(2)]
        centre = max(picks, key=self.assignment.lacking)
        waters = self._own(centre) if supplier else self._waters(centre, key)
        waters = [water for water in waters if water not in taken and busy.isdisjoint(self._tied_inside(water))]
        if not waters:
            return False
        inside = self.assignment.inside(waters)
        guests = [party for party in short if party not in inside and party != centre]
        near = [party for party in guests if not set(waters).isdisjoint(self.assignment.suited(party))]
        chosen = [centre, *inside, *shuffled(near, f"{key}/guests")[:ASSIGNMENT_GUESTS]]
        parties = self.assignment.tied(chosen)
        if not busy.isdisjoint(parties):
            return False
        model = AssignmentModel(self.assignment, waters, parties)
        hint = model.hint()
        now = sum(price * hint[variable] for variable, price in model.terms)
        limits = Limits(ASSIGNMENT_STEP_SECONDS, 1, workers=1, brief=True)
        self.queue.append(_Step(model, now, self.crew.start(model.rows, model.terms, limits, hint)))
        return True

    def _tied_inside(self, water: int) -> list[int]:
        return self.assignment.tied(self.assignment.inside((water,)))

    def _own(self, centre: int) -> list[int]:
        """Waters that animals of the party's supplier have, on any day."""
        supplier = self.assignment.parties[centre].supplier
        mine = [party.number for party in self.assignment.parties if party.supplier == supplier]
        return sorted({water for party in mine for water in self.assignment.waters(party)})[
            : round(ASSIGNMENT_MOST_WATERS)
        ]

    def _waters(self, centre: int, key: str) -> list[int]:
        """Waters that suit the party, half the time one of its supplier's among them, and some for its other stages."""
        most = max(2, round(self.size * (0.6 + draw(f"{key}/size", 81) / 100)))
        suited = shuffled(self.assignment.suited(centre), f"{key}/waters")
        own = [water for water in suited if water in set(self._own(centre))]
        if own and draw(f"{key}/own", 2):
            suited = [own[0], *(water for water in suited if water != own[0])]
        chosen = suited[:most]
        for other in self.assignment.tied((centre,)):
            if self.assignment.parties[other].apart is not self.assignment.parties[centre].apart:
                chosen += self.assignment.waters(other)[:ASSIGNMENT_BESIDE_WATERS]
                chosen += shuffled(self.assignment.suited(other), f"{key}/beside")[:1]
        return list(dict.fromkeys(chosen))

    def _end(self) -> None:
        step = self.queue.popleft()
        answer = step.answer()
        better = step.model.take_over(answer, step.now)
        charged = answer.charged + ASSIGNMENT_OVERHEAD_SECONDS
        self.charged += charged / AT_ONCE
        self.seconds += answer.seconds / AT_ONCE
        self.cut = self.cut or answer.cut
        self.stale = 0 if better else self.stale + 1
        grow = 1.04 if answer.status == "OPTIMAL" and charged < 0.4 * ASSIGNMENT_STEP_SECONDS else 0.95
        self.size = min(ASSIGNMENT_MOST_WATERS, max(ASSIGNMENT_FEWEST_WATERS, self.size * grow))


def assigned_waters(
    problem: Problem, crew: Crew, seed: str, possible: Sequence[int], seconds: float, report: Heartbeat = no_report
) -> AssignmentLns:
    """Assign all water kept lot by lot: by matching, then a few waters at a time."""
    occupancy = Occupancy(problem, loose=True)
    least = {owner: batch.count - possible[owner] for owner, batch in enumerate(problem.batches)}
    assignment = water_assignment(occupancy, rooms_in(occupancy), least)
    lns = AssignmentLns(assignment, crew, seed)
    lns.charged = matched(assignment) * FILL_SECONDS
    lns.improve(seconds - lns.charged, report)
    return lns


_Fill = dict[int, tuple[dict[int, int], dict[int, int]]]
"""For each party that would get vats in a water, what it would then hold in all, and what its batches would lack."""


def matched(assignment: WaterAssignment) -> int:
    """Assign whatever is free until no one gains by it; how many fills were looked at.

    Waters that suppliers may share are assigned in the same way, apart from the others.
    """
    fills = 0
    lacking: dict[int, int] = {}
    for apart in (True, False):
        round_of = _Rounds(assignment, [party for party in assignment.parties if party.apart is apart])
        fills += round_of.all()
        for left in round_of.left.values():
            for owner, count in left.items():
                lacking[owner] = max(count, lacking.get(owner, 0))
    assignment.left |= lacking
    return fills


class _Rounds:
    """Rounds of matching among some parties, with what each of them still lacks."""

    def __init__(self, assignment: WaterAssignment, parties: Sequence[Party]) -> None:
        self.assignment, self.parties = assignment, parties
        batches = assignment.occupancy.problem.batches
        self.left = {one.number: {owner: batches[owner].count for owner in one.owners} for one in parties}
        self.waters = sorted({water for party in parties for water in assignment.suited(party.number)})

    def all(self) -> int:
        """Round after round until no one gains; the fills looked at."""
        import numpy as np  # heavy, and only needed on a farm of some size
        from scipy.optimize import linear_sum_assignment

        hopeless: set[int] = set()
        fills = 0
        while short := [one for one in self.parties if self._need(one) and one.number not in hopeless]:
            here = self._busiest(short)
            by_supplier: dict[str, list[Party]] = {}
            for party in sorted(here, key=lambda party: (-self._need(party), party.number)):
                by_supplier.setdefault(party.supplier, []).append(party)
            rows = [[self._fill(some, water) for water in self.waters] for _, some in sorted(by_supplier.items())]
            fills += len(rows) * len(self.waters)
            gains = np.array([[gain for gain, _ in row] for row in rows])
            if not gains.any():
                hopeless |= {party.number for party in here}
                continue
            for supplier, water in zip(*linear_sum_assignment(-gains), strict=True):
                for number, (held, left) in rows[supplier][water][1].items():
                    self.assignment.give(number, held)
                    self.left[number] = left
        return fills

    def _busiest(self, short: Sequence[Party]) -> list[Party]:
        """Those of the parties that are there on the day on which most room is lacking."""
        days = sorted({party.start for party in short})
        there = [[party for party in short if party.start <= day < party.end] for day in days]
        return max(there, key=lambda parties: sum(self._need(party) for party in parties))

    def _need(self, party: Party) -> int:
        """Bench area of the animals that lack it and might have it."""
        batches, least = self.assignment.occupancy.problem.batches, self.assignment.least
        return sum(
            (left - least[owner]) * max(1, batches[owner].footprint_mm2)
            for owner, left in self.left[party.number].items()
        )

    def _fill(self, parties: Sequence[Party], water: int) -> tuple[int, _Fill]:
        """Animals that parties of one supplier gain from a water, those with most need first."""
        assignment = self.assignment
        gain, given = 0, _Fill()
        more: dict[int, list[tuple[Party, int]]] = {}
        for party in parties:
            kinds = [kind for kind in assignment.kinds_of[water] if kind in party.doors]
            if not kinds or (party.apart and not _open(assignment, water, party)):
                continue
            held = dict(assignment.held[party.number])
            area, oxygen = _short_of(assignment, party, held)
            for kind in sorted(kinds, key=lambda kind: (-assignment.kinds[kind].area, kind)):
                offer = assignment.kinds[kind]
                room = _free(assignment, kind, party, more.get(kind, ())) - held.get(kind, 0)
                wanted = max(-(-area // offer.area) if offer.area else 0, -(-oxygen // max(1, offer.oxygen)), 0)
                count = min(max(0, room), wanted)
                held[kind] = held.get(kind, 0) + count
                area, oxygen = area - count * offer.area, oxygen - count * offer.oxygen
            left = _lacking(assignment, party, area, oxygen)
            gained = _weighed(assignment, self.left[party.number]) - _weighed(assignment, left)
            if gained > 0:
                gain += gained
                given[party.number] = (held, left)
                for kind in kinds:
                    more.setdefault(kind, []).append((party, held[kind]))
        return gain, given


def _open(assignment: WaterAssignment, water: int, party: Party) -> bool:
    """Whether no one of another supplier is in a water while a party would be."""
    return all(
        other.supplier == party.supplier or other.start >= party.end or party.start >= other.end
        for other in (assignment.parties[number] for number in assignment.inside((water,)))
    )


def _free(assignment: WaterAssignment, kind: int, party: Party, more: Sequence[tuple[Party, int]]) -> int:
    """Vats of a kind that no one else keeps from a party on any of its days, fallow days included."""
    offer = assignment.kinds[kind]
    gap = offer.fallow
    others = [(assignment.parties[number], assignment.held[number][kind]) for number in assignment.holders[kind]]
    near = [
        (one, count)
        for one, count in (*others, *more)
        if one.number != party.number and one.start < party.end + gap and party.start < one.end + gap
    ]
    days = {party.start, *(one.start for one, _ in near if one.start > party.start)}
    busy = max(sum(count for one, count in near if one.start <= day < one.end + gap) for day in days)
    return max(0, party.doors[kind] - busy)


def _short_of(assignment: WaterAssignment, party: Party, held: Mapping[int, int]) -> tuple[int, int]:
    """Bench area and oxygen that a party lacks for all its animals that can have a place at all."""
    batches = assignment.occupancy.problem.batches
    area = party.area - sum(assignment.kinds[kind].area * count for kind, count in held.items())
    oxygen = party.oxygen - sum(assignment.kinds[kind].oxygen * count for kind, count in held.items())
    for owner in party.owners:
        area -= assignment.least[owner] * batches[owner].footprint_mm2
        oxygen -= assignment.least[owner] * batches[owner].oxygen_ug_per_h
    return area, oxygen


def _lacking(assignment: WaterAssignment, party: Party, area: int, oxygen: int) -> dict[int, int]:
    """Animals without a place for want of so much area and oxygen, those that need most of it first."""
    batches = assignment.occupancy.problem.batches
    left = {owner: assignment.least[owner] for owner in party.owners}

    def thirst(owner: int) -> tuple[float, int]:
        batch = batches[owner]
        need = max(batch.footprint_mm2 * (area > 0), batch.oxygen_ug_per_h * (oxygen > 0))
        return (-need / batch.weight, owner)

    for owner in sorted(party.owners, key=thirst):
        foot, breath = batches[owner].footprint_mm2, batches[owner].oxygen_ug_per_h
        out = max(-(-area // foot) if foot else 0, -(-oxygen // breath) if breath else 0, 0)
        out = min(out, batches[owner].count - left[owner])
        left[owner] += out
        area, oxygen = area - out * foot, oxygen - out * breath
    return left


def _weighed(assignment: WaterAssignment, left: Mapping[int, int]) -> int:
    batches = assignment.occupancy.problem.batches
    return sum(count * batches[owner].weight for owner, count in left.items())
