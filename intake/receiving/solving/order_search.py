"""Improve an opening order by moving one box at a time, the same way every time for the same seed."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence

from intake.receiving.placed import Placed
from intake.receiving.problem import DayProblem
from intake.receiving.solving import day_tuning as tuning
from intake.receiving.solving.model import canonical
from intake.receiving.solving.placing import Board, aims

__all__ = ["better_order", "order_of"]


def order_of(problem: DayProblem, placed: Sequence[Placed]) -> list[str]:
    """Closed boxes in the order a plan opens them, leaking and off-temperature ones before the rest."""
    urgent = {box.box: box.urgent for box in problem.boxes}
    rows = sorted(
        (not urgent[put.box], put.open_at, put.finish_at, number)
        for number, put in enumerate(placed)
        if put.box not in problem.begun
    )
    return [placed[number].box for *_, number in rows]


class _Desk:
    """Places orders, beginning where an order departs from the one placed before."""

    def __init__(self, problem: DayProblem) -> None:
        self.problem = problem
        self.board = Board(problem)
        self.order: list[str] = []
        self.puts: list[Placed] = []
        self.states = [self.board.state()]

    def place(self, order: Sequence[str]) -> tuple[Placed, ...]:
        """The day of an order."""
        same = next((n for n, (one, two) in enumerate(zip(self.order, order, strict=False)) if one != two), None)
        keep = min(len(self.order), len(order)) if same is None else same
        self.board.back(self.states[keep])
        del self.states[keep + 1 :], self.puts[keep:]
        for box in order[keep:]:
            self.puts.append(self.board.put(box))
            self.states.append(self.board.state())
        self.order = list(order)
        return (*self.board.started, *self.puts)


def better_order(
    problem: DayProblem,
    placed: Sequence[Placed],
    *,
    tries: int,
    seed: int,
    stop: Callable[[], bool] | None = None,
    tell: Callable[[Sequence[Placed]], object] | None = None,
) -> tuple[Placed, ...]:
    """Move a box to another turn, keep the order if the day is no worse; ``tries`` orders are placed.

    A day at least as good as the one given is returned.  The moves are drawn from a digest of seed and try, so no
    generator with a state of its own is needed.  ``stop`` ends it early; ``tell`` hears of every better day.
    """
    best, best_aims = tuple(placed), aims(problem, placed)
    desk = _Desk(problem)
    order = order_of(problem, best)
    order_aims = None
    for number in range(tries):
        if stop is not None and stop():
            break
        trial = order if number == 0 else _moved(order, seed, number)
        found = desk.place(trial)
        value = aims(problem, found)
        if order_aims is None or value <= order_aims:
            order, order_aims = trial, value
        if value < best_aims:
            best, best_aims = canonical(problem, found), value
            if tell is not None:
                tell(best)
    return best


def _moved(order: Sequence[str], seed: int, number: int) -> list[str]:
    digest = hashlib.sha256(f"{seed}/{number}".encode()).digest()
    moved = list(order)
    if len(moved) < 2:
        return moved
    turn, draw = int.from_bytes(digest[:4], "big") % len(moved), int.from_bytes(digest[4:8], "big")
    box = moved.pop(turn)
    if digest[8] % 2:
        low, high = max(0, turn - tuning.NEAR), min(len(moved), turn + tuning.NEAR)
        moved.insert(low + draw % (high - low + 1), box)
    else:
        moved.insert(draw % (len(moved) + 1), box)
    return moved
