"""Every way to make room that applies, kind by kind, not yet tried: what is done, what it costs and what it disturbs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta

from intake.plan.answers.gather_strays import gathering
from intake.plan.answers.landing_days import promising_days
from intake.plan.answers.longer_holds import days_to_hold, lots_held
from intake.plan.answers.relief_acts import apply
from intake.plan.problem import BatchNeed, Problem, Standing
from intake.plan.solution import Relief, Solution
from intake.plan.tuning import DAY_MINUTES, OFFICE_MINUTES

__all__ = ["Idea", "clearable", "clearing", "ideas", "opened"]


@dataclass(frozen=True, slots=True)
class Idea:
    """A relief not yet checked, with the problem as it would then be."""

    relief: Relief
    problem: Problem


def ideas(problem: Problem, short: Mapping[str, int]) -> Iterator[Idea]:
    """Every relief that applies, one of each kind before the next of any.

    Parameters
    ----------
    short
        Batch id → animals of it without a place.

    Never offered: a shorter quarantine, a fallow vat opened early, groups put together that are kept apart.
    """
    kinds = [
        iter(way)
        for way in (
            _delay(problem, short), _split(problem, short), _clear(problem, short), _sell(problem, short),
            _move(problem), _borrow(problem, short), _share(problem, short), _hold(problem, short),
            _gather(problem, short), _fewer(problem, short),
        )
    ]  # fmt: skip
    while kinds:
        for way in list(kinds):
            idea = next(way, None)
            if idea is None:
                kinds.remove(way)
            else:
                yield idea


def _idea(problem: Problem, relief: Relief) -> Idea:
    return Idea(relief, apply(problem, relief))


def _iso(problem: Problem, day: int) -> str:
    return (problem.day_zero + timedelta(days=day)).isoformat()


def _area_m2(count: int, footprint_mm2: int) -> float:
    return count * footprint_mm2 / 1e6


def _days(days: int) -> str:
    return "1 day" if days == 1 else f"{days} days"


# ── take fewer ──────────────────────────────────────────────────────────────────────────────────────────────────────


def _fewer(problem: Problem, short: Mapping[str, int]) -> Iterator[Idea]:
    """Each line less what it leaves over; with several lines short also all of them at once."""
    named = [batch for batch in problem.batches if batch.id in short]
    steps = [_fewer_of(batch, short[batch.id]) for batch in named]
    if len(steps) > 1:
        every = Relief(
            "; ".join(step.do for step in steps), "fewer", sum(step.frees for step in steps), OFFICE_MINUTES, 0, 0,
            proved=False, count=sum(step.count for step in steps), steps=tuple(steps),
        )  # fmt: skip
        yield Idea(every, apply(problem, every))
    for step in steps:
        yield Idea(step, apply(problem, step))


def _fewer_of(batch: BatchNeed, count: int) -> Relief:
    whole = f"cancel line {batch.id}" if count == batch.count else f"order {count} fewer of line {batch.id}"
    name = f" ({batch.name})" if batch.name else ""
    return Relief(
        f"{whole}{name}", "fewer", _area_m2(count, batch.footprint_mm2), OFFICE_MINUTES, 0, 0, proved=False,
        batch=batch.id, shipment=batch.shipment, count=count,
    )  # fmt: skip


# ── clear a vat ─────────────────────────────────────────────────────────────────────────────────────────────────────


def _clear(problem: Problem, short: Mapping[str, int]) -> Iterator[Idea]:
    """Each vat whose stock stands where short batches could, fullest first."""
    by_vat: dict[str, dict[int, int]] = {}
    for index, day in clearable(problem, short).items():
        by_vat.setdefault(problem.standing[index].vat, {})[index] = day
    for days in sorted(by_vat.values(), key=lambda days: -sum(_bulk(problem.standing[index]) for index in days)):
        yield clearing(problem, days)


def _bulk(standing: Standing) -> int:
    return standing.count * standing.footprint_mm2


def clearable(problem: Problem, short: Mapping[str, int]) -> dict[int, int]:
    """Stays that may be cleared and the day they must be gone; never stock in quarantine, never what is promised."""
    needed = _needed(problem, short)
    role = {system.id: system.role for system in problem.systems}
    gap = {vat.id: vat.fallow_days if role[vat.system] == "quarantine" else 0 for vat in problem.vats}
    days = {}
    for index, one in enumerate(problem.standing):
        day = needed.get(one.vat, -1) - gap[one.vat]
        if one.served_day <= day and one.from_day <= 0 <= day < one.until_day:
            days[index] = day
    return days


def _needed(problem: Problem, short: Mapping[str, int]) -> dict[str, int]:
    """The first day on which a batch that is short could use each vat."""
    days: dict[str, int] = {}
    for batch in problem.batches:
        for stage in batch.stages if batch.id in short else ():
            for vat in stage.vats:
                days[vat] = min(days.get(vat, stage.start_day), stage.start_day)
    return days


def clearing(problem: Problem, days: Mapping[int, int]) -> Idea:
    """Clearing every vat of these stays."""
    by_vat: dict[str, list[tuple[Standing, int]]] = {}
    for index, day in days.items():
        by_vat.setdefault(problem.standing[index].vat, []).append((problem.standing[index], day))
    steps = [_clear_vat(problem, vat, stock) for vat, stock in sorted(by_vat.items())]
    if len(steps) == 1:
        return Idea(steps[0], apply(problem, steps[0]))
    every = Relief(
        "; ".join(step.do for step in steps), "clear", sum(step.frees for step in steps),
        sum(step.cost for step in steps), 0, 0, proved=False, steps=tuple(steps),
    )  # fmt: skip
    return Idea(every, apply(problem, every))


def _clear_vat(problem: Problem, vat: str, leaving: list[tuple[Standing, int]]) -> Relief:
    stock, day = [one for one, _ in leaving], min(day for _, day in leaving)
    who = ", ".join(f"{one.count} of {one.batch}" for one in stock)
    return Relief(
        f"clear vat {vat} by {_iso(problem, day)} ({who})", "clear", sum(map(_bulk, stock)) / 1e6,
        sum(one.count * one.handling_seconds for one in stock) / 60.0, 0, 0, proved=False, vat=vat, day=day,
        count=sum(one.count for one in stock),
    )  # fmt: skip


# ── sell ────────────────────────────────────────────────────────────────────────────────────────────────────────────


def _sell(problem: Problem, short: Mapping[str, int]) -> Iterator[Idea]:
    """Each batch of stock that stands, released, where short batches could, sold from all of those vats; bulkiest first."""
    by_batch: dict[str, list[tuple[Standing, int]]] = {}
    for index, day in clearable(problem, short).items():
        by_batch.setdefault(problem.standing[index].batch, []).append((problem.standing[index], day))
    for batch, stock in sorted(by_batch.items(), key=lambda one: -sum(_bulk(stay) for stay, _ in one[1])):
        day, count = min(day for _, day in stock), sum(stay.count for stay, _ in stock)
        vats = ", ".join(sorted({stay.vat for stay, _ in stock}))
        relief = Relief(
            f"sell the {count} of {batch} in {vats} by {_iso(problem, day)}", "sell",
            sum(_bulk(stay) for stay, _ in stock) / 1e6,
            OFFICE_MINUTES + sum(stay.count * stay.handling_seconds for stay, _ in stock) / 60.0, 0, 0, proved=False,
            day=day, batch=batch, count=count, disturbs=f"{count} animals are sold sooner than they would be",
        )  # fmt: skip
        yield _idea(problem, relief)


# ── land later, or in two parts ─────────────────────────────────────────────────────────────────────────────────────


def _late(problem: Problem, short: Mapping[str, int]) -> Iterator[tuple[str, int]]:
    """Shipments with animals left over, most first, with their first day."""
    left: dict[str, int] = {}
    for batch in problem.batches:
        if batch.id in short and batch.shipment:
            left[batch.shipment] = left.get(batch.shipment, 0) + short[batch.id]
    for shipment in sorted(left, key=lambda one: (-left[one], one)):
        yield shipment, min(batch.stages[0].start_day for batch in problem.batches if batch.shipment == shipment)


def _delay(problem: Problem, short: Mapping[str, int]) -> Iterator[Idea]:
    for shipment, start in _late(problem, short):
        made: dict[int, Relief] = {}

        def later(wait: int, shipment: str = shipment, start: int = start, made: dict[int, Relief] = made) -> Problem:
            made[wait] = Relief(
                f"move the arrival of shipment {shipment} to {_iso(problem, start + wait)} ({_days(wait)} later)",
                "delay", 0.0,
                OFFICE_MINUTES + DAY_MINUTES * wait, 0, 0, proved=False, shipment=shipment, day=wait,
                disturbs=f"shipment {shipment} comes {_days(wait)} later",
            )  # fmt: skip
            return apply(problem, made[wait])

        for wait in promising_days(problem, shipment, later):
            yield Idea(made[wait], later(wait))


def opened(problem: Problem, plan: Solution, one: Relief) -> str:
    """Waters closed on the announced day that a plan with the later landing uses, with the days they open, in words."""
    used = {(place.batch.removesuffix("/2"), place.vat) for place in plan.placements}
    words = {
        opening.words
        for batch in problem.batches
        if batch.shipment == one.shipment and one.day > 0
        for opening in batch.stages[0].opening
        if any((batch.id, vat) in used for vat in opening.vats)
    }
    return f": {'; '.join(sorted(words))}" if words else ""


def _split(problem: Problem, short: Mapping[str, int]) -> Iterator[Idea]:
    """What has no place now lands on a later day, the rest as announced."""
    for shipment, start in _late(problem, short):
        lines = tuple(
            (one.id, short[one.id]) for one in problem.batches if one.shipment == shipment and one.id in short
        )
        made: dict[int, Relief] = {}
        count = sum(number for _, number in lines)
        if count == sum(one.count for one in problem.batches if one.shipment == shipment):
            continue  # nothing would land on the first day

        def parted(
            wait: int, shipment: str = shipment, start: int = start, made: dict[int, Relief] = made,
            lines: tuple[tuple[str, int], ...] = lines, count: int = count,
        ) -> Problem:  # fmt: skip
            when = _iso(problem, start + wait)
            made[wait] = Relief(
                f"split {shipment}: {count} animals land on {when}, {_days(wait)} later, the rest as announced",
                "split", 0.0, 2 * OFFICE_MINUTES + DAY_MINUTES * wait, 0, 0, proved=False, shipment=shipment, day=wait,
                count=count, lines=lines, disturbs=f"shipment {shipment} comes in two landings",
            )  # fmt: skip
            return apply(problem, made[wait])

        for wait in promising_days(problem, shipment, parted):
            yield Idea(made[wait], parted(wait))


# ── borrow a vat, share a water ─────────────────────────────────────────────────────────────────────────────────────


def _borrow(problem: Problem, short: Mapping[str, int]) -> Iterator[Idea]:
    """Each vat in reserve that has a price and suits a short batch, for the weeks it would stand there."""
    weeks: dict[str, int] = {}
    for batch in problem.batches:
        for stage in batch.stages if batch.id in short else ():
            for vat in stage.reserve:
                weeks[vat] = max(weeks.get(vat, 0), -(-(stage.end_day - stage.start_day) // 7))
    offers = {vat.id: vat for vat in problem.vats}
    for vat in sorted(weeks, key=lambda one: (-offers[one].area_mm2, one)):
        money = weeks[vat] * offers[vat].weekly_cents / 100
        relief = Relief(
            f"use vat {vat}, kept in reserve, for {weeks[vat]} weeks at {money:.2f} in all", "borrow",
            offers[vat].area_mm2 / 1e6, OFFICE_MINUTES, 0, 0, proved=False, vat=vat, price_cents=round(100 * money),
            disturbs=f"vat {vat} is no longer free for trouble",
        )  # fmt: skip
        yield _idea(problem, relief)


def _share(problem: Problem, short: Mapping[str, int]) -> Iterator[Idea]:
    """Each quarantine water that short batches suit and that others' suppliers use, opened to both."""
    water = {vat.id: vat.system for vat in problem.vats}
    wanted = {
        water[vat]: batch.supplier
        for batch in problem.batches
        if batch.id in short and batch.quarantine >= 0
        for vat in batch.stages[batch.quarantine].vats
    }
    for system in problem.systems:
        if system.role != "quarantine" or system.suppliers_share or system.id not in wanted:
            continue
        relief = Relief(
            f"let lots of different suppliers share the water of {system.id}", "share", 0.0, OFFICE_MINUTES, 0, 0,
            proved=False, vat=system.id, disturbs=f"the rule of one supplier for {system.id}",
            risk="a pest or disease one supplier's lots bring is then in the other's water as well; a finding holds and "
            "restarts the lots of both, and who brought it can no longer be known",
        )  # fmt: skip
        yield _idea(problem, relief)


