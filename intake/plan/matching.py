"""Whole waters to suppliers by matching: a first allotment that is already near what a full farm can take.

On the day with most animals without a place, every supplier who lacks room is matched with at most one water, so that
as many animals as possible find places; then again.  Suppliers who need the same water do not take it from each other
in the order of their names, as they would if they were served one by one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from intake.plan.allotment import Allotment, Party

__all__ = ["FILL_SECONDS", "matched"]

FILL_SECONDS = 1.5e-4
"""What it is charged to see how well one supplier's animals fit one water: 0.5 to 1.7 of 10⁻⁴ s were measured."""

_Fill = dict[int, tuple[dict[int, int], dict[int, int]]]
"""For each party that would get vats in a water, what it would then hold in all, and what its batches would lack."""


def matched(book: Allotment) -> int:
    """Deal out whatever is free until nobody gains by it; how many fills were looked at.

    Waters that suppliers may share are dealt out in the same way, apart from the others.
    """
    fills = 0
    lacking: dict[int, int] = {}
    for apart in (True, False):
        round_of = _Rounds(book, [party for party in book.parties if party.apart is apart])
        fills += round_of.all()
        for left in round_of.left.values():
            for owner, count in left.items():
                lacking[owner] = max(count, lacking.get(owner, 0))
    book.left |= lacking
    return fills


class _Rounds:
    """Rounds of matching among some parties, with what each of them still lacks."""

    def __init__(self, book: Allotment, parties: Sequence[Party]) -> None:
        self.book, self.parties = book, parties
        batches = book.scene.problem.batches
        self.left = {one.number: {owner: batches[owner].count for owner in one.owners} for one in parties}
        self.waters = sorted({water for party in parties for water in book.suited(party.number)})

    def all(self) -> int:
        """Round after round until nobody gains; the fills looked at."""
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
                    self.book.give(number, held)
                    self.left[number] = left
        return fills

    def _busiest(self, short: Sequence[Party]) -> list[Party]:
        """Those of the parties that are there on the day on which most room is lacking."""
        days = sorted({party.start for party in short})
        there = [[party for party in short if party.start <= day < party.end] for day in days]
        return max(there, key=lambda parties: sum(self._need(party) for party in parties))

    def _need(self, party: Party) -> int:
        """Bench area of the animals that lack it and might have it."""
        batches, least = self.book.scene.problem.batches, self.book.least
        return sum(
            (left - least[owner]) * max(1, batches[owner].footprint_mm2)
            for owner, left in self.left[party.number].items()
        )

    def _fill(self, parties: Sequence[Party], water: int) -> tuple[int, _Fill]:
        """Animals that parties of one supplier gain from a water, those with most need first."""
        book = self.book
        gain, given = 0, _Fill()
        more: dict[int, list[tuple[Party, int]]] = {}
        for party in parties:
            kinds = [kind for kind in book.kinds_of[water] if kind in party.doors]
            if not kinds or (party.apart and not _open(book, water, party)):
                continue
            held = dict(book.held[party.number])
            area, oxygen = _short_of(book, party, held)
            for kind in sorted(kinds, key=lambda kind: (-book.kinds[kind].area, kind)):
                offer = book.kinds[kind]
                room = _free(book, kind, party, more.get(kind, ())) - held.get(kind, 0)
                wanted = max(-(-area // offer.area) if offer.area else 0, -(-oxygen // max(1, offer.oxygen)), 0)
                count = min(max(0, room), wanted)
                held[kind] = held.get(kind, 0) + count
                area, oxygen = area - count * offer.area, oxygen - count * offer.oxygen
            left = _lacking(book, party, area, oxygen)
            gained = _weighed(book, self.left[party.number]) - _weighed(book, left)
            if gained > 0:
                gain += gained
                given[party.number] = (held, left)
                for kind in kinds:
                    more.setdefault(kind, []).append((party, held[kind]))
        return gain, given


def _open(book: Allotment, water: int, party: Party) -> bool:
    """Whether nobody of another supplier is in a water while a party would be."""
    return all(
        other.supplier == party.supplier or other.start >= party.end or party.start >= other.end
        for other in (book.parties[number] for number in book.inside((water,)))
    )


def _free(book: Allotment, kind: int, party: Party, more: Sequence[tuple[Party, int]]) -> int:
    """Vats of a kind that nobody else keeps from a party on any of its days, fallow days included."""
    offer = book.kinds[kind]
    gap = offer.fallow
    others = [(book.parties[number], book.held[number][kind]) for number in book.holders[kind]]
    near = [
        (one, count)
        for one, count in (*others, *more)
        if one.number != party.number and one.start < party.end + gap and party.start < one.end + gap
    ]
    days = {party.start, *(one.start for one, _ in near if one.start > party.start)}
    busy = max(sum(count for one, count in near if one.start <= day < one.end + gap) for day in days)
    return max(0, party.doors[kind] - busy)


def _short_of(book: Allotment, party: Party, held: Mapping[int, int]) -> tuple[int, int]:
    """Bench area and oxygen that a party lacks for all its animals that can have a place at all."""
    batches = book.scene.problem.batches
    area = party.area - sum(book.kinds[kind].area * count for kind, count in held.items())
    oxygen = party.oxygen - sum(book.kinds[kind].oxygen * count for kind, count in held.items())
    for owner in party.owners:
        area -= book.least[owner] * batches[owner].footprint_mm2
        oxygen -= book.least[owner] * batches[owner].oxygen_ug_per_h
    return area, oxygen


def _lacking(book: Allotment, party: Party, area: int, oxygen: int) -> dict[int, int]:
    """Animals without a place for want of so much area and oxygen, those that need most of it first."""
    batches = book.scene.problem.batches
    left = {owner: book.least[owner] for owner in party.owners}

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


def _weighed(book: Allotment, left: Mapping[int, int]) -> int:
    batches = book.scene.problem.batches
    return sum(count * batches[owner].weight for owner, count in left.items())
