"""The work a batch needs in quarantine, with its windows, lags and reasons, from its group's protocol."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import ceil

from intake.errors import BadInput, Finding, Refused
from intake.farm.floor import Batch, Done, Floor, Stay
from intake.farm.site import Site
from intake.library import Dip, Evidence, Group, Library
from intake.quarantine.clock import Clock, clock_of, days_after, in_quarantine, temperature_of
from intake.quarantine.needs import Condition, Need, PartOfDay, Prescription
from intake.quarantine.redip import series

__all__ = ["LONGEST_PART_MIN", "condition_of", "work_for"]

LONGEST_PART_MIN = 180
"""Work longer than this is cut into parts, so that several people can share it: house rule, no source."""

SET_UP_MIN = 10
"""Minutes to lay out and clear away, in every piece of work: design default, time your own crew."""

_ACCLIMATION_MIN = 60
"""Minutes kept for acclimation before the receiving plan says better: design default."""

_PER_HOUR_OPENING = 400.0
"""Animals opened, photographed and counted by one person in an hour before the receiving plan says better: default."""

_STATIONS = {"dip": "dip", "inspection": "inspection"}


@dataclass(frozen=True, slots=True)
class _Rhythm:
    """How often a dip is due: its own figures or the pest's cycle at the water's temperature."""

    interval: float
    low: float
    high: float
    baths: int
    why: str
    evidence: Evidence
    source: str
    unsourced: bool


@dataclass(frozen=True, slots=True)
class _Case:
    """One batch with everything that is the same for all its work."""

    batch: Batch
    group: Group
    library: Library
    site: Site
    floor: Floor
    clock: Clock
    condition: Condition
    began: Mapping[str, str]


def work_for(
    batch: Batch,
    stays: Sequence[Stay],
    group: Group,
    library: Library,
    site: Site,
    *,
    entered: datetime,
    floor: Floor,
    temperature_c: float | None = None,
    prescriptions: Mapping[str, Prescription] | None = None,
    asked: Mapping[str, str] | None = None,
    not_before: datetime | None = None,
    began: Mapping[str, str] | None = None,
) -> tuple[Need, ...]:
    """The work still to be done on a batch until it can be released; what is recorded as done is left out.

    Parameters
    ----------
    batch, group
        The batch and its husbandry group.
    stays
        Where it stands or, for an accepted plan, will stand; only quarantine counts.  Stays of other batches tell who
        shares its water.
    entered
        When it entered, or will enter, quarantine.
    temperature_c
        Temperature to reckon with; ``None``: of each vat's system, planned or logged.
    prescriptions
        Dip id → what a prescriber ordered for this batch.
    asked
        Dip id → reason, for dips that are off by default and wanted for this batch.
    not_before
        Earliest moment of the release check set by other lots in the water.
    began
        Vat now → vat in which that portion began, after moves, so that the work keeps its uid.

    Raises
    ------
    Refused
        A prescription bath was asked for without prescriber and reference.
    UnknownName
        A dip was asked for that the library does not have.
    """
    mine = in_quarantine(stays, batch.id)
    if not mine:
        return ()
    clock = clock_of(batch, stays, group, library, site, floor=floor, entered=entered)
    case = _Case(batch, group, library, site, floor, clock, condition_of(batch.id, floor, entered), began or {})
    arrival = _arrival(case, mine)
    needs: list[Need] = list(arrival)
    for dip in _protocol(case, asked or {}, prescriptions or {}):
        for portion in _portions(dip, mine):
            here = temperature_c
            if here is None:
                here = temperature_of(site.system_of(portion.vat).id, site, floor, floor.at)
            needs += _repeated(case, dip, portion, here, arrival[-1] if arrival else None)
    needs.append(_release_check(case, mine, needs, not_before))
    return tuple(part for need in needs for part in _parts(need))


def condition_of(batch: str, floor: Floor, entered: datetime) -> Condition:
    """Whether a batch in quarantine counts as sick in the order of work: on hold, or a finding on it since entry."""
    held = any(hold.batch == batch and not hold.lifted for hold in floor.holds)
    seen = any(found.batch == batch and found.what and found.at >= entered for found in floor.found)
    return "sick" if held or seen else "quarantine"


def _protocol(case: _Case, asked: Mapping[str, str], prescriptions: Mapping[str, Prescription]) -> list[Dip]:
    """The dips to schedule: those on, those the farm switched on, and those asked for this batch."""
    wanted = [
        dip
        for identity in case.group.dips
        if (dip := case.library.dips[identity]).mode == "on"
        or (dip.mode == "optional" and identity in case.site.planning.optional_dips)
    ]
    refused: list[Finding] = []
    for identity, reason in asked.items():
        if identity not in case.library.dips:
            raise BadInput(Finding(f"dip asked for {case.batch.id}", identity, "the id of a dip in dips.toml"))
        dip = case.library.dips[identity]
        order = prescriptions.get(identity)
        if dip.prescription and (order is None or not order.prescriber.strip() or not order.reference.strip()):
            refused.append(
                Finding(
                    f"{dip.name} for {case.batch.id}",
                    "no prescriber and reference" if order is None else f"{order.prescriber} {order.reference}".strip(),
                    "a named prescriber and the reference of the prescription or label",
                    "Record the prescription first; the library holds no dose for this bath.",
                )
            )
        elif dip not in wanted:
            wanted.append(_ordered(dip, reason, order))
    if refused:
        raise Refused(refused)
    return wanted


def _ordered(dip: Dip, reason: str, order: Prescription | None) -> Dip:
    """A dip asked for by a person, with the words of the prescription in place of the library's."""
    if order is None:
        return dip.model_copy(update={"why": f"{dip.why}; asked for: {reason}"})
    return dip.model_copy(
        update={
            "agent": order.agent,
            "strength": order.strength,
            "contact_min": order.contact_min,
            "contact_max": order.contact_max,
            "why": f"{dip.why}; prescribed by {order.prescriber}, {order.reference}: {reason}",
        }
    )


