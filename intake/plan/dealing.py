"""From waters dealt out to a plan: the allotment is improved a few waters at a time, then a plan is made of it lot by lot."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

from intake.plan.allotment import Allotment, Deal, allotment, by_lots
from intake.plan.chance import draw, shuffled
from intake.plan.matching import FILL_SECONDS, matched
from intake.plan.neighbourhood import offered, shipments
from intake.plan.problem import Problem
from intake.plan.runs import Answer, Crew, Limits
from intake.plan.scene import Scene, Spot
from intake.plan.steps import Steps
from intake.plan.waters import rooms_in

__all__ = ["Dealer", "dealt", "planned"]

_AT_ONCE = 2
"""Deals being solved at the same time; they have no water and no party in common."""

_STEP_SECONDS = 0.4
_FEWEST, _FIRST, _MOST = 2.0, 4.0, 12.0
"""Waters dealt out anew in one step: more while steps are solved to the end, fewer while they are not."""

_GUESTS = 8
"""Parties that lack room and are asked to a step beside those who stand in its waters."""

_BESIDE = 2
"""Waters, of those it has, in which a party's other stages are dealt out anew as well."""

_STALE = 60
"""Steps in a row without a gain after which nothing more is looked for."""

_LOT_SECONDS = 0.6
"""Time to place one lot."""

_SECONDS_PER_STEP = 0.01
"""What a step costs beside the solver's own work."""


@dataclass(slots=True)
class _Step:
    deal: Deal
    now: int
    answer: Callable[[], Answer]


@dataclass(slots=True)
class Dealer:
    """Improves an allotment.

    Attributes
    ----------
    charged, seconds
        Deterministic seconds used, and clock seconds of the solver.
    """

    book: Allotment
    crew: Crew
    seed: str
    charged: float = 0.0
    seconds: float = 0.0
    cut: bool = False
    number: int = 0
    size: float = _FIRST
    stale: int = 0
    queue: deque[_Step] = field(default_factory=deque)

    def improve(self, seconds: float) -> None:
        """Deal a few waters out anew, and others, until the time is over or nothing is gained any more."""
        end = self.charged + seconds
        first = deque(sorted({self.book.parties[party].supplier for party in self._short()}))
        while self.charged < end and self.stale < _STALE:
            begun = len(self.queue) < _AT_ONCE and self._begin(first.popleft() if first else "")
            if not begun and not self.queue:
                if not first and not self._short():
                    break
                self.stale += 1
            elif not begun:
                self._end()
        while self.queue:
            self._end()

    def _short(self) -> list[int]:
        return [party.number for party in self.book.parties if self.book.lacking(party.number)]

    def _begin(self, supplier: str) -> bool:
        """Begin a step around a party without room, or within the waters of one supplier; false if none can be."""
        self.number += 1
        key = f"{self.seed}/deal/{self.number}"
        busy = {party for step in self.queue for party in step.deal.parties}
        taken = {water for step in self.queue for water in step.deal.systems}
        short = [party for party in self._short() if party not in busy]
        if supplier:
            short = [party for party in short if self.book.parties[party].supplier == supplier]
        if not short:
            return False
        picks = [short[draw(f"{key}/centre/{turn}", len(short))] for turn in range(2)]
        centre = max(picks, key=self.book.lacking)
        waters = self._own(centre) if supplier else self._waters(centre, key)
        waters = [water for water in waters if water not in taken and busy.isdisjoint(self._tied_inside(water))]
        if not waters:
            return False
        inside = self.book.inside(waters)
        guests = [party for party in short if party not in inside and party != centre]
        near = [party for party in guests if not set(waters).isdisjoint(self.book.suited(party))]
        chosen = [centre, *inside, *shuffled(near, f"{key}/guests")[:_GUESTS]]
        parties = self.book.tied(chosen)
        if not busy.isdisjoint(parties):
            return False
        deal = Deal(self.book, waters, parties)
        hint = deal.hint()
        now = sum(price * hint[variable] for variable, price in deal.terms)
        limits = Limits(_STEP_SECONDS, 1, workers=1, brief=True)
        self.queue.append(_Step(deal, now, self.crew.start(deal.rows, deal.terms, limits, hint)))
        return True

    def _tied_inside(self, water: int) -> list[int]:
        return self.book.tied(self.book.inside((water,)))

    def _own(self, centre: int) -> list[int]:
        """Waters that animals of the party's supplier have, on any day."""
        supplier = self.book.parties[centre].supplier
        mine = [party.number for party in self.book.parties if party.supplier == supplier]
        return sorted({water for party in mine for water in self.book.waters(party)})[: round(_MOST)]

    def _waters(self, centre: int, key: str) -> list[int]:
        """Waters that suit the party, half the time one of its supplier's among them, and some for its other stages."""
        most = max(2, round(self.size * (0.6 + draw(f"{key}/size", 81) / 100)))
        suited = shuffled(self.book.suited(centre), f"{key}/waters")
        own = [water for water in suited if water in set(self._own(centre))]
        if own and draw(f"{key}/own", 2):
            suited = [own[0], *(water for water in suited if water != own[0])]
        chosen = suited[:most]
        for other in self.book.tied((centre,)):
            if self.book.parties[other].apart is not self.book.parties[centre].apart:
                chosen += self.book.waters(other)[:_BESIDE]
                chosen += shuffled(self.book.suited(other), f"{key}/beside")[:1]
        return list(dict.fromkeys(chosen))

    def _end(self) -> None:
        step = self.queue.popleft()
        answer = step.answer()
        better = step.deal.take_over(answer, step.now)
        charged = answer.charged + _SECONDS_PER_STEP
        self.charged += charged / _AT_ONCE
        self.seconds += answer.seconds / _AT_ONCE
        self.cut = self.cut or answer.cut
        self.stale = 0 if better else self.stale + 1
        grow = 1.04 if answer.status == "OPTIMAL" and charged < 0.4 * _STEP_SECONDS else 0.95
        self.size = min(_MOST, max(_FEWEST, self.size * grow))


