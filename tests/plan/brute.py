"""Exhaustive search over tiny farms: every way to put every batch, dated and judged by the independent checker."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import product
from typing import Any

from intake.plan import BatchNeed, Problem
from tests.checker import _dated, _released, judge
from tests.plan.facts import facts_of_problem

Rows = list[dict[str, Any]]


def best_left_over(problem: Problem) -> int:
    """Fewest animals any sound plan leaves over.

    A batch left out makes room but may also let others go sooner, whose later stages then move: so a plan is judged whole.  Only
    what is in quarantine by the batches' own clocks is looked at before that, since it never gets less.
    """
    facts = facts_of_problem(problem)
    early = {**facts, "release": False}
    homes = [
        (standing.vat, *standing.move_to) if standing.movable else (standing.vat,) for standing in problem.standing
    ]
    best = problem.announced
    for choice in product(*homes):
        moves = _moves(problem, choice)
        if moves is not None and _sound(early, [], moves):
            best = min(best, _search(problem, (facts, early), moves, 0, [], 0, best))
    return best


def _moves(problem: Problem, choice: tuple[str, ...]) -> Rows | None:
    moves = []
    for standing, home in zip(problem.standing, choice, strict=True):
        if home == standing.vat:
            continue
        if standing.until_day <= standing.move_day:
            return None
        by = (problem.day_zero + timedelta(days=standing.move_day)).isoformat()
        moves.append(
            {"batch": standing.batch, "from_vat": standing.vat, "to_vat": home, "count": standing.count, "by": by}
        )
    return moves


def _sound(facts: dict[str, Any], rows: Rows, moves: Rows) -> bool:
    plan = {
        "placements": rows,
        "moves": moves,
        "short": [],
        "announced": 0,
        "placed": 0,
        "placed_bound": 0,
        "status": "",
    }
    return not [fault for fault in judge(facts, plan) if not fault.startswith(("conservation", "bound", "status"))]


def _search(problem: Problem, facts: Any, moves: Rows, number: int, rows: Rows, left: int, best: int) -> int:
    if left >= best:
        return best
    if number == len(problem.batches):
        return left if _sound(facts[0], dated(facts[0], rows), moves) else best
    batch = problem.batches[number]
    for count in range(batch.count, -1, -1):
        if left + batch.count - count >= best:
            break
        for share in _shares(problem, batch, count):
            early = [row for row in rows + share if row["stage"] == "quarantine"]
            if _sound(facts[1], early, moves):
                best = min(
                    best, _search(problem, facts, moves, number + 1, rows + share, left + batch.count - count, best)
                )
    return best


def dated(facts: dict[str, Any], rows: Rows) -> Rows:
    """The same rows with the days on which the judge would let each batch go."""
    ends: dict[str, date] = _released(facts, {"placements": rows}, [])
    found = []
    for row in rows:
        batch = facts["batches"][row["batch"]]
        stage = next(one for one in batch["stages"] if one["stage"] == row["stage"])
        first, last = _dated(batch, row["batch"], stage, ends)
        found.append({**row, "from": first, "until": last})
    return found


def _shares(problem: Problem, batch: BatchNeed, count: int) -> Iterator[Rows]:
    """Every way to spread ``count`` animals over the vats of every stage."""

    def day(number: int) -> str:
        return (problem.day_zero + timedelta(days=number)).isoformat()

    per_stage = []
    for stage in batch.stages:
        spreads = []
        for portions in product(range(count + 1), repeat=len(stage.vats)):
            used = [portion for portion in portions if portion]
            if sum(portions) == count and len(used) <= batch.max_vats and min(used, default=99) >= batch.min_portion:
                spreads.append(
                    [
                        {
                            "batch": batch.id,
                            "vat": vat,
                            "stage": stage.stage,
                            "count": portion,
                            "from": day(stage.start_day),
                            "until": day(stage.end_day),
                        }
                        for vat, portion in zip(stage.vats, portions, strict=True)
                        if portion
                    ]
                )
        per_stage.append(spreads)
    for combination in product(*per_stage):
        yield [row for rows in combination for row in rows]