def _portions(dip: Dip, mine: Sequence[Stay]) -> tuple[Stay, ...]:
    """Work is per vat; a transfer is one piece of work for the whole batch, since it changes the vat."""
    if dip.kind != "transfer":
        return tuple(mine)
    return (replace(mine[0], count=sum(stay.count for stay in mine)),)


def _arrival(case: _Case, mine: Sequence[Stay]) -> list[Need]:
    """Receiving and acclimation of a batch whose shipment has not been received."""
    batch, floor = case.batch, case.floor
    if not batch.shipment or batch.shipment in floor.received:
        return []
    count = sum(stay.count for stay in mine)
    base = _blank(case, mine[0], count)
    landed = case.clock.entered
    receive = replace(
        base,
        uid=f"{batch.id}/receive",
        kind="receive",
        title=f"Receive {batch.name}",
        latest=days_after(landed, 4 / 24),
        minutes=min(_minutes(count, _PER_HOUR_OPENING), LONGEST_PART_MIN),
        station="opening",
        strict=True,
        why="the shipment lands; time in the bag counts (planned in detail by the receiving-day run sheet)",
    )
    acclimate = replace(
        base,
        uid=f"{batch.id}/acclimation",
        kind="acclimation",
        title=f"Acclimate {batch.name}",
        latest=days_after(landed, 6 / 24),
        minutes=_ACCLIMATION_MIN,
        station="acclimation",
        after=receive.uid,
        lag_min_days=_slotted(receive.minutes) / 1440,
        lag_max_days=_slotted(receive.minutes) / 1440 + 2 / 24,
        strict=True,
        why="bag water to vat water within the group's limits (steps on the acclimation checklist)",
    )
    return [need for need in (receive, acclimate) if _done(case, need.uid) is None]


def _repeated(case: _Case, dip: Dip, portion: Stay, temperature_c: float, arrival: Need | None) -> list[Need]:
    """All baths of one dip on one portion that are not done, each tied to the one before it."""
    rhythm = _rhythm(case.library, dip, temperature_c)
    home = "" if dip.kind == "transfer" else f"{case.began.get(portion.vat, portion.vat)}/"
    stem = f"{case.batch.id}/{dip.id}/{home}"
    past = _past(case, dip, portion, stem)
    before = sum(1 for at in past if at < case.clock.started)
    here = past[before:]
    needs: list[Need] = _begun(case, _work(case, dip, portion, rhythm), f"{stem}{len(past)}", past) if here else []
    rest = len(needs)
    last: datetime | None = here[-1] if here else None
    for number in range(len(here) + 1, rhythm.baths + 1):
        base = _work(case, dip, portion, rhythm)
        uid = f"{stem}{before + number}"
        named = replace(base, uid=uid, number=before + number, of=before + rhythm.baths)
        if len(needs) > rest:
            timed = _next_after(named, needs[-1], rhythm)
        elif last is not None:
            timed = _next_since(named, last, rhythm)
        else:
            timed = _first(named, case, dip, rhythm, arrival)
        needs.append(timed)
    return needs


