"""Which animals stood where from when to when, and how each stay ended: the ground of rates by vat, water or batch."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from intake.ledger.corrections import netted
from intake.ledger.entries import SOURCES, Entry, Movement, is_vat, vat_id
from intake.report.survival import Life

__all__ = ["Span", "animal_days", "lives_of", "spans"]


@dataclass(frozen=True, slots=True)
class Span:
    """Animals of one batch that entered one place together and left it together.

    Attributes
    ----------
    batch, place
        Which animals, and where by the name the caller gave the vat (``dock`` for deaths between bag and vat).
    origin
        When the first animals of the batch came: its clock's beginning.
    entered_at, left_at
        From when to when, time-zone aware; ``left_at`` is the moment of looking for those still there.
    count
        Animals.
    went
        Place of the ledger they left for, a vat id for another place of the farm, empty for those still there.
    """

    batch: str
    place: str
    origin: datetime
    entered_at: datetime
    left_at: datetime
    count: int
    went: str

    @property
    def died(self) -> bool:
        """Whether they were found dead there."""
        return self.went == "dead"

    def life(self) -> Life:
        """The stay on its batch's clock, in days: who comes from another place enters late."""
        first, last = (self.entered_at - self.origin, self.left_at - self.origin)
        day = timedelta(days=1)
        return Life(first / day, last / day, self.count, self.died)


def spans(entries: Iterable[Entry], now: datetime, where: Callable[[str], str] = vat_id) -> tuple[Span, ...]:
    """Every stay of every batch up to a moment.

    Parameters
    ----------
    entries
        Entries of the ledger.
    now
        Moment of looking, time-zone aware.
    where
        Name of a vat's place (``vat:Q1``), by which stays are kept apart; vats of one name are one place, and moving
        between them ends no stay.

    Notes
    -----
    Animals of a batch are alike in the ledger, so the earliest entered are taken to leave first.  Animals dead on
    arrival are no stay, also when they had been booked into a vat before.
    """
    by_batch: defaultdict[str, list[Movement]] = defaultdict(list)
    for movement in netted(entries):
        if movement.happened_at <= now:
            by_batch[movement.batch].append(movement)
    return tuple(span for batch in sorted(by_batch) for span in _of_batch(by_batch[batch], now, where))


def _rank(movement: Movement) -> int:
    """At one moment animals come in first, then change vats, then leave."""
    return is_vat(movement.source) + (not is_vat(movement.target))


def _of_batch(moved: list[Movement], now: datetime, where: Callable[[str], str]) -> list[Span]:
    origin = moved[0].happened_at
    inside: defaultdict[str, deque[tuple[datetime, int]]] = defaultdict(deque)
    found: list[Span] = []
    for movement in sorted(moved, key=lambda m: (m.happened_at, _rank(m))):
        at, source, target = movement.happened_at, movement.source, movement.target
        here = where(source) if is_vat(source) else ""
        there = where(target) if is_vat(target) else ""
        if here == there and here:
            continue
        if here:
            went = there or target
            taken = _take(inside[here], movement.count)
            if target != "doa":
                found.extend(Span(movement.batch, here, origin, since, at, count, went) for since, count in taken)
        elif target == "dead" and source in ("dock", *SOURCES):
            found.append(Span(movement.batch, "dock", origin, at, at, movement.count, "dead"))
        if there:
            inside[there].append((at, movement.count))
    batch = moved[0].batch
    for place, waiting in inside.items():
        found.extend(Span(batch, place, origin, since, now, count, "") for since, count in waiting)
    return found


def _take(waiting: deque[tuple[datetime, int]], count: int) -> list[tuple[datetime, int]]:
    taken: list[tuple[datetime, int]] = []
    while count and waiting:
        since, there = waiting.popleft()
        number = min(count, there)
        if there > number:
            waiting.appendleft((since, there - number))
        count -= number
        taken.append((since, number))
    return taken


def animal_days(stood: Iterable[Span]) -> float:
    """Animals times days over these stays."""
    return sum(span.count * ((span.left_at - span.entered_at) / timedelta(days=1)) for span in stood)


def lives_of(stood: Iterable[Span]) -> tuple[Life, ...]:
    """Stays as lives on their batches' clocks, for the survival curve."""
    return tuple(span.life() for span in stood)
