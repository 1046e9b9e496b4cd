"""From farm, library, current stock and arrivals to the plan's question in numbers."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from math import ceil

from intake.errors import BadInput, Finding
from intake.farm.floor import Batch, Floor, Freedom, Stay
from intake.farm.site import Site
from intake.library import Group, Library
from intake.plan.growth import less_sold, needs_by_day
from intake.plan.model.eligibility import open_to, open_vats, openings, reserved, strays_go_to, suited
from intake.plan.model.transfer_course import courses_of, keep_second_vats
from intake.plan.offers import system_offer, vat_offer
from intake.plan.problem import Apart, BatchNeed, Problem, Stage, StageNeed, Standing
from intake.plan.tuning import BEYOND_EVERY_PLAN, MOST_DAYS_HELD, STRAYS_MOVE_DAY
from intake.rules import Scene
from intake.rules.suitability import one_setting

__all__ = ["HEALING_DAYS", "Arrival", "Commitment", "frame"]

HEALING_DAYS = 14
"""Days a fresh cutting heals before it is grown out: fresh cuttings heal before they are sold (common practice, no
source); the length is a design default, to be overwritten."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """Batches that land together: one shipment, or house cuttings of one day (empty shipment and supplier)."""

    shipment: str
    supplier: str
    lands: date
    batches: tuple[Batch, ...]


@dataclass(frozen=True, slots=True)
class Commitment:
    """A vat promised by an accepted plan: animals of a batch from ``start`` until (not including) ``until``."""

    batch: str
    vat: str
    stage: str
    count: int
    start: date
    until: date


@dataclass(frozen=True, slots=True)
class _Case:
    """What framing looks at, gathered so that its parts can be small."""

    site: Site
    library: Library
    floor: Floor
    today: date
    first_landing: int
    last_day: int = 0

    def day(self, moment: date) -> int:
        when = moment.astimezone(self.site.farm.zone).date() if isinstance(moment, datetime) else moment
        return (when - self.today).days

    def noon(self, day: int) -> datetime:
        """Noon at the farm on a day of the plan."""
        return datetime.combine(self.today + timedelta(days=day), time(12), self.site.farm.zone)

    @property
    def scene(self) -> Scene:
        """The ground of the rules."""
        return Scene(self.site, self.library, self.floor)

    def kin(self, batch: Batch) -> str:
        """Group of a batch, with its genus or family where company depends on them."""
        return self.library.kin(batch.group, batch.name)

    def group(self, batch: Batch) -> Group:
        return self.library.group(batch.group, f"batch {batch.id}, group")


def frame(
    site: Site,
    library: Library,
    floor: Floor,
    arrivals: Sequence[Arrival],
    today: date,
    *,
    commitments: Sequence[Commitment] = (),
    leave: Mapping[tuple[str, str], date] | None = None,
    free: Mapping[tuple[str, str], Freedom] | None = None,
    movable: Collection[str] = (),
    weights: Mapping[str, int] | None = None,
    healing_days: int = HEALING_DAYS,
    quarantine_days: Mapping[str, int] | None = None,
    sales: Mapping[str, float] | None = None,
) -> Problem:
    """State the question of a vat plan.

    Parameters
    ----------
    arrivals
        Shipments and cuttings to be placed, each with the day it lands.
    today
        The plan's day zero.
    commitments
        Accepted placements still to come.  Those of a batch in ``arrivals`` are ignored (the new plan supersedes them),
        those that began while the batch already stands on the floor too, and their counts are cut to the animals alive.
    leave
        (batch, vat) → the day its animals will be gone from it, by the ledger; what is not named stays beyond every plan.
        ``None``: nothing is known but the floor, and stages are taken to last the days of the group.
    free
        (batch, stage) → from when it is free to be moved, by the ledger; ``None`` as for ``leave``.
    movable
        Batch ids whose stock may be moved to another grow-out vat.  Stock on hold, or in a quarantine it has not
        served by the day of the move, is never moved.
    weights
        Batch id → worth of one animal against the others (at least 1); heads count alike without it.
    quarantine_days
        Batch id → days until its own quarantine ends, planned baths included, as release calculates it; the days of its
        group where not given.
    sales
        Group → its animals expected to be sold a week, from present stock that is free to be sold, the oldest first; none
        without it.

    Raises
    ------
    BadInput
        An arrival lies in the past or holds no animals, or an id is used twice.
    UnknownName
        A batch of an unknown group, or stock in an unknown vat.
    """
    _check(arrivals, today)
    first = min(((arrival.lands - today).days for arrival in arrivals), default=0)
    case = _Case(site, library, floor, today, first)
    groups = _groups(case, arrivals, commitments)
    arriving = {batch.id for arrival in arrivals for batch in arrival.batches}
    lengths = quarantine_days or {}
    case = replace(case, last_day=_last_day(case, arrivals, healing_days, lengths))
    present = _present(case, leave, free, frozenset(movable))
    standing = [
        *less_sold(present, {name: batch.group for name, batch in floor.batches.items()}, sales or {}, case.last_day),
        *_promised(case, [one for one in commitments if one.batch not in arriving]),
    ]
    problem = Problem(
        day_zero=today,
        systems=tuple(system_offer(system, site.planning, today) for system in site.systems.values()),
        vats=tuple(
            vat_offer(vat, site.systems[vat.system], site.planning, groups.values(), today, floor)
            for vat in site.vats.values()
        ),
        batches=tuple(
            _need(case, arrival, batch, (weights or {}).get(batch.id, 1), healing_days, lengths)
            for arrival in arrivals
            for batch in arrival.batches
        ),
        standing=tuple(standing),
        apart=_apart(library, groups),
    )
    known = {**floor.batches, **{batch.id: batch for arrival in arrivals for batch in arrival.batches}}
    fish = {name for name, batch in known.items() if case.group(batch).kind == "fish"}
    return keep_second_vats(problem, courses_of(site, library, floor, problem, known), fish)


def _check(arrivals: Sequence[Arrival], today: date) -> None:
    faults = [
        Finding(f"shipment {arrival.shipment or 'house'}, lands", arrival.lands.isoformat(), f"{today} or later")
        for arrival in arrivals
        if arrival.lands < today
    ]
    faults += [
        Finding(f"batch {batch.id}, animals", str(batch.announced), "at least one animal")
        for arrival in arrivals
        for batch in arrival.batches
        if batch.announced < 1
    ]
    faults += [
        Finding(f"batch {batch.id}, size", f"{batch.size_mm:g} mm", "a size above 0 mm")
        for arrival in arrivals
        for batch in arrival.batches
        if not batch.size_mm > 0
    ]
    if faults:
        raise BadInput(faults)


def _groups(case: _Case, arrivals: Sequence[Arrival], commitments: Sequence[Commitment]) -> dict[str, Group]:
    """Kin → group, of everybody who arrives, stands or is promised."""
    batches = [batch for arrival in arrivals for batch in arrival.batches]
    known = [*(stay.batch for stay in case.floor.stays), *(one.batch for one in commitments)]
    batches += [case.floor.batches[name] for name in known if name in case.floor.batches]
    found = {case.kin(batch): case.group(batch) for batch in batches}
    return {kin: found[kin] for kin in sorted(found)}


def _need(
    case: _Case, arrival: Arrival, batch: Batch, weight: int, healing_days: int, quarantine_days: Mapping[str, int]
) -> BatchNeed:
    group, planning = case.group(batch), case.site.planning
    kin = case.kin(batch)
    alone = case.library.apart(kin, kin) in {"vat", "water"}
    stages = _stages(case, arrival, batch, group, (healing_days, quarantine_days.get(batch.id, group.quarantine.days)))
    landing, first_end = (arrival.lands - case.today).days, stages[0].end_day
    start, *grown = needs_by_day(
        group, batch.size_mm, landing, (first_end, stages[-1].end_day + (MOST_DAYS_HELD if len(stages) > 1 else 0)),
        grows=planning.growth == "library",
    )  # fmt: skip
    return BatchNeed(
        id=batch.id,
        shipment=arrival.shipment,
        supplier=arrival.supplier,
        group=kin,
        count=batch.announced,
        footprint_mm2=start.footprint_mm2,
        oxygen_ug_per_h=start.oxygen_ug_per_h,
        ammonia_ug_per_h=start.ammonia_ug_per_h,
        stages=stages,
        weight=weight,
        min_portion=1 if alone else min(planning.min_portion, batch.announced),
        max_vats=planning.max_vats_per_batch,
        handling_seconds=ceil(3600 / group.handling.per_hour),
        name=batch.name,
        price_cents=0 if batch.unit_price is None else round(batch.unit_price * 100),
        currency=batch.currency,
        grown=tuple(grown) if len(stages) > 1 else (),
    )


def _last_day(case: _Case, arrivals: Sequence[Arrival], healing_days: int, quarantine_days: Mapping[str, int]) -> int:
    """Day after which nothing that arrives is planned, however long others hold it."""
    return max(
        (
            (arrival.lands - case.today).days
            + max(healing_days, quarantine_days.get(batch.id, case.group(batch).quarantine.days))
            + case.group(batch).grow_out.days
            + MOST_DAYS_HELD
            for arrival in arrivals
            for batch in arrival.batches
        ),
        default=0,
    )


def _stages(
    case: _Case, arrival: Arrival, batch: Batch, group: Group, first_days: tuple[int, int]
) -> tuple[StageNeed, ...]:
    """Stages of a batch; ``first_days``: of healing, and of quarantine."""
    start = (arrival.lands - case.today).days
    cutting = not arrival.shipment and not arrival.supplier
    first: tuple[Stage, int] = ("healing", first_days[0]) if cutting else ("quarantine", first_days[1])
    stages: list[StageNeed] = []
    for stage, days in (first, ("grow-out", group.grow_out.days)):
        if days:
            vats, excluded = suited(case.site, group, stage, landing=not stages)
            later = openings(case.scene, batch, vats, case.noon(start), start)
            if vats:
                vats, excluded = open_to(case.scene, batch, vats, case.noon(start), stage)
            spare = reserved(case.site, group, stage, landing=not stages)
            spare = open_to(case.scene, batch, spare, case.noon(start), stage)[0] if spare else ()
            stages.append(StageNeed(stage, start, start + days, vats, excluded, spare, later))
            start += days
    return tuple(stages)


def _present(
    case: _Case,
    leave: Mapping[tuple[str, str], date] | None,
    free: Mapping[tuple[str, str], Freedom] | None,
    movable: Collection[str],
) -> list[Standing]:
    """Stock that is in the vats now."""
    held = {hold.batch for hold in case.floor.holds if not hold.lifted}
    found = []
    for stay in case.floor.stays:
        batch = case.floor.batches[stay.batch]
        group = case.group(batch)
        vat = case.site.vat(stay.vat)
        since = case.day(stay.since)
        if leave is None:
            until = _until(case, batch, stay.stage, since, held=stay.batch in held)
        else:
            until = case.day(leave[stay.batch, stay.vat]) if (stay.batch, stay.vat) in leave else BEYOND_EVERY_PLAN
        gap = vat.fallow_days if case.site.system_of(stay.vat).role == "quarantine" else 0
        move_day = max(0, case.first_landing - gap)
        targets: tuple[str, ...] = ()
        served = _served(case, batch, stay, free, held=stay.batch in held)
        if served <= move_day:
            grown = open_vats(case.scene, batch, "grow-out", case.noon(move_day))
            targets = tuple(name for name in grown if name != stay.vat)
        placed = _standing(
            case, batch, group, case.kin(batch), stay.vat, stay.stage,
            count=stay.count, start=min(since, 0), until=max(until, 1),
        )  # fmt: skip
        may_move = stay.batch in movable and bool(targets) and until > move_day
        noon = case.noon(STRAYS_MOVE_DAY)
        strays = strays_go_to(case.scene, batch, stay.vat, noon) if stay.stage == "quarantine" else None
        found.append(
            replace(placed, movable=may_move, move_to=targets, move_day=move_day, served_day=served, gather_to=strays)
        )
    return found


def _served(
    case: _Case, batch: Batch, stay: Stay, free: Mapping[tuple[str, str], Freedom] | None, *, held: bool
) -> int:
    """The day from which stock may be moved or sold."""
    if free is not None:
        told = free.get((batch.id, stay.stage))
        return BEYOND_EVERY_PLAN if told is None or told.free_from is None else case.day(told.free_from)
    if held:
        return BEYOND_EVERY_PLAN
    return case.day(stay.since) + case.group(batch).quarantine.days if stay.stage == "quarantine" else 0


def _until(case: _Case, batch: Batch, stage: str, since: int, *, held: bool) -> int:
    """The day stock is expected to leave its stage; a day that has passed says nothing, so it is taken to stay."""
    group = case.group(batch)
    days = {"quarantine": group.quarantine.days, "grow-out": group.grow_out.days, "healing": HEALING_DAYS}.get(stage)
    if held or days is None or (not batch.shipment and stage == "grow-out"):
        return BEYOND_EVERY_PLAN
    return since + days if since + days > 0 else BEYOND_EVERY_PLAN


def _standing(  # the facts of a stay, all named
    case: _Case, batch: Batch, group: Group, kin: str, vat: str, stage: str, count: int, start: int, until: int
) -> Standing:
    passing, landed = stage in {"quarantine", "healing"}, case.floor.headcount(batch.id) > 0
    sized = 0 if landed else start
    first = until if passing and until < BEYOND_EVERY_PLAN else max(start, sized)
    days = first, first if passing else min(until, case.last_day)
    base, *grown = needs_by_day(group, batch.size_mm, sized, days, grows=case.site.planning.growth == "library")
    return Standing(
        batch=batch.id,
        vat=vat,
        stage=stage,
        count=count,
        group=kin,
        from_day=start,
        until_day=until,
        footprint_mm2=base.footprint_mm2,
        oxygen_ug_per_h=base.oxygen_ug_per_h,
        ammonia_ug_per_h=base.ammonia_ug_per_h,
        shipment=batch.shipment,
        supplier=batch.supplier,
        handling_seconds=ceil(3600 / group.handling.per_hour),
        grown=tuple(grown),
    )


def _promised(case: _Case, commitments: Iterable[Commitment]) -> list[Standing]:
    """Placements of accepted plans still to come, cut to the animals alive."""
    found = []
    taken: dict[tuple[str, str], int] = {}
    for one in sorted(commitments, key=lambda c: (c.start, c.batch, c.vat)):
        start, until = case.day(one.start), case.day(one.until)
        alive = case.floor.headcount(one.batch)
        landed = alive > 0 or case.floor.batches[one.batch].shipment in case.floor.received
        if until <= 0 or (landed and start <= 0):
            continue
        used = taken.get((one.batch, one.stage), 0)
        count = max(0, min(one.count, alive - used)) if landed else one.count
        taken[one.batch, one.stage] = used + count
        if count:
            batch = case.floor.batches[one.batch]
            group, kin = case.group(batch), case.kin(batch)
            found.append(_standing(case, batch, group, kin, one.vat, one.stage, count=count, start=start, until=until))
    return found


def _apart(library: Library, groups: Mapping[str, Group]) -> dict[tuple[str, str], Apart]:
    """Which groups are kept apart: the library's pairs, and those whom one light or one flow cannot suit."""
    pairs: dict[tuple[str, str], Apart] = {}
    kins = list(groups)
    for number, one in enumerate(kins):
        for other in kins[number:]:
            kind: Apart | str = library.apart(one, other)
            if kind != "water" and not one_setting(groups[one], groups[other]):
                kind = "vat"
            if kind:
                pairs[one, other] = kind  # type: ignore[assignment]
    return pairs