def _begun(case: _Case, need: Need, uid: str, past: Sequence[datetime]) -> list[Need]:
    """Parts still open of a piece of work of which one part at least is recorded."""
    recorded = {one.task for one in case.floor.done}
    parts = _parts(replace(need, uid=uid, earliest=past[-1], nominal=past[-1], latest=days_after(past[-1], 1.0)))
    return [replace(part, number=len(past)) for part in parts if part.uid not in recorded][: len(parts) - 1]


def _first(need: Need, case: _Case, dip: Dip, rhythm: _Rhythm, arrival: Need | None) -> Need:
    started = case.clock.started
    due = days_after(started, dip.first_day)
    if dip.kind == "transfer":  # the first stay counts from entry: the interval is an upper limit already
        return replace(
            need, earliest=days_after(started, rhythm.low), nominal=due, latest=days_after(started, rhythm.high)
        )
    slack = 1.0 if dip.kind == "dip" else 2.0
    follows = dip.first_day == 0 and arrival is not None and case.clock.restarted_by is None
    return replace(
        need,
        earliest=due,
        nominal=due,
        latest=days_after(due, slack),
        after=arrival.uid if follows and arrival is not None else "",
        lag_min_days=_slotted(arrival.minutes) / 1440 if follows and arrival is not None else 0.0,
    )


def _next_since(need: Need, last: datetime, rhythm: _Rhythm) -> Need:
    return replace(
        need,
        earliest=days_after(last, rhythm.low),
        nominal=days_after(last, rhythm.interval),
        latest=days_after(last, rhythm.high),
    )


def _next_after(need: Need, previous: Need, rhythm: _Rhythm) -> Need:
    return replace(
        need,
        earliest=days_after(previous.earliest, rhythm.low),
        nominal=days_after(previous.nominal, rhythm.interval),
        latest=days_after(previous.latest, rhythm.high),
        after=previous.uid,
        lag_min_days=rhythm.low,
        lag_max_days=rhythm.high,
    )


def _rhythm(library: Library, dip: Dip, temperature_c: float) -> _Rhythm:
    """Interval and number: the pest's cycle at this temperature where figures exist, else the dip's own, marked."""
    interval = dip.interval_days or 0.0
    slack = 1.0 if interval > 2 else 0.5
    low = dip.interval_min_days if dip.interval_min_days is not None else max(0.0, interval - slack)
    high = dip.interval_max_days if dip.interval_max_days is not None else interval + slack
    own = _Rhythm(interval, low, high, dip.baths, dip.why, dip.evidence, dip.source, dip.unsourced)
    if not dip.pest:
        return own
    try:
        found = series(library.pests[dip.pest], temperature_c)
    except BadInput as trouble:
        why = f"{dip.why}; the library's own interval is kept, since {trouble}"
        return replace(own, why=why, evidence="default", unsourced=True)
    return _Rhythm(
        found.interval_days,
        found.interval_min_days,
        found.interval_max_days,
        found.baths,
        f"{dip.why}; {found.arithmetic}",
        found.evidence,
        found.source,
        dip.unsourced,
    )


def _work(case: _Case, dip: Dip, portion: Stay, rhythm: _Rhythm) -> Need:
    part: PartOfDay = "after dark" if dip.after_dark else "morning" if dip.kind == "transfer" else "any"
    longest_contact = dip.contact_max or 0.0
    minutes = max(_minutes(portion.count, case.group.handling.per_hour), ceil(longest_contact) + SET_UP_MIN)
    return replace(
        _blank(case, portion, portion.count),
        kind=dip.kind,
        dip=dip.id,
        title=f"{dip.name}: {case.batch.name}",
        minutes=minutes,
        skill=dip.skill,
        station="" if dip.after_dark else _STATIONS.get(dip.kind, ""),
        agent=dip.agent,
        strength=dip.strength,
        contact_min=dip.contact_min,
        contact_max=dip.contact_max,
        protection=dip.protection,
        part_of_day=part,
        why=rhythm.why,
        evidence=rhythm.evidence,
        source=rhythm.source,
        unsourced=rhythm.unsourced,
        strict=dip.kind == "transfer" or bool(dip.pest) or (rhythm.high <= rhythm.interval and rhythm.baths > 1),
    )


