"""Waters dealt out ever better: a few at a time, together with everybody in them and some who lack room."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from intake.plan.allotment import Allotment, Deal, allotment
from intake.plan.chance import draw, shuffled
from intake.plan.matching import FILL_SECONDS, matched
from intake.plan.problem import Problem
from intake.plan.runs import AT_ONCE, Answer, Crew, Limits, Wait, unheard
from intake.plan.scene import Scene
from intake.plan.waters import rooms_in

__all__ = ["Dealer", "dealt"]

_STEP_SECONDS = 0.4
_FEWEST, _FIRST, _MOST = 2.0, 4.0, 12.0
"""Waters dealt out anew in one step: more while steps are solved to the end, fewer while they are not."""

_GUESTS = 8
"""Parties that lack room and are asked to a step beside those who stand in its waters."""

_BESIDE = 2
"""Waters, of those it has, in which a party's other stages are dealt out anew as well."""

_STALE = 60
"""Steps in a row without a gain after which nothing more is looked for."""

_SECONDS_PER_STEP = 0.06
"""What a step costs beside the solver's own work: its presolve is not in its own account."""


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

    def improve(self, seconds: float, tell: Wait = unheard) -> None:
        """Deal a few waters out anew, and others, until the time is over, nothing is gained any more or ``tell`` ends it."""
        end = self.charged + seconds
        first = deque(sorted({self.book.parties[party].supplier for party in self._short()}))
        while self.charged < end and self.stale < _STALE and not tell(self.seconds):
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
        self.charged += charged / AT_ONCE
        self.seconds += answer.seconds / AT_ONCE
        self.cut = self.cut or answer.cut
        self.stale = 0 if better else self.stale + 1
        grow = 1.04 if answer.status == "OPTIMAL" and charged < 0.4 * _STEP_SECONDS else 0.95
        self.size = min(_MOST, max(_FEWEST, self.size * grow))


def dealt(
    problem: Problem, crew: Crew, seed: str, possible: Sequence[int], seconds: float, tell: Wait = unheard
) -> Dealer:
    """Deal out all water kept lot by lot: by matching, then a few waters at a time."""
    scene = Scene(problem, loose=True)
    least = {owner: batch.count - possible[owner] for owner, batch in enumerate(problem.batches)}
    book = allotment(scene, rooms_in(scene), least)
    dealer = Dealer(book, crew, seed)
    dealer.charged = matched(book) * FILL_SECONDS
    dealer.improve(seconds - dealer.charged, tell)
    return dealer
