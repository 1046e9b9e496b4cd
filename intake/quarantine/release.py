"""From when every lot on the farm is free, why, and what still blocks it: calculated here and nowhere else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime

from intake.farm.floor import Batch, Floor, Freedom, Stay
from intake.farm.site import Site
from intake.library import Group, Library
from intake.plan.framing import HEALING_DAYS
from intake.quarantine.deaths import USUAL_A_DAY, unexplained_deaths
from intake.quarantine.needs import Need, Prescription
from intake.quarantine.protocol import work_for
from intake.quarantine.quarantine_clock import Clock, clock_of, days_after, entered_at, in_quarantine
from intake.rules import Scene, last_lot
from intake.rules.water import inspection_owed

__all__ = ["Course", "Orders", "Release", "courses_of", "free_from", "own_end", "release", "shared_end"]


@dataclass(frozen=True, slots=True)
class Orders:
    """What the ledger says of the courses of lots beside the floor.

    Attributes
    ----------
    asked
        Batch → dip id → reason, for dips off by default.
    prescriptions
        (batch, dip id) → what was prescribed.
    began
        (batch, vat now) → vat in which that portion began.
    broken
        Batch → lags that could not be kept, in words: each forbids the release until the series has been run again.
    """

    asked: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    prescriptions: Mapping[tuple[str, str], Prescription] = field(default_factory=dict)
    began: Mapping[tuple[str, str], str] = field(default_factory=dict)
    broken: Mapping[str, Sequence[str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Decision:
    """What a person must decide before a lot can have a day, in words, and since when."""

    words: str
    since: datetime


@dataclass(frozen=True, slots=True)
class Course:
    """One lot's way through quarantine by itself: clock, open work, own end, what to decide, findings to look for again."""

    batch: Batch
    clock: Clock
    work: tuple[Need, ...]
    own_end: datetime
    decide: tuple[Decision, ...]
    inspect: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Release:
    """The answer for one batch.

    Attributes
    ----------
    earliest
        Farm day on which it could be released if nothing else happens; ``None`` while decision needed.
    stands_in_the_way
        What is still open, a sentence each; empty when ``releasable``.
    why
        How ``earliest`` came about.
    sooner
        What would bring it forward.
    """

    batch: str
    earliest: date | None
    stands_in_the_way: tuple[str, ...]
    releasable: bool
    why: tuple[str, ...]
    sooner: tuple[str, ...] = ()


def free_from(
    floor: Floor,
    library: Library,
    site: Site,
    *,
    stays: Sequence[Stay] | None = None,
    orders: Orders | None = None,
    courses: Mapping[str, Course] | None = None,
) -> dict[tuple[str, str], Freedom]:
    """From when every lot is released, by (batch, stage): what plan, release, timetable, board and papers all ask.

    Parameters
    ----------
    floor
        The ledger at the moment ``floor.at``.
    stays
        Present stays (default), or present and planned ones (``since`` later than ``floor.at``): a planned lot that enters
        before the end of those in its water prolongs theirs, and gets an end of its own.
    orders
        What else the ledger says of the lots' courses.
    courses
        The result of :func:`courses_of` for the same facts, where the caller has it already.

    Returns
    -------
    dict
        (batch, stage) → :class:`~intake.farm.floor.Freedom`.  In quarantine: the latest of the lot's own end and of those
        of the lots it meets in its water.  Two lots meet where one enters while the other has not reached its end *or still
        is there*: who overstays waits with the newcomer.  A lot without a day gives none to those it meets, unless a
        person has lifted a hold on them since (tested, or no host of what was found).  Healing
        cuttings are free after :data:`~intake.plan.framing.HEALING_DAYS`; stock beyond quarantine is free since it
        entered, unless it is held.  Free is not gone: a lot stands where it stands until it is moved, sold or lost.

    References
    ----------
    The last lot to enter a shared water sets the date: Australian Department of Agriculture, Fisheries and Forestry,
    industry advice 41-2025 (S73).  Findings and tests, not days: ``husbandry.md`` 1.2 and 10.5.
    """
    present = floor.stays if stays is None else tuple(stays)
    lots = courses_of(floor, library, site, stays=present, orders=orders) if courses is None else courses
    inside = in_quarantine(present)
    own = {lot: course.own_end for lot, course in lots.items()}
    found = {}
    for lot, course in lots.items():
        end, last = shared_end(lot, inside, own, site, floor.at)
        unknown = (*(one.words for one in course.decide), *_without_a_day(lot, end, inside, lots, site, floor))
        setter = lots[last]
        tested = (f"have {lot} tested; lift the hold with the result",) if course.decide else ()
        words = (
            ()
            if last == lot
            else (f"{last} shares its water and enters before it is free: the last lot to enter sets the date for all",)
        )
        found[lot, "quarantine"] = Freedom(
            batch=lot,
            stage="quarantine",
            entered=course.clock.entered,
            own_end=course.own_end,
            free_from=None if unknown else end,
            set_by=last,
            waters=_waters(lot, inside, site),
            unknown=unknown,
            why=(*words, *_reasons(setter)),
            sooner=(*tested, *_sooner(setter, floor.at)),
        )
    found.update(_beyond(floor, present, site))
    return found