def _release_check(case: _Case, mine: Sequence[Stay], needs: Sequence[Need], not_before: datetime | None) -> Need:
    baths = [need for need in needs if need.dip]
    last = max(baths, key=lambda need: (need.nominal, need.uid), default=None)
    done = [one.at for one in case.floor.done if one.batch == case.batch.id and one.at >= case.clock.entered]
    bathed = last.nominal if last is not None else max(done, default=None)
    ready = max(case.clock.ends_after(bathed), not_before or case.clock.ends)
    others = not_before is not None and not_before > case.clock.ends_after(bathed)
    shared = ("the last lot to enter the shared water sets the date (S73)",) if others else ()
    return replace(
        _blank(case, mine[0], sum(stay.count for stay in mine)),
        uid=f"{case.batch.id}/release-check",
        kind="release check",
        title=f"Release check: {case.batch.name}",
        earliest=ready,
        nominal=ready,
        latest=days_after(ready, 3.0),
        minutes=30,
        skill="inspect",
        after=last.uid if last is not None else "",
        lag_min_days=1 / 24 if last is not None else 0.0,
        why="; ".join((*case.clock.why, *shared, "released by this check, never by the date alone")),
        evidence=case.group.quarantine.evidence,
        source=case.group.quarantine.source,
        unsourced=case.group.quarantine.unsourced,
    )


def _blank(case: _Case, stay: Stay, count: int) -> Need:
    landed = case.clock.entered
    return Need(
        uid="",
        kind="inspection",
        batch=case.batch.id,
        vat=stay.vat,
        system=case.site.vat(stay.vat).system,
        title="",
        earliest=landed,
        nominal=landed,
        latest=landed,
        minutes=15,
        why="",
        evidence="practice",
        source="common practice, no source",
        unsourced=True,
        headcount=count,
        condition=case.condition,
        entered=landed,
    )


def _past(case: _Case, dip: Dip, portion: Stay, stem: str) -> list[datetime]:
    """Moments at which this dip was done on this portion, in this vat or, before it was moved, in another."""
    numbers: dict[int, datetime] = {}
    for one in _of_dip(case.floor.done, case.batch.id, dip.id):
        head, _, tail = one.task.partition("/part-")[0].rpartition("/")
        if not tail.isdigit() or (f"{head}/" != stem and one.at > portion.since):
            continue
        numbers[int(tail)] = max(one.at, numbers.get(int(tail), one.at))
    return [at for _, at in sorted(numbers.items())]


def _of_dip(done: Iterable[Done], batch: str, dip: str) -> list[Done]:
    return [one for one in done if one.batch == batch and one.task.startswith(f"{batch}/{dip}/")]


def _done(case: _Case, uid: str) -> Done | None:
    return next((one for one in case.floor.done if one.task == uid), None)


def _minutes(count: int, per_hour: float) -> int:
    return ceil(count / per_hour * 60.0) + SET_UP_MIN


def _slotted(minutes: int) -> int:
    """Minutes rounded up to the quarter hours in which people are booked."""
    return ceil(minutes / 15) * 15


def _parts(need: Need) -> list[Need]:
    """Long work as several shorter pieces; the first keeps the uid, so that it stays when the number of parts falls."""
    pieces = ceil(need.minutes / LONGEST_PART_MIN)
    if pieces <= 1:
        return [need]
    return [
        replace(
            need,
            uid=need.uid if piece == 1 else f"{need.uid}/part-{piece}",
            title=f"{need.title} (part {piece} of {pieces})",
            minutes=ceil(need.minutes / pieces),
            headcount=need.headcount * piece // pieces - need.headcount * (piece - 1) // pieces,
        )
        for piece in range(1, pieces + 1)
    ]
