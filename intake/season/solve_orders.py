"""Search for the order plan: HiGHS whole where that is enough, else relax-and-fix by windows and then neighborhoods of it.

On seasons of eight kinds and three suppliers and more the study found the whole program by itself 43 to 82 % below this in the
same time.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import isfinite

from intake.season.highs_door import Found, branch_and_bound
from intake.season.order_model import OrderModel, build_orders
from intake.season.order_plan import OrderPlan, read_orders
from intake.season.problem import Season, Water

__all__ = ["Worth", "solve_orders", "worth_of"]

WHOLE_SHARE = 0.2
FIX_SHARE = 0.35
WINDOW_WEEKS = 4
WINDOW_WEEKS_SMALL = 9
SMALL_COLUMNS = 2500
COLUMNS_PER_SECOND = 3000
"""Shares of the time for the whole program and for relax-and-fix; weeks of one of its windows and of a neighborhood, and of those
on a season of up to so many columns; columns a window takes in a second (fewer windows where that is too little).  The rest of
the time is for neighborhoods.  Set by ``tests/bench/season.py``: nine weeks left gaps of 18 to 49 % at eight kinds where four
left 8 to 11 %, and are better at three kinds."""

NEAR = 0.02
STEP_SHARE = 0.05
STEP_LEAST_SECONDS = 1.5
"""Gap at which a step is near enough, and the time for one, as a share of all and at least: both are halved and doubled once no
neighborhood gains anything."""

Report = Callable[[float, float, str], object]
"""Called with the value in hand, the bound and what is done; a true answer ends the search."""


def solve_orders(season: Season, *, seconds: float = 30.0, report: Report | None = None) -> OrderPlan:
    """Find orders of a season whose expected margin is as great as the time allows.

    Parameters
    ----------
    seconds
        Time by the clock of the solver; the gap left is reported.

    Returns
    -------
    OrderPlan
        Always one: ordering nothing is a plan.
    """
    model = build_orders(season)
    hunt = _Hunt(model, seconds, report)
    hunt.whole(seconds * WHOLE_SHARE)
    if not hunt.proved:
        hunt.relax_and_fix(seconds * FIX_SHARE)
        hunt.neighborhoods()
    return read_orders(model, hunt.best, hunt.bound, proved=hunt.proved)


class _Hunt:
    """The best columns so far and the bound."""

    def __init__(self, model: OrderModel, seconds: float, report: Report | None) -> None:
        self.model, self.left, self.report = model, seconds, report
        self.best: Sequence[float] = _nothing(model)
        self.value = self._worth(self.best)
        self.bound, self.proved, self.stopped = float("inf"), False, False

    def _worth(self, columns: Sequence[float]) -> float:
        return sum(price * amount for price, amount in zip(self.model.price, columns, strict=True))

    def _take(self, found: Found, what: str) -> bool:
        self.left -= found.seconds
        better = bool(found.columns) and self._worth(found.columns) > self.value + 1e-6
        if better:
            self.best, self.value = found.columns, self._worth(found.columns)
        if self.report is not None:
            self.stopped = self.stopped or bool(self.report(self.value, self.bound, what))
        return better

    def whole(self, seconds: float) -> None:
        """The whole program at once: a bound, and on small seasons the proof."""
        found = branch_and_bound(self.model, self.model.whole, {}, seconds)
        self.bound = found.bound
        self.proved = found.optimal
        self._take(found, "whole program")

    def relax_and_fix(self, seconds: float) -> None:
        """Windows in order of time: whole numbers in one, fixed before it, in fractions after it."""
        weeks = self.model.season.weeks
        windows = min(
            -(-weeks // _width(self.model)), max(3, int(seconds * COLUMNS_PER_SECOND / len(self.model.price)))
        )
        width = -(-weeks // windows)
        ends = [*range(width, weeks, width), weeks]
        fixed: dict[int, float] = {}
        for until in ends:
            whole = [one and week < until for one, week in zip(self.model.whole, self.model.week, strict=True)]
            found = branch_and_bound(self.model, whole, fixed, seconds / len(ends), gap=NEAR)
            self.left -= found.seconds
            if not found.columns:  # a busy machine: once more, with more time
                found = branch_and_bound(self.model, whole, fixed, 2 * seconds / len(ends), gap=NEAR)
                self.left -= found.seconds
            if not found.columns:
                return
            fixed = {
                column: float(round(found.columns[column]))
                for column, one in enumerate(self.model.whole)
                if one and self.model.week[column] < until
            }
        self._take(replace(found, seconds=0.0), "relax and fix")

    def neighborhoods(self) -> None:
        """All whole columns fixed but those of some weeks, or of two suppliers, in turns, as long as there is time."""
        moves = _moves(self.model)
        step, near = max(STEP_LEAST_SECONDS, STEP_SHARE * self.left), NEAR
        vain = number = 0
        while self.left > 0.5 and not self.stopped and moves and near > NEAR / 100:
            free = moves[number % len(moves)]
            fixed = {
                column: float(round(self.best[column]))
                for column, one in enumerate(self.model.whole)
                if one and not free(self.model.week[column], self.model.owner[column])
            }
            found = branch_and_bound(self.model, self.model.whole, fixed, min(self.left, step), gap=near)
            vain = 0 if self._take(found, "some weeks again") else vain + 1
            number += 1
            if vain >= len(moves):
                vain, step, near = 0, 2 * step, near / 2


def _moves(model: OrderModel) -> list[Callable[[int, str], bool]]:
    """Neighborhoods: windows of weeks side by side, the same half a window later, twice as wide, and each supplier's season."""
    weeks, width = model.season.weeks, _width(model)
    firsts = [*range(0, weeks, width), *range(width // 2, weeks, width)]
    moves = [_window(first, width) for first in firsts]
    moves += [_window(first, 2 * width) for first in range(0, weeks, width)]
    return moves + [_of_supplier(one.id) for one in model.season.shippers]


def _width(model: OrderModel) -> int:
    """Weeks of a window: few where the program is large."""
    return WINDOW_WEEKS_SMALL if len(model.price) <= SMALL_COLUMNS else WINDOW_WEEKS


def _window(first: int, weeks: int) -> Callable[[int, str], bool]:
    return lambda week, _: first <= week < first + weeks


def _of_supplier(name: str) -> Callable[[int, str], bool]:
    return lambda _, owner: owner == name


def _nothing(model: OrderModel) -> list[float]:
    """Ordering nothing: what is there is cleared, which always satisfies every row."""
    columns = [0.0] * len(model.price)
    for key, column in model.cleared.items():
        if key[0].startswith("stock "):
            columns[column] = model.season.stock[int(key[0].removeprefix("stock "))].count
    return columns


@dataclass(frozen=True, slots=True)
class Worth:
    """What one more of something would be worth: the difference found, and between what it lies by the bounds."""

    what: str
    value: float
    low: float
    high: float


def worth_of(
    season: Season, plan: OrderPlan, *, area_m2: float, seconds: float = 10.0, report: Report | None = None
) -> tuple[Worth, ...]:
    """Worth of one more quarantine water of so much area, of as much grow-out, and of one more selling week, by re-solving.

    A report that answers true ends it; what is known by then is given.
    """
    wider = {
        "one more quarantine water": replace(season, waters=(*season.waters, Water("(one more)", area_m2))),
        "as much more grow-out": replace(season, grow_out_m2=season.grow_out_m2 + area_m2),
        "one more week of selling": replace(season, selling=season.selling + 1),
    }
    found = []
    for what, other in wider.items():
        if what.startswith("as much") and not isfinite(season.grow_out_m2):
            continue
        stops: list[bool] = []

        def told(value: float, bound: float, doing: str, what: str = what, stops: list[bool] = stops) -> bool:
            del doing
            if report is not None and report(value, bound, f"worth of {what}"):
                stops.append(True)
            return bool(stops)

        again = solve_orders(other, seconds=seconds, report=told)
        if stops:
            break
        reached = max(again.value, plan.value)  # more room never lowers what can be had
        high = max(0.0, again.bound - plan.value)
        found.append(Worth(what, reached - plan.value, max(0.0, reached - plan.bound), high))
    return tuple(found)