def courses_of(
    floor: Floor,
    library: Library,
    site: Site,
    *,
    stays: Sequence[Stay] | None = None,
    orders: Orders | None = None,
) -> dict[str, Course]:
    """Every lot that is in quarantine, or is planned to, with its own course; parameters as for :func:`free_from`.

    Raises
    ------
    Refused
        A prescription bath was asked for without prescriber and reference.
    """
    told = orders or Orders()
    inside = in_quarantine(floor.stays if stays is None else stays)
    found = {}
    for lot in sorted({stay.batch for stay in inside}):
        batch = floor.batches[lot]
        entered = entered_at(batch, inside, floor)
        assert entered is not None  # noqa: S101  # it has a stay inside
        group = library.group(batch.group)
        work = work_for(
            batch,
            inside,
            group,
            library,
            site,
            entered=entered,
            floor=floor,
            prescriptions={dip: order for (name, dip), order in told.prescriptions.items() if name == lot},
            asked=told.asked.get(lot),
            began={vat: home for (name, vat), home in told.began.items() if name == lot},
        )
        clock = clock_of(batch, inside, group, library, site, floor=floor, entered=entered)
        decide = (*_holds(lot, floor), *_deaths(lot, clock, group, floor), *_lags(told.broken.get(lot, ()), entered))
        carries = inspection_owed(Scene(site, library, floor), batch)
        found[lot] = Course(batch, clock, work, own_end(clock, work, floor), decide, carries)
    return found


def release(
    batch: Batch,
    floor: Floor,
    library: Library,
    site: Site,
    now: datetime,
    *,
    stays: Sequence[Stay] | None = None,
    orders: Orders | None = None,
    broken: Sequence[str] = (),
) -> Release:
    """Whether a batch may be released now, and if not, what blocks it.

    Parameters
    ----------
    now
        The moment asked about.
    stays, orders
        As for :func:`free_from`, which gives the dates.
    broken
        Lags of this batch that could not be kept, beside those in ``orders``.
    """
    if broken:
        told = orders or Orders()
        orders = replace(told, broken={**told.broken, batch.id: broken})
    here = floor if floor.at == now else replace(floor, at=now)
    lots = courses_of(here, library, site, stays=stays, orders=orders)
    return release_of(batch.id, free_from(here, library, site, stays=stays, courses=lots), lots, site, now)


