"""A relief carried out: the plan's question as it is once the owner has done what it says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from intake.plan.answers.gather_strays import gathering
from intake.plan.answers.longer_holds import held_until
from intake.plan.problem import BatchNeed, Problem, StageNeed, Standing, VatOffer
from intake.plan.solution import Relief

__all__ = ["apply"]


def apply(problem: Problem, act: Relief) -> Problem:
    """The problem as it is once the owner has done what a relief says."""
    for step in act.steps:
        problem = apply(problem, step)
    if act.steps:
        return problem
    if act.kind == "fewer":
        batches = [_less(one, act.count) if one.id == act.batch else one for one in problem.batches]
        return replace(problem, batches=tuple(one for one in batches if one is not None))
    if act.kind in {"delay", "split"}:
        moved = [part for one in problem.batches for part in _parts(one, act, problem.vats)]
        return replace(problem, batches=tuple(moved))
    if act.kind == "gather":
        found = gathering(problem, act.vat)
        return problem if found is None else found.problem
    if act.kind in {"hold", "share", "borrow"}:
        return _opened(problem, act)
    return replace(problem, standing=tuple(_after(one, act) for one in problem.standing))


def _opened(problem: Problem, act: Relief) -> Problem:
    """Water or a vat that newcomers may use as well."""
    if act.kind == "hold":
        return held_until(problem, act.vat, act.day)
    if act.kind == "share":
        systems = tuple(replace(one, suppliers_share=True) if one.id == act.vat else one for one in problem.systems)
        return replace(problem, systems=systems)
    batches = tuple(
        replace(one, stages=tuple(_borrowing(stage, act.vat) for stage in one.stages)) for one in problem.batches
    )
    return replace(problem, batches=batches)


def _borrowing(stage: StageNeed, vat: str) -> StageNeed:
    if vat not in stage.reserve:
        return stage
    rest = tuple(one for one in stage.reserve if one != vat)
    return replace(stage, vats=(*stage.vats, vat), reserve=rest, excluded=())


def _after(standing: Standing, act: Relief) -> Standing:
    """A stay once its vat is cleared, it is sold, or it is moved."""
    if act.kind in {"clear", "sell"}:
        return _gone(standing, act)
    if (standing.batch, standing.vat) == (act.batch, act.vat) and standing.move_to:
        return replace(standing, movable=True)
    return standing


def _less(batch: BatchNeed, count: int) -> BatchNeed | None:
    rest = batch.count - count
    return replace(batch, count=rest, min_portion=min(batch.min_portion, rest)) if rest > 0 else None


def _gone(standing: Standing, act: Relief) -> Standing:
    other = standing.vat != act.vat if act.kind == "clear" else standing.batch != act.batch
    if other or standing.served_day > act.day or standing.from_day > 0 or standing.until_day <= act.day:
        return standing
    return replace(standing, until_day=act.day, movable=False)


def _parts(batch: BatchNeed, act: Relief, vats: Sequence[VatOffer]) -> list[BatchNeed]:
    if batch.shipment != act.shipment:
        return [batch]
    order = {vat.id: place for place, vat in enumerate(vats)}
    late = tuple(_shifted(stage, act.day, order) for stage in batch.stages)
    grown = tuple(one.shifted(act.day) for one in batch.grown)
    if act.kind == "delay":
        return [replace(batch, stages=late, grown=grown)]
    second = min(batch.count, dict(act.lines).get(batch.id, 0))
    if not second:
        return [batch]
    rest = replace(
        batch, id=f"{batch.id}/2", shipment=f"{batch.shipment}/2", count=second, stages=late, grown=grown,
        min_portion=min(batch.min_portion, second),
    )  # fmt: skip
    first = _less(batch, second)
    return [rest] if first is None else [first, rest]


def _shifted(stage: StageNeed, days: int, order: Mapping[str, int]) -> StageNeed:
    """A stage so many days later, in the vats that suit it then: water that has become free of hosts among them."""
    start = stage.start_day + days
    opened = {vat for one in stage.opening if one.day <= start for vat in one.vats}
    vats = tuple(sorted({*stage.vats, *opened}, key=lambda vat: order[vat]))
    left = tuple(one for one in stage.opening if one.day > start)
    excluded = () if vats else stage.excluded
    return replace(stage, start_day=start, end_day=stage.end_day + days, vats=vats, excluded=excluded, opening=left)
