"""Betters an order of opening by moving one box at a time, the same way every time for the same seed."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from intake.receiving.model import canonical
from intake.receiving.placing import Placed, aims, place_in_order
from intake.receiving.problem import DayProblem

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


def better_order(problem: DayProblem, placed: Sequence[Placed], *, tries: int, seed: int) -> tuple[Placed, ...]:
    """Move a box to another turn, keep the order if the day is no worse; ``tries`` orders are placed.

    A day at least as good as the one given is returned.  The moves are drawn from a digest of seed and try, so no
    generator with a state of its own is needed.
    """
    best = tuple(placed)
    best_aims = aims(problem, best)
    order, order_aims = order_of(problem, best), None
    for number in range(tries):
        trial = order if number == 0 else _moved(order, seed, number)
        found = place_in_order(problem, trial)
        value = aims(problem, found)
        if order_aims is None or value <= order_aims:
            order, order_aims = trial, value
        if value < best_aims:
            best, best_aims = canonical(problem, found), value
    return best


def _moved(order: Sequence[str], seed: int, number: int) -> list[str]:
    digest = hashlib.sha256(f"{seed}/{number}".encode()).digest()
    moved = list(order)
    if len(moved) < 2:
        return moved
    box = moved.pop(int.from_bytes(digest[:4], "big") % len(moved))
    moved.insert(int.from_bytes(digest[4:8], "big") % (len(moved) + 1), box)
    return moved