# ── move what the farm would rather leave ───────────────────────────────────────────────────────────────────────────


def _move(problem: Problem) -> Iterator[Idea]:
    """Each stay that is not to be moved, moved after all, most bulky first."""
    fixed = [
        one
        for one in problem.standing
        if not one.movable
        and one.served_day <= one.move_day
        and one.move_to
        and one.from_day <= 0
        and one.until_day > one.move_day
    ]
    for one in sorted(fixed, key=lambda one: (-_bulk(one), one.batch, one.vat))[:3]:
        idea = Relief(
            f"move {one.count} of {one.batch} from vat {one.vat} to another vat by {_iso(problem, one.move_day)}",
            "move", _bulk(one) / 1e6, 2 * one.count * one.handling_seconds / 60.0, 0, 0, proved=False,
            vat=one.vat, day=one.move_day, batch=one.batch, count=one.count,
        )  # fmt: skip
        yield Idea(idea, apply(problem, idea))


# ── let lots in quarantine stay longer ──────────────────────────────────────────────────────────────────────────────


def _hold(problem: Problem, short: Mapping[str, int]) -> Iterator[Idea]:
    """Each water in which a batch would place animals if it were let in and the lots there waited for it."""
    for system in problem.systems:
        for day in days_to_hold(problem, system.id, short):
            held = lots_held(problem, system.id, day)
            animals = sum(one.count for one in held)
            longer = max(day - one.until_day for one in held)
            who = ", ".join(dict.fromkeys(one.batch for one in held))
            days = "1 day" if longer == 1 else f"{longer} days"
            idea = Relief(
                f"hold {who} in {system.id} until {_iso(problem, day)}, {days} longer, so that newcomers may join",
                "hold", 0.0, OFFICE_MINUTES + DAY_MINUTES * longer, 0, 0,
                proved=False, vat=system.id, day=day, batch=held[0].batch, count=animals,
            )  # fmt: skip
            idea = replace(idea, disturbs=f"{animals} animals stay in quarantine {days} longer")
            yield _idea(problem, idea)


# ── gather a few in the water of their kind ─────────────────────────────────────────────────────────────────────────


def _gather(problem: Problem, short: Mapping[str, int]) -> Iterator[Idea]:
    """Each quarantine water a short batch could use, emptied of the few who stand in it."""
    needed = _needed(problem, short)
    for system in dict.fromkeys(vat.system for vat in problem.vats if vat.id in needed):
        found = gathering(problem, system)
        if found is not None:
            yield Idea(found.relief, found.problem)