def dealt(problem: Problem, crew: Crew, seed: str, possible: Sequence[int], seconds: float) -> Dealer:
    """Deal out all water kept lot by lot: by matching, then a few waters at a time."""
    scene = Scene(problem, loose=True)
    least = {owner: batch.count - possible[owner] for owner, batch in enumerate(problem.batches)}
    book = allotment(scene, rooms_in(scene), least)
    dealer = Dealer(book, crew, seed)
    dealer.charged = matched(book) * FILL_SECONDS
    dealer.improve(seconds - dealer.charged)
    return dealer


def planned(steps: Steps, dealer: Dealer, seconds: float) -> None:
    """Make a plan of an allotment: lot after lot is placed in the waters it was given, the bulkiest first.

    A lot that found its places taken by the one solved beside it is tried once more; when the time is over, whoever is
    left is placed by first fit.
    """
    given = _vats_given(dealer.book)
    lots = shipments(steps.problem)
    end = steps.charged + seconds
    steps.clear()
    for turn in range(2):
        for number, lot in enumerate(lots):
            if steps.charged >= end or any(steps.placed[owner] for owner in lot):
                continue
            if steps.full:
                steps.end()
            choose = partial(_offered, given=given, key=f"{steps.seed}/{turn}/{number}")
            steps.begin(lot, (), _LOT_SECONDS, choose)
        while steps.queue:
            steps.end()
    for lot in lots:
        if not any(steps.placed[owner] for owner in lot):
            for owner in lot:
                steps.add(owner)


def _vats_given(book: Allotment) -> dict[int, set[int]]:
    """For each batch the very vats of its parties: who comes first chooses first, so that counts that fit find vats."""
    given: dict[int, set[int]] = {}
    until: dict[int, list[tuple[int, tuple[str, int]]]] = {}
    inside = book.scene.inside
    for party in sorted(book.parties, key=lambda party: (party.start, party.number)):
        for number, count in sorted(book.held[party.number].items()):
            kind = book.kinds[number]
            free = [
                vat
                for vat in kind.vats
                if not any(
                    one.start < party.end + kind.fallow and party.start < one.end + kind.fallow for one in inside[vat]
                )
                and all(party.start >= end + kind.fallow for end, _ in until.get(vat, ()))
            ]
            for vat in free[:count]:
                until.setdefault(vat, []).append((party.end, party.lot))
                for owner in party.owners:
                    given.setdefault(owner, set()).add(vat)
    return given


def _offered(
    scene: Scene, owners: Sequence[int], mine: Mapping[Spot, int], *, given: Mapping[int, set[int]], key: str
) -> set[Spot]:
    """Spots worth offering, of separate quarantine water only what was dealt out."""
    spots = offered(scene, owners, mine, key=key)
    if spots is None:
        stages = ((owner, position) for owner in owners for position in range(len(scene.stage_vats[owner])))
        spots = {(owner, stage, vat) for owner, stage in stages for vat in scene.stage_vats[owner][stage]}
    dealt_out = [(owner, stage) for owner, stage, _ in spots if by_lots(scene, owner, stage)]
    kept = {spot for spot in spots if spot[:2] not in set(dealt_out)}
    for owner, stage in dict.fromkeys(dealt_out):
        kept |= {(owner, stage, vat) for vat in scene.stage_vats[owner][stage] if vat in given.get(owner, ())}
    return kept