def release_of(
    batch: str, free: Mapping[tuple[str, str], Freedom], lots: Mapping[str, Course], site: Site, now: datetime
) -> Release:
    """The answer for one batch in quarantine, out of what :func:`free_from` and :func:`courses_of` said."""
    told = free.get((batch, "quarantine"))
    if told is None:
        return Release(batch, None, ("it is not in quarantine",), False, ())
    course, zone = lots[batch], site.farm.zone
    waits = told.free_from is not None and told.set_by != batch and now < told.free_from
    in_the_way = [
        *_open_work(course.work),
        *([f"its own quarantine ends {_on(course.own_end, site)}"] if now < course.own_end else []),
        *([f"{told.set_by} shares its water and is in quarantine until {_on(told.free_from, site)}"] if waits else []),
        *([] if waits else _work_beside(batch, free, lots, now)),
        *told.unknown,
        *course.inspect,
    ]
    day = told.day(zone, now.astimezone(zone).date())
    return Release(batch, day, tuple(in_the_way), not in_the_way, told.why, told.sooner)


def _work_beside(
    batch: str, free: Mapping[tuple[str, str], Freedom], lots: Mapping[str, Course], now: datetime
) -> list[str]:
    """Work still due on lots in its water: an end reckoned as if it were done today does not free those beside it."""
    waters = set(free[batch, "quarantine"].waters)
    beside = [lot for lot in lots if lot != batch and waters & set(free[lot, "quarantine"].waters)]
    return [
        f"{lot} shares its water: {words}"
        for lot in beside
        if lots[lot].clock.entered <= now
        for words in _open_work([need for need in lots[lot].work if need.dip])
    ]


def own_end(clock: Clock, open_work: Sequence[Need], floor: Floor) -> datetime:
    """Earliest end of a batch by its own clock and baths, other lots aside; overdue work counts as done now."""
    planned = [max(need.nominal, floor.at) for need in open_work if need.dip]
    done = [one.at for one in floor.done if one.batch == clock.batch and one.at >= clock.entered]
    return clock.ends_after(max([*planned, *done], default=None))


def shared_end(
    batch: str, inside: Sequence[Stay], own: Mapping[str, datetime], site: Site, now: datetime | None = None
) -> tuple[datetime, str]:
    """The end of a batch in shared water, and the lot that sets it.

    A lot counts that enters before that end, or before ``now`` while the batch still is there.
    """
    waters = set(_waters(batch, inside, site))
    entries = [(stay.since, own[stay.batch], stay.batch) for stay in inside if site.vat(stay.vat).system in waters]
    stands = now is not None and any(stay.batch == batch and stay.since <= now for stay in inside)
    end, last = last_lot.shared_end(own[batch], entries, now if stands else None)
    return end, last or batch


def _stands_until(batch: str, end: datetime, inside: Sequence[Stay], now: datetime | None) -> datetime:
    """The moment up to which newcomers meet a batch: its end, or now for one that is there past it."""
    if now is None or end >= now:
        return end
    return now if any(stay.batch == batch and stay.since <= now for stay in inside) else end


def _without_a_day(
    batch: str, end: datetime, inside: Sequence[Stay], lots: Mapping[str, Course], site: Site, floor: Floor
) -> list[str]:
    """Lots met in the water for which no one can name a day, but for what a person has cleared this lot of since."""
    waters = set(_waters(batch, inside, site))
    until = _stands_until(batch, end, inside, floor.at)
    met = {stay.batch for stay in inside if site.vat(stay.vat).system in waters and stay.since < until} - {batch}
    cleared = [hold.lifted_at or hold.since for hold in floor.holds if hold.batch == batch and hold.lifted]
    found = []
    for lot in sorted(met):
        still = [one for one in lots[lot].decide if not any(moment >= one.since for moment in cleared)]
        found += [f"{lot} shares its water and has no day yet: {still[0].words}"] if still else []
    return found


def _waters(batch: str, inside: Sequence[Stay], site: Site) -> tuple[str, ...]:
    return tuple(sorted({site.vat(stay.vat).system for stay in inside if stay.batch == batch}))


