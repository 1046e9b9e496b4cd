"""A lower bound on an aim of the day with all its resources in it at once: Lagrangian relaxation of a time-indexed model.

Every minute of a table, tub, dip place, person, drip line and liter of mixed water gets a price, and so do the aims that
are kept.  At given prices each box chooses its own cheapest minutes, whatever the others do; what they cost together, less
what all of it is worth, is below every day that keeps to the resources, whatever the prices are: they only decide how
tight the bound is.  The sum is in whole numbers, so it is exact.

References
----------
Christofides, Alvarez-Valdes & Tamarit (1987), Eur. J. Oper. Res. 29:262-273, and Möhring, Schulz, Stork & Uetz (2003),
Management Science 49:330-350: the relaxation.  Held, Wolfe & Crowder (1974), Math. Programming 6:62-88, and Polyak (1969), USSR
Comput. Math. Math. Phys. 9:14-29: the step.  Camerini, Fratta & Maffioli (1975), Math. Programming Study 3:26-34: the
direction.  All from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from math import fsum

import numpy as np

from intake.receiving.box import BoxNeed
from intake.receiving.problem import DIP_PLACE, TABLE, TUB, DayProblem
from intake.receiving.solving import day_tuning as tuning
from intake.receiving.solving.day_stock import FAR, Stock
from intake.receiving.solving.free_minutes import runs

__all__ = ["Kept", "Minutes", "Prices", "Table"]

Minutes = np.ndarray[tuple[int], np.dtype[np.int64]]
Table = np.ndarray[tuple[int, int], np.dtype[np.int64]]
Real = np.ndarray[tuple[int, int], np.dtype[np.float64]]
Kept = Sequence[tuple[Table, int]]
"""Aims that may not get worse: what opening each box in each minute costs, and what all of them may cost together."""


@dataclass(frozen=True, slots=True)
class _Use:
    """An amount of the resources in some rows, for ``minutes`` from a moment on (in a tub: beyond its being taken out)."""

    rows: tuple[int, ...]
    amount: int
    minutes: int


@dataclass(frozen=True, slots=True)
class _Job:
    """One closed box: minutes at the table and until it may be taken out, and what it uses from which moment on.

    ``opening`` from the opening, ``setting`` from the tub, ``held`` from the tub until it is taken out, ``ending`` from then
    on; ``no_open`` and ``no_out`` are ``FAR`` at minutes at which it cannot be opened or taken out.
    """

    table: int
    ready: int
    opening: tuple[_Use, ...]
    setting: tuple[_Use, ...]
    held: tuple[_Use, ...]
    ending: tuple[_Use, ...]
    no_open: Minutes
    no_out: Minutes


class Prices:
    """The closed boxes of a day, what each uses, how much of everything there is in each minute, and what it costs.

    Parameters
    ----------
    problem
        A completed day.
    earliest
        Closed box → minute before which no plan can open it.
    until
        Minutes after it are free of charge, and stand for all that follow.

    Attributes
    ----------
    boxes
        Closed boxes, in the order of the day.
    there, price
        Amount and price (parts of a hundredth, ``PRICE_SCALE``) by resource and minute.
    """

    def __init__(self, problem: DayProblem, earliest: Mapping[str, int], until: int) -> None:
        self.problem, self.until = problem, max(0, until)
        self.boxes = [box for box in problem.boxes if box.box in earliest]
        self.opens = self.until + 1
        self.outs = self.opens + max((box.opening_minutes + box.tub_minutes for box in self.boxes), default=0)
        longest = max((max(box.finishing_minutes, box.setup_minutes) for box in self.boxes), default=0)
        self.stock = Stock(problem, self.outs + max(longest, problem.remake_minutes) + 1)
        self._drips, self._water = self.stock.drips(), self.stock.water()
        self._rows: dict[object, int] = {}
        self._there: list[list[int]] = []
        self._crowds = self.stock.crowds()
        self._jobs = [self._job(box, earliest[box.box]) for box in self.boxes]
        self.there: Table = np.array(self._there, np.int64).reshape(len(self._there), self.stock.minutes)
        self.price: Table = np.zeros_like(self.there)

    def _job(self, box: BoxNeed, earliest: int) -> _Job:
        no_open = self._in_company(box.opening_minutes, self.opens)
        no_open[: min(earliest, self.until)] = FAR
        dip = (_Use((self._lane(DIP_PLACE),), 1, box.dip_minutes),) if box.dip_minutes else ()
        return _Job(
            table=box.opening_minutes,
            ready=box.opening_minutes + box.tub_minutes,
            opening=(_Use((self._lane(TABLE), *self._hands(box.opening_skills)), 1, box.opening_minutes),),
            setting=(_Use(self._hands(box.setup_skills), 1, box.setup_minutes),),
            held=(_Use((self._lane(TUB),), box.tubs, 0), *self._drawn(box)),
            ending=(_Use(self._hands(box.finishing_skills), 1, box.finishing_minutes), *dip),
            no_open=no_open,
            no_out=self._in_company(box.dip_minutes, self.outs),
        )

    def _in_company(self, length: int, domain: int) -> Minutes:
        """``FAR`` where two people are not in for so long; the last minute stands for all later ones."""
        bits = runs(self.problem.company, length) if length else -1
        return np.array([0 if bits >> at & 1 or at == domain - 1 else FAR for at in range(domain)], np.int64)

    def _row(self, key: object, there: Callable[[], list[int]]) -> int:
        if key not in self._rows:
            self._rows[key] = len(self._there)
            self._there.append(there())
        return self._rows[key]

    def _lane(self, kind: frozenset[str]) -> int:
        return self._row(("lane", kind), lambda: self.stock.lanes(kind))

    def _hands(self, need: frozenset[str]) -> tuple[int, ...]:
        """Rows of every crowd that holds all who can do it."""
        able = self.stock.able(need)
        return tuple(self._row(who, partial(self.stock.people, who)) for who in self._crowds if able <= who)

    def _drawn(self, box: BoxNeed) -> tuple[_Use, ...]:
        rows = []
        if box.drip_lines and (drips := self._drips) is not None:
            rows.append(_Use((self._row("drips", lambda: drips),), box.drip_lines, 0))
        if box.whole_litres and (water := self._water) is not None:
            rows.append(_Use((self._row("water", lambda: water),), box.whole_litres, self.problem.remake_minutes))
        return tuple(rows)

    def bound(self, costs: Table, goal: int, rounds: int, kept: Kept = ()) -> int:
        """A lower bound on what opening all closed boxes costs, in every day that keeps to the resources and aims kept.

        Parameters
        ----------
        costs
            For each of ``boxes`` what opening it in each minute up to ``until`` costs: whole, never falling.
        goal
            What a day is known to reach: the search for prices ends there.
        rounds
            Prices are changed so often at most; they stay for the next question.
        kept
            Aims before it, and what they may cost at most.
        """
        at = _Climb(self, kept)
        best, step, stale = -FAR, 1.0, 0
        held = at.here
        for _ in range(rounds):
            value = at.look(costs)
            stale = 0 if value > best else stale + 1
            if value > best:
                best, held = value, at.here
            if best > (goal - 1) * tuning.PRICE_SCALE:
                break
            if stale >= tuning.PRICE_PATIENCE:
                step, stale = step / 2, 0
                at.start_over(held)
            elif not at.climb(step * (goal * tuning.PRICE_SCALE - value)):
                break
        self.price = at.whole(held)
        return -(-best // tuning.PRICE_SCALE)

    def chosen(self, costs: Table) -> tuple[int, Table, list[int]]:
        """What all boxes cost at these prices less what is there is worth, what is used beyond it, and the minutes of opening."""
        paid = np.zeros((len(self.price), self.stock.minutes + 1), np.int64)
        np.cumsum(self.price, axis=1, out=paid[:, 1:])
        change, sums = np.zeros_like(paid), dict[tuple[int, ...], Minutes]()
        total, opened = -int((self.price * self.there).sum()), []
        for job, cost in zip(self._jobs, costs, strict=True):
            for use in (*job.opening, *job.setting, *job.held, *job.ending):
                if use.rows not in sums:
                    sums[use.rows] = paid[list(use.rows)].sum(axis=0)
            price, start, out = _cheapest(job, cost, sums)
            total += price
            opened.append(start)
            _enter(job, start, out, change)
        used = np.cumsum(change, axis=1)[:, :-1] - self.there
        used[:, self.until :] = 0  # free of charge
        return total, used, opened


def _cheapest(job: _Job, cost: Minutes, sums: Mapping[tuple[int, ...], Minutes]) -> tuple[int, int, int]:
    """The least one box can cost, and when it is opened and taken out for that."""
    opens, outs, at = len(job.no_open), len(job.no_out), job.table
    start = job.no_open + cost
    for use in job.opening:
        start += use.amount * (sums[use.rows][use.minutes : use.minutes + opens] - sums[use.rows][:opens])
    for use in job.setting:
        begin = at + use.minutes
        start += use.amount * (sums[use.rows][begin : begin + opens] - sums[use.rows][at : at + opens])
    end = job.no_out.copy()
    for use in job.held:
        start -= use.amount * sums[use.rows][at : at + opens]
        end += use.amount * sums[use.rows][use.minutes : use.minutes + outs]
    for use in job.ending:
        end += use.amount * (sums[use.rows][use.minutes : use.minutes + outs] - sums[use.rows][:outs])
    later = np.minimum.accumulate(end[::-1])[::-1]
    start += later[job.ready : job.ready + opens]
    opened = int(start.argmin())
    return int(start[opened]), opened, opened + job.ready + int(end[opened + job.ready :].argmin())


def _enter(job: _Job, opened: int, out: int, change: Table) -> None:
    """Enter what one box uses where it begins, and take it off where it ends."""
    tub = opened + job.table
    spans = [(use, opened, opened + use.minutes) for use in job.opening]
    spans += [(use, tub, tub + use.minutes) for use in job.setting]
    spans += [(use, tub, out + use.minutes) for use in job.held]
    spans += [(use, out, out + use.minutes) for use in job.ending]
    for use, begin, end in spans:
        for row in use.rows:
            change[row, begin] += use.amount
            change[row, end] -= use.amount


class _Climb:
    """Where the search for prices stands: ``here``, and the way it last went.

    Minutes share a price in blocks, and a resource counts by the share of it that is used: fewer and more equal prices are
    found in fewer rounds.  Sums of real numbers are exact (``fsum``), so that every machine goes the same way.
    """

    def __init__(self, prices: Prices, kept: Kept) -> None:
        self.prices, self.kept = prices, kept
        minutes = prices.stock.minutes
        self.marks = np.arange(0, minutes, tuning.PRICE_BLOCK)
        self.block_of = np.arange(minutes) // tuning.PRICE_BLOCK
        self.size = np.maximum(1, prices.there.max(axis=1, initial=1)).reshape(-1, 1).astype(float)
        self.here: tuple[Real, list[float]] = (prices.price[:, self.marks].astype(float), [0.0] * len(kept))
        self.short: tuple[Real, list[float]] = self.here
        self.start_over(self.here)

    def whole(self, here: tuple[Real, list[float]]) -> Table:
        """Prices by the minute, in whole numbers."""
        price: Table = np.rint(here[0]).astype(np.int64)[:, self.block_of]
        price[:, self.prices.until :] = 0
        return price

    def start_over(self, here: tuple[Real, list[float]]) -> None:
        """Go back to some prices and forget the way."""
        self.here, self.way = here, (np.zeros_like(here[0]), [0.0] * len(self.kept))

    def look(self, costs: Table) -> int:
        """The bound at the prices here, in ``PRICE_SCALE`` parts; what is short there is remembered."""
        self.prices.price = self.whole(self.here)
        worth, total = 0, costs * tuning.PRICE_SCALE
        for price, (aim, most) in zip((round(one) for one in self.here[1]), self.kept, strict=True):
            worth += price * most
            total = total + price * aim
        value, used, opened = self.prices.chosen(total)
        over = [
            (sum(int(aim[number, at]) for number, at in enumerate(opened)) - most) / tuning.PRICE_OF_AIM
            for aim, most in self.kept
        ]
        self.short = np.add.reduceat(used, self.marks, axis=1) / self.size, over
        return value - worth

    def climb(self, gap: float) -> bool:
        """Go on by Polyak's step for a gap; false where nothing is short."""
        blocks, aims = self.here
        way = self.short[0] + tuning.PRICE_MEMORY * self.way[0]
        way[(blocks <= 0) & (way < 0)] = 0.0
        over = [new + tuning.PRICE_MEMORY * old for new, old in zip(self.short[1], self.way[1], strict=True)]
        over = [0.0 if price <= 0 and one < 0 else one for price, one in zip(aims, over, strict=True)]
        length = fsum((way * way).ravel().tolist()) + fsum(one * one for one in over)
        if not length:
            return False
        step = gap / length
        rise = step / tuning.PRICE_OF_AIM
        self.way = way, over
        self.here = (
            np.maximum(0.0, blocks + step * way / self.size),
            [max(0.0, price + rise * one) for price, one in zip(aims, over, strict=True)],
        )
        return True
