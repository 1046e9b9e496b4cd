"""Improve an opening order by moving one box or changing two at a time, the same way every time for the same seed."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from math import ceil

from intake.receiving.box import BoxNeed
from intake.receiving.placed import Placed
from intake.receiving.problem import DayProblem
from intake.receiving.solving import day_tuning as tuning
from intake.receiving.solving.bounds import alone
from intake.receiving.solving.box_placing import Board, aims
from intake.receiving.solving.day_model import canonical

__all__ = ["better_order", "order_of", "tries_for"]


def tries_for(problem: DayProblem, seconds: float) -> int:
    """Orders to try in about so many seconds; a large day, which the solver does not improve, gets more of them."""
    several = tuning.LARGE_TIMES if len(problem.boxes) >= tuning.LARGE_DAY else 1
    wanted = ceil(seconds * several * tuning.PLACED_PER_SECOND / max(1, len(problem.boxes)))
    return min(wanted, tuning.TRIES_PER_BOX * len(problem.boxes))


def order_of(problem: DayProblem, placed: Sequence[Placed]) -> list[str]:
    """Closed boxes in the order a plan opens them, leaking and off-temperature ones before the rest."""
    urgent = {box.box: box.urgent for box in problem.boxes}
    rows = sorted(
        (not urgent[put.box], put.open_at, put.finish_at, number)
        for number, put in enumerate(placed)
        if put.box not in problem.begun
    )
    return [placed[number].box for *_, number in rows]


Value = tuple[int, int, int, int, int]


class _Desk:
    """Places orders, beginning where an order departs from the one placed before, and no further than it can still win.

    The aims of a day only grow with each box placed, and a box left out costs at least what it would alone: an order whose
    sum is already past the one to beat is left there.  That changes no answer, only the time.
    """

    def __init__(self, problem: DayProblem) -> None:
        self.problem = problem
        self.board = Board(problem)
        self.order: list[str] = []
        self.puts: list[Placed] = []
        self.states = [self.board.state()]
        self.cost_of = {box.box: _Cost(problem, box) for box in problem.boxes}
        self.least = {box: self.cost_of[box].at(put) for box, put in alone(problem).items()}
        begun = [self.cost_of[put.box].at(put) for put in self.board.started]
        self.sums = [_summed([*begun, *self.least.values()])]

    def place(self, order: Sequence[str], limit: Value | None = None) -> tuple[Value, tuple[Placed, ...]] | None:
        """The day of an order with its aims; ``None`` once it must be worse than ``limit``."""
        same = next((n for n, (one, two) in enumerate(zip(self.order, order, strict=False)) if one != two), None)
        keep = min(len(self.order), len(order)) if same is None else same
        self.board.back(self.states[keep])
        del self.states[keep + 1 :], self.puts[keep:], self.sums[keep + 1 :]
        for number, box in enumerate(order[keep:], start=keep + 1):
            put = self.board.put(box)
            self.puts.append(put)
            self.states.append(self.board.state())
            self.sums.append(_swapped(self.sums[-1], self.least[box], self.cost_of[box].at(put)))
            if limit is not None and self.sums[-1] > limit:
                self.order = list(order[:number])
                return None
        self.order = list(order)
        return self.sums[-1], (*self.board.started, *self.puts)


class _Cost:
    """What one box adds to the aims (:func:`~intake.receiving.solving.box_placing.aims`), its constants worked out once."""

    def __init__(self, problem: DayProblem, box: BoxNeed) -> None:
        self.weight, self.age = box.weight, problem.age[box.box]
        self.begun, self.urgent = box.box in problem.begun, box.urgent
        self.red, self.amber = round(box.red_h * 60), round(box.amber_h * 60)

    def at(self, put: Placed) -> Value:
        """At the minutes of a placing."""
        minutes, weight = self.age + put.open_at, self.weight
        waits = put.tub_at - put.counted_at if self.begun else minutes if self.urgent else 0
        return (
            weight * waits,
            weight * max(0, minutes - self.red),
            weight * max(0, minutes - self.amber),
            weight * minutes,
            put.placed_at,
        )


def _summed(costs: Sequence[Value]) -> Value:
    first, red, amber, bag = (sum(cost[place] for cost in costs) for place in range(4))
    return first, red, amber, bag, max((cost[4] for cost in costs), default=0)


def _swapped(total: Value, least: Value, cost: Value) -> Value:
    """A sum with what a box costs in place of the least it could; the finish is the latest of all, so it only grows."""
    first, red, amber, bag = (total[place] - least[place] + cost[place] for place in range(4))
    return first, red, amber, bag, max(total[4], cost[4])


def better_order(
    problem: DayProblem,
    placed: Sequence[Placed],
    *,
    tries: int,
    seed: int,
    stop: Callable[[], bool] | None = None,
    tell: Callable[[Sequence[Placed]], object] | None = None,
) -> tuple[Placed, ...]:
    """Move a box to another turn, or let two change turns, keep the order if the day is no worse; ``tries`` orders are placed.

    A day at least as good as the one given is returned.  The moves are drawn from a digest of seed and try, so no
    generator with a state of its own is needed.  ``stop`` ends it early; ``tell`` hears of every better day.
    """
    best, best_aims = tuple(placed), aims(problem, placed)
    desk = _Desk(problem)
    order = order_of(problem, best)
    order_aims: Value | None = None
    changes = len(problem.boxes) >= tuning.LARGE_DAY
    for number in range(tries):
        if stop is not None and stop():
            break
        trial = order if number == 0 else _moved(order, seed, number, changes=changes)
        day = desk.place(trial, order_aims)
        if day is None:
            continue
        value, found = day
        if order_aims is None or value <= order_aims:
            order, order_aims = trial, value
        if value < best_aims:
            best, best_aims = canonical(problem, found), value
            if tell is not None:
                tell(best)
    return best


def _moved(order: Sequence[str], seed: int, number: int, *, changes: bool) -> list[str]:
    digest = hashlib.sha256(f"{seed}/{number}".encode()).digest()
    moved = list(order)
    if len(moved) < 2:
        return moved
    turn, draw = int.from_bytes(digest[:4], "big") % len(moved), int.from_bytes(digest[4:8], "big")
    if changes and digest[10] % 2:
        other = draw % len(moved)
        moved[turn], moved[other] = moved[other], moved[turn]
        return moved
    box = moved.pop(turn)
    if digest[8] % 2:
        low, high = max(0, turn - tuning.NEAR), min(len(moved), turn + tuning.NEAR)
        moved.insert(low + draw % (high - low + 1), box)
    else:
        moved.insert(draw % (len(moved) + 1), box)
    return moved