def _beyond(floor: Floor, stays: Sequence[Stay], site: Site) -> dict[tuple[str, str], Freedom]:
    """Cuttings that heal, and stock that quarantine has freed."""
    found: dict[tuple[str, str], Freedom] = {}
    for stay in sorted(stays, key=lambda one: one.since):
        if stay.stage == "quarantine" or stay.count <= 0:
            continue
        healing = stay.stage == "healing"
        end = days_after(stay.since, HEALING_DAYS) if healing else stay.since
        before = found.get((stay.batch, stay.stage))
        waters = {site.vat(stay.vat).system, *(before.waters if before else ())}
        held = tuple(one.words for one in _holds(stay.batch, floor))
        why = (f"{HEALING_DAYS} d to heal from {_on(stay.since, site)} (default, no source)",) if healing else ()
        decide = ("lift the hold with the result of the test",) if held else ()
        found[stay.batch, stay.stage] = Freedom(
            batch=stay.batch,
            stage=stay.stage,
            entered=before.entered if before else stay.since,
            own_end=end,
            free_from=None if held else end,
            set_by=stay.batch,
            waters=tuple(sorted(waters)),
            unknown=held,
            why=why,
            sooner=decide,
        )
    return found


def _reasons(course: Course) -> tuple[str, ...]:
    """What makes up a lot's own end: the days of its group, or the series that runs longer."""
    clock = course.clock
    baths = [need for need in course.work if need.dip]
    if not baths or course.own_end <= clock.ends:
        return clock.why
    last = max(baths, key=lambda need: (need.nominal, need.uid))
    series = [need for need in baths if (need.dip, need.vat) == (last.dip, last.vat)]
    first = min(series, key=lambda need: (need.nominal, need.uid))
    left = len({need.number for need in series})
    words = f"{left} of {last.title} to go, the last due {last.nominal:%Y-%m-%d}: {first.why}"
    if clock.restarted_by is not None and clock.generation_d is not None:
        words += f"; then one generation, {clock.generation_d:.3g} d"
    return (*clock.why, words)


def _sooner(course: Course, now: datetime) -> tuple[str, ...]:
    """How much earlier a lot would be done if each repeat were done on the first day that counts."""
    baths = [need for need in course.work if need.dip]
    if not baths:
        return ()
    first = course.clock.ends_after(max(max(need.earliest, now) for need in baths))
    days = (course.own_end - first).total_seconds() / 86400
    if days < 1:
        return ()
    return (f"each repeat of {course.batch.id} on the first day that counts: {days:.0f} d sooner",)


def _on(moment: datetime | None, site: Site) -> str:
    return "" if moment is None else f"{moment.astimezone(site.farm.zone):%Y-%m-%d}"


def _open_work(work: Sequence[Need]) -> list[str]:
    dips = [need for need in work if need.dip]
    kept = [need for need in work if need.kind in ("receive", "acclimation")]
    words = [f"not done: {need.title}" for need in kept]
    if dips:
        first = min(dips, key=lambda need: (need.nominal, need.uid))
        many = f"{len(dips)} tasks" if len(dips) > 1 else "one task"
        words.append(f"{many} still to do; next: {first.title} in {first.vat} on {first.nominal:%Y-%m-%d}")
    return words


def _holds(batch: str, floor: Floor) -> list[Decision]:
    return [
        Decision(f"on hold since {hold.since:%Y-%m-%d}: {hold.reason}", hold.since)
        for hold in floor.holds
        if hold.batch == batch and not hold.lifted
    ]


def _deaths(batch: str, clock: Clock, group: Group, floor: Floor) -> list[Decision]:
    usual = USUAL_A_DAY if group.late_deaths is None else group.late_deaths.a_day
    found = unexplained_deaths(batch, clock.entered, floor, usual_a_day=usual)
    if found is None:
        return []
    return [Decision(f"{found.words}: put the lot on hold, test it, then lift the hold with the result", found.until)]


def _lags(broken: Sequence[str], entered: datetime) -> list[Decision]:
    return [Decision(f"days between repeats were not kept: {words}; run the series again", entered) for words in broken]
